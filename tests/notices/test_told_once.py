"""Within one notice each thing is said once: a tree's own frost stands over how fast it was coming."""

from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from monitor.alarms.lifecycle import AlarmRow
from monitor.model import AlarmState, Notice, Priority, Transition
from monitor.notices.desk import Desk
from monitor.notices.scene import Scene, TreeScene
from monitor.notices.words import Reason, Speech
from tests.engine.house import settings_of

NOW_S = 1_800_000_000.0
ACT = "See whether the heater runs."
REASONS = {
    "low-temperature": Reason("frost at Larch 3", "damage is likely", ACT),
    "cooling-fast": Reason("the air at Larch 3 is falling fast", "at 0 °C in 15 min", ACT),
    "heater-not-holding": Reason("the heater has not held since 02:25", "Larch 3 comes to 0 °C", ACT),
}


@dataclass
class Night:
    """A house in which a frost stands at one priority, with what else has one cause with it."""

    frost: Priority | None
    rows: dict[str, AlarmRow] = field(default_factory=dict)

    def stands(self, kind: str, subject: str, priority: Priority) -> None:
        """One more alarm of the house."""
        row = AlarmRow(kind, subject, AlarmState.UNACKNOWLEDGED, True, f"{kind}/{subject}@1", 1, priority)
        self.rows[row.alarm] = row

    def row(self, alarm: str) -> AlarmRow | None:
        """The alarm's row, if it stands."""
        return self.rows.get(alarm)

    def occurrence(self, name: str) -> AlarmRow | None:
        """Nothing is over yet."""
        return None

    def respond_within_s(self, row: AlarmRow) -> float | None:
        """Nobody can say."""
        return None

    def scene(self, house: str) -> Scene:
        """One larch on its way to damage, or there."""
        temperature_c, reaches_s = (-0.1, None) if self.frost is Priority.HIGH else (0.6, NOW_S + 900.0)
        larch = TreeScene("larch-3", "Larch 3", "low-temperature/larch-3", temperature_c, 1.5, 0.0,
                          "heavy bend, day 3", self.frost, reaches_s)  # fmt: skip
        return Scene(house, "Cold house", NOW_S, (larch,))

    def reason(self, row: AlarmRow) -> Reason:
        """Its words."""
        return REASONS[row.kind]

    def house_of(self, kind: str, subject: str) -> str:
        """There is one house."""
        del kind, subject
        return "cold"

    def subject_name(self, kind: str, subject: str) -> str:
        """As people call it."""
        del kind
        return {"larch-3": "Larch 3"}.get(subject, "Cold house")

    def in_danger(self, house: str, until_s: float) -> bool:
        """Always."""
        del house, until_s
        return True

    def duty(self) -> tuple[str, ...]:
        """Nobody besides the usual."""
        return ()

    def ways_left(self) -> tuple[str, ...]:
        """All."""
        return ("mail",)

    def label_s(self, at_s: float) -> float:
        """The clock was never set."""
        return at_s


def told_of(night: Night) -> Notice:
    """The one notice about all that stands."""
    desk = Desk(settings_of(), Speech(ZoneInfo("Europe/London"), "celsius"), night)
    changes = [
        Transition(NOW_S, row.alarm, row.kind, row.subject, row.occurrence, 1, AlarmState.NORMAL,
                   row.state, row.priority, None, None, "good", None, "", "", "", "condition")
        for row in night.rows.values()
    ]  # fmt: skip
    desk.settle(changes, NOW_S)
    return next(notice for notice in desk.take()[0] if notice.notifier == "mail")


def test_once_a_tree_is_at_damage_nothing_is_said_of_how_fast_it_was_coming() -> None:
    """It is there; when it would come is over."""
    night = Night(Priority.HIGH)
    night.stands("low-temperature", "larch-3", Priority.HIGH)
    night.stands("cooling-fast", "larch-3", Priority.HIGH)

    text = told_of(night).text
    assert "- Larch 3: −0.1 °C, damage likely below 0 °C" in text
    assert "falling fast" not in text


def test_while_a_tree_is_only_on_the_way_it_is_said_how_fast_and_how_sure() -> None:
    """The tree's own frost is medium yet."""
    night = Night(Priority.MEDIUM)
    night.stands("low-temperature", "larch-3", Priority.MEDIUM)
    night.stands("cooling-fast", "larch-3", Priority.HIGH)

    assert "falling fast; at 0 °C in 15 min" in told_of(night).text


def test_the_heater_does_not_say_again_when_a_tree_comes_to_damage() -> None:
    """The tree's own line has said it."""
    night = Night(Priority.HIGH)
    night.stands("low-temperature", "larch-3", Priority.HIGH)
    night.stands("heater-not-holding", "cold", Priority.HIGH)

    text = told_of(night).text
    assert "- The heater has not held since 02:25." in text
    assert "comes to 0 °C" not in text


def test_a_heater_alone_says_who_is_next() -> None:
    """No tree stands in frost or is seen on the way: then the heater's own reckoning is all there is."""
    night = Night(None)
    night.stands("heater-not-holding", "cold", Priority.HIGH)
    larch = night.scene("cold").trees[0]
    night.scene = lambda house: Scene(  # type: ignore[method-assign]
        house, "Cold house", NOW_S, (TreeScene(larch.tree, larch.name, larch.alarm, 3.0, 1.5, 0.0),)
    )

    assert "Larch 3 comes to 0 °C" in told_of(night).text


def test_how_fast_is_told_as_what_the_air_did() -> None:
    """A fact, beside which no forecast looks wrong; what is within a noise is left out."""
    for fell_k, said in ((0.7, "The air has fallen 0.7 degrees in the last 15 min."), (0.1, "")):
        night = Night(Priority.MEDIUM)
        night.stands("low-temperature", "larch-3", Priority.MEDIUM)
        scene = replace(night.scene("cold"), fell_k=fell_k, fell_over_s=900.0)
        night.scene = lambda house, scene=scene: scene  # type: ignore[method-assign,misc]

        text = told_of(night).text
        assert said in text
        assert ("The air has" in text) is bool(said)
