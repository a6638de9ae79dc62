"""`export` and `backup`: what the guard keeps, for other programs and for a worse day."""

import typer


def add_to(app: typer.Typer) -> None:
    """Hang the commands into the tree."""
