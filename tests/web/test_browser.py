"""The page under a finger and under a mouse: every way in a real browser, with scripts and without.

Independent: Debian's Chromium for what is drawn and tapped, axe-core for what keeps people out. Screenshots
of every page lie in the folder of each test.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from monitor.links import notice_path
from monitor.store.queries import Reader
from tests.support.axe import axe_script
from tests.support.waiting import until
from tests.web.scene import PASSWORD, Night, Scene
from tests.web.surfer import DESK_PX, PHONE_PX, Surfer

Make = Callable[..., Scene]


class Device(NamedTuple):
    """What somebody holds: its width, and whether it runs scripts."""

    width_px: int
    scripts: bool


DEVICES = {
    "phone": Device(PHONE_PX, True),
    "phone-without-scripts": Device(PHONE_PX, False),
    "desk": Device(DESK_PX, True),
    "desk-without-scripts": Device(DESK_PX, False),
}
EVERY = pytest.mark.parametrize("device", DEVICES, indirect=True)
BOTH = pytest.mark.parametrize("device", ["phone", "desk-without-scripts"], indirect=True)


@pytest.fixture
def device(request: pytest.FixtureRequest, browser: Surfer) -> Iterator[Surfer]:
    """A browser as somebody holds it, without anything from an earlier visit."""
    held = DEVICES[request.param]
    browser.device(held.width_px, scripts=held.scripts)
    browser.forget()
    yield browser
    browser.device()


# ---- the ways ------------------------------------------------------------------------------------------


@EVERY
def test_woken_by_a_notice_somebody_says_that_it_is_seen(scene: Scene, device: Surfer) -> None:
    """From the link in the notice to "seen by" on the page of now."""
    with Reader(scene.guard.store.directory) as reader:
        sent = [each.notice for each in reader.notices(scene.guard.label_s() - 43200.0)]
    rang = next(each for each in reversed(sent) if "low-temperature/larch-3" in each.alarms)
    device.open(scene.address + notice_path(rang.notice))
    assert rang.subject in device.text()
    device.tap("I’ve seen it")

    assert "Seen, and the others are told." in device.text()
    assert "seen by page at 03:1" in device.text()
    alarm = scene.alarm("low-temperature/larch-3")
    assert alarm is not None
    assert alarm["state"] == "acknowledged"


@EVERY
def test_a_wrap_is_felt_in_two_taps_and_the_last_entry_taken_back(scene: Scene, device: Surfer) -> None:
    """Record, Dry; the answer counts it; then it was wrong."""
    device.open(scene.address)
    device.tap("Record", within="nav")
    device.tap("Dry")
    assert "felt dry" in device.text()
    assert scene.entries("touch")[-1]["feel"] == "dry"

    device.tap("Take it back", within=".said")
    assert "Taken back: Larch 3: first branch felt dry." in device.text()
    assert [touch.feel for touch in scene.guard.book.trees["larch-3"].wraps[0].touches] == ["damp"]


@BOTH
def test_a_new_tree_is_written_down_and_a_mistake_is_shown_at_its_field(scene: Scene, device: Surfer) -> None:
    """Nothing that was filled in is lost; the answer says what now holds."""
    device.open(f"{scene.address}/record")
    device.tap("A tree")
    device.fill("name", "Larch 3")
    device.fill("species", "Larix decidua")
    device.fill("place", "sensor/bench-b")
    device.fill("work", "heavy-bend")
    device.fill("on", "2027-01-10")
    device.tap("Write it down")
    assert "There is a tree of this name already." in device.text()

    device.fill("name", "Larch 7")
    device.tap("Write it down")
    assert device.address() == "/tree/larch-7"
    assert "Larch 7: fresh until 24 January; I wake you below 0 °C" in device.text()


@BOTH
def test_what_else_was_done_goes_in_by_its_form(scene: Scene, device: Surfer) -> None:
    """From the tree's page: a limit, a wrap, a note; from the record's: a move of two trees."""
    forms = {
        "A limit of your own": {"limit": "low_harm_c", "value": "-2,5", "reason": "came through -3 once"},
        "Wrap on": {"wrap": "Second branch", "fibre": "raffia"},
        "A note": {"note": "leans to the left"},
    }
    for button, fields in forms.items():
        device.open(f"{scene.address}/tree/yew-2")
        device.tap(button)
        for name, value in fields.items():
            device.fill(name, value)
        device.tap("Write it down")
        assert device.address() == "/tree/yew-2", device.text()

    yew = scene.guard.book.trees["yew-2"]
    assert yew.wraps_on[-1].wrap == "second-branch"
    assert scene.guard.trees["yew-2"].limits["low_harm_c"] == -2.5
    assert scene.entries("note")[-1]["note"] == "leans to the left"


@BOTH
def test_a_small_thing_is_made_quiet_and_a_sensor_rests(scene: Scene, device: Surfer) -> None:
    """And both count again."""
    device.open(scene.address)
    device.tap("Quiet", within="form[action='/quiet']")
    assert "Quiet until 04:1" in device.text()
    device.tap("Let it count again")
    assert "It counts again." in device.text()

    device.tap("Workings", within="nav")
    device.tap("Let it rest")
    assert "Bench-a is at rest until 04:1" in device.text()
    device.tap("Wake it")
    assert "Bench-a is back." in device.text()


@BOTH
def test_a_drill_goes_out_by_one_tap(scene: Scene, device: Surfer) -> None:
    """Through the way that was tapped."""
    device.open(f"{scene.address}/workings")
    device.tap("Drill")

    assert "The drill through mail went out" in device.text()
    assert str(scene.ways["mail"].notices[-1].kind) == "drill"


@BOTH
def test_the_morning_after_somebody_says_whether_it_was_worth_it(
    make_scene: Make, over_night: Night, device: Surfer
) -> None:
    """Seen, then one tap."""
    scene = make_scene(over_night)
    device.open(scene.address)
    device.tap("I’ve seen it", within="[aria-labelledby='h-over']")
    device.tap("Yes", within=".rang")

    assert "Written down: it was worth it." in device.text()
    assert scene.guard.snapshot.more["rang"][0]["worth"] is True


@BOTH
def test_a_password_lets_the_owner_in_and_a_link_the_helper(
    make_scene: Make, night: Night, device: Surfer
) -> None:
    """The owner asks a helper in; the helper's device can say what was done, and nothing else."""
    scene = make_scene(night, password=True)
    device.open(f"{scene.address}/workings")
    device.fill("password", "not the password")
    device.tap("Come in")
    assert "That is not the password." in device.text()
    device.fill("password", PASSWORD)
    device.tap("Come in")
    device.tap("Ask a helper in")
    device.fill("person", "tom")
    device.fill("until", "2027-01-22")
    device.tap("Write it down")
    link = str(device.run("document.querySelector('.said a').href"))

    device.forget()
    device.open(link)
    assert "Welcome, Tom." in device.text()
    device.tap("Record", within="nav")
    assert "Workings" not in device.text()
    assert "Write down" not in device.text()
    device.tap("Wetted again")
    assert scene.entries("rewet")[-1]["by"] == "tom"
    device.open(f"{scene.address}/workings")
    assert "This is for the owner." in device.text()


