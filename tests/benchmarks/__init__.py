"""Benchmarks: each prints figures beside what they are compared with."""
