"""Draws a tree's record: what it stood in hour by hour, between limits that moved with its stages.

Part of the child process of `drawing`; the facts are those of `record_picture`.
"""

import io
from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report.drawing import DPI, HEIGHT_IN, WIDTH_IN, plain_frame
from monitor.report.palette import CURVES, LIGHT, LIMIT, UNSEEN

AIR, POT, DRYING = CURVES[0], CURVES[2], CURVES[1]
HATCHED: Mapping[str, Any] = {"facecolor": "none", "edgecolor": UNSEEN, "hatch": "///", "linewidth": 0.0}
NEAR = 6.0
"""A limit further than so many degrees from all that was seen is left out; °C or °F."""


def draw_record(picture: Mapping[str, Any]) -> bytes:
    """One tree's record as a PNG."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"font.family": "serif", "font.size": 10, "hatch.linewidth": 0.6}):
        figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DPI, facecolor=LIGHT.paper)
        grid = {"height_ratios": [3.2, 1.0], "hspace": 0.12}
        panels = list(figure.subplots(2, 1, sharex=True, squeeze=False, gridspec_kw=grid)[:, 0])
        _temperatures(panels[0], picture)
        _drying(panels[1], picture)
        for panel in panels:
            plain_frame(panel)
            for from_step, to_step in picture["blind"]:
                panel.axvspan(from_step, to_step, **HATCHED)
        panels[-1].set_xlim(0, picture["steps"])
        ticks = picture["ticks"] or [(0.0, "")]
        panels[-1].set_xticks([place for place, _label in ticks], [label for _place, label in ticks])
        panels[0].set_title(picture["title"], loc="left", fontsize=11, color=LIGHT.ink)
        figure.subplots_adjust(left=0.075, right=0.97, top=0.93, bottom=0.07)
        file = io.BytesIO()
        figure.savefig(file, format="png", facecolor=LIGHT.paper)
        return file.getvalue()


def _temperatures(panel: Any, picture: Mapping[str, Any]) -> None:
    edges = list(range(picture["steps"] + 1))
    low, high, pot = _shown(picture["low"]), _shown(picture["high"]), _shown(picture["pot"])
    panel.fill_between(edges[:-1], low, high, step="post", color=AIR, alpha=0.25, linewidth=0)
    panel.stairs(low, edges, baseline=None, color=AIR, linewidth=1.1)
    labels = [("lowest of each hour", AIR)]
    if any(value is not None for value in picture["pot"]):
        panel.stairs(pot, edges, baseline=None, color=POT, linewidth=1.0, linestyle=(0, (4, 2)))
        labels.append(("pot", POT))
    known = [value for value in (*picture["low"], *picture["high"]) if value is not None]
    for number, limit in enumerate(picture["limits"]):
        _limit(panel, limit, edges, known, above=number % 2 == 1)
    _worst_and_marks(panel, picture)
    panel.margins(y=0.08)
    panel.annotate(
        picture["unit"], (0.0, 1.0), xycoords="axes fraction", xytext=(-8, 4), textcoords="offset points",
        ha="right", color=LIGHT.quiet, fontsize=9,
    )  # fmt: skip
    for number, (label, colour) in enumerate(labels):
        panel.annotate(
            label, (1.0, 1.0), xycoords="axes fraction", xytext=(-110.0 * number, 4),
            textcoords="offset points", ha="right", color=colour, fontsize=9,
        )  # fmt: skip


def _shown(values: Sequence[float | None]) -> list[float]:
    return [float("nan") if value is None else value for value in values]


def _limit(
    panel: Any, limit: Mapping[str, Any], edges: Sequence[int], known: Sequence[float], *, above: bool
) -> None:
    """A stepped line that moves with the stages, where it is near what was seen, and its words."""
    values = limit["degrees"]
    held = [value for value in values if value is not None]
    if not known or max(held) < min(known) - NEAR or min(held) > max(known) + NEAR:
        return
    panel.stairs(_shown(values), edges, baseline=None, color=LIMIT, linewidth=1.0, linestyle=(0, (1, 1.5)))
    first = next(step for step, value in enumerate(values) if value is not None)
    panel.annotate(
        limit["label"], (first, values[first]), xytext=(3, 3 if above else -3), textcoords="offset points",
        va="bottom" if above else "top", color=LIMIT, fontsize=9,
        bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
    )  # fmt: skip


def _worst_and_marks(panel: Any, picture: Mapping[str, Any]) -> None:
    """The worst hours as a box along the top, works and findings as lines with their words."""
    if picture["worst"] is not None:
        from_step, to_step = picture["worst"]
        panel.axvspan(from_step, to_step, ymin=0.96, facecolor=LIMIT, edgecolor="none")
        panel.annotate(
            "worst hours", ((from_step + to_step) / 2, 0.94), xycoords=("data", "axes fraction"),
            ha="center", va="top", color=LIMIT, fontsize=9,
            bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
        )  # fmt: skip
    for number, (step, text) in enumerate(picture["marks"]):
        late = step > 0.8 * picture["steps"]
        panel.axvline(step, color=LIGHT.edge, linewidth=0.8)
        panel.annotate(
            text, (step, 0.02 + 0.06 * (number % 3)), xycoords=("data", "axes fraction"),
            xytext=(-3 if late else 3, 0), textcoords="offset points", ha="right" if late else "left",
            color=LIGHT.ink, fontsize=8,
            bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
        )  # fmt: skip


def _drying(panel: Any, picture: Mapping[str, Any]) -> None:
    """How drying the air was; a stroke along the bottom where surfaces stayed wet."""
    edges = list(range(picture["steps"] + 1))
    values = _shown(picture["drying_kpa"])
    panel.stairs(values, edges, baseline=None, color=DRYING, linewidth=1.0)
    known = [value for value in picture["drying_kpa"] if value is not None]
    panel.set_ylim(0.0, 1.3 * max([0.3, *known]))
    for from_step, to_step in picture["wet"]:
        panel.axvspan(from_step, to_step, ymax=0.05, facecolor=DRYING, edgecolor="none")
    said = "how drying the air was [kPa]" + ("; thick below: air that wets" if picture["wet"] else "")
    panel.annotate(
        said, (0.01, 0.97), xycoords="axes fraction", va="top", color=LIGHT.quiet, fontsize=9, style="italic",
        bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
    )  # fmt: skip
