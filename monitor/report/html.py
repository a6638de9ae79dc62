"""The morning report as a page of its own; it lays a value out and decides nothing.

Nothing is fetched from anywhere. Pictures are drawn later, elsewhere: each house has a slot that
`illustrated` fills; without them the page is whole.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape

from monitor.report.markup import Html, join, tag
from monitor.report.style import style_sheet
from monitor.report.value import NOTHING_MISSED, Ask, HouseNightPart, MorningReport, SensorRow, TreeRow
from monitor.report.wording import held, sentence

_SENSOR_HEADS = ("Sensor", "Lowest", "At", "Highest")
_TREE_HEADS = ("Tree", "Margin to its nearest limit", "Stage and day", "Wraps on", "Next step")


def render(report: MorningReport) -> str:
    """The whole page, its slots for pictures empty."""
    head = tag(
        "head",
        [
            tag("meta", charset="utf-8"),
            tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
            tag("meta", name="color-scheme", content="light dark"),
            tag("title", report.subject),
            tag("style", Html(style_sheet())),
        ],
    )
    body = tag("body", [tag("main", _sections(report)), _footer(report)])
    return f"<!doctype html>\n{tag('html', [head, body], lang='en')}\n"


def _sections(report: MorningReport) -> list[Html]:
    return [
        tag("p", report.place_and_time, class_="quiet"),
        tag("h1", held(report.verdict)),
        *(tag("p", remark) for remark in report.remarks),
        _section("Today", _today(report)),
        _section(report.night_title, [piece for part in report.night for piece in _house(part)]),
        _section("Trees", _trees(report)),
        _section("Alarms", _list(report.alarms, "No alarms.")),
        _section("Not seen or not known", _list(report.not_seen, NOTHING_MISSED)),
        _section("Tonight", _list(report.tonight)),
        _section("How good the last forecasts were", _list(report.skill)),
        _section("The coming week", _coming(report.coming)),
        _section("The week that was", _list(report.week)),
        _section("The other trees", _table(report.more_trees, "Trees in no trouble")),
    ]


def _footer(report: MorningReport) -> Html:
    lines = [tag("p", tag("strong", line)) for line in report.foot[:1]]
    lines += [tag("p", line) for line in (*report.foot[1:], *report.safety)]
    return tag("footer", lines)


def _section(title: str, content: Iterable[Html]) -> Html:
    """A heading and what follows; nothing where nothing does."""
    pieces = list(content)
    return join([tag("h2", title), *pieces]) if pieces else Html("")


def _list(lines: Sequence[str], none: str = "") -> list[Html]:
    if not lines:
        return [tag("p", none)] if none else []
    return [tag("ul", [tag("li", held(line)) for line in lines])]


def _today(report: MorningReport) -> list[Html]:
    if not report.today:
        return [tag("p", "Nothing is asked of you.")]
    asks = tag("ol", [_ask(ask) for ask in report.today], class_="asks")
    more = tag("p", f"{report.can_wait} more can wait.") if report.can_wait else Html("")
    return [asks, more]


def _ask(ask: Ask) -> Html:
    what = tag("p", [tag("strong", f"{ask.about}:"), " ", held(ask.what)])
    return tag("li", [what, tag("p", held(sentence(f"{ask.why}; {ask.wait}")), class_="quiet")])


def _coming(coming: Sequence[tuple[str, str]]) -> list[Html]:
    if not coming:
        return []
    return [tag("ul", [tag("li", [tag("strong", on), held(f": {what}")]) for on, what in coming])]


# ---- the night -----------------------------------------------------------------------------------------


def _house(part: HouseNightPart) -> list[Html]:
    rows = [_sensor(row) for row in part.rows]
    table = _as_table(f"What the sensors of {part.name} saw", _SENSOR_HEADS, rows)
    return [tag("h3", part.name), _slot(part), table, *_list(part.said)]


def _sensor(row: SensorRow) -> Html:
    name = f"{row.sensor} ({row.where})" if row.where else row.sensor
    cells = zip(_SENSOR_HEADS[1:], (row.lowest, row.at, row.highest), strict=True)
    return tag("tr", [_row_head(name), *(_cell(head, text) for head, text in cells)], role="row")


def _row_head(content: str | list[Html]) -> Html:
    return tag("th", content, scope="row", role="rowheader")


def _cell(head: str, text: str) -> Html:
    """A cell; on a phone its head stands before it, and an empty one does not stand at all."""
    return tag("td", held(text), data_head=head, role="cell", class_="" if text else "bare")


def _as_table(caption: str, heads: Sequence[str], rows: Iterable[Html], class_: str = "") -> Html:
    """A table that stays one for a screen reader when a phone shows its rows as blocks."""
    first = tag("tr", [tag("th", head, scope="col", role="columnheader") for head in heads], role="row")
    return tag(
        "table",
        [
            tag("caption", caption),
            tag("thead", first, role="rowgroup"),
            tag("tbody", rows, role="rowgroup"),
        ],
        role="table",
        class_=class_,
    )


# ---- trees ---------------------------------------------------------------------------------------------


def _trees(report: MorningReport) -> list[Html]:
    if not report.trees:
        return [tag("p", "No tree is written down yet.")]
    more = tag("p", sentence(report.more_trees_said)) if report.more_trees_said else Html("")
    notes = _list(report.tree_notes)
    return [*_table(report.trees, "Each tree, the one most in need first"), more, *notes]


def _table(rows: Sequence[TreeRow], caption: str) -> list[Html]:
    if not rows:
        return []
    return [_as_table(caption, _TREE_HEADS, map(_tree, rows), "wide")]


def _tree(row: TreeRow) -> Html:
    shape = tag("span", row.mark.shape, class_="shape", aria_hidden="true")
    mark = tag("span", [shape, row.mark.word], class_=f"mark {row.mark.tone}")
    cells = zip(_TREE_HEADS[1:], (row.margin, row.works, row.wraps, row.next_step), strict=True)
    head = _row_head([Html(escape(row.name)), tag("br"), mark])
    return tag("tr", [head, *(_cell(head_text, text) for head_text, text in cells)], role="row")


# ---- pictures ------------------------------------------------------------------------------------------


def _slot(part: HouseNightPart) -> Html:
    return Html(_marks(part.house)) if part.picture is not None else Html("")


def _marks(house: str) -> str:
    return f"<!--picture {escape(house)}--><!--/picture-->"


def illustrated(page: str, pictures: Iterable[Mapping[str, str]], source: Callable[[str], str]) -> str:
    """The page with each house's picture in its slot; `source(house)` is the address of its image."""
    for picture in pictures:
        house = str(picture["house"])
        image = tag("img", src=source(house), alt=str(picture["alt"]), width="920")
        page = page.replace(_marks(house), tag("figure", image), 1)
    return page


def without_pictures(page: str, pictures: Iterable[Mapping[str, str]], why: str) -> str:
    """The page that says why there are no pictures, once."""
    houses = [str(picture["house"]) for picture in pictures]
    said = tag("p", sentence(f"the pictures could not be drawn: {why}"), class_="quiet")
    for number, house in enumerate(houses):
        page = page.replace(_marks(house), said if number == 0 else "", 1)
    return page
