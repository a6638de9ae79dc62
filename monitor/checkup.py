"""What a guard knows of itself, gathered when a pass is over: engine, keeping, delivery in, a `Health` out.

It judges nothing: whether that is good enough for a sign of life is `liveness`'s business.
"""

from collections.abc import Iterator

from monitor.clock import GuardClock, monotonic_s
from monitor.delivery import record_only
from monitor.engine import Engine
from monitor.keeping import Keeping
from monitor.liveness import Health, reaches_people
from monitor.model import Outcome, Snapshot
from monitor.settings import Settings

NEVER_S = float("-inf")


def status_line(snapshot: Snapshot) -> str:
    """How the guard is, in one line for the service manager; it names nothing that came from outside."""
    return "; ".join(_says(snapshot))


def _says(snapshot: Snapshot) -> Iterator[str]:
    sensors = [sensor for house in snapshot.houses for sensor in house["sensors"]]
    heard = sum(sensor["quality"] not in ("silent", "missing") for sensor in sensors)
    yield f"{heard} of {len(sensors)} sensors heard"
    yield "1 tree" if len(snapshot.trees) == 1 else f"{len(snapshot.trees)} trees"
    active = sum(bool(alarm["active"]) for alarm in snapshot.alarms)
    yield ("no alarm stands", "1 alarm stands")[active] if active < 2 else f"{active} alarms stand"
    if any(alarm["kind"] == "storage-failing" and alarm["active"] for alarm in snapshot.alarms):
        yield "what happens is not being kept"


class Checkup:
    """Looks, at most once in `every_s` [s of real time]; `health` is None until the first look."""

    def __init__(
        self, settings: Settings, engine: Engine, keeping: Keeping, clock: GuardClock, every_s: float = 1.0
    ) -> None:
        self.health: Health | None = None
        self._settings = settings
        self._engine = engine
        self._keeping = keeping
        self._clock = clock
        self._every_s = every_s
        self._records = record_only(settings) if settings.liveness is not None else frozenset()
        self._tried_at_s = NEVER_S

    def heard(self, outcome: Outcome) -> None:
        """Something became of a part; of an attempt to deliver, the instant counts."""
        if outcome.part == "delivery":
            self._tried_at_s = monotonic_s()

    def look(self) -> bool:
        """A pass is over; True when `health` is new."""
        real_s = monotonic_s()
        if self.health is not None and real_s - self.health.passed_at_s < self._every_s:
            return False
        now_s = self._clock.now_s()
        oldest_at_s = min(self._engine.deliveries.waiting.values(), default=None)
        waited_s = None if oldest_at_s is None else (now_s - oldest_at_s) / self._clock.rate
        self.health = Health(
            passed_at_s=real_s,
            committed_at_s=self._keeping.kept_at_s,
            store_ok=not self._keeping.failing,
            fresh_sensors=self._fresh_sensors(now_s),
            reaches_people=reaches_people(self._settings, self._records, self._engine.deliveries.last_error),
            waiting_since_s=None if waited_s is None else real_s - waited_s,
            tried_at_s=self._tried_at_s,
        )
        return True

    def _fresh_sensors(self, now_s: float) -> int:
        """Sensors that gave a present reading within their time."""
        heard_at_s = self._engine.readings.fresh_at_s
        return sum(
            now_s - heard_at_s.get(name, NEVER_S) <= sensor.silent_after_s
            for name, sensor in self._settings.sensors.items()
        )
