"""The page of record: what was felt, wetted, taken off or done in one tap, and the forms for all the rest."""

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from monitor.errors import BookError, Problem
from monitor.trees.entries import check_entry, tree_id_from_name
from monitor.trees.follow_ups import follow_up_names
from monitor.trees.kinds import ENTRY_KINDS, FEELS
from monitor.web import forms, saying, words
from monitor.web.forms import Ground
from monitor.web.frame import Frame
from monitor.web.pages.tree import due_lines, record_lines, wrap_now
from monitor.web.visit import Visit

LINES = 12
OFFERED = ("tree", "work", "wrap", "wire", "unwire", "move", "finding", "limit", "note")
MORE = ("guy", "unguy", "heater", "release", "leave")
MAY_HELP = frozenset({"touch", "rewet", "done"})
"""What somebody on duty may write down."""
QUICK = frozenset({"touch", "rewet", "unwrap", "done"})


def record(visit: Visit) -> Response:
    """Every wrap and everything due, one tap each; below them the forms."""
    frame = visit.frame
    asked = [ask["tree"] for ask in frame.guard.snapshot.more.get("wrap_asks", ()) if not ask["can_wait"]]
    place = {tree: index for index, tree in reversed(list(enumerate(asked)))}
    trees = sorted(
        frame.guard.trees.values(),
        key=lambda guarded: (place.get(guarded.tree.id, len(asked)), guarded.tree.name),
    )
    rows = []
    for guarded in trees:
        wraps = [wrap_now(frame, guarded, wrap) for wrap in guarded.tree.wraps_on]
        due = [(each, when) for each, when in due_lines(frame, guarded) if each.status != "coming"]
        if wraps or due:
            rows.append((guarded.tree, wraps, due))
    entries = frame.guard.book.entries
    return frame.page(
        visit,
        "record.html",
        "Record",
        "record",
        rows=rows,
        feels=FEELS,
        offered=[(kind, forms.TITLES[kind]) for kind in OFFERED],
        more=[(kind, forms.TITLES[kind]) for kind in MORE],
        has_trees=bool(trees),
        record=record_lines(frame, entries[-4 * LINES :])[:LINES],
    )


def do(visit: Visit) -> Response:
    """One tap: `touch/larch-3/first-branch/damp`, `rewet/...`, `unwrap/...`, `done/larch-3/wire-check`."""
    parts = visit.form.get("do").split("/")
    entry = _quick_entry(parts)
    if entry is None or (not visit.is_owner and entry["kind"] not in MAY_HELP):
        return visit.to(visit.back, "That is nothing that can be done here.", is_problem=True)
    return hand_in(visit, [entry], f"{visit.form.get('once')}-{visit.form.get('do')}", visit.back)


def _quick_entry(parts: Sequence[str]) -> dict[str, str] | None:
    keys = {"touch": ("tree", "wrap", "feel"), "rewet": ("tree", "wrap"), "unwrap": ("tree", "wrap")}
    keys["done"] = ("tree", "follow_up", "part") if len(parts) == 4 else ("tree", "follow_up")
    if parts[0] not in keys or len(parts) != len(keys[parts[0]]) + 1:
        return None
    return {"kind": parts[0], **dict(zip(keys[parts[0]], parts[1:], strict=True))}


# ---- forms ---------------------------------------------------------------------------------------------


def form(visit: Visit) -> Response:
    """The form of one kind of entry."""
    kind = visit.part("kind")
    if kind not in forms.TITLES or kind not in ENTRY_KINDS:
        return visit.frame.stopped(visit, 404, "There is no such form.")
    given = dict(visit.request.query_params)
    if kind == "tree" and visit.asked("like"):
        given = _like(visit.frame, visit.asked("like"))
    elif kind == "tree" and visit.asked("tree"):
        given |= _as_it_is(visit.frame, visit.asked("tree"))
    if "tree" in given and kind == "move":
        given["trees"] = given["tree"]
    return _draw(visit, kind, given)


def _like(frame: Frame, which: str) -> dict[str, str]:
    """Species, place and work of the last tree that was written down, or of a named one."""
    trees = [each for each in frame.guard.book.entries if each["kind"] == "tree"]
    name = trees[-1]["tree"] if which == "last" and trees else which
    tree = frame.guard.book.trees.get(name)
    if tree is None:
        return {}
    given = {"species": tree.species, "sensor": tree.sensor or "", "to": tree.place}
    return given | ({"work": tree.works[-1].work} if tree.works else {})


def _as_it_is(frame: Frame, name: str) -> dict[str, str]:
    tree = frame.guard.book.trees.get(name)
    if tree is None:
        return {}
    pot = f"{tree.pot_litres:g}" if tree.pot_litres else ""
    leaves = {True: "yes", False: "no", None: ""}[tree.evergreen]
    return {
        "name": tree.name,
        "species": tree.species,
        "sensor": tree.sensor or "",
        "to": tree.place,
        "pot_litres": pot,
        "pot_sensor": tree.pot_sensor or "",
        "evergreen": leaves,
    }


