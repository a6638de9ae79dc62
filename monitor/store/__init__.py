"""What stays when the power goes: the database, the book's file, the recording, and the replay's files.

It saves values that it is handed and gives them back; it knows nothing of what an alarm or a limit means.
"""
