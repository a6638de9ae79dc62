"""Watches of the night, each by its rules."""
