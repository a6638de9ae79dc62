"""The morning report as a value: every sentence is made, nothing is laid out. Renderers only draw it."""

from dataclasses import dataclass
from enum import Enum

from monitor.report.picture_facts import HousePicture

NOTHING_MISSED = "Nothing: every sensor was heard all night."


class Mark(Enum):
    """How a tree came through: a shape and a word, so that no meaning hangs on colour alone."""

    COLD = ("▲", "too cold", "past")
    WARM = ("▲", "too warm", "past")
    CLOSE = ("◆", "close", "close")
    BLIND = ("○", "not seen", "unseen")
    PARTLY = ("◐", "partly seen", "unseen")
    CLEAR = ("●", "clear", "clear")
    EASY = ("–", "not tender", "easy")

    @property
    def shape(self) -> str:
        """The shape that stands for it."""
        return self.value[0]

    @property
    def word(self) -> str:
        """The word that stands beside the shape, always."""
        return self.value[1]

    @property
    def tone(self) -> str:
        """The name of its colour in the palette."""
        return self.value[2]


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing to do today: on which tree or part of the house, what, why, and how long it can wait."""

    about: str
    what: str
    why: str
    wait: str


@dataclass(frozen=True, slots=True)
class SensorRow:
    """One line of a house's night: `doubtful` is empty where nothing was wrong with its readings."""

    sensor: str
    where: str
    lowest: str
    at: str
    highest: str


@dataclass(frozen=True, slots=True)
class HouseNightPart:
    """One house's night: sensors, what it meant for the tenderest tree, and its picture's facts."""

    house: str
    name: str
    rows: tuple[SensorRow, ...]
    said: tuple[str, ...] = ()
    picture: HousePicture | None = None


@dataclass(frozen=True, slots=True)
class TreeRow:
    """One tree: its mark, its works with stage and day, its margin, the wraps on it, the next step."""

    mark: Mark
    name: str
    works: str
    margin: str
    wraps: str
    next_step: str


@dataclass(frozen=True, slots=True)
class MorningReport:
    """The report; renderers only draw it. Tuples hold whole sentences or lines, most important first."""

    date: str
    subject: str
    verdict: str
    place_and_time: str
    remarks: tuple[str, ...]
    """What must be known before the rest: that it comes late, that the clocks changed."""
    today: tuple[Ask, ...]
    can_wait: int
    night_title: str
    night: tuple[HouseNightPart, ...]
    trees: tuple[TreeRow, ...]
    """Those that need a look first; `more_trees` stand at the end of the page."""
    tree_notes: tuple[str, ...]
    """Which trees may leave, and where to look first when something died."""
    more_trees: tuple[TreeRow, ...]
    more_trees_said: str
    alarms: tuple[str, ...]
    not_seen: tuple[str, ...]
    tonight: tuple[str, ...]
    skill: tuple[str, ...]
    coming: tuple[tuple[str, str], ...]
    """A day and what is due on it."""
    week: tuple[str, ...]
    foot: tuple[str, ...]
    safety: tuple[str, ...]

    @property
    def pictures(self) -> tuple[HousePicture, ...]:
        """The facts of all pictures."""
        return tuple(part.picture for part in self.night if part.picture is not None)
