"""What people say to the guard while it runs: seen, quiet, ring again, worth it; answered after the commit.

An alarm goes by its name (`low-temperature/larch-3`); a notice by its id, a house by its id, and `--all`
stand for whole episodes. "Seen" counts for the whole episode, whoever said it.
"""

from collections.abc import Callable, Iterable

from monitor.alarms import lifecycle
from monitor.alarms.lifecycle import AlarmRow
from monitor.model import AlarmState, Command, Reply
from monitor.notices.desk import Desk
from monitor.notices.episodes import key_of
from monitor.occurrences import Occurrences
from monitor.scenes import Scenes
from monitor.settings import Settings

TO_BE_SEEN = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED})
ENDS_WHEN_SEEN = frozenset({"was-off"})


class Commands:
    """Carries out commands on the board; answers go to `reply`."""

    def __init__(
        self,
        settings: Settings,
        occurrences: Occurrences,
        desk: Desk,
        scenes: Scenes,
        reply: Callable[[Reply], None],
    ) -> None:
        self._settings = settings
        self._occurrences = occurrences
        self._board = occurrences.board
        self._desk = desk
        self._scenes = scenes
        self._reply = reply

    def handle(self, command: Command, now_s: float) -> None:
        """Carry out one command and answer it; what cannot be done is answered, never raised."""
        try:
            if command.name == "ack":
                value = self._acknowledge(command, now_s)
            elif command.name == "shelve":
                value = self._shelve(command, now_s)
            elif command.name == "resume":
                value = self._resume(command, now_s)
            elif command.name == "worth":
                value = self._worth(command)
            else:
                raise ValueError(f"there is no command {command.name!r}")
        except ValueError as error:
            self._reply(Reply(command.ticket, False, message=str(error)))
            return
        self._reply(Reply(command.ticket, True, value))

    # ---- which alarms are meant ----------------------------------------------------------------------------

    def _rows(self, targets: Iterable[str], alone: bool = False) -> list[AlarmRow]:
        """The alarms that some targets stand for; ValueError names a target that stands for none.

        An alarm's name stands for its whole episode, or for it `alone`.
        """
        found: dict[str, AlarmRow] = {}
        for target in targets:
            rows = self._meant_by(target, alone)
            if not rows and target not in self._settings.houses and target != "--all":
                raise ValueError(
                    f"no alarm stands that is called {target!r}: `aftercare alarm list` shows those that do"
                )
            found.update({row.alarm: row for row in rows})
        return list(found.values())

    def _meant_by(self, target: str, alone: bool) -> list[AlarmRow]:
        standing = self._board.standing()
        if target == "--all":
            return list(standing)
        if target in self._settings.houses:
            scenes = self._scenes
            return [row for row in standing if scenes.house_of(row.kind, row.subject) == target]
        row = self._board.by_name(target)
        if row is not None:
            return [row] if alone else self._episode_of(row)
        for episode in self._desk.open_episodes:
            if target == episode.name or target in episode.notices:
                return [r for r in standing if r.alarm in episode.occurrences]
        return []

    def _episode_of(self, row: AlarmRow) -> list[AlarmRow]:
        scenes = self._scenes
        key = key_of(row.kind, scenes.house_of(row.kind, row.subject))
        return [
            other
            for other in self._board.standing()
            if other.alarm == row.alarm
            or key_of(other.kind, scenes.house_of(other.kind, other.subject)) == key
        ]

    # ---- commands ------------------------------------------------------------------------------------------

    def _acknowledge(self, command: Command, now_s: float) -> list[str]:
        seen = []
        for row in self._rows(_targets(command)):
            if row.state not in TO_BE_SEEN:
                continue
            self._see(row, command.by, now_s)
            if row.kind in ENDS_WHEN_SEEN:
                self._occurrences.change(row.alarm, now_s, lambda held: lifecycle.end(held, now_s, "seen"))
            seen.append(row.alarm)
        return seen

    def _see(self, row: AlarmRow, by: str, now_s: float) -> None:
        value = self._scenes.value_of(row.kind, row.subject)
        self._occurrences.change(row.alarm, now_s, lambda held: lifecycle.acknowledge(held, now_s, by, value))

    def _shelve(self, command: Command, now_s: float) -> list[str]:
        until_s = now_s + float(command.values.get("for_s", 0.0))
        rows = self._in_service(self._rows(_targets(command), alone=True))
        for row in rows:
            lifecycle.shelve(row, now_s, until_s, command.by)
        for row in rows:
            self._occurrences.change(
                row.alarm, now_s, lambda held: lifecycle.shelve(held, now_s, until_s, command.by)
            )
        return [row.alarm for row in rows]

    def _resume(self, command: Command, now_s: float) -> list[str]:
        rows = self._in_service(self._rows(_targets(command), alone=True))
        for row in rows:
            self._occurrences.change(row.alarm, now_s, lambda held: lifecycle.leave_rest(held, "resumed"))
        return [row.alarm for row in rows]

    @staticmethod
    def _in_service(rows: list[AlarmRow]) -> list[AlarmRow]:
        """Without those of sensors at rest; ValueError where there are no others."""
        left = [row for row in rows if row.state is not AlarmState.OUT_OF_SERVICE]
        if rows and not left:
            sensor = rows[0].subject
            raise ValueError(f"{sensor} is at rest: `aftercare sensor wake {sensor}` brings it back")
        return left

    def _worth(self, command: Command) -> list[str]:
        """Whether what rang and is over was worth it."""
        is_worth = command.values.get("worth")
        if not isinstance(is_worth, bool):
            raise ValueError("worth is true or false")
        return [self._desk.rings.answer(str(command.values.get("episode", "")), is_worth, command.by).episode]


def _targets(command: Command) -> Iterable[str]:
    """What a command is about: `alarms`, or one `alarm` as a recording has it."""
    one = [command.values["alarm"]] if "alarm" in command.values else []
    return [*one, *command.values.get("alarms", ())]
