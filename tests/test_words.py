"""What people read has people's words: no name of a kind, no code, no word of the workshop.

Held are every sentence in the rooms that speak to people, every page, and what a bad night and its morning
really said. The words are this program's own choice; there is no outside source for them.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import monitor
from monitor.model import Outcome
from monitor.settings.checks import WITH_A_NUMBER, WITHOUT_A_NUMBER
from tests.engine.house import LARCH, LARCH_ALONE, House, settings_of, tree

PACKAGE = Path(monitor.__file__).parent
NEVER = re.compile(
    r"\b(deadband|hysteresis|p10|p50|p90|percentiles?|gain|VPD|OK|WARN|WARNING|CRIT|CRITICAL)\b"
    r"|\b(gauges?|traffic lights?)\b|K·h|\bK h\b"
)
"""On no screen at all."""
INNER = re.compile(
    r"\b(brokers?|payloads?|episodes?|occurrences?|notifiers?|snapshots?|QARTOD|flags?|setpoints?|thresholds?"
    r"|outbox|unacknowledged|acknowledge[ds]?|exceptions?|tracebacks?|sensor-silent|QoS|SQLite|retained)\b"
)
"""Words of the workshop: what describes the files may use them, what speaks to people does not."""
FOR_PEOPLE = (
    "notices", "report", "morning", "watches", "web", "views.py", "scenes.py", "safety.py", "silence.py",
    "trees/asks.py", "trees/remarks.py", "trees/leaving.py", "trees/stages.py", "trees/in_force.py",
    "trees/house_holds.py", "trees/follow_ups.py", "trees/wire_checks.py", "delivery/late.py",
)  # fmt: skip
FOR_PROGRAMS = ("web/api.py", "web/openapi.py")
KEYS_OF_THE_FILE = {"settings/checks.py": "deadband"}
"""Where a word is the name of a key that stands in the file."""


def sentences(path: Path) -> Iterator[str]:
    """Every text with a blank in it that is no docstring: what may be read by somebody."""
    parsed = ast.parse(path.read_text(encoding="utf-8"))
    told = {
        id(node.value)
        for node in ast.walk(parsed)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(parsed):
        is_text = isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told
        if is_text and " " in node.value.strip() and "SELECT" not in node.value:
            yield node.value


def page_text(path: Path) -> str:
    """What a template shows, without its code and its markup."""
    return re.sub(r"\{[{%#].*?[}%#]\}|<[^>]*>", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)


def files() -> list[Path]:
    """Every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_sentence_has_a_word_that_is_never_on_screen(path: Path) -> None:
    """Of any module."""
    allowed = KEYS_OF_THE_FILE.get(str(path.relative_to(PACKAGE)), "")
    found = [(match[0], text) for text in sentences(path) if (match := NEVER.search(text))]

    assert [text for word, text in found if word != allowed] == []


@pytest.mark.parametrize(
    "path",
    [
        path
        for path in files()
        if str(path.relative_to(PACKAGE)).startswith(FOR_PEOPLE)
        and str(path.relative_to(PACKAGE)) not in FOR_PROGRAMS
    ],
    ids=lambda path: str(path.relative_to(PACKAGE)),
)
def test_what_speaks_to_people_has_no_word_of_the_workshop(path: Path) -> None:
    """The broker is a message post, a notifier a way to reach you."""
    assert [text for text in sentences(path) if INNER.search(text)] == []


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.html")), ids=lambda path: path.name)
def test_no_page_has_a_word_of_the_workshop(path: Path) -> None:
    """Templates too."""
    text = page_text(path)

    assert NEVER.search(text) is None
    assert INNER.search(text) is None


# ---- what was really said ------------------------------------------------------------------------------

CODES = re.compile(
    "|".join(
        [
            *(
                re.escape(kind)
                for kind in (*WITH_A_NUMBER, *WITHOUT_A_NUMBER)
                if "-" in kind and kind != "was-off"
            ),
            r"[a-z0-9-]+/[a-z0-9-]+(?<!http)",
            r"\d{4}-\d\d-\d\dT",
            r"_[a-z]+",
        ]
    )
)
"""Names of kinds, of alarms, of keys, and instants as programs write them."""


def bad_night() -> House:
    """Frost, a sensor and then everything silent, a store and a clock that fail, a way that does not work."""
    settings = settings_of(
        ("bench-a", "bench-b"),
        notifiers={
            "mail": {"type": "webhook", "url": "http://127.0.0.1:9/in", "secret_file": "s"},
            "hook": {"type": "journal"},
            "log": {"type": "journal"},
        },
        houses={"cold": {"name": "Cold house", "heater_setpoint_c": 4.0}},
    )
    house = House(
        settings, [*LARCH_ALONE, *tree("Yew 2", "bench-b", -1.0, -4.0), *tree("Pine 1", None, 0.0, -3.0)]
    )
    house.air(4.0, by="20:05")
    house.air({"bench-a": -2.5, "bench-b": -1.2}, by="23:30")
    house.ack(LARCH, by="ann")
    for _ in range(20):
        house.reading(-1.5, house.now_s + 60.0, by="bench-b")
    house.handle(Outcome(house.now_s, "store", False, "the disk is full"))
    (notice, *_) = house.notices_seen
    for seconds in (1.0, 40.0, 70.0):
        house.passes(house.now_s + seconds)
        house.delivered(notice, ok=False)
    house.link(up=False)
    house.passes(house.now_s + 3600.0)
    house.link(up=True)
    house.clock_steps(-9000 * 86_400.0)
    house.clock_steps(-house.offset_s)
    house.air(6.0, by="07:30")
    return house


@pytest.fixture(scope="module")
def said() -> list[str]:
    """Every subject and text of that night, and its report."""
    house = bad_night()
    texts = [text for notice in house.notices_seen for text in (notice.subject, notice.text)]
    return [*texts, *(report.text for report in house.reports)]


def test_a_bad_night_says_much(said: list[str]) -> None:
    """Else the tests below would hold nothing."""
    whole = "\n".join(said)
    for word in (
        "frost at",
        "silent",
        "message post",
        "not kept",
        "did not get through",
        "clock",
        "nobody watches",
    ):
        assert word in whole, word


@pytest.mark.parametrize("words", [NEVER, INNER], ids=["never", "inner"])
def test_a_bad_night_has_no_word_of_the_workshop(said: list[str], words: re.Pattern[str]) -> None:
    """Notices and report."""
    assert [text for text in said if words.search(text)] == []


def test_a_bad_night_has_no_code(said: list[str]) -> None:
    """But the command that a person may type, and addresses."""
    plain = [re.sub(r"`[^`]*`|\"aftercare[^\"]*\"|https?://\S+", "", text) for text in said]

    assert [(match[0], text) for text in plain if (match := CODES.search(text))] == []
