"""Trees: what people did to them, what that asks for, and the limits that hold now.

The book folds into trees, plans say what each work asks for by stage, and the strictest limit wins. It knows
nothing of alarms, notices, storage or the network.
"""
