"""Pictures come from a child process with a time limit; whatever goes wrong, the report goes out."""

import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.model import Notice, NoticeKind, Priority
from monitor.report import pictures
from monitor.report.illustrator import Illustrator
from monitor.report.picture_facts import Curve, HousePicture, from_json, to_json
from monitor.report.pictures import NotDrawn, draw, with_images
from tests.report.nights import Played, scenarios
from tests.support.waiting import until

FACTS = to_json(
    [
        HousePicture(
            house="cold",
            title="Cold house",
            alt='coldest −1.2 °C at 03:30; "Larch 3"',
            unit="°C",
            steps=3,
            curves=(
                Curve("bench-a", False, (4.0, None, -1.2), (0.1, None, 0.0)),
                Curve("yard", True, (0.0, -3.0, -4.0)),
            ),
            ticks=((0.0, "16:00"),),
            limits=(("Larch 3: damage likely below 0 °C", 0.0), ("tender below 1.5 °C", 1.5)),
            blind=((1.0, 2.0, "not seen"),),
            drying_limit=("Larch 3", 0.8),
        )
    ]
)
PAGE = "<body><h3>Cold house</h3><!--picture cold--><!--/picture--></body>"


def instead(monkeypatch: pytest.MonkeyPatch, program: str) -> None:
    """Another program draws."""
    real = subprocess.run

    def run(command: list[str], **options: object) -> object:
        return real([command[0], "-c", program], **options)  # type: ignore[call-overload]

    monkeypatch.setattr(pictures.subprocess, "run", run)


def test_a_picture_is_drawn_for_each_house() -> None:
    """Published: the PNG signature and IHDR (ISO/IEC 15948)."""
    (picture,) = draw(FACTS)

    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack(">II", picture[16:24])
    assert (width, height) == (1188, 882)


def test_facts_come_back_as_they_were_written() -> None:
    """As plain values; nothing where they cannot be read."""
    (found,) = from_json(FACTS)

    assert found["curves"][0]["degrees"] == [4.0, None, -1.2]
    assert from_json("") == []
    assert from_json("{") == []
    assert to_json([]) == ""


def test_the_page_carries_its_pictures_and_their_findings() -> None:
    """As images of its own, with words for whoever does not see them."""
    page = with_images(PAGE, FACTS)

    assert '<figure><img src="data:image/png;base64,' in page
    assert 'alt="coldest −1.2 °C at 03:30; &quot;Larch 3&quot;"' in page
    assert "<!--picture" not in page


@pytest.mark.parametrize("name", scenarios())
def test_each_night_can_be_drawn(name: str, played: Callable[[str], Played]) -> None:
    """Blind ones, the change of clocks, sixty trees; a house that was never heard has no picture."""
    report = played(name).reports[-1]

    drawn = draw(report.pictures)

    assert len(drawn) == (0 if name == "no-sensors-yet" else 1)
    assert all("at or below" in picture["alt"] for picture in from_json(report.pictures))


