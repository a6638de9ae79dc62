"""What notices, page and report may say of an alarm and its house, gathered from the rooms that know it."""

from collections.abc import Callable, Mapping

from monitor.alarms.board import Board
from monitor.alarms.lifecycle import AlarmRow
from monitor.conditions import Surroundings
from monitor.guarding import GuardedTree, Guarding
from monitor.model import AlarmState, Flag, Place, Priority, Quantity, Reading
from monitor.notices import trouble_words, words
from monitor.notices.scene import Scene, TreeScene
from monitor.notices.words import Reason, Speech
from monitor.settings import Settings
from monitor.silence import Silence
from monitor.trees.book import Book
from monitor.troubles import Troubles
from monitor.watch import Watch

TEMPERATURE_KINDS = frozenset({"low-temperature", "high-temperature"})
TROUBLE_KINDS = frozenset({"delivery-failing", "storage-failing", "clock-doubtful", "restarting"})
NEXT_WITHIN_S = 8 * 3600.0
"""Further ahead a line through the last half hour says nothing."""
IN_DANGER_CHANCE = 0.3
"""From this chance on harm before the end of quiet hours is expected."""


class Scenes:
    """Answers the desk's questions (`notices.facts.Facts`)."""

    def __init__(
        self,
        settings: Settings,
        board: Board,
        guarding: Guarding,
        surroundings: Surroundings,
        silence: Silence,
        now_s: Callable[[], float],
        book: Callable[[], Book],
    ) -> None:
        self._settings = settings
        self._board = board
        self._guarding = guarding
        self._surroundings = surroundings
        self._silence = silence
        self._now_s = now_s
        self._book = book
        self.speech = Speech(settings.site.zone, settings.site.show)
        self.off_span: tuple[float, float] | None = None
        self.watches: tuple[Watch, ...] = ()
        self.troubles: Troubles | None = None
        self.last_errors: Mapping[str, str] = {}
        self.store_detail: Callable[[], str] = str
        self.lately: Callable[[], Mapping[str, AlarmRow]] = dict
        self.rests_until_s: Callable[[str], float | None] = lambda sensor: None

    # ---- notices.facts.Facts ------------------------------------------------------------------------------

    def row(self, alarm: str) -> AlarmRow | None:
        """The alarm's row, if it is held."""
        return self._board.by_name(alarm)

    def occurrence(self, name: str) -> AlarmRow | None:
        """The row of an occurrence as it stands, or as it ended."""
        return self.lately().get(name)

    def label_s(self, at_s: float) -> float:
        """The wall time of a guard instant."""
        return round(at_s + self.speech.offset_s, 3)

    def duty(self) -> tuple[str, ...]:
        """People on duty now."""
        return self._book().on_duty(self._now_s())

    def house_of(self, kind: str, subject: str) -> str:
        """The house that an alarm belongs to; empty for the site."""
        if subject in self._settings.houses:
            return subject
        if kind.startswith("sensor-") or kind == "battery-low":
            sensor = self._settings.sensors.get(subject)
            return sensor.house if sensor is not None else ""
        tree = self._guarding.trees.get(subject.split("/", maxsplit=1)[0])
        place = tree.tree.sensor if tree is not None else None
        return self._settings.sensors[place].house if place in self._settings.sensors and place else ""

    def house_name(self, house: str) -> str:
        """The house as people call it."""
        settings = self._settings.houses.get(house)
        return (settings.name or house) if settings is not None else ""

    def subject_name(self, kind: str, subject: str) -> str:
        """A subject as people call it."""
        tree = self._guarding.trees.get(subject.split("/", maxsplit=1)[0])
        return tree.tree.name if tree is not None else self.house_name(subject) or subject

    def in_danger(self, house: str, until_s: float) -> bool:
        """Whether a tree of the house is expected to reach harm before an instant."""
        for guarded in self._guarding.in_house(house):
            harm_c = guarded.limits.get("low_harm_c")
            if harm_c is None or guarded.tree.sensor is None:
                continue
            at_s = self._surroundings.reaches_at_s(
                guarded.tree.sensor, harm_c, self._now_s(), IN_DANGER_CHANCE
            )
            if at_s is not None and at_s < until_s:
                return True
        return False

    def scene(self, house: str) -> Scene:
        """The house now, its trees in order of need."""
        settings = self._settings.houses.get(house)
        if settings is None:
            return Scene("", "", self._now_s())
        trees = sorted((self._tree(g) for g in self._guarding.in_house(house)), key=_need)
        benches = [
            name
            for name, sensor in self._settings.sensors.items()
            if sensor.house == house and sensor.place is Place.BENCH
        ]
        now_s = self._now_s()
        trends = [trend for name in benches if (trend := self._surroundings.trend(name, now_s)) is not None]
        falls = [fall for name in benches if (fall := self._surroundings.fall(name, now_s)) is not None]
        heater = (
            settings.heater_setpoint_c is not None
            or self._book().setpoint_c(house, self._now_s()) is not None
        )
        return Scene(
            house,
            self.house_name(house),
            now_s,
            tuple(trees),
            max((trend.falling_k_per_h for trend in trends), default=None),
            heater,
            *max(falls, default=(None, None)),
        )

    def _tree(self, guarded: GuardedTree) -> TreeScene:
        sensor, now_s = guarded.tree.sensor or "", self._now_s()
        row = self._board.by_name(f"low-temperature/{guarded.tree.id}")
        reading = self._surroundings.latest(sensor)
        value_c = reading.value if reading is not None else None
        if _mark(row, reading) == "retained" and row is not None:
            value_c = row.value
        harm_c = guarded.limits.get("low_harm_c")
        reaches_s = None if harm_c is None else self._surroundings.reaches_at_s(sensor, harm_c, now_s)
        if reaches_s is not None and reaches_s - now_s > NEXT_WITHIN_S:
            reaches_s = None
        return TreeScene(
            guarded.tree.id,
            guarded.tree.name,
            f"low-temperature/{guarded.tree.id}",
            value_c,
            guarded.limits.get("low_warn_c"),
            harm_c,
            guarded.why,
            row.priority if row is not None and row.active else None,
            reaches_s,
            _mark(row, reading),
        )

    # ---- reasons -------------------------------------------------------------------------------------------

    def reason(self, row: AlarmRow) -> Reason:
        """Cause, consequence and action of an alarm now."""
        if row.state is AlarmState.OUT_OF_SERVICE:
            return words.at_rest(self.speech, row.subject, row.shelved_until_s, self._names_at(row.subject))
        if row.state is AlarmState.NORMAL and row.because == "rest-ended":
            return words.back_in_service(row.subject)
        if row.kind == "low-temperature":
            return self._frost(row)
        if row.kind == "high-temperature":
            return self._heat(row)
        if row.kind == "sensor-silent":
            reading = self._surroundings.latest(row.subject)
            return words.sensor_silent(
                self.speech,
                row.subject,
                reading.observed_at_s if reading is not None else None,
                reading.value if reading is not None else None,
                self._names_at(row.subject),
            )
        if row.kind == "broker-lost":
            return words.broker_lost(self._silence.link_detail, len(self._settings.sensors))
        if row.kind == "was-off":
            from_s, to_s = self.off_span or (self._now_s(), self._now_s())
            worst = words.COULD_HAVE_FROZEN if row.priority is Priority.HIGH else ""
            return words.was_off(self.speech, from_s, to_s, worst)
        if row.kind == "unwatched":
            return self._unwatched(row)
        if row.kind in TROUBLE_KINDS:
            return self._trouble(row)
        for watch in self.watches:
            if row.kind in watch.KINDS:
                return watch.reason(row.kind, row.subject)
        return Reason(row.kind.replace("-", " "), "not known", "Look at it.")

    def _names_at(self, sensor: str) -> list[str]:
        """The trees at a sensor as people call them."""
        return [guarded.tree.name for guarded in self._guarding.at_sensor(sensor)]

    def _frost(self, row: AlarmRow) -> Reason:
        house = self.house_of(row.kind, row.subject)
        scene = self.scene(house)
        for tree in scene.trees:
            if tree.tree == row.subject:
                return words.low_temperature(self.speech, tree, scene, row.priority)
        return Reason(f"frost at {row.subject}", "damage is possible", words.HANDS_OFF)

    def _trouble(self, row: AlarmRow) -> Reason:
        if row.kind == "delivery-failing":
            ways = self.troubles.failing() if self.troubles is not None else ()
            errors = [self.last_errors[name] for name in ways if name in self.last_errors]
            return trouble_words.delivery_failing(
                ways, errors[0] if errors else "", row.priority is Priority.HIGH
            )
        if row.kind == "storage-failing":
            return trouble_words.storage_failing(self.store_detail())
        return trouble_words.clock_doubtful() if row.kind == "clock-doubtful" else trouble_words.restarting()

    def ways_left(self) -> tuple[str, ...]:
        """Notifiers that have not just failed."""
        return self.troubles.ways_left() if self.troubles is not None else tuple(self._settings.notifiers)

    def _heat(self, row: AlarmRow) -> Reason:
        guarded = self._guarding.trees.get(row.subject)
        name = guarded.tree.name if guarded is not None else row.subject
        limits = guarded.limits if guarded is not None else {}
        limit_c = limits.get("high_harm_c" if row.priority is Priority.HIGH else "high_warn_c")
        value_c = self.value_of(row.kind, row.subject)
        why = guarded.why if guarded is not None else ""
        return words.high_temperature(self.speech, name, value_c, limit_c, row.priority, why)

    def _unwatched(self, row: AlarmRow) -> Reason:
        guarded = self._guarding.trees.get(row.subject)
        if guarded is None:
            return words.unwatched(row.subject, "")
        failing = self._guarding.unjudged(row.subject)
        if failing:
            return trouble_words.unjudged(guarded.tree.name, failing)
        return words.unwatched(guarded.tree.name, guarded.tree.place or guarded.tree.sensor or "")

    def value_of(self, kind: str, subject: str) -> float | None:
        """The present value that an alarm is about."""
        tree = self._guarding.trees.get(subject)
        if kind not in TEMPERATURE_KINDS or tree is None or tree.tree.sensor is None:
            return None
        reading = self._surroundings.latest(tree.tree.sensor, Quantity.TEMPERATURE_C)
        return reading.value if reading is not None else None

    def respond_within_s(self, row: AlarmRow) -> float | None:
        """The time until damage if things go on as they do; 0 where it is already so cold [s]."""
        tree = self._guarding.trees.get(row.subject)
        if row.kind != "low-temperature" or tree is None or tree.tree.sensor is None:
            return None
        harm_c = tree.limits.get("low_harm_c")
        if harm_c is None:
            return None
        at_s = self._surroundings.reaches_at_s(tree.tree.sensor, harm_c, self._now_s())
        return None if at_s is None else max(0.0, round(at_s - self._now_s()))


def _mark(row: AlarmRow | None, reading: Reading | None) -> str:
    """What is to be said of the reading that an alarm goes by; once others came, of the newest."""
    if row is not None and row.active and row.quality != "good":
        newer = reading is not None and row.since_at_s is not None and reading.observed_at_s > row.since_at_s
        if not newer:
            return row.quality
    return "suspect" if reading is not None and reading.flag is Flag.SUSPECT else ""


def _need(tree: TreeScene) -> tuple[float, str]:
    return (tree.margin_k if tree.margin_k is not None else float("inf"), tree.tree)
