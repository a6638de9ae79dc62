"""What `status`, `plan show` and `tree show` print; values in, text out."""

from collections.abc import Callable, Mapping
from datetime import tzinfo
from typing import Any

from monitor.cli import outlook_words
from monitor.clock import local, parse_rfc3339
from monitor.notices.words import Speech, duration
from monitor.trees.book import Book
from monitor.trees.in_force import Raised, limits_in_force, with_raised
from monitor.trees.plans import Plans
from monitor.trees.stages import stages_of
from monitor.trees.tree import Tree

STATE_WORDS: Mapping[str, str] = {
    "unacknowledged": "not seen yet",
    "acknowledged": "seen",
    "returned-unacknowledged": "over, not seen yet",
    "shelved": "quiet",
    "suppressed": "held back",
    "out-of-service": "at rest",
}
LIMIT_WORDS: Mapping[str, tuple[str, str]] = {
    "low_warn_c": ("tender below", "°C"),
    "low_harm_c": ("damage likely below", "°C"),
    "high_warn_c": ("too warm above", "°C"),
    "high_harm_c": ("damage likely above", "°C"),
    "vpd_warn_kpa": ("drying air above", "kPa"),
    "root_warn_c": ("roots tender below", "°C"),
    "root_harm_c": ("roots damaged below", "°C"),
}


def limit_text(key: str, value: float, speech: Speech) -> str:
    """A limit in words, in the degrees that the site shows."""
    words, unit = LIMIT_WORDS[key]
    return f"{words} {speech.limit(value) if unit == '°C' else f'{value:g} {unit}'}"


def days(count: float) -> str:
    """`1 day`, `14 days`."""
    return f"{count:g} day" if count == 1 else f"{count:g} days"


def when(text: str, zone: tzinfo) -> str:
    """An instant as people of the site read it: `Sun 17 Jan 02:05`."""
    return local(parse_rfc3339(text), zone).strftime("%a %d %b %H:%M")


def date_time(text: str, zone: tzinfo) -> str:
    """An instant in the site's local time, as one gives it to `--at`: `2027-01-17 02:05`."""
    return local(parse_rfc3339(text), zone).strftime("%Y-%m-%d %H:%M")


def now_text(seen: Mapping[str, Any], speech: Speech, zone: tzinfo) -> str:
    """`status` for people: what needs them first, then what is not known, then the rest."""
    at = when(seen["at"], zone) if seen.get("at") else "not begun yet"
    lines = [f"{seen['site']}, {at}", ""]
    if seen["alarms"]:
        lines += [alarm_text(alarm, zone) for alarm in seen["alarms"]]
    else:
        lines.append("No alarm stands.")
    lines += _section("Not known", [str(text) for text in seen["unknown"]] or ["nothing"])
    for house in seen["houses"]:
        lines += _section(
            house.get("name") or house["house"], [_sensor(sensor, speech) for sensor in house["sensors"]]
        )
    lines += _section(
        "Trees", [_tree(tree, speech) for tree in seen["trees"]] or ["none is written down yet"]
    )
    lines += _section("Wraps", outlook_words.wrap_lines(seen))
    lines += _section("Warm days have made trees more tender", outlook_words.tender_lines(seen, speech))
    lines += _section("Tonight", outlook_words.tonight_lines(seen, speech))
    lines += _section("How the last forecasts did", outlook_words.skill_lines(seen, speech))
    lines += _section("Ways to reach you", [_way(way) for way in seen["delivery"]])
    lines += _section("Kept", _kept(seen["storage"]))
    return "\n".join(lines)


def _kept(sizes: Mapping[str, Any]) -> list[str]:
    """How much is kept, and how much room is left."""
    if not sizes:
        return []
    database = sizes["database_bytes"] + sizes["wal_bytes"]
    lines = [f"database {_size(database)}, raw messages {_size(sizes['recording_bytes'])}"]
    if sizes["set_aside_bytes"]:
        lines.append(f"damaged and set aside {_size(sizes['set_aside_bytes'])}")
    if sizes["free_bytes"] is not None:
        lines.append(f"room left on the disk {_size(sizes['free_bytes'])}")
    return lines


def _size(count: float) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{count / 1e6:.1f} MB"


def _section(title: str, lines: list[str]) -> list[str]:
    return ["", title, *(f"  - {line}" for line in lines)] if lines else []


