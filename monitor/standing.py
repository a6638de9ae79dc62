"""Where the trees stand and what holds there now: stages, alarms whose subject left, trees nobody watches."""

from collections.abc import Mapping
from typing import Any

from monitor.alarms import lifecycle
from monitor.guarding import Guarding
from monitor.model import Assessment, Judgement
from monitor.occurrences import Occurrences
from monitor.settings import Settings
from monitor.timers import Timers
from monitor.trees.book import Book

UNWATCHED_AFTER_S = 12 * 3600.0
TIMER = "unwatched"


class Standing:
    """Follows the book, and remembers each work's stage so that a change of it is a line of its stream."""

    def __init__(
        self, settings: Settings, guarding: Guarding, occurrences: Occurrences, timers: Timers
    ) -> None:
        self._settings = settings
        self._guarding = guarding
        self._occurrences = occurrences
        self._timers = timers
        self._stages: dict[str, str] = {}
        self._lines: list[Mapping[str, Any]] = []

    def load(self, stages: Mapping[str, str]) -> None:
        """Take over the stages that were known before a restart."""
        self._stages = dict(stages)

    def as_json(self) -> dict[str, str]:
        """Plain values for a row."""
        return dict(self._stages)

    def take(self) -> tuple[Mapping[str, Any], ...]:
        """Lines of the stream of stages since the last call."""
        taken, self._lines = tuple(self._lines), []
        return taken

    def refresh(self, book: Book, now_s: float, label_s: float) -> bool:
        """Stages and limits anew; whether a stage changed. `label_s` is what people's clocks say."""
        self._guarding.refresh(book, now_s)
        changed = self._note_stages(label_s)
        self._end_orphans(now_s)
        self.look_for_unwatched(now_s)
        return changed

    def _note_stages(self, label_s: float) -> bool:
        before = len(self._lines)
        for guarded in self._guarding.trees.values():
            for stage in guarded.stages:
                key = f"{guarded.tree.id}/{stage.entry}"
                if self._stages.get(key) != stage.stage:
                    self._stages[key] = stage.stage
                    self._lines.append(
                        {
                            "at_s": label_s,
                            "tree": guarded.tree.id,
                            "work": stage.work,
                            "stage": stage.stage,
                            "because": stage.because,
                        }
                    )
        return len(self._lines) > before

    def _end_orphans(self, now_s: float) -> None:
        """Alarms whose subject left, or whose limit is held no more, would never be judged again."""
        settings = self._settings
        around = {"site", *settings.houses, *settings.sensors, *settings.notifiers}
        for row in self._occurrences.board:
            subject = row.subject.split("/")[0]
            known = subject in around or subject in self._guarding.trees
            if not known or (row.active and not self._guarding.is_held(row.kind, subject)):
                self._occurrences.change(row.alarm, now_s, lambda held: lifecycle.end(held, now_s, "removed"))

    def look_for_unwatched(self, now_s: float) -> None:
        """Trees where no sensor is: at once where it left the settings, after twelve hours where moved."""
        unwatched = {guarded.tree.id: guarded.tree for guarded in self._guarding.unwatched()}
        next_s: float | None = None
        for tree in unwatched.values():
            since_s = now_s if tree.sensor is not None or tree.placed_at_s is None else tree.placed_at_s
            wait_s = 0.0 if tree.sensor is not None else UNWATCHED_AFTER_S
            if since_s + wait_s <= now_s:
                found = Assessment("unwatched", tree.id, now_s, Judgement.BREACH, immediate=True)
                self._occurrences.judge(found, now_s)
            else:
                next_s = min(next_s or since_s + wait_s, since_s + wait_s)
        for row in self._occurrences.board:
            is_judged = row.subject not in unwatched and not self._guarding.unjudged(row.subject)
            if row.kind == "unwatched" and row.active and is_judged:
                over = Assessment("unwatched", row.subject, now_s, Judgement.NORMAL, returned=True)
                self._occurrences.judge(over, now_s)
        self._timers.set(TIMER, next_s)
