"""The command line. `entry` decides what to load: the daemon is started before typer and rich are imported."""
