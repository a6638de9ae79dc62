"""Every fault that the owner named, against the whole program: real process, broker, mail and HTTP servers.

`rows.py` is the table: each fault with the tests that show that it fails visibly and recovers by itself.
"""
