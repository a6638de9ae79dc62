"""What is said after an entry was taken: what now holds for the tree, and what each entry says in a line.

It reads the guard's frozen values after the entry was committed, and promises nothing that they do not hold.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from monitor.clock import local, parse_rfc3339
from monitor.guarding import GuardedTree
from monitor.links import is_only_here
from monitor.notices.words import STANDS
from monitor.trees.stages import wrap_keep
from monitor.web import words

if TYPE_CHECKING:
    from monitor.web.frame import Frame

Entry = Mapping[str, Any]


def what_holds(frame: "Frame", entry: Entry) -> list[str]:
    """Sentences for the person who made this entry."""
    say = _OF_KIND.get(entry["kind"])
    found = say(frame, entry) if say is not None else [f"Written down: {line_of(frame, entry)}."]
    return [words.capital(text) for text in found if text]


def _guarded(frame: "Frame", entry: Entry) -> GuardedTree | None:
    return frame.guard.trees.get(entry.get("tree", ""))


# ---- one kind each -------------------------------------------------------------------------------------


def _tree(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    if guarded is None:
        return ["Written down."]
    told = [f"Written down: {guarded.tree.name}{_standing(frame, guarded)}."]
    return told if guarded.tree.works else [*told, "It counts as not tender until you tell of work on it."]


def _work(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    if guarded is None:
        return ["Written down."]
    return [
        f"{guarded.tree.name}: {stage_promise(frame, guarded, entry['id'])}; {wake_promise(frame, guarded)}."
    ]


def stage_promise(frame: "Frame", guarded: GuardedTree, entry: str = "") -> str:
    """`fresh until 24 January`: the stage of a work, or of the one that lasts longest."""
    tender = [stage for stage in guarded.stages if not stage.released]
    stage = next((each for each in tender if each.entry == entry), tender[-1] if tender else None)
    if stage is None:
        return "not tender"
    if stage.days_end_at_s is None:
        return stage.stage
    until = words.day_of(stage.days_end_at_s, frame.guard.settings.site.zone)
    later = ", longer if it stays cold" if stage.degree_days_k_d is not None else ""
    if stage.days_end_at_s <= frame.guard.label_s():
        return f"{stage.stage} until it has had its warmth"
    return f"{stage.stage} until {until}{later}"


def wake_promise(frame: "Frame", guarded: GuardedTree) -> str:
    """`I wake you below 0 °C`, and what keeps that from being so."""
    speech, limits = frame.guard.speech, guarded.limits
    harm_c, warn_c = limits.get("low_harm_c"), limits.get("low_warn_c")
    if guarded.tree.sensor not in frame.guard.settings.sensors:
        return "no sensor is where it stands, so nobody wakes you"
    said = []
    if harm_c is not None:
        said.append(f"I wake you below {speech.limit(harm_c)}")
    if warn_c is not None:
        said.append(
            f"tell you below {speech.limit(warn_c)}" if said else f"I tell you below {speech.limit(warn_c)}"
        )
    if not said:
        return "no frost limit is held"
    return ", ".join(said)


def _wrap(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    found = [w for w in guarded.tree.wraps_on if w.wrap == entry["wrap"]] if guarded else []
    if guarded is None or not found:
        return ["Written down."]
    keep = wrap_keep(found[-1], guarded.stages)
    asked = "it must stay damp: I ask you to feel it" if keep == "damp" else "it may dry"
    return [f"{words.plain(entry['wrap'])} of {guarded.tree.name} is wrapped; {asked}."]


def _touch(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    name = guarded.tree.name if guarded else entry["tree"]
    feel = entry["feel"]
    felt = "could not be told" if feel == "cannot-tell" else f"felt {words.plain(feel)}"
    doubt = (_believed(frame, entry["tree"], entry["wrap"]).get("felt") or {}).get("doubt", "")
    counted = f"Written down, not counted ({doubt})" if doubt else "Counted"
    return [
        f"{counted}: {words.plain(entry['wrap'])} of {name} {felt}.",
        estimate_of(frame, entry["tree"], entry["wrap"]),
    ]


def _rewet(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    name = guarded.tree.name if guarded else entry["tree"]
    return [
        f"Counted: {words.plain(entry['wrap'])} of {name} was wetted again.",
        estimate_of(frame, entry["tree"], entry["wrap"]),
    ]


def estimate_of(frame: "Frame", tree: str, wrap: str) -> str:
    """What is thought of a wrap now, where anybody wants to know."""
    seen = _believed(frame, tree, wrap)
    if seen.get("keep") != "damp" and seen.get("feel") in (None, "unknown"):
        return ""
    return str(seen.get("thought", ""))


def _believed(frame: "Frame", tree: str, wrap: str) -> Mapping[str, Any]:
    for seen in frame.guard.snapshot.wraps:
        if (seen.get("tree"), seen.get("wrap")) == (tree, wrap):
            return seen
    return {}


def _unwrap(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    if guarded is None:
        return ["Written down."]
    left = len(guarded.tree.wraps_on)
    rest = f"{words.counted(left, 'wrap')} left on it" if left else "no wrap is left on it"
    return [f"{words.plain(entry['wrap'])} of {guarded.tree.name} is off; {rest}."]


def _wire(frame: "Frame", entry: Entry) -> list[str]:
    check = "guy-check" if entry["kind"] == "guy" else "wire-check"
    return [f"{line_of(frame, entry)}.", _next(frame, entry, check)]


def _done(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    name = guarded.tree.name if guarded else entry["tree"]
    said = f"{words.plain(entry['follow_up'])} of {name} is done."
    return [words.capital(said), _next(frame, entry, entry["follow_up"]) or "It is not due again."]


def _next(frame: "Frame", entry: Entry, name: str) -> str:
    guarded = _guarded(frame, entry)
    due = frame.warmth.follow_ups(frame.guard, guarded) if guarded else ()
    found = next((each for each in due if each.name == name), None)
    return f"{found.label}: next on {words.day(found.due_on)}." if found else ""


def _finding(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    due = frame.warmth.follow_ups(frame.guard, guarded) if guarded else ()
    asked = next((each for each in due if each.status != "coming"), None)
    return [f"{line_of(frame, entry)}.", f"To do: {asked.text}" if asked else ""]


def _move(frame: "Frame", entry: Entry) -> list[str]:
    if "house" in entry:
        return [f"{line_of(frame, entry)}."]
    trees = [frame.guard.trees[name] for name in entry["trees"] if name in frame.guard.trees]
    return [f"{guarded.tree.name}{_standing(frame, guarded)}." for guarded in trees]


def _standing(frame: "Frame", guarded: GuardedTree) -> str:
    """Where it stands and how it is there."""
    sensor = guarded.tree.sensor
    if sensor not in frame.guard.settings.sensors or sensor is None:
        place = STANDS.get(guarded.tree.place, "where no sensor is")
        return f" is {place} now: not watched there"
    seen = {each["tree"]: each for each in frame.guard.snapshot.trees}.get(guarded.tree.id)
    margin_k = seen["margin_k"] if seen else None
    if margin_k is None:
        return f" stands at {sensor} now"
    return f" stands at {sensor} now, {words.distance(frame.guard.speech, margin_k)} its frost line"


def _limit(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    name = guarded.tree.name if guarded else entry["tree"]
    key = entry["limit"]
    value = words.limit_value(frame.guard.speech, key, float(entry["value"]))
    until = (
        f" until the end of {words.day(words.local_day(entry['until'], _zone(frame)))}"
        if "until" in entry
        else ""
    )
    said = f"{name}: {words.LIMITS[key]} {value}{until}"
    woken = f"; {wake_promise(frame, guarded)}" if guarded and key.startswith("low_") else ""
    return [f"{said}{woken}."]


def _release(frame: "Frame", entry: Entry) -> list[str]:
    guarded = _guarded(frame, entry)
    if guarded is None:
        return ["Written down."]
    rest = "still tender from other work" if guarded.is_tender else "not tender any more"
    said = f"{guarded.tree.name} is over its {words.plain(entry['work'])}: {rest}"
    return [f"{said}; {wake_promise(frame, guarded)}."]


def _leave(frame: "Frame", entry: Entry) -> list[str]:
    tree = frame.guard.book.trees.get(entry["tree"])
    return [f"{tree.name if tree else entry['tree']} has left: I no longer watch it."]


def _rest(frame: "Frame", entry: Entry) -> list[str]:
    until_s = parse_rfc3339(entry["until"])
    if until_s <= frame.guard.label_s() + 1:
        return [f"{entry['sensor']} is back."]
    at = words.when(until_s, _zone(frame), frame.guard.label_s())
    trees = [tree.name for tree in frame.guard.book.trees_at(entry["sensor"])]
    unseen = f"; nobody watches {words.listed(trees)} until then" if trees else ""
    return [f"{entry['sensor']} is at rest until {at}{unseen}."]


def _duty(frame: "Frame", entry: Entry) -> list[str]:
    until = words.when(parse_rfc3339(entry["until"]), _zone(frame), frame.guard.label_s())
    who = words.capital(entry["person"])
    only_here = "Only this machine finds that address: first say the page's own name in hosts under [web]."
    return [
        f"{who} looks after the trees until {until}, and is called, too.",
        f"Send this link to {who}, and to nobody else: {frame.duty_link(entry['id'])}",
        only_here if is_only_here(frame.guard.settings.web) else "",
    ]


def _void(frame: "Frame", entry: Entry) -> list[str]:
    meant = frame.guard.book.by_id.get(entry["entry"])
    return [f"Taken back: {line_of(frame, meant)}." if meant else "Taken back."]


_OF_KIND: Mapping[str, Callable[["Frame", Entry], list[str]]] = {
    "tree": _tree,
    "work": _work,
    "wrap": _wrap,
    "touch": _touch,
    "rewet": _rewet,
    "unwrap": _unwrap,
    "wire": _wire,
    "guy": _wire,
    "done": _done,
    "finding": _finding,
    "move": _move,
    "limit": _limit,
    "release": _release,
    "leave": _leave,
    "rest": _rest,
    "duty": _duty,
    "void": _void,
}


# ---- one line an entry ---------------------------------------------------------------------------------


def _zone(frame: "Frame") -> Any:
    return frame.guard.settings.site.zone


def line_of(frame: "Frame", entry: Entry, with_tree: bool = True) -> str:
    """One entry as a person reads it in the record: `Larch 3: first branch felt damp`."""
    tree = frame.guard.book.trees.get(entry.get("tree", ""))
    said = _line(frame, entry)
    note = f" ({entry['note']})" if entry.get("note") and entry["kind"] != "note" else ""
    name = (tree.name if tree is not None else entry.get("name", "")) if with_tree else ""
    return words.capital(f"{name}: {said}{note}" if name else f"{said}{note}")


def _line(frame: "Frame", entry: Entry) -> str:
    kind, part = entry["kind"], words.plain(entry.get("part", ""))
    wrap = words.plain(entry.get("wrap", ""))
    at = f"at {entry['sensor']}" if "sensor" in entry else STANDS.get(entry.get("to", ""), "")
    metal = " ".join(
        str(each) for each in (entry.get("metal"), f"{entry['mm']} mm" if "mm" in entry else "") if each
    )
    on = f" on {part}" if part else ""
    lines: Mapping[str, str] = {
        "tree": ", ".join(each for each in ("written down", entry.get("species", ""), at) if each),
        "work": words.plain(entry.get("work", "")),
        "wrap": f"{wrap} wrapped, {entry.get('fibre', '')}" + _over(entry.get("cover", "none")),
        "touch": f"{wrap} felt {words.plain(entry.get('feel', ''))}",
        "rewet": f"{wrap} wetted again",
        "unwrap": f"{wrap} unwrapped",
        "wire": f"wire put on {part}{f', {metal}' if metal else ''}",
        "unwire": f"wire taken off {part}",
        "guy": f"guy put on {part}{f', {metal}' if metal else ''}",
        "unguy": f"guy taken off {part}",
        "move": f"{_moved(frame, entry)} moved {at}",
        "done": f"{words.plain(entry.get('follow_up', ''))} done{on}",
        "finding": f"{words.plain(entry.get('found', ''))} seen{on}",
        "limit": _limit_line(frame, entry),
        "release": f"over its {words.plain(entry.get('work', ''))}",
        "leave": f"left: {entry.get('reason', '')}",
        "heater": f"heater of {entry.get('house', '')} set to {entry.get('setpoint_c', '')} °C",
        "rest": f"{entry.get('sensor', '')} at rest until {_until(frame, entry)}",
        "duty": f"{entry.get('person', '')} on duty until {_until(frame, entry)}",
        "note": entry.get("note", ""),
        "void": "an entry was taken back",
    }
    return lines.get(kind, kind)


def _over(cover: str) -> str:
    return "" if cover == "none" else f" under {words.plain(cover)}"


def _moved(frame: "Frame", entry: Entry) -> str:
    if "house" in entry:
        house = frame.guard.settings.houses.get(entry["house"])
        return f"all of {(house.name if house else '') or entry['house']}"
    trees = frame.guard.book.trees
    return words.listed([trees[name].name if name in trees else name for name in entry.get("trees", ())])


def _limit_line(frame: "Frame", entry: Entry) -> str:
    if entry["kind"] != "limit":
        return ""
    value = words.limit_value(frame.guard.speech, entry["limit"], float(entry["value"]))
    return f"{words.LIMITS[entry['limit']]} {value}, your own: {entry['reason']}"


def _until(frame: "Frame", entry: Entry) -> str:
    if "until" not in entry:
        return ""
    return f"{local(parse_rfc3339(entry['until']), _zone(frame)):%d %b %H:%M}"
