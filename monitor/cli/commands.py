"""All commands but the daemon itself, put together; wrong words end as one sentence and status 2."""

import os
import re
from collections.abc import Sequence
from typing import Any

import typer

from monitor.cli import alarms, beginning, book, exports, listening, look, page, replaying, trying
from monitor.cli.options import Config, example, new_group
from monitor.errors import UsageError

WrongWords: type[Exception] = typer.BadParameter.__mro__[2]
"""What typer raises for wrong words; it is not among its public names, and the package it lies in varies."""

PLAINER = (
    (re.compile(r"Value error, "), ""),
    (re.compile(r"Input should be greater than or equal to (\S+)"), r"it must be \1 or more"),
    (re.compile(r"Input should be less than or equal to (\S+)"), r"it must be \1 or less"),
    (re.compile(r"Input should be a valid integer,? ?.*$"), "it is not a whole number"),
    (re.compile(r"Input should be a valid (\w+),? ?.*$"), r"it is not a \1"),
    (re.compile(r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)"), r"There is no place for \1"),
    (re.compile(r"\?\.$"), "?"),
)
"""How the parser complains, and how we do."""

ABOUT = """Guards worked trees in a small greenhouse in the weeks after heavy work.

It listens to sensors over MQTT, calls you when a tree is in danger, and writes one report each morning.
Begin with: aftercare demo
"""


def run_command(words: Sequence[str]) -> int:
    """Run one command; returns the exit status. AftercareError is left to whoever called."""
    command = typer.main.get_command(make_app())
    try:
        status = command(list(words), prog_name="aftercare", standalone_mode=False)
    except WrongWords as error:
        raise _in_our_words(error, _path(command, words)) from error
    except typer.Abort:
        return 130
    except SystemExit as ended:
        # How typer ends when the reader has closed the pipe; nothing else exits without standalone mode.
        raise BrokenPipeError from ended
    return status if isinstance(status, int) else 0


def _in_our_words(error: Exception, path: str) -> UsageError:
    """The parser's complaint as one sentence, and where to read on."""
    said = str(error.format_message()) if hasattr(error, "format_message") else str(error)
    said = " ".join(said.split())
    for theirs, ours in PLAINER:
        said = theirs.sub(ours, said)
    end = "" if said.endswith(("?", ".")) else "."
    return UsageError(f"{said}{end}", f"`{path} --help` shows what it takes.")


def _path(command: Any, words: Sequence[str]) -> str:
    """The command that the words lead to, as far as they lead."""
    path = ["aftercare"]
    for word in words:
        command = getattr(command, "commands", {}).get(word)
        if command is None:
            break
        path.append(word)
    return " ".join(path)


def make_app() -> typer.Typer:
    """The tree of commands."""
    app = new_group(ABOUT)
    app.callback(invoke_without_command=True)(_begin)
    trying.add_to(app)
    beginning.add_to(app)
    listening.add_to(app)
    app.command("run", help=RUN_HELP, epilog=example("run --config /etc/aftercare/monitor.toml"))(_run)
    look.add_to(app)
    replaying.add_to(app)
    book.add_to(app)
    alarms.add_to(app)
    exports.add_to(app)
    page.add_to(app)
    return app


RUN_HELP = """The daemon: guard until told to stop.

It ends in order on SIGTERM or Ctrl-C, status 0. Run `aftercare check` before.
"""


def _run(config: Config = None) -> int:
    from monitor.cli.run import run

    return run([] if config is None else ["--config", str(config)], os.environ)


def _begin(context: typer.Context) -> None:
    """Without a command: show what there is."""
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
        raise typer.Exit(2)
