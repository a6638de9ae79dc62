"""Where `aftercare` begins: `run` goes straight to the daemon, all else to the commands."""

import io
import os
import sys
from collections.abc import Sequence

from monitor.errors import AftercareError

ENDED = 130
"""Exit status after Ctrl-C, as shells have it."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status and never shows a traceback for what a user can cause."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    _speak_anyhow()
    try:
        if words[:1] == ["run"] and "--help" not in words:
            from monitor.cli.run import run

            return run(words[1:], os.environ)
        from monitor.cli.commands import run_command

        status = run_command(words)
        sys.stdout.flush()
        return status
    except AftercareError as error:
        from monitor.cli.show import aside

        aside(str(error))
        return error.exit_status
    except KeyboardInterrupt:
        return ENDED
    except BrokenPipeError:
        # The reader has had enough (`aftercare ... | head`); say nothing more to a closed pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _speak_anyhow() -> None:
    """A terminal that knows few letters gets a question mark for the others, never an error."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


if __name__ == "__main__":
    sys.exit(main())
