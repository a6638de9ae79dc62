"""What people hand in for the book, brought into its written form: one entry, or a whole file of them.

Nothing is written here; whoever calls appends and syncs. It asks nobody what time it is.
"""

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from monitor.clock import is_trusted, parse_rfc3339, rfc3339
from monitor.errors import BookError, Problem
from monitor.trees.book import Book, check_entry
from monitor.trees.follow_ups import follow_up_names
from monitor.trees.imports import check_import
from monitor.trees.plans import Plans

if TYPE_CHECKING:
    from monitor.settings import Settings


def handed_in(
    given: str | Sequence[Mapping[str, Any]],
    by: str,
    now_s: float,
    book: Book,
    settings: "Settings",
    plans: Plans,
    file: str = "",
) -> list[dict[str, Any]]:
    """The entries that are new to the book, with who entered them and when; a text is a file to import.

    Raises BookError with every problem; `file` is what they name. `now_s` is what people's clocks say; where
    that cannot be right an entry brings its own time.
    """
    if not is_trusted(now_s):
        now_s = _time_given(given)
    around: dict[str, Any] = {
        "people": settings.people,
        "follow_ups": follow_up_names(plans),
        "zone": settings.site.zone,
    }
    if not isinstance(given, str) and len(given) == 1:
        entry = check_entry(given[0], book, settings.sensors, settings.houses, now_s, **around)
        entries = [] if entry["id"] in book.by_id else [entry]
    else:
        text = given if isinstance(given, str) else [json.dumps(dict(values)) for values in given]
        around["file"] = file
        entries = list(check_import(text, book, settings.sensors, settings.houses, now_s, **around))
    entered = {"entered_at": rfc3339(now_s)} | ({"by": by} if by else {})
    return [{**entered, **entry} for entry in entries]


def _time_given(given: str | Sequence[Mapping[str, Any]]) -> float:
    """What takes the place of a clock that cannot be right: the entries' own time; BookError without one."""
    problem = Problem("", "This computer's clock cannot be right.", hint="Set it, then import.")
    if not isinstance(given, str):
        try:
            return max(parse_rfc3339(str(entry["at"])) for entry in given)
        except (KeyError, ValueError):
            problem = Problem(
                "",
                "This computer's clock cannot be right, so the entry needs its time.",
                hint="Add it with its offset: --at 2026-12-09T10:00:00Z, or set the clock.",
            )
    raise BookError([problem])