def _draw(visit: Visit, kind: str, given: Mapping[str, str], problems: Sequence[Problem] = ()) -> Response:
    ground = ground_of(visit.frame, given)
    asked = forms.questions(kind, ground, problems)
    shown = {question.name for question in asked if question.problem}
    title = (
        f"Change {given['name']}"
        if kind == "tree" and given.get("tree") and given.get("name")
        else forms.TITLES[kind]
    )
    return visit.frame.page(
        visit,
        "form.html",
        title,
        "record",
        200 if not problems else 422,
        kind=kind,
        questions=asked,
        problems=[words.capital(f"{p.message} {p.hint}".strip()) for p in problems if p.key not in shown],
        is_wrong=bool(problems),
        may_copy=kind == "tree" and not given.get("tree") and bool(visit.frame.guard.trees),
        back=visit.back
        if visit.form.values
        else ("/tree/" + given["tree"] if given.get("tree") else "/record"),
        help=ENTRY_KINDS[kind].help,
    )


def ground_of(frame: Frame, given: Mapping[str, str]) -> Ground:
    """What the forms may offer now."""
    guarded = frame.guard.trees.get(given.get("tree", ""))
    due = [each for each, _when in due_lines(frame, guarded)]
    names = {each.name: each.label for each in due} or {
        name: words.capital(words.plain(name)) for name in sorted(follow_up_names(frame.guard.plans))
    }
    return Ground(
        frame.guard.book,
        frame.guard.settings,
        list(names.items()),
        frame.guard.label_s(),
        given.get("tree", ""),
        given,
    )


def send(visit: Visit) -> Response:
    """A form that was filled in: checked field by field, then handed to the guard."""
    kind = visit.part("kind")
    if kind not in forms.TITLES or kind not in ENTRY_KINDS:
        return visit.frame.stopped(visit, 404, "There is no such form.")
    given = visit.form.flat | {"trees": ",".join(visit.form.all("trees"))}
    ground = ground_of(visit.frame, given)
    entries = forms.entries_of(kind, visit.form.values, ground)
    problems = [*_taken(kind, given, visit.frame), *_checked(entries[0], visit.frame)]
    if problems:
        return _draw(visit, kind, given, problems)
    back = visit.back if visit.form.get("back") else "/record"
    if kind == "tree":
        back = f"/tree/{given.get('tree') or tree_id_from_name(given.get('name', ''))}"
    return hand_in(visit, entries, visit.form.get("once"), back, (kind, given))


def _taken(kind: str, given: Mapping[str, str], frame: Frame) -> list[Problem]:
    """A new tree must not change another of the same name."""
    made = tree_id_from_name(given.get("name", ""))
    if kind != "tree" or given.get("tree") or made not in frame.guard.book.trees:
        return []
    return [
        Problem(
            "",
            "there is a tree of this name already.",
            "name",
            hint="Give it another: Larch 4, or Larch 3 b.",
        )
    ]


def _checked(entry: Mapping[str, Any], frame: Frame) -> Sequence[Problem]:
    """What is wrong with an entry, a field each, before anything is asked of the guard."""
    guard = frame.guard
    try:
        check_entry(
            entry,
            guard.book,
            guard.settings.sensors,
            guard.settings.houses,
            guard.label_s(),
            people=guard.settings.people,
            follow_ups=follow_up_names(guard.plans),
            zone=guard.settings.site.zone,
        )
    except BookError as error:
        return error.problems
    return ()


# ---- handing in ----------------------------------------------------------------------------------------


def hand_in(
    visit: Visit,
    entries: Sequence[Mapping[str, Any]],
    once: str,
    back: str,
    form: tuple[str, Mapping[str, str]] | None = None,
) -> Response:
    """Into the book, once however often it is sent; then back, with what now holds."""
    frame = visit.frame
    marked = [_marked(frame, entry, f"{once}/{index}") for index, entry in enumerate(entries)]
    if marked[0].get("id") in frame.guard.book.by_id:
        return visit.to(back, "That is written down already.")
    reply = frame.ask("entries", marked, visit.by)
    if not reply.ok:
        problems = [Problem("", line) for line in reply.message.splitlines()]
        if form is not None:
            return _draw(visit, form[0], form[1], problems)
        return visit.to(back, *(words.capital(problem.message) for problem in problems), is_problem=True)
    taken = reply.value["entries"]
    said = saying.what_holds(frame, taken[-1]) if taken else ["That is written down already."]
    last = taken[-1]["id"] if taken and visit.is_owner else ""
    return visit.to(back, *said, *reply.value["remarks"], entry=last)


def _marked(frame: Frame, entry: Mapping[str, Any], once: str) -> Mapping[str, Any]:
    """The entry under an id of this very form, so that a second tap writes nothing twice."""
    from hashlib import sha256

    name = sha256(once.encode()).hexdigest()[:16]
    return entry if len(once) < 8 or name in frame.guard.book.voided else {**entry, "id": name}


def void(visit: Visit) -> Response:
    """An entry is taken back."""
    reason = visit.form.get("reason") or "taken back on the page"
    entry = {"kind": "void", "entry": visit.form.get("entry"), "reason": reason}
    reply = visit.frame.ask("entries", [entry], visit.by)
    if not reply.ok:
        return visit.to(visit.back, words.capital(reply.message), is_problem=True)
    said = (
        saying.what_holds(visit.frame, reply.value["entries"][0])
        if reply.value["entries"]
        else ["Taken back."]
    )
    return visit.to(visit.back, *said)