@BOTH
def test_nights_and_reports_are_found_from_any_page(scene: Scene, device: Surfer) -> None:
    """By the links at the head, and a tree by its name."""
    device.open(scene.address)
    device.tap("Larch 3", within=".trees")
    assert device.address() == "/tree/larch-3"
    device.tap("7 days")
    assert device.address() == "/tree/larch-3?span=7d"
    device.tap("Tonight", within="nav")
    assert "Who is called" in device.text()
    device.tap("Report", within="nav")
    assert "Not sent yet: this is how it would be now." in device.text()


def test_by_keyboard_alone_an_alarm_is_seen(scene: Scene, browser: Surfer) -> None:
    """Past the links at the head, on to the button, and Enter; every stop can be seen."""
    browser.device(DESK_PX)
    browser.forget()
    browser.open(scene.address)
    browser.press("Tab")
    assert browser.run("document.activeElement.className") == "skip"
    browser.press("Enter")
    for _ in range(3):
        browser.press("Tab")
        assert browser.run("getComputedStyle(document.activeElement).outlineStyle") == "solid"
        if "seen it" in str(browser.run("document.activeElement.innerText")):
            break
    browser.press("Enter", leaves=True)

    assert "Seen, and the others are told." in browser.text()


# ---- how it looks --------------------------------------------------------------------------------------

