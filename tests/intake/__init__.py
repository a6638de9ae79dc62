"""Tests of the intake, most of them with a real mosquitto."""
