"""Draws the pictures of a report or a record: a program of its own, run by `pictures`, that ends when done.

    python -m monitor.report.drawing < facts.json > pictures.json

It reads the JSON of `picture_facts` and writes a JSON list of PNG files in base64, in the same order.
matplotlib lives and dies in here; the guard never loads it. Lines differ by their dashes, too, and have their
names at their ends.
"""

import base64
import io
import json
import os
import sys
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from monitor.report.palette import CURVES, LIGHT, LIMIT, OUTDOORS, UNSEEN

NO_MATPLOTLIB = 3
"""Exit status when the package that draws is not installed."""
WIDTH_IN, HEIGHT_IN, DPI = 6.6, 4.9, 180
DASHES: Sequence[Any] = ("-", (0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)), (0, (4, 4)), (0, (1, 3)))
NEAREST_LABELS = 0.055
"""Names at the ends of lines stand at least so far apart [part of the panel's height]."""
GENTLE_KPA = 0.3


def main() -> int:
    """Draw everything that stands on standard input."""
    os.nice(10)
    try:
        import matplotlib as mpl
    except ImportError:
        return NO_MATPLOTLIB
    mpl.use("Agg")
    from monitor.report.record_drawing import draw_record

    found = [
        base64.b64encode(draw_record(picture) if "record" in picture else draw(picture)).decode()
        for picture in json.load(sys.stdin)
    ]
    json.dump(found, sys.stdout)
    return 0