WIDE = """
[...document.querySelectorAll('body *')].filter(each => {
  const box = each.getBoundingClientRect();
  return box.width && box.height && box.right > document.documentElement.clientWidth + 0.5 && box.left >= 0
    && !each.closest('svg');
}).map(each => each.tagName + ': ' + each.textContent.slice(0, 60))
"""
SMALL_TARGETS = """
[...document.querySelectorAll(
  ':is(button, select, input:not([type=hidden], [type=checkbox]), .button, nav a, .trees a)')]
  .map(each => [each, each.getBoundingClientRect()])
  .filter(([each, box]) => box.width && (box.height < 43.5 || box.width < 43.5))
  .map(([each, box]) => each.outerHTML.slice(0, 80) + ' ' + box.width + 'x' + box.height)
"""
RULES = """
axe.run(document, {resultTypes: ['violations']}).then(found => found.violations.map(
  each => each.id + ': ' + each.nodes.map(node => node.target.join(' ')).slice(0, 3).join(', ')))
"""
LOOKS = (
    "/", "/tree/larch-3", "/tree/maple-6?span=7d", "/record", "/record/tree", "/record/wrap?tree=larch-3",
    "/record/move", "/tonight", "/report", "/workings", "/labels", "/nothing/here",
)  # fmt: skip


@pytest.mark.parametrize("path", LOOKS)
def test_nothing_is_cut_off_small_or_closed_to_anybody(
    looked_at: Scene, browser: Surfer, tmp_path: Path, path: str
) -> None:
    """On the narrowest phone and on a desk, in light and dark: axe-core finds nothing, targets are 44 px.

    `published`: WCAG 2.2, 1.4.10 (no scrolling sideways at 320 px) and 2.5.5 (targets of 44 px).
    """
    for width_px, dark in ((320, False), (DESK_PX, True)):
        browser.device(width_px, dark)
        browser.open(looked_at.address + path)
        browser.shot(tmp_path / f"{width_px}{'-dark' if dark else ''}.png")
        assert browser.run("document.documentElement.scrollWidth") <= width_px
        assert browser.run(WIDE) == []
        assert browser.run(SMALL_TARGETS) == []
        browser.run(axe_script())
        assert browser.run(RULES) == []


def test_pages_of_other_hours_are_open_to_everybody_too(
    make_scene: Make, night: Night, quiet_night: Night, over_night: Night, browser: Surfer, tmp_path: Path
) -> None:
    """The morning after, a quiet evening, and before the password."""
    browser.device(320, True)
    browser.forget()
    for name, scene in (
        ("over", make_scene(over_night)),
        ("quiet", make_scene(quiet_night)),
        ("password", make_scene(night, password=True)),
    ):
        browser.open(scene.address)
        browser.shot(tmp_path / f"{name}.png")
        browser.run(axe_script())
        assert browser.run(RULES) == [], name
        assert browser.run(SMALL_TARGETS) == [], name
        assert browser.run(WIDE) == [], name


def test_dark_is_dark(looked_at: Scene, browser: Surfer) -> None:
    """Told apart by the browser itself; nobody is dazzled at three."""
    found = []
    for dark in (False, True):
        browser.device(PHONE_PX, dark)
        browser.open(looked_at.address)
        found.append(browser.run("getComputedStyle(document.body).backgroundColor"))

    assert found == ["rgb(251, 250, 244)", "rgb(14, 17, 9)"]


def test_a_page_asks_for_nothing_but_its_style(looked_at: Scene, browser: Surfer) -> None:
    """No address but the page's own, no script, no font."""
    browser.device(PHONE_PX)
    browser.requests.clear()
    browser.open(looked_at.address)

    paths = [each.removeprefix(looked_at.address) for each in browser.requests]
    assert paths[0] == "/"
    assert all(each.startswith(("/style-", "/icon.svg")) for each in paths[1:]), paths
    assert until(lambda: browser.run("document.styleSheets.length"), what="the style") == 1
