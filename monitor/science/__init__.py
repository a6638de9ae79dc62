"""The physics and statistics under the guard: pure functions, each with its source and its valid range.

Knows numbers only: no clock, no files, no logging, nothing of trees, alarms or configuration.
"""
