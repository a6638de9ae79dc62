"""What people read about wraps and root-balls: in alarms, in what is asked of them, on the page.

Hours until dry are always a range. Nothing here advises to wet a wrap from noon before a frost night, or to
touch, bend or carry what is frozen.
"""

import math
from collections.abc import Sequence

from monitor.notices.words import HANDS_OFF, Reason, Speech

WET_BEFORE_NOON = "not from noon on before a frost night: then tomorrow after 10:00"
WHAT_TO_DO_WET = f"Wet it again this morning, {WET_BEFORE_NOON}. Leave it alone while it is frozen."
LIFT_AN_EDGE = "Lift an edge and feel: wet, damp or dry; write down which. Not while it is frozen."

TOUCH_WHY = {
    "never-felt": "nobody has felt it under its cover yet",
    "blind": "the air about it was not known for too long",
    "surprise": "it was felt otherwise than anything let expect; feel it once more",
    "unsure": "it may be damp, it may be dry",
    "long-ago": "nobody has felt it for more than a week",
}


FAR_H = 60 * 24.0
"""What lies further ahead nobody plans with: only the sooner end is said; judgement."""


def dry_in(p10_h: float, p90_h: float) -> str:
    """`dry in 10–30 h`, `dry in 4–11 days`; never one number."""
    if math.isnan(p10_h) or math.isnan(p90_h):
        return "when it will be dry is not known in air this damp"
    if math.isinf(p10_h):
        return "it will not dry in this air"
    if p90_h < 1.0:
        return "dry now"
    if p90_h > FAR_H:
        return f"dry in {_at_least(p10_h)} at the soonest" if p10_h >= 1.0 else "dry now or not for weeks"
    if p10_h < 1.0:
        return f"dry now or within {_amount(p90_h)}"
    if p90_h < 48.0:
        low, high = math.floor(p10_h), math.ceil(p90_h)
        return f"dry in {low}–{max(high, low + 1)} h"
    if p10_h < 48.0:
        return f"dry in {math.floor(p10_h)} h to {_amount(p90_h)}"
    low, high = math.floor(p10_h / 24), math.ceil(p90_h / 24)
    return f"dry in {low}–{max(high, low + 1)} days"


def _at_least(hours: float) -> str:
    return f"{math.floor(hours)} h" if hours < 48.0 else f"{math.floor(hours / 24)} days"


def _amount(hours: float) -> str:
    return f"{math.ceil(hours)} h" if hours < 48.0 else f"{math.ceil(hours / 24)} days"


LOOK_FOR_MOULD = "Lift an edge and look for mould and soft bark. Not while it is frozen."
FEEL_AND_WET = f"Feel it and write down how it is, then wet it again before noon, {WET_BEFORE_NOON}."


def wrap_said(feel: str, p10_h: float, p90_h: float, because: str) -> str:
    """What is thought of a wrap now, and why not where nothing is."""
    if feel == "frozen":
        return "frozen; it holds its water until it thaws"
    if feel == "unknown":
        return f"how wet it is is not known ({TOUCH_WHY.get(because, 'nobody has felt it lately')})"
    if feel == "dry":
        return "thought dry"
    return f"thought {feel}, {dry_in(p10_h, p90_h)}"


def wrap_name(tree: str, wrap: str) -> str:
    """`the wrap first-branch of Larch 3`."""
    return f"the wrap {wrap} of {tree}"


def wrap_drying(
    tree: str, wrap: str, when: str, wet_days: float, least_days: float | None, certain: bool
) -> Reason:
    """A wrap that is meant to stay damp and dries."""
    state = "is dry" if certain else f"dries: {when}"
    held = ""
    if least_days and wet_days < least_days:
        held = f"; it should stay damp for {least_days:g} days at least, and has been for {wet_days:.0f}"
    return Reason(
        f"{wrap_name(tree, wrap)} {state}",
        f"the bend loses what holds it supple and supports it{held}",
        WHAT_TO_DO_WET,
    )


def wrap_unknown(tree: str, wrap: str, because: str) -> Reason:
    """A wrap of which nobody can say whether it is damp."""
    return Reason(
        f"how wet {wrap_name(tree, wrap)} is, is not known: {TOUCH_WHY.get(because, 'nobody has felt it')}",
        "it may dry out unseen",
        LIFT_AN_EDGE,
    )


def wet_too_long(tree: str, wrap: str, wet_days: float, most_days: float) -> Reason:
    """A wrap that has been wet for longer than its plan wants."""
    return Reason(
        f"{wrap_name(tree, wrap)} has been wet for {wet_days:.0f} days, {most_days:g} are asked for at most",
        "wet for too long invites mould and softens the bark",
        "Lift an edge and look for mould and soft bark; where there is any, open it or take it off. "
        "Not while it is frozen.",
    )


def frozen_root_ball(
    speech: Speech,
    tree: str,
    temperature_c: float | None,
    limit_c: float | None,
    frozen_h: float,
    probe: bool,
) -> Reason:
    """A pot below its root limit, or frozen through the day; `limit_c` None: only frozen."""
    how = "by its probe" if probe else "reckoned from the air, no probe"
    if limit_c is not None:
        return Reason(
            f"the root-ball of {tree} is at {speech.temperature(temperature_c)} ({how})",
            f"its roots are in danger below {speech.limit(limit_c)}",
            f"Pack straw or fleece round the pot where it stands, and over its soil. {HANDS_OFF}",
        )
    return Reason(
        f"the root-ball of {tree} has been frozen through the day, {frozen_h:.0f} h now ({how})",
        "its roots take up no water; a night's frost is ordinary, a frozen day is not",
        "Shade it and shelter it from wind, let it thaw slowly where it stands; do not water what is frozen.",
    )


def winter_desiccation(tree: str, frozen_h: float) -> Reason:
    """An evergreen that loses water over a frozen pot."""
    return Reason(
        f"{tree} keeps its needles and its root-ball is frozen for {frozen_h:.0f} h, in drying air",
        "what its needles lose the roots cannot replace; they brown weeks later",
        "Shade it, shelter it from wind, shut what makes a draught; let the pot thaw slowly where it stands.",
    )


def not_yet(missing: Sequence[str]) -> str:
    """Why a tree cannot leave the house yet."""
    return "not yet: " + "; ".join(missing)
