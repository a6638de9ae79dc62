"""The desk: takes the transitions of one event and writes the notices they ask for.

It decides by episodes, calls and quiet hours; the words come from `words`, the facts from the `Facts` that
the engine offers. Its memory (episodes, what went out lately) is rows for the store.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from monitor import links
from monitor.alarms.lifecycle import NEVER_RINGS
from monitor.model import (
    AlarmState,
    Notice,
    NoticeKind,
    OutboxChange,
    Priority,
    Row,
    Transition,
)
from monitor.notices import calls, episodes, quiet, usual, words
from monitor.notices.episodes import Episode
from monitor.notices.facts import Facts
from monitor.notices.rate import Rate
from monitor.notices.rings import PREFIX as RANG
from monitor.notices.rings import Ring, Rings
from monitor.notices.usual import Usual
from monitor.notices.words import Speech
from monitor.notices.writer import Writer
from monitor.settings import Settings

HELD_LOOKS_EVERY_S = 300.0
"""How often a held notice asks again whether it can wait."""
DANGER_WITHIN_S = 2 * 3600.0
"""The usual rings all the same if harm is expected so soon after somebody could be there; judgement."""


class Desk:
    """Episodes that are open, and the notices they ask for."""

    def __init__(self, settings: Settings, speech: Speech, facts: Facts) -> None:
        self._settings = settings
        self._facts = facts
        self._writer = Writer(settings, facts)
        self._zone = settings.site.zone
        self.speech = speech
        self._episodes: dict[str, Episode] = {}
        self._rate = Rate()
        self.rings = Rings()
        """What rang and is over."""
        self.usual = Usual(self._zone)
        self._changed: set[str] = set()
        self._notices: list[Notice] = []
        self._outbox: list[OutboxChange] = []

    def load(self, rows: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the rows that were saved."""
        other = ("rate/", RANG, usual.ROW)
        own = {key: row for key, row in rows.items() if not key.startswith(other)}
        self._episodes = {key: Episode.from_json(row) for key, row in own.items()}
        self.usual.load(rows.get(usual.ROW, {}))
        self._rate.load({k[5:]: v for k, v in rows.items() if k.startswith("rate/")})
        self.rings.load(rows)

    @property
    def open_episodes(self) -> tuple[Episode, ...]:
        """Episodes that are not over."""
        return tuple(self._episodes.values())

    # ---- transitions -> notices ----------------------------------------------------------------------

    def settle(self, transitions: Sequence[Transition], now_s: float) -> None:
        """Write what the transitions of one event ask for; alarms of one episode share one notice."""
        rings: dict[str, tuple[NoticeKind, list[str]]] = {}
        seen: dict[str, str] = {}
        touched: dict[str, None] = {}
        for change in transitions:
            for key in self._keys(change):
                touched[key] = None
                self._take(key, change, now_s, rings, seen)
        for key, by in seen.items():
            self._seen(key, by, now_s)
        for key, (kind, alarms) in rings.items():
            self._ring(key, kind, alarms, now_s)
        for key in touched:
            self._close_if_over(key, now_s)

    def _keys(self, change: Transition) -> list[str]:
        """Episodes that a transition concerns; a tree may have left the house or the book since it joined."""
        own = episodes.key_of(change.kind, self._facts.house_of(change.kind, change.subject))
        if change.to_state is AlarmState.UNACKNOWLEDGED:
            return [own]
        joined = [
            key
            for key, episode in self._episodes.items()
            if episode.occurrences.get(change.alarm) == change.occurrence
        ]
        return joined or [own]

    def _take(
        self,
        key: str,
        change: Transition,
        now_s: float,
        rings: dict[str, tuple[NoticeKind, list[str]]],
        seen: dict[str, str],
    ) -> None:
        episode = self._episodes.get(key)
        if change.to_state is AlarmState.UNACKNOWLEDGED:
            if episode is None:
                stamp = words.stamp(now_s)
                episode = Episode(key, f"{key.replace('/', '.')}.{stamp}", now_s)
            self.usual.note(change)
            episode, kind = episodes.join(episode, change)
            self._put(episode)
            if kind is not None and change.kind not in NEVER_RINGS:
                first = rings.get(key, (kind, []))
                whole = NoticeKind.ACTIVATION if NoticeKind.ACTIVATION in (first[0], kind) else kind
                rings[key] = (whole, [*first[1], change.alarm])
        elif episode is not None:
            if change.because == "seen":
                row = self._facts.occurrence(change.occurrence) or self._facts.row(change.alarm)
                seen[key] = (row.seen_by if row is not None else "") or seen.get(key, "")
            if change.because in episodes.ENDS and not self._is_active(change.alarm):
                self._put(episodes.leave(episode, change.alarm))

    def _is_active(self, alarm: str) -> bool:
        row = self._facts.row(alarm)
        return row is not None and row.active

    def _ring(self, key: str, kind: NoticeKind, alarms: Sequence[str], now_s: float) -> None:
        episode = self._episodes[key]
        rows = [row for alarm in alarms if (row := self._facts.row(alarm)) is not None]
        if not rows:
            return
        priority = max((row.priority for row in rows), key=lambda p: p.rank)
        if self.usual.are_usual(rows, self._facts.label_s(now_s)) and not self._is_danger_ahead(
            episode, now_s
        ):
            self.usual.leave_unrung(rows)
            return
        quiet_ends_s = self._quiet_ends_s(now_s)
        if quiet_ends_s is not None and priority is not Priority.HIGH:
            until_s = quiet_ends_s + calls.reach_s(self._settings, self._facts.duty())
            if not self._facts.in_danger(episode.house, until_s):
                priority = max(priority, episode.priority, key=lambda p: p.rank)
                self._put(replace(episode, held=True, seen_at_s=None, priority=priority))
                return
            priority = Priority.HIGH
        self._put(replace(episode, seen_at_s=None, seen_by=""))
        self._send(key, kind, priority, now_s, seen_at_s=episode.seen_at_s)

    def _is_danger_ahead(self, episode: Episode, now_s: float) -> bool:
        """Whether harm is expected soon after somebody could be there."""
        within_s = DANGER_WITHIN_S + calls.reach_s(self._settings, self._facts.duty())
        return self._facts.in_danger(episode.house, now_s + within_s)

    def _quiet_ends_s(self, now_s: float) -> float | None:
        label_s = self._facts.label_s(now_s)
        ends_s = quiet.ends_at_s(self._settings.quiet_hours, label_s, self._zone)
        return None if ends_s is None else ends_s - label_s + now_s

    def _send(
        self,
        key: str,
        kind: NoticeKind,
        priority: Priority,
        now_s: float,
        seen_at_s: float | None = None,
        notifiers: tuple[str, ...] | None = None,
    ) -> None:
        """One notice about the whole episode, to all who are told of its priority."""
        episode = self._episodes[key]
        if notifiers is None:
            notifiers = tuple(dict.fromkeys((*self._told(episode, priority), *episode.told)))
        letter = self._writer.letter(episode, kind, priority, self.speech, seen_at_s, now_s)
        standing = letter.standing
        if priority is Priority.HIGH:
            # Rung as high, it has said all that a rise to high would say.
            standing = dict.fromkeys(standing, str(priority))
        first_ring = kind in {NoticeKind.ACTIVATION, NoticeKind.RAISED}
        high_at_s, passed_on = episode.high_at_s, episode.passed_on
        if priority is Priority.HIGH and (high_at_s is None or seen_at_s is not None):
            high_at_s, passed_on = now_s, 0
        episode = replace(
            episode,
            held=False,
            priority=max(priority, episode.priority, key=lambda p: p.rank),
            named={**episode.named, **standing},
            coming=tuple(dict.fromkeys((*episode.coming, *letter.coming))),
            rung_at_s=now_s if first_ring else episode.rung_at_s,
            high_at_s=high_at_s,
            repeats=0 if first_ring else episode.repeats,
            passed_on=passed_on,
        )
        self._put(episode)
        self._emit(key, kind, priority, notifiers, letter.subject, letter.text, tuple(standing), now_s)

    def _told(self, episode: Episode, priority: Priority) -> tuple[str, ...]:
        """Who hears of it; where the usual ways fail, whichever is left."""
        if episode.family == "delivery-failing":
            return self._facts.ways_left()
        return calls.told(self._settings, priority, self._facts.duty())

    # ---- emitting --------------------------------------------------------------------------------------

    def _emit(
        self,
        key: str,
        kind: NoticeKind,
        priority: Priority,
        notifiers: Sequence[str],
        subject: str,
        text: str,
        alarms: tuple[str, ...],
        now_s: float,
    ) -> None:
        episode = self._episodes[key]
        notice_id = f"{episode.name}.{len(episode.notices) + 1}"
        self._put(
            replace(
                episode,
                notices=(*episode.notices, notice_id),
                told=tuple(dict.fromkeys((*episode.told, *notifiers))),
            )
        )
        details = tuple(self._writer.detail(alarm, episode.occurrences.get(alarm, "")) for alarm in alarms)
        if kind is not NoticeKind.SEEN:
            text += links.on_the_page(self._settings.web, links.notice_path(notice_id))
        for notifier in notifiers:
            self.post(
                Notice(
                    self._facts.label_s(now_s),
                    notice_id,
                    kind,
                    priority,
                    notifier,
                    subject,
                    words.closed(text),
                    alarms,
                    tuple(episode.occurrences.get(alarm, "") for alarm in alarms),
                    details=details,
                ),
                now_s,
            )

    def post(self, notice: Notice, now_s: float) -> None:
        """Put a notice on its way, or fold it into the next one where its notifier has had too many."""
        self._notices.extend(self._rate.pass_or_fold(notice, now_s))

    # ---- seen, over ------------------------------------------------------------------------------------

    def _seen(self, key: str, by: str, now_s: float) -> None:
        episode = self._episodes.get(key)
        if episode is None or episode.seen_at_s is not None:
            return
        self._put(replace(episode, seen_at_s=now_s, seen_by=by, held=False))
        if not episode.told:
            return
        place = self._facts.scene(episode.house).name
        what = self._writer.what(episode)
        subject, text = words.seen(self.speech, place, what, by, now_s)
        others = tuple(n for n in episode.told if n not in calls.notifiers_of(self._settings, by))
        self._emit(key, NoticeKind.SEEN, episode.priority, others, subject, text,
                   tuple(episode.occurrences), now_s)  # fmt: skip

    def _close_if_over(self, key: str, now_s: float) -> None:
        episode = self._episodes.get(key)
        if episode is None or not episode.is_over:
            return
        if episode.held:
            return
        if episode.told:
            self._cleared(key, episode, now_s)
        if episode.rung_at_s is not None:
            place = self._facts.scene(episode.house).name
            what = self._writer.what(episode)
            self.rings.over(Ring(episode.name, what, place, episode.priority, episode.started_at_s, now_s))
        self._episodes.pop(key, None)
        self._changed.add(key)

    def _cleared(self, key: str, episode: Episode, now_s: float) -> None:
        place = self._facts.scene(episode.house).name
        waiting = tuple(n for n in episode.told if n not in episode.delivered)
        ended = [row.ended_at_s for alarm in episode.occurrences if (row := self._facts.row(alarm))]
        span_s = (episode.started_at_s, max((at_s for at_s in ended if at_s is not None), default=now_s))
        for notifier in waiting:
            self._rate.drop(notifier, episode.notices)
            self._outbox.extend(
                OutboxChange(
                    self._facts.label_s(now_s), notice, notifier, "withdrawn", "over before it got through"
                )
                for notice in episode.notices
            )
        for group, delivered in ((episode.delivered, True), (waiting, False)):
            if group:
                what = self._writer.what(episode)
                subject, text = words.cleared(
                    self.speech, place, what, span_s, delivered, held=not episode.notices
                )
                if self._is_at_rest(episode):
                    subject, text = words.put_to_rest(self.speech, place, self._writer.what(episode), now_s)
                told = tuple(n for n in episode.told if n in group)
                self._emit(key, NoticeKind.CLEARED, episode.priority, told, subject, text,
                           tuple(episode.occurrences), now_s)  # fmt: skip

    def _is_at_rest(self, episode: Episode) -> bool:
        """Whether it ended since somebody took a sensor out of service."""
        rows = [self._facts.row(alarm) for alarm in episode.occurrences]
        return any(row is not None and row.state is AlarmState.OUT_OF_SERVICE for row in rows)

    # ---- time ------------------------------------------------------------------------------------------

    def dues(self, now_s: float) -> dict[str, float]:
        """When each open episode (and each fold) next asks for something by itself."""
        found: dict[str, float] = {}
        after = tuple(s for s, _ in calls.passed_on(self._settings, seen=False)) if self._episodes else ()
        for key, episode in self._episodes.items():
            quiet_ends_s = self._quiet_ends_s(now_s) if episode.held else None
            due = episodes.due_s(episode, after, quiet_ends_s)
            if due is not None and episode.held:
                due = min(
                    due, now_s + HELD_LOOKS_EVERY_S - (now_s - episode.started_at_s) % HELD_LOOKS_EVERY_S
                )
            if due is not None:
                found[f"episode:{key}"] = max(due, now_s)
        for notifier, due in self._rate.dues().items():
            found[f"fold:{notifier}"] = due
        return found

    def fire(self, name: str, now_s: float) -> None:
        """One of `dues` has come."""
        what, key = name.split(":", 1)
        if what == "fold":
            self._unfold(key, now_s)
            return
        episode = self._episodes.get(key)
        if episode is None:
            return
        if episode.held:
            self._look_at_held(key, episode, now_s)
            return
        self._escalate(key, episode, now_s)
        self._repeat(key, now_s)

    def _look_at_held(self, key: str, episode: Episode, now_s: float) -> None:
        ends_s = self._quiet_ends_s(now_s)
        if ends_s is not None:
            until_s = ends_s + calls.reach_s(self._settings, self._facts.duty())
            if not episode.is_over and self._facts.in_danger(episode.house, until_s):
                self._send(key, NoticeKind.ACTIVATION, Priority.HIGH, now_s)
            return
        rows = self._writer.active_rows(episode)
        if self._goes_with_report(episode, now_s):
            standing = {row.alarm: str(row.priority) for row in rows}
            self._put(replace(episode, held=False, named={**episode.named, **standing}))
        elif episode.is_over:
            told = episode.told or calls.told(self._settings, episode.priority, self._facts.duty())
            self._put(replace(episode, held=False, told=told))
        else:
            priority = max((row.priority for row in rows), key=lambda p: p.rank)
            self._send(key, NoticeKind.ACTIVATION, priority, now_s)
        self._close_if_over(key, now_s)

    def _goes_with_report(self, episode: Episode, now_s: float) -> bool:
        """Whether this day's report tells of it: not where nobody gets one, or where it went out before."""
        if not calls.told(self._settings, "report"):
            return False
        report_at_s = quiet.same_day_s(self._facts.label_s(now_s), self._settings.site.report_at, self._zone)
        return report_at_s > self._facts.label_s(episode.started_at_s)

    def _escalate(self, key: str, episode: Episode, now_s: float) -> None:
        groups = calls.passed_on(self._settings, seen=episode.seen_at_s is not None)
        if episode.high_at_s is None or episode.passed_on >= len(groups):
            return
        if not self._writer.active_rows(episode):
            return
        after_s, who = groups[episode.passed_on]
        if now_s < episode.high_at_s + after_s:
            return
        self._put(replace(episode, passed_on=episode.passed_on + 1))
        if all(row.state is AlarmState.SUPPRESSED for row in self._writer.active_rows(episode)):
            return
        self._send(key, NoticeKind.ESCALATION, Priority.HIGH, now_s, notifiers=who)

    def _repeat(self, key: str, now_s: float) -> None:
        episode = self._episodes[key]
        after_s = episode.repeats_after_s
        if episode.rung_at_s is None or episode.repeats >= len(after_s):
            return
        if episode.seen_at_s is not None or now_s < episode.rung_at_s + after_s[episode.repeats]:
            return
        self._put(replace(episode, repeats=episode.repeats + 1))
        quiet_now = self._quiet_ends_s(now_s) is not None
        rings = episode.priority is Priority.HIGH or (episode.priority is Priority.MEDIUM and not quiet_now)
        if rings and any(row.state is AlarmState.UNACKNOWLEDGED for row in self._writer.active_rows(episode)):
            self._send(key, NoticeKind.REPEAT, episode.priority, now_s)

    def _unfold(self, notifier: str, now_s: float) -> None:
        """What was folded goes out as one notice, which is a notice of every episode that it speaks of."""
        folded = [notice.notice for notice in self._rate.folded(notifier)]
        for sent in self._rate.unfold(notifier, now_s):
            self._notices.append(sent)
            for episode in list(self._episodes.values()):
                if sent.notice not in episode.notices and set(folded) & set(episode.notices):
                    self._put(replace(episode, notices=(*episode.notices, sent.notice)))

    def delivered(self, notice: str, notifier: str) -> None:
        """A notifier has carried a notice; one that was folded speaks of several episodes."""
        for episode in list(self._episodes.values()):
            if notice in episode.notices and notifier not in episode.delivered:
                self._put(replace(episode, delivered=(*episode.delivered, notifier)))

    # ---- memory ----------------------------------------------------------------------------------------

    def _put(self, episode: Episode) -> None:
        self._episodes[episode.key] = episode
        self._changed.add(episode.key)

    def rows(self) -> tuple[Row, ...]:
        """Every row of memory there is."""
        kept = tuple(Row("episode", key, episode.as_json()) for key, episode in self._episodes.items())
        return (*kept, *self._rate.rows(), *self.rings.rows(), *self.usual.rows())

    def take(self) -> tuple[tuple[Notice, ...], tuple[OutboxChange, ...], tuple[Row, ...]]:
        """Notices, withdrawals and changed rows since the last call."""
        notices, outbox = tuple(self._notices), tuple(self._outbox)
        self._notices.clear()
        self._outbox.clear()
        rows = [
            Row("episode", key, self._episodes[key].as_json() if key in self._episodes else None)
            for key in sorted(self._changed)
        ]
        self._changed.clear()
        news = (*self._rate.take_changed(), *self.rings.take_changed(), *self.usual.take_changed())
        return notices, outbox, (*rows, *news)
