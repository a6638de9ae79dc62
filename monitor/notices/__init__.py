"""Notices: which transitions ring, for whom, in which words. Pure: values and time in, notices out.

This room knows alarms, people and hours. It knows no mail server and no clock.
"""
