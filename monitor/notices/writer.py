"""What one notice says of a whole episode: subject, text, who is next, and the details for other programs.

Reads the engine's facts and changes nothing; every sentence stands in `words` and its neighbours.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.alarms.lifecycle import AlarmRow
from monitor.clock import rfc3339
from monitor.model import AlarmState, NoticeKind, Priority
from monitor.notices import calls, episodes, words
from monitor.notices.episodes import Episode
from monitor.notices.facts import Facts
from monitor.notices.scene import Scene
from monitor.notices.words import Reason, Speech
from monitor.settings import Settings

MOST_CAUSES = 4
"""Causes of one frost that a notice spells out."""


@dataclass(frozen=True, slots=True)
class Letter:
    """Subject and text; the alarms that it names as standing, with their priority, and those only as next."""

    subject: str
    text: str
    standing: dict[str, str]
    coming: tuple[str, ...] = ()


class Writer:
    """Writes for one site; `speech` is handed over each time, since the clock may be set."""

    def __init__(self, settings: Settings, facts: Facts) -> None:
        self._settings = settings
        self._facts = facts

    def active_rows(self, episode: Episode) -> list[AlarmRow]:
        """The alarms of an episode whose condition holds."""
        rows = [self._facts.row(alarm) for alarm in episode.occurrences if alarm not in episode.over]
        return [row for row in rows if row is not None and row.active]

    def letter(
        self,
        episode: Episode,
        kind: NoticeKind,
        priority: Priority,
        speech: Speech,
        seen_at_s: float | None,
        now_s: float,
    ) -> Letter:
        """What is to be said of an episode that has an active alarm."""
        rows = self.active_rows(episode)
        rows.sort(key=lambda row: episodes.order_of(row.kind, row.priority, row.alarm))
        scene = self._facts.scene(episode.house)
        standing = {row.alarm: str(row.priority) for row in rows}
        since_s = episode.started_at_s
        if kind in {NoticeKind.ESCALATION, NoticeKind.REPEAT} and episode.high_at_s is not None:
            since_s = episode.high_at_s
        lead = words.lead_of(kind, speech, seen_at_s, since_s, now_s)
        who_next = "" if kind is NoticeKind.ESCALATION else self._who_next(episode, priority)
        reason = self._facts.reason(rows[0])
        subject = words.subject_of(speech, rows[0].kind, scene, reason, scene.standing())
        if episode.family == "frost":
            causes = self._beside(rows, scene)[:MOST_CAUSES]
            text = words.frost_text(speech, scene, reason, lead, who_next, causes)
            return Letter(subject, text, standing, tuple(tree.alarm for tree in scene.coming()))
        others = [words.extra_line(self._facts.reason(row)) for row in rows[1:]]
        text = words.plain_text(scene.name, speech, now_s, reason, lead, who_next)
        return Letter(subject, "\n".join([text, *others]), standing)

    def _beside(self, rows: Sequence[AlarmRow], scene: Scene) -> list[Reason]:
        """What is to be said beside the trees' own lines, each thing once."""
        harmed = {tree.tree for tree in scene.standing() if tree.standing is Priority.HIGH}
        trees_told = bool(scene.standing() or scene.coming())
        found = []
        for row in rows:
            if row.kind == "low-temperature" or (row.kind == "cooling-fast" and row.subject in harmed):
                continue
            reason = self._facts.reason(row)
            of_the_house = row.kind in episodes.OF_THE_HOUSE
            found.append(replace(reason, consequence="") if of_the_house and trees_told else reason)
        return found

    def _who_next(self, episode: Episode, priority: Priority) -> str:
        """Who was told, and who is called if nobody answers."""
        if Priority.HIGH not in {priority, episode.priority} and not any(
            row.priority is Priority.HIGH for row in self.active_rows(episode)
        ):
            return ""
        first = calls.told(self._settings, Priority.HIGH, self._facts.duty())
        told = calls.names(self._settings, (*first, *episode.told))
        after = calls.passed_on(self._settings, seen=False)[episode.passed_on :]
        following = [f"{calls.names(self._settings, who)} after {words.duration(s)}" for s, who in after]
        text = f"Told: {told}." if told else ""
        if following:
            text += f" If nobody says that it is seen: {', '.join(following)}."
        return text

    def detail(self, alarm: str, occurrence: str) -> dict[str, Any]:
        """An alarm as other programs get it: keys as in `alarms.jsonl`, and its state now."""
        row = self._facts.row(alarm)
        if row is None or (occurrence and row.occurrence != occurrence):
            row = self._facts.occurrence(occurrence)
        if row is None:
            return {"alarm": alarm, "occurrence": occurrence, "state": str(AlarmState.NORMAL)}
        reason = self._facts.reason(row)
        changed_at_s = row.changed_at_s if row.changed_at_s is not None else row.since_at_s
        return {
            "at": None if changed_at_s is None else rfc3339(self._facts.label_s(changed_at_s)),
            "alarm": alarm,
            "kind": row.kind,
            "subject": row.subject,
            "occurrence": row.occurrence,
            "seq": row.seq,
            "from": str(row.came_from),
            "to": str(row.state),
            "state": str(row.state),
            "priority": str(row.priority),
            "value": row.value,
            "limit": row.limit,
            "quality": row.quality,
            "respond_within_s": self._facts.respond_within_s(row) if row.active else None,
            "cause": reason.cause,
            "consequence": reason.consequence,
            "action": reason.action,
            "because": row.because,
        }

    def what(self, episode: Episode) -> str:
        """What an episode is about, in two or three words."""
        subjects = [self._facts.subject_name(*alarm.split("/", 1)) for alarm in episode.occurrences]
        return words.what_of(episode.family, list(dict.fromkeys(subjects)))
