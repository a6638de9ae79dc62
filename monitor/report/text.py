"""The morning report as plain text, complete on its own; it lays a value out and decides nothing.

Lines are broken for a mail program of eighty columns; nothing depends on letters of equal width.
"""

import textwrap
from collections.abc import Iterable, Sequence

from monitor.report.value import NOTHING_MISSED, Ask, HouseNightPart, MorningReport, SensorRow, TreeRow
from monitor.report.wording import held, sentence

WIDTH = 76


def render(report: MorningReport) -> str:
    """The whole page."""
    parts = [
        *_filled(report.verdict),
        report.place_and_time,
        *(line for remark in report.remarks for line in _filled(remark)),
        *_section("Today", _today(report)),
        *_section(report.night_title, _night(report.night)),
        *_section("Trees", _trees(report)),
        *_section("Alarms", _items(report.alarms, "No alarms.")),
        *_section("Not seen or not known", _items(report.not_seen, NOTHING_MISSED)),
        *_section("Tonight", _items(report.tonight)),
        *_section("How good the last forecasts were", _items(report.skill)),
        *_section("The coming week", _items([f"{on}: {what}" for on, what in report.coming])),
        *_section("The week that was", _items(report.week)),
        *_section("The other trees", _rows(report.more_trees)),
        "",
        *(line for said in report.foot for line in _filled(said)),
        "",
        *(line for said in report.safety for line in _filled(said)),
    ]
    return "\n".join(parts) + "\n"


def _filled(text: str, first: str = "", rest: str = "") -> list[str]:
    """The text in lines; a number stays with its unit, and with the word before it."""
    lines = textwrap.wrap(
        held(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]


def _section(title: str, lines: Sequence[str]) -> list[str]:
    """A title and its lines; nothing where there are none."""
    return ["", title, "-" * len(title), *lines] if lines else []


def _items(said: Iterable[str], none: str = "") -> list[str]:
    found = [line for each in said for line in _filled(each, "- ", "  ")]
    return found or ([none] if none else [])


def _today(report: MorningReport) -> list[str]:
    if not report.today:
        return ["Nothing is asked of you."]
    lines = [line for number, ask in enumerate(report.today, start=1) for line in _ask(number, ask)]
    return [*lines, f"{report.can_wait} more can wait."] if report.can_wait else lines


def _ask(number: int, ask: Ask) -> list[str]:
    return [
        *_filled(sentence(f"{ask.about}: {ask.what}"), f"{number}. ", "   "),
        *_filled(sentence(f"{ask.why}; {ask.wait}"), "   ", "   "),
    ]


def _night(night: Sequence[HouseNightPart]) -> list[str]:
    if not night:
        return ["No house has a sensor yet."]
    lines: list[str] = []
    for part in night:
        lines += [part.name, *_items(_sensor(row) for row in part.rows), *_items(part.said)]
    return lines


def _sensor(row: SensorRow) -> str:
    name = f"{row.sensor} ({row.where})" if row.where else row.sensor
    if not row.at:
        return f"{name}: {row.lowest}"
    return f"{name}: lowest {row.lowest} at {row.at}, highest {row.highest}"


def _trees(report: MorningReport) -> list[str]:
    if not report.trees:
        return ["No tree is written down yet."]
    more = _filled(sentence(report.more_trees_said)) if report.more_trees_said else []
    return [*_rows(report.trees), *more, *_items(report.tree_notes)]


def _rows(rows: Sequence[TreeRow]) -> list[str]:
    return [line for row in rows for line in _row(row)]


def _row(row: TreeRow) -> list[str]:
    wraps = f"wraps on: {row.wraps}" if row.wraps else ""
    following = f"next: {row.next_step}" if row.next_step else ""
    first = f"{row.mark.shape} {row.name}, {row.mark.word}: {row.margin}".rstrip(": ")
    details = "; ".join(filter(None, (row.works, wraps, following)))
    return [*_filled(first, "", "  "), *_filled(details, "  ", "  ")]