def alarm_text(alarm: Mapping[str, Any], zone: tzinfo) -> str:
    """One alarm: how urgent, since when, what, and what to do."""
    state = STATE_WORDS.get(alarm["state"], alarm["state"])
    cause = alarm.get("cause") or alarm["alarm"]
    return (
        f"{alarm['priority'].upper()} since {when(alarm['since'], zone)}, {state}: {cause}\n"
        f"    What to do: {alarm['action']}\n"
        f"    Called: {alarm['alarm']}"
    )


def _sensor(sensor: Mapping[str, Any], speech: Speech) -> str:
    if sensor["temperature_c"] is None and sensor["relative_humidity_pct"] is None:
        return f"{sensor['sensor']} ({sensor['place']}): nothing heard yet"
    parts = [] if sensor["temperature_c"] is None else [speech.temperature(sensor["temperature_c"])]
    if sensor["relative_humidity_pct"] is not None:
        parts.append(f"{sensor['relative_humidity_pct']:.0f} % humidity")
    doubt = "" if sensor["quality"] == "good" else f", {sensor['quality'].replace('-', ' ')}"
    age = "" if sensor["age_s"] is None else f", {_age(sensor['age_s'])} ago"
    return f"{sensor['sensor']} ({sensor['place']}): {', '.join(parts)}{age}{doubt}"


def _age(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else duration(seconds)


def _tree(tree: Mapping[str, Any], speech: Speech) -> str:
    works = [work for work in tree["works"] if work["stage"] != "released"]
    done = "; ".join(f"{w['work'].replace('-', ' ')}, {w['stage']}, day {w['day']}" for w in works)
    text = f"{tree['name']}: {done or 'not tender'}"
    harm = tree["limits"].get("low_harm_c")
    if harm is not None:
        text += f"; damage likely below {speech.limit(harm['value'])}"
    margin_k = tree["margin_k"]
    if margin_k is None:
        return text + ("" if harm is None else "; how cold it is there is not known")
    return text + (
        f"; {speech.difference(margin_k)} above that now"
        if margin_k > 0
        else f"; {speech.difference(margin_k)} BELOW that now"
    )


def _way(way: Mapping[str, Any]) -> str:
    if way["last_error"]:
        return f"{way['notifier']}: failed last time, {way['last_error']}"
    waiting = f"{way['pending']} waiting" if way["pending"] else "nothing waiting"
    return f"{way['notifier']}: {waiting}"


def tree_text(
    tree: Tree,
    book: Book,
    plans: Plans,
    speech: Speech,
    now_s: float,
    warmth: Callable[[float], float | None] | None = None,
    raised: Raised | None = None,
) -> str:
    """A tree's record; `warmth`: degree-days since an instant, `raised`: frost limits after warm days."""
    stands = f"at sensor {tree.sensor}" if tree.sensor else (tree.place or "where no sensor is")
    lines = [f"{tree.name} ({tree.id}){', ' + tree.species if tree.species else ''}"]
    left = f"left on {speech.day_time(tree.left_at_s)}: {tree.left_reason}" if tree.left_at_s else ""
    lines.append(left or f"Stands {stands}.")
    stages = stages_of(tree, plans, now_s, warmth or (lambda since_s: None))
    lines += _section("Work", [f"{s.work}, {s.stage}, day {s.day}: {s.because}" for s in stages])
    limits = with_raised(limits_in_force(tree, stages, plans, now_s), raised)
    lines += _section(
        "Limits in force",
        [f"{limit_text(key, limit.value, speech)} ({limit.source})" for key, limit in limits.items()],
    )
    lines += _section("What was done", [entry_text(entry, speech.zone) for entry in book.mentions(tree.id)])
    return "\n".join(lines)


_NOT_ABOUT = frozenset({"id", "at", "kind", "entered_at"})


def entry_text(entry: Mapping[str, Any], zone: tzinfo) -> str:
    """One entry in a line."""
    return f"{date_time(entry['at'], zone)} {entry['kind']}: {about(entry)}"


def about(entry: Mapping[str, Any]) -> str:
    """What an entry says beside its kind and time."""
    parts = [
        f"{key} {','.join(value) if isinstance(value, list) else value}"
        for key, value in entry.items()
        if key not in _NOT_ABOUT
    ]
    return ", ".join(parts)
