"""The physics against published tables, other libraries and open data."""