def draw(picture: Mapping[str, Any]) -> bytes:
    """One house's picture as a PNG."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"font.family": "serif", "font.size": 10, "hatch.linewidth": 0.6}):
        figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DPI, facecolor=LIGHT.paper)
        drying = any(curve["drying_kpa"] for curve in picture["curves"])
        heights = [3.0, 1.1] if drying else [1.0]
        grid = {"height_ratios": heights, "hspace": 0.12}
        panels = list(figure.subplots(len(heights), 1, sharex=True, squeeze=False, gridspec_kw=grid)[:, 0])
        _temperatures(panels[0], picture)
        if drying:
            _drying(panels[1], picture)
        for panel in panels:
            plain_frame(panel)
            _blind(panel, picture["blind"])
        _hours(panels, picture)
        figure.subplots_adjust(left=0.075, right=0.8, top=0.945, bottom=0.07)
        file = io.BytesIO()
        figure.savefig(file, format="png", facecolor=LIGHT.paper)
        return file.getvalue()


def _temperatures(panel: Any, picture: Mapping[str, Any]) -> None:
    ends = []
    for curve, colour, dash in _styled(picture["curves"]):
        values = _line(panel, curve["degrees"], colour, dash)
        name = f"{curve['name']} (outdoors)" if curve["is_outdoor"] else curve["name"]
        ends.append((values, name, colour))
    for number, (label, degrees) in enumerate(picture["limits"]):
        _limit(panel, label, degrees, above=number > 0)
    panel.margins(y=0.08)
    panel.annotate(
        picture["unit"], (0.0, 1.0), xycoords="axes fraction", xytext=(-8, 4), textcoords="offset points",
        ha="right", color=LIGHT.quiet, fontsize=9,
    )  # fmt: skip
    _names(panel, ends)


def _limit(panel: Any, label: str, degrees: float, above: bool) -> None:
    """A line across with its words, so that two limits near each other keep theirs apart."""
    panel.axhline(degrees, color=LIMIT, linewidth=1.0, linestyle=(0, (1, 1.5)))
    panel.annotate(
        label, (0.01, degrees), xycoords=("axes fraction", "data"), xytext=(0, 3 if above else -3),
        textcoords="offset points", va="bottom" if above else "top", color=LIMIT, fontsize=9,
        bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
    )  # fmt: skip


def _drying(panel: Any, picture: Mapping[str, Any]) -> None:
    """How drying the air was, as far as the sensors tell humidity."""
    top = GENTLE_KPA
    for curve, colour, dash in _styled(picture["curves"]):
        if curve["drying_kpa"]:
            values = _line(panel, curve["drying_kpa"], colour, dash)
            top = max([top, *(value for value in values if value is not None)])
    limit = picture["drying_limit"]
    if limit is not None and limit[1] <= 1.6 * top:
        panel.axhline(limit[1], color=LIMIT, linewidth=1.0, linestyle=(0, (1, 1.5)))
        top = max(top, limit[1])
    panel.set_ylim(0.0, 1.15 * top)
    said = "how drying the air was [kPa]"
    if limit is not None:
        said += f"; too dry for {limit[0]} from {limit[1]:g}"
    panel.annotate(
        said, (0.01, 0.97), xycoords="axes fraction", va="top", color=LIGHT.quiet, fontsize=9, style="italic",
        bbox={"facecolor": LIGHT.paper, "edgecolor": "none", "pad": 0.5, "alpha": 0.8},
    )  # fmt: skip


def _styled(curves: Sequence[Mapping[str, Any]]) -> list[tuple[Mapping[str, Any], str, Any]]:
    """Each curve with a colour and a dash of its own; the one outdoors is thin and grey."""
    found, number = [], 0
    for curve in curves:
        if curve["is_outdoor"]:
            found.append((curve, OUTDOORS, (0, (3, 1.5))))
        else:
            found.append((curve, CURVES[number % len(CURVES)], DASHES[number % len(DASHES)]))
            number += 1
    return found


def _line(panel: Any, values: Sequence[float | None], colour: str, dash: Any) -> Sequence[float | None]:
    """A line with a break wherever nothing is known."""
    places = [step + 0.5 for step in range(len(values))]
    shown = [float("nan") if value is None else value for value in values]
    panel.plot(places, shown, color=colour, linestyle=dash, linewidth=1.6)
    return values


def _names(panel: Any, ends: Sequence[tuple[Sequence[float | None], str, str]]) -> None:
    """The name of each line at its right end, moved apart where they would lie on each other."""
    low, high = panel.get_ylim()
    placed = []
    for values, name, colour in ends:
        known = [value for value in values if value is not None]
        if known:
            placed.append([(known[-1] - low) / (high - low), name, colour])
    placed.sort(key=lambda each: each[0])
    for before, after in pairwise(placed):
        after[0] = max(after[0], before[0] + NEAREST_LABELS)
    for height, name, colour in placed:
        panel.annotate(
            name if len(name) <= 22 else name[:21] + "…", (1.01, height), xycoords="axes fraction",
            va="center", color=colour, fontsize=9, annotation_clip=False,
        )  # fmt: skip


def _blind(panel: Any, spans: Sequence[Sequence[Any]]) -> None:
    """Times in which a place was not watched, hatched and named."""
    for from_step, to_step, _said in spans:
        panel.axvspan(from_step, to_step, facecolor="none", edgecolor=UNSEEN, hatch="///", linewidth=0.0)
    if spans and panel.get_subplotspec().rowspan.start == 0:
        widest = max(spans, key=lambda span: span[1] - span[0])
        panel.annotate(
            widest[2], ((widest[0] + widest[1]) / 2, 0.5), xycoords=("data", "axes fraction"), ha="center",
            va="center", color=LIGHT.ink, bbox={"facecolor": LIGHT.paper, "edgecolor": UNSEEN, "pad": 3},
        )  # fmt: skip


def plain_frame(panel: Any) -> None:
    """Paper, a bottom line, faint rules across."""
    panel.set_facecolor(LIGHT.paper)
    for side in ("top", "right", "left"):
        panel.spines[side].set_visible(False)
    panel.spines["bottom"].set_color(LIGHT.edge)
    panel.tick_params(colors=LIGHT.ink, length=3)
    panel.grid(axis="y", color=LIGHT.rule, linewidth=0.6)
    panel.set_axisbelow(True)


def _hours(panels: Sequence[Any], picture: Mapping[str, Any]) -> None:
    """Local hours below the lowest panel."""
    panels[-1].set_xlim(0, picture["steps"])
    places, labels = zip(*picture["ticks"], strict=True) if picture["ticks"] else ((), ())
    panels[-1].set_xticks(places, labels)


if __name__ == "__main__":
    sys.exit(main())
