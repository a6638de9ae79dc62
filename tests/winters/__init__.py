"""Made winters: a small house of two nodes under real outdoor weather, and what the guard said in them.

Independent of the program's science: no formula, constant or name of `monitor.science` is used here.
"""
