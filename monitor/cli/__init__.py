"""The command line; the daemon is started before typer and rich are imported (`entry`)."""
