"""The morning report of an engine: its facts gathered, made into a value, drawn as text and as a page.

It looks into the engine and changes nothing; the report's words and choices are `monitor/report`'s.
"""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from monitor.model import Report
from monitor.morning import ahead
from monitor.morning.alarms import alarm_lines
from monitor.morning.follow_ups import calendar_text, follow_ups_now
from monitor.morning.houses import house_nights
from monitor.morning.series import Night
from monitor.morning.trees import tree_nights
from monitor.morning.week import week
from monitor.report import build, html, text
from monitor.report.facts import MorningFacts
from monitor.report.picture_facts import to_json
from monitor.trees.asks import WrapAsk

if TYPE_CHECKING:
    from monitor.engine import Engine

NIGHT_BEGINS = time(16, 0)
"""A report's night begins at four in the afternoon of the day before; local time."""
MISSED_AFTER = timedelta(minutes=45)
"""A report that has not come by then says that nobody guards."""


def morning_report(engine: "Engine", for_date: str, is_sent: bool = False) -> Report:
    """The report of a local date as of now; `is_sent` if the calendar asks for it."""
    value = build.build(morning_facts(engine, for_date, is_sent))
    return Report(
        engine.scenes.label_s(engine.now_s),
        for_date,
        value.subject,
        text.render(value),
        html.render(value),
        calendar_text(engine),
        to_json(value.pictures),
    )


def morning_facts(engine: "Engine", for_date: str, is_sent: bool = False) -> MorningFacts:
    """What the report of a local date is made from."""
    from monitor.views import other_unknowns

    day = date.fromisoformat(for_date)
    report_at = time.fromisoformat(engine.settings.site.report_at)
    yesterday = day - timedelta(days=1)
    night = Night(engine, _at(engine, yesterday, NIGHT_BEGINS), _at(engine, yesterday, report_at))
    watched = ahead.watched(engine)
    facts = MorningFacts(
        date=for_date,
        at_s=engine.now_s,
        from_s=night.from_s,
        since_s=night.since_s,
        due_s=_at(engine, day, report_at),
        missed_from=(datetime.combine(day, report_at) + MISSED_AFTER).strftime("%H:%M"),
        site=engine.settings.site.name,
        speech=engine.scenes.speech,
        is_sent=is_sent,
        first_seen_s=engine.first_seen_s,
        trees=tree_nights(engine, night, watched),
        alarms=alarm_lines(engine, night),
        follow_ups=follow_ups_now(engine),
        wrap_asks=tuple(WrapAsk(**ask) for ask in watched.get("wrap_asks", ())),
        off=engine.night_log.off_since(night.since_s),
        clock_steps=engine.night_log.steps_since(night.since_s),
        link_down_at_s=engine.silence.link_down_at_s,
        late_readings=engine.readings.counts.late,
        future_readings=engine.readings.counts.future,
        unknown=tuple(other_unknowns(engine)),
        outlook=ahead.outlooks(engine, watched, for_date),
        skill=ahead.skills(engine, watched),
        leaving=ahead.ready_to_leave(engine, watched),
        deaths=ahead.deaths(engine, watched),
        last_lows=ahead.last_lows(engine, night, day),
        week=week(engine, day, watched),
        has_liveness=engine.settings.liveness is not None,
    )
    return replace(facts, houses=house_nights(engine, night, facts))


def _at(engine: "Engine", day: date, at: time) -> float:
    """The guard instant of a local time."""
    local = datetime.combine(day, at, tzinfo=engine.settings.site.zone)
    return local.timestamp() - engine.scenes.speech.offset_s
