"""The files that come with the program: the example installation and the plans.

The one place that finds them: beside this module in an installed wheel, in `config/` of a checkout. It knows
their names, never what stands in them.
"""

from pathlib import Path

NAMES = ("monitor.toml", "plans.toml")


def text(name: str) -> str:
    """The text of a shipped file; `name` is one of `NAMES`."""
    here = Path(__file__).parent
    beside = here / name
    found = beside if beside.is_file() else here.parent.parent / "config" / name
    return found.read_text(encoding="utf-8")
