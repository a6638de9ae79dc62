"""What each kind of entry about one tree makes of that tree; pure.

Entries come in their written form, in order of their time, and count; whether they may be taken is judged
elsewhere.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from monitor.clock import parse_rfc3339
from monitor.trees.tree import Done, Finding, OwnLimit, Placement, Touch, Tree, Wire, Work, Wrap

Values = Mapping[str, Any]

USUAL_THICKNESS_MM: Mapping[str, float] = {"raffia": 1.5, "cloth": 1.0, "sphagnum": 10.0}
"""How thick a wrap of each fibre usually is; judgement."""


def _tree(tree: Tree, values: Values, at_s: float) -> Tree:
    named = {key: values[key] for key in ("name", "species", "evergreen", "pot_litres") if key in values}
    if "pot_sensor" in values:
        named["pot_sensor"] = values["pot_sensor"]
    tree = replace(tree, **named)
    if "sensor" in values or "to" in values or not tree.placements:
        return tree.with_placement(Placement(at_s, values.get("sensor"), values.get("to", "")))
    return tree


def _work(tree: Tree, values: Values, at_s: float) -> Tree:
    work = Work(
        values["id"], values["work"], at_s, values.get("note", ""), entered_at_s=_entered_at_s(values, at_s)
    )
    return replace(tree, works=(*tree.works, work))


def _release(tree: Tree, values: Values, at_s: float) -> Tree:
    works = tuple(
        replace(work, released_at_s=at_s, released_entry=values["id"])
        if work.work == values["work"] and work.released_at_s is None
        else work
        for work in tree.works
    )
    return replace(tree, works=works)


def _wrap(tree: Tree, values: Values, at_s: float) -> Tree:
    fibre = values["fibre"]
    wrap = Wrap(
        values["id"],
        values["wrap"],
        at_s,
        fibre,
        values.get("cover", "none"),
        values.get("branch_mm", 20.0),
        values.get("thickness_mm", USUAL_THICKNESS_MM.get(fibre, 1.5)),
        values.get("keep"),
    )
    return replace(tree, wraps=(*_unwrapped(tree.wraps, wrap.wrap, at_s), wrap))


def _unwrapped(wraps: tuple[Wrap, ...], name: str, at_s: float) -> tuple[Wrap, ...]:
    return tuple(
        replace(wrap, off_at_s=at_s) if wrap.wrap == name and wrap.off_at_s is None else wrap
        for wrap in wraps
    )


def _unwrap(tree: Tree, values: Values, at_s: float) -> Tree:
    return replace(tree, wraps=_unwrapped(tree.wraps, values["wrap"], at_s))


def _with_wrap(tree: Tree, name: str, change: Callable[[Wrap], Wrap]) -> Tree:
    """The tree with its wrap of that name changed, if one is on."""
    return replace(
        tree,
        wraps=tuple(
            change(wrap) if wrap.wrap == name and wrap.off_at_s is None else wrap for wrap in tree.wraps
        ),
    )


def _touch(tree: Tree, values: Values, at_s: float) -> Tree:
    touch = Touch(values["id"], at_s, values["feel"], values.get("how", "touch"))
    return _with_wrap(tree, values["wrap"], lambda wrap: replace(wrap, touches=(*wrap.touches, touch)))


def _rewet(tree: Tree, values: Values, at_s: float) -> Tree:
    return _with_wrap(tree, values["wrap"], lambda wrap: replace(wrap, rewets=(*wrap.rewets, at_s)))


def _wire(tree: Tree, values: Values, at_s: float) -> Tree:
    wire = Wire(
        values["id"],
        values["kind"],
        values["part"],
        at_s,
        values.get("metal", ""),
        values.get("mm"),
        entered_at_s=_entered_at_s(values, at_s),
    )
    return replace(tree, wires=(*_unwired(tree.wires, wire.kind, wire.part, at_s), wire))


def _unwired(wires: tuple[Wire, ...], kind: str, part: str, at_s: float) -> tuple[Wire, ...]:
    return tuple(
        replace(wire, off_at_s=at_s)
        if (wire.kind, wire.part) == (kind, part) and wire.off_at_s is None
        else wire
        for wire in wires
    )


def _unwire(tree: Tree, values: Values, at_s: float) -> Tree:
    kind = "wire" if values["kind"] == "unwire" else "guy"
    return replace(tree, wires=_unwired(tree.wires, kind, values["part"], at_s))


def _done(tree: Tree, values: Values, at_s: float) -> Tree:
    done = Done(
        values["id"],
        at_s,
        values["follow_up"],
        values.get("part", ""),
        values.get("note", ""),
        _entered_at_s(values, at_s),
    )
    return replace(tree, done=(*tree.done, done))


def _finding(tree: Tree, values: Values, at_s: float) -> Tree:
    finding = Finding(
        values["id"],
        at_s,
        values["found"],
        values.get("part", ""),
        values.get("note", ""),
        _entered_at_s(values, at_s),
    )
    return replace(tree, findings=(*tree.findings, finding))


def _limit(tree: Tree, values: Values, at_s: float) -> Tree:
    until = values.get("until")
    limit = OwnLimit(
        values["id"],
        values["limit"],
        values["value"],
        values["reason"],
        at_s,
        parse_rfc3339(until) if until else None,
        values.get("by", ""),
    )
    return replace(tree, own_limits=(*tree.own_limits, limit))


def _leave(tree: Tree, values: Values, at_s: float) -> Tree:
    if tree.left_at_s is not None:
        return tree
    return replace(tree, left_at_s=at_s, left_reason=values["reason"])


OF_TREE: Mapping[str, Callable[[Tree, Values, float], Tree]] = {
    "tree": _tree,
    "work": _work,
    "release": _release,
    "wrap": _wrap,
    "unwrap": _unwrap,
    "touch": _touch,
    "rewet": _rewet,
    "wire": _wire,
    "guy": _wire,
    "unwire": _unwire,
    "unguy": _unwire,
    "done": _done,
    "finding": _finding,
    "limit": _limit,
    "leave": _leave,
}


def _entered_at_s(values: Values, at_s: float) -> float:
    entered = values.get("entered_at")
    return parse_rfc3339(entered) if entered else at_s
