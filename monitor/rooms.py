"""The rooms that the engine lives in, put together once; how events go through them is the engine's."""

from collections.abc import Callable
from functools import partial

from monitor.alarms.board import Board
from monitor.commands import Commands
from monitor.conditions import HourlyRows, Surroundings
from monitor.deliveries import Deliveries
from monitor.gathered import Gathered
from monitor.guarding import Guarding
from monitor.morning.log import NightLog
from monitor.night_lows import largest_fall_k
from monitor.notices.desk import Desk
from monitor.occurrences import Occurrences
from monitor.own_delays import OwnDelays
from monitor.readings import Readings
from monitor.resting import Resting
from monitor.scenes import Scenes
from monitor.settings import Settings
from monitor.silence import Silence
from monitor.standing import Standing
from monitor.timers import Timers
from monitor.told_book import ToldBook
from monitor.trees.book import Book
from monitor.trees.plans import Plans
from monitor.troubles import Troubles
from monitor.watch import Ground, Watch


class Rooms:
    """Everything the guard knows."""

    def __init__(
        self, settings: Settings, plans: Plans, watches: Callable[[Ground], tuple[Watch, ...]]
    ) -> None:
        """`watches` makes what looks at slow things; it may leave some out."""
        self.settings = settings
        self.plans = plans
        self.now_s = 0.0
        self.made = Gathered()
        self._open_records()
        self.told = ToldBook(Book.fold((), {name: sensor.house for name, sensor in settings.sensors.items()}))
        self.timers = Timers()
        resting: set[str] = set()
        self.readings = Readings(settings, resting)
        self.surroundings = Surroundings(settings, self.readings.history)
        self.hours = HourlyRows()
        self.board = Board()
        self.guarding = Guarding(settings, plans, self.surroundings, self.board)
        self.silence = Silence(
            settings, self.readings.fresh_at_s, self.surroundings, self.guarding, self.timers, resting
        )
        self.silence.own_fall_k = partial(largest_fall_k, self.hours.rows)
        self.scenes = Scenes(
            settings,
            self.board,
            self.guarding,
            self.surroundings,
            self.silence,
            lambda: self.now_s,
            lambda: self.told.book,
        )
        self._put_up_alarms(watches, resting)

    def _put_up_alarms(self, watches: Callable[[Ground], tuple[Watch, ...]], resting: set[str]) -> None:
        """What finds, follows and tells of alarms."""
        self.troubles = Troubles(self.settings)
        self.deliveries = Deliveries(self.troubles)
        self.scenes.troubles = self.troubles
        self.scenes.last_errors = self.deliveries.last_error
        self.watches: tuple[Watch, ...] = watches(
            Ground(
                self.settings,
                self.plans,
                self.readings.history,
                self.surroundings,
                self.guarding,
                self.silence,
                self.board,
                lambda: self.told.book,
                lambda: self.scenes.speech,
                self.hours,
                self.readings.service_lows,
            )
        )
        self.scenes.watches = self.watches
        self.scenes.store_detail = lambda: self.store_trouble
        self.desk = Desk(self.settings, self.scenes.speech, self.scenes)
        own_delays = OwnDelays(self.settings.alarms)
        self.occurrences = Occurrences(
            self.board, self.scenes, self.guarding, self.surroundings, self.timers, own_delays
        )
        self.scenes.lately = lambda: self.occurrences.lately
        self.standing = Standing(self.settings, self.guarding, self.occurrences, self.timers)
        self.resting = Resting(resting, self.occurrences, self.silence, self.timers)
        self.scenes.rests_until_s = self.resting.until_s
        self.commands = Commands(
            self.settings, self.occurrences, self.desk, self.scenes, self.made.replies.append
        )

    def _open_records(self) -> None:
        """What is remembered beside the rooms' own memories."""
        self.reports: dict[str, str] = {}
        self.night_log = NightLog()
        self.drilled = ""
        """The local date of the last weekly drill."""
        self.first_seen_s = 0.0
        """When this guard first began to look; before that nothing was missed."""
        self.store_trouble = ""
        self.notes: list[str] = []
        """What the rim found and did, for the next report."""
        self.hours_done_to_s: float | None = None