@pytest.mark.parametrize(
    ("program", "why"),
    [
        ("import sys; sys.exit(3)", 'what draws is not installed (the extra "pictures")'),
        ("import sys; sys.exit(1)", "ended with status 1"),
        ("import os; os.kill(os.getpid(), 9)", "ended with status -9"),
        ("print('hello')", "gave no pictures"),
        ("print('[\"aGVsbG8=\"]')", "gave no pictures"),
        ("print('[]')", "gave no pictures"),
        ("import threading; threading.Event().wait()", "took longer than 0.5 s"),
    ],
)
def test_without_pictures_the_page_goes_out_and_says_so(
    program: str, why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Missing, broken, killed, talking nonsense, hanging."""
    instead(monkeypatch, program)

    page = with_images(PAGE, FACTS, within_s=5.0 if "Event" not in program else 0.5)

    assert "The pictures could not be drawn: " in page
    assert why in page.replace("&quot;", '"')
    assert "<img" not in page
    assert "<!--picture" not in page


def test_a_program_that_cannot_be_started_is_no_catastrophe(monkeypatch: pytest.MonkeyPatch) -> None:
    """An interpreter that is gone."""
    monkeypatch.setattr(pictures.sys, "executable", "/nowhere/python")

    with pytest.raises(NotDrawn, match="could not be started"):
        draw(FACTS)


MEMORY = """
import sys, tempfile
from pathlib import Path
from monitor.replay import replay
from monitor.report.pictures import with_images
from monitor.trees.plans import load_plans
from tests.report.nights import scenarios

class Nowhere:
    def commit(self, effects, at_s):
        pass

def resident_mb():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6

night = scenarios()["frost-with-heater-failure"]
with tempfile.TemporaryDirectory() as folder:
    settings = night.settings(Path(folder))
engine = replay(settings, load_plans(None), night.messages(), night.entries, Nowhere(), night.to_s)
report = engine.report("2027-01-17")
before_mb = resident_mb()
for _ in range(3):
    report = engine.report("2027-01-17")
    page = with_images(report.html, report.pictures)
assert "data:image/png" in page
print(resident_mb() - before_mb, *[name for name in ("matplotlib", "PIL") if name in sys.modules])
"""


def test_the_guard_does_not_grow_by_pictures() -> None:
    """What draws is never loaded here; three reports with pictures leave the resident memory as it was."""
    done = subprocess.run(
        [sys.executable, "-c", MEMORY],
        capture_output=True, text=True, timeout=120, check=False,
        env={"PYTHONPATH": ":".join(filter(None, sys.path)), "PATH": "/usr/bin:/bin"},
        cwd=Path(__file__).parents[2],
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    grown_mb, *loaded = done.stdout.split()
    assert loaded == []
    assert float(grown_mb) < 3.0


# ---- before delivery -----------------------------------------------------------------------------------


def notice(notifier: str = "mail", pictures: str = FACTS, kind: NoticeKind = NoticeKind.REPORT) -> Notice:
    """A report on its way."""
    return Notice(
        0.0, "report.2027-01-17", kind, Priority.LOW, notifier, "s", "t", html=PAGE, pictures=pictures
    )


def test_nothing_waits_for_a_picture_but_the_report() -> None:
    """While one is drawn an alarm goes through, and a way that shows no pictures has the report at once."""
    going, sent = threading.Event(), list[Notice]()

    def slow(page: str, facts: str) -> str:
        assert going.wait(10)
        return page + facts

    illustrator = Illustrator({"mail"}, lambda each, attempts: sent.append(each), slow)
    illustrator.send(notice())
    illustrator.send(notice(pictures="", kind=NoticeKind.ACTIVATION))
    illustrator.send(notice("journal"))

    assert [each.notifier for each in sent] == ["mail", "journal"]
    going.set()
    assert until(lambda: len(sent) == 3 and sent[2]).html == PAGE + FACTS


def test_several_ways_share_one_drawing() -> None:
    """And how often it was tried is kept."""
    drawn, sent = list[str](), list[tuple[str, int]]()

    def once(page: str, facts: str) -> str:
        drawn.append(facts)
        return page

    illustrator = Illustrator(
        {"mail", "mail-tom"}, lambda each, tries: sent.append((each.notifier, tries)), once
    )
    illustrator.send(notice("mail"), 3)
    illustrator.send(notice("mail-tom"))

    until(lambda: len(sent) == 2)
    assert sent == [("mail", 3), ("mail-tom", 0)]
    assert len(drawn) == 1


def test_a_fault_in_drawing_never_holds_a_report_back(caplog: pytest.LogCaptureFixture) -> None:
    """Whatever it is."""
    sent = list[Notice]()

    def broken(page: str, facts: str) -> str:
        raise MemoryError

    Illustrator({"mail"}, lambda each, attempts: sent.append(each), broken).send(notice())

    assert "The pictures could not be drawn: an error of the program." in until(lambda: sent and sent[0]).html
    assert "could not be drawn" in caplog.text
