"""What the engine must remember beside alarms, episodes and what was learnt: rows of the table `site`."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from monitor.model import Effects, Row, Saved
from monitor.readings import Counts
from monitor.trees.book import Book

if TYPE_CHECKING:
    from monitor.engine import Engine


def load(engine: "Engine", saved: Saved, entries: Iterable[Mapping[str, Any]]) -> None:
    """Take over what was saved, and the book."""
    rows, site = saved.rows, saved.rows.get("site", {})
    known = site.get("engine", {})
    engine.readings.load(saved.readings)
    engine.board.load(rows.get("alarm", {}))
    engine.desk.load(rows.get("episode", {}))
    engine.guarding.thermal.add(saved.hours)
    engine.hours.add(saved.hours)
    for watch in engine.watches:
        watch.load(rows.get("learned", {}))
    engine.reports = dict.fromkeys(saved.reports, "")
    engine.set_offset(known.get("offset_s", 0.0))
    labels = Book.fold(entries, engine.book.house_of)
    engine.told.load(labels, engine.scenes.speech.offset_s, site.get("handed_in", {}))
    engine.hours_done_to_s = known.get("hours_done_to_s")
    engine.first_seen_s = known.get("first_seen_s", 0.0)
    engine.drilled = known.get("drilled", "")
    engine.standing.load(site.get("stages", {}))
    engine.troubles.load(site.get("troubles", {}))
    engine.night_log.load(site.get("night_log", {}))
    counted = dict(site.get("counts", {}))
    engine.notes = list(counted.pop("notes", ()))
    engine.readings.counts = Counts(**counted)
    off = known.get("off_span")
    engine.scenes.off_span = (off[0], off[1]) if off else None
    _load_silence(engine, known)
    engine.resting.load(engine.board, site.get("rests", {}), engine.settings.sensors)
    engine.now_s = saved.last_commit_at_s or 0.0
    engine.occurrences.load(rows.get("occurrence", {}), engine.now_s)
    for notice, _ in saved.outbox:
        at_s = notice.at_s - engine.scenes.speech.offset_s
        engine.deliveries.waiting[(notice.notice, notice.notifier)] = at_s


def _load_silence(engine: "Engine", known: Mapping[str, Any]) -> None:
    engine.silence.load(
        {row.subject for row in engine.board if row.kind == "sensor-silent" and row.active},
        known.get("link_down_at_s"),
        known.get("grace_from_s", 0.0),
        engine.board.get("broker-lost", "site").active,
    )


def whole(engine: "Engine") -> Effects:
    """Every row there is, for a store that has begun anew."""
    learnt = (row for watch in engine.watches for row in watch.rows())
    kept = (*engine.board.rows(), *engine.occurrences.rows(), *engine.desk.rows())
    return Effects(rows=(*kept, *site_rows(engine), counts_row(engine), *learnt))


def site_rows(engine: "Engine") -> tuple[Row, ...]:
    """What is known of the site as a whole."""
    off = engine.scenes.off_span
    known = {
        "offset_s": engine.scenes.speech.offset_s,
        "hours_done_to_s": engine.hours_done_to_s,
        "link_down_at_s": engine.silence.link_down_at_s,
        "grace_from_s": engine.silence.grace_from_s,
        "off_span": list(off) if off else None,
        "first_seen_s": engine.first_seen_s,
        "drilled": engine.drilled,
    }
    return (
        Row("site", "engine", known),
        Row("site", "stages", engine.standing.as_json()),
        Row("site", "troubles", engine.troubles.as_json()),
        Row("site", "rests", engine.resting.as_json()),
        Row("site", "handed_in", engine.told.as_json()),
        Row("site", "night_log", engine.night_log.as_json()),
    )


def counts_row(engine: "Engine") -> Row:
    """What was counted since the last report, and what is to be noted in the next."""
    return Row("site", "counts", engine.readings.counts.as_json() | {"notes": list(engine.notes)})
