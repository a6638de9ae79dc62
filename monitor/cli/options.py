"""Options that several commands share, each with the same words everywhere."""

from pathlib import Path
from typing import Annotated

import typer

Config = Annotated[
    Path | None,
    typer.Option(
        "--config",
        metavar="FILE",
        help="The settings file; left out: config/monitor.toml here, then /etc/aftercare/monitor.toml.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for a program to read.")]
By = Annotated[str, typer.Option("--by", metavar="WHO", help="Who says so.")]
Out = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write to this file; left out: to the screen.")
]


def new_group(about: str, *examples: str) -> typer.Typer:
    """A group of commands that draws plain help, on a terminal and elsewhere."""
    return typer.Typer(
        help=about,
        epilog=example(*examples) if examples else None,
        rich_markup_mode=None,
        add_completion=False,
        pretty_exceptions_enable=False,
        subcommand_metavar="COMMAND",
    )


def example(*words: str) -> str:
    """The end of a help text: commands as they are typed, each on its own line."""
    return "\b\nExample:\n" + "\n".join(f"  aftercare {line}" for line in words)
