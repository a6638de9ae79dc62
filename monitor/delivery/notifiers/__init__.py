"""The kinds of notifiers that come with the program: one file each, found by its name."""
