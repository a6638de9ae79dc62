"""An invented garden for these tests: two houses, a few sensors, and a book that grows entry by entry."""

from collections.abc import Mapping
from typing import Any

from monitor.clock import parse_rfc3339
from monitor.settings import House, Sensor
from monitor.trees.book import Book, check_entry

NOW = "2026-07-01T00:00:00Z"
NOW_S = parse_rfc3339(NOW)
HOUSES = {"cold": House(name="Cold house"), "tall": House(name="Tall house")}
SENSORS = {
    "bench-a": Sensor(house="cold", topic="heather/cold/bench-a"),
    "bench-b": Sensor(house="cold", topic="heather/cold/bench-b"),
    "tall-a": Sensor(house="tall", topic="heather/tall/a"),
    "pot-1": Sensor(house="cold", topic="heather/cold/pot-1", place="pot"),
}
HOUSE_OF = {name: sensor.house for name, sensor in SENSORS.items()}
PEOPLE = ("ann", "tom")
EMPTY = Book(house_of=HOUSE_OF)


def at(text: str) -> float:
    """`2026-01-10` or `2026-01-10T15:00` (UTC) as seconds."""
    return parse_rfc3339(text + ("T00:00:00Z" if len(text) == 10 else ":00Z"))


def checked(book: Book, now_s: float = NOW_S, **values: Any) -> dict[str, Any]:
    """The entry as the book takes it."""
    return check_entry(values, book, SENSORS, HOUSES, now_s, people=PEOPLE)


def grown(*entries: Mapping[str, Any], book: Book = EMPTY) -> Book:
    """The book after these entries, each checked against what came before."""
    for values in entries:
        book = book.with_entry(checked(book, **values))
    return book


def larch(**more: Any) -> dict[str, Any]:
    """Larch 3 comes into the book on 9 January."""
    return {
        "kind": "tree",
        "at": "2026-01-09T10:00:00Z",
        "name": "Larch 3",
        "species": "Larix decidua",
        "sensor": "bench-a",
        **more,
    }


def yew(**more: Any) -> dict[str, Any]:
    """Yew 2 comes into the book on 9 January."""
    return {"kind": "tree", "at": "2026-01-09T11:00:00Z", "name": "Yew 2", "sensor": "bench-b", **more}


def said(kind: str, at_text: str, tree: str | None = "larch-3", **more: Any) -> dict[str, Any]:
    """An entry about Larch 3, or another tree, or none."""
    about = {} if tree is None else {"tree": tree}
    return {"kind": kind, "at": at_text if at_text.endswith("Z") else f"{at_text}T12:00:00Z", **about, **more}
