"""A hard night in a minute: an invented house with made-up sensors, a real broker and the real guard."""
