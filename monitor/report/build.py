"""The morning report from its facts: order, choice and words; no layout, no clock.

The order is that of need: the verdict, what to do today, the night, the trees, what rang, what was not seen,
tonight, the week to come, the foot. Whatever is not known is said, never left out.
"""

from datetime import date

from monitor.report.ahead import skill_lines, tonight, tree_notes, week_lines
from monitor.report.alarms import alarm_lines
from monitor.report.asks import asks, coming_week
from monitor.report.facts import MorningFacts
from monitor.report.nights import house_parts, more_said, tree_rows
from monitor.report.times import Times, day, lasted
from monitor.report.unseen import not_seen
from monitor.report.value import MorningReport
from monitor.report.verdict import verdict
from monitor.report.wording import sentence
from monitor.safety import SAFETY_LINES

ASKS_AT_MOST = 7
LATE_FROM_S = 600.0
SUBJECT_AT_MOST = 110


def build(facts: MorningFacts) -> MorningReport:
    """The report of one morning."""
    on = date.fromisoformat(facts.date)
    times = Times(facts.speech, on, facts.from_s, facts.at_s)
    found = asks(facts, times)
    rows, more = tree_rows(facts, times)
    said = verdict(facts, times)
    return MorningReport(
        date=facts.date,
        subject=_subject(facts, on, said),
        verdict=sentence(said),
        place_and_time=f"{facts.site}, {times.full(facts.at_s)}",
        remarks=tuple(sentence(remark) for remark in _remarks(facts, times)),
        today=tuple(found[:ASKS_AT_MOST]),
        can_wait=max(0, len(found) - ASKS_AT_MOST),
        night_title=f"The night, {times.span(facts.watch_from_s, facts.at_s)}",
        night=house_parts(facts, times),
        trees=rows,
        tree_notes=tree_notes(facts, times),
        more_trees=more,
        more_trees_said=more_said(more),
        alarms=alarm_lines(facts, times),
        not_seen=not_seen(facts, times),
        tonight=tonight(facts),
        skill=skill_lines(facts),
        coming=coming_week(facts),
        week=week_lines(facts),
        foot=_foot(facts),
        safety=SAFETY_LINES,
    )


def _subject(facts: MorningFacts, on: date, said: str) -> str:
    """The mail's subject: place, day, and as much of the verdict as a list of mails shows."""
    subject = f"{facts.site}, {day(on)}: {said}"
    if len(subject) <= SUBJECT_AT_MOST:
        return subject
    return subject[:SUBJECT_AT_MOST].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def _remarks(facts: MorningFacts, times: Times) -> list[str]:
    found = []
    late_s = facts.at_s - facts.due_s
    if facts.is_sent and late_s >= LATE_FROM_S:
        found.append(f"this report is {lasted(late_s)} late: it was due {times.at(facts.due_s)}")
    if len(times.zones) > 1:
        zones = ", ".join(times.zones)
        found.append(f"the clocks changed in this night; each time says which it is ({zones})")
    return found


def _foot(facts: MorningFacts) -> tuple[str, ...]:
    lines = [f"No report by {facts.missed_from} means that I am not running."]
    if not facts.has_liveness:
        lines.append("Nobody outside listens whether I live: a power cut will be silent.")
    return tuple(lines)
