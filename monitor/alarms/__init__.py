"""Alarms: their life-cycle after ISA-18.2 / IEC 62682, and the board that holds those that stand.

This room knows assessments and time as values. It knows no sensors, no people and no words for them.
"""
