"""How many notices a notifier carries: five about alarms in ten minutes, the rest folded into the next.

High goes within thirty seconds whatever the count; reports and drills are not counted.
"""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from monitor.model import Notice, NoticeKind, Priority, Row
from monitor.notices.words import closed

AT_MOST = 5
WITHIN_S = 600.0
HIGH_WAITS_S = 30.0


class Rate:
    """What each notifier carried lately and what is folded for it."""

    def __init__(self) -> None:
        self._sent: dict[str, tuple[float, ...]] = {}
        self._folded: dict[str, tuple[Notice, ...]] = {}
        self._due: dict[str, float] = {}
        self._changed: set[str] = set()

    def load(self, rows: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the rows that were saved."""
        for notifier, row in rows.items():
            self._sent[notifier] = tuple(row.get("sent", ()))
            folded = tuple(_notice(fields) for fields in row.get("folded", ()))
            if folded:
                self._folded[notifier] = folded
                self._due[notifier] = row["due"]

    def pass_or_fold(self, notice: Notice, now_s: float) -> tuple[Notice, ...]:
        """The notice itself, or nothing when it waits to be folded."""
        if notice.kind in {NoticeKind.REPORT, NoticeKind.DRILL}:
            return (notice,)
        name = notice.notifier
        recent = tuple(at for at in self._sent.get(name, ()) if now_s - at < WITHIN_S)
        self._changed.add(name)
        if len(recent) < AT_MOST and name not in self._folded:
            self._sent[name] = (*recent, now_s)
            return (notice,)
        self._folded[name] = (*self._folded.get(name, ()), notice)
        due = (
            now_s + HIGH_WAITS_S
            if notice.priority is Priority.HIGH
            else recent[-AT_MOST] + WITHIN_S
            if len(recent) >= AT_MOST
            else now_s
        )
        self._due[name] = min(due, self._due.get(name, due))
        return ()

    def dues(self) -> Mapping[str, float]:
        """When each fold goes out."""
        return self._due

    def folded(self, notifier: str) -> tuple[Notice, ...]:
        """What waits for a notifier."""
        return self._folded.get(notifier, ())

    def drop(self, notifier: str, notices: Collection[str]) -> None:
        """Some notices need not go out any more."""
        left = tuple(n for n in self._folded.get(notifier, ()) if n.notice not in notices)
        if len(left) == len(self._folded.get(notifier, ())):
            return
        self._changed.add(notifier)
        if left:
            self._folded[notifier] = left
        else:
            del self._folded[notifier], self._due[notifier]

    def unfold(self, notifier: str, now_s: float) -> tuple[Notice, ...]:
        """All that waits for a notifier as one notice, the most urgent first."""
        folded = self._folded.pop(notifier, ())
        self._due.pop(notifier, None)
        self._changed.add(notifier)
        if not folded:
            return ()
        recent = tuple(at for at in self._sent.get(notifier, ()) if now_s - at < WITHIN_S)
        self._sent[notifier] = (*recent, now_s)
        ordered = sorted(folded, key=lambda notice: -notice.priority.rank)
        first = ordered[0]
        if len(ordered) == 1:
            return (first,)
        return (
            replace(
                first,
                subject=f"{first.subject} and {len(ordered) - 1} more",
                text=closed("\n\n".join(notice.text for notice in ordered)),
                alarms=tuple(dict.fromkeys(a for notice in ordered for a in notice.alarms)),
                occurrences=tuple(dict.fromkeys(o for notice in ordered for o in notice.occurrences)),
                details=tuple(d for notice in ordered for d in notice.details),
            ),
        )

    def rows(self) -> tuple[Row, ...]:
        """Every row there is."""
        return tuple(Row("episode", f"rate/{name}", self._as_json(name)) for name in sorted(self._sent))

    def take_changed(self) -> tuple[Row, ...]:
        """Changed rows since the last call."""
        rows = tuple(Row("episode", f"rate/{name}", self._as_json(name)) for name in sorted(self._changed))
        self._changed.clear()
        return rows

    def _as_json(self, name: str) -> dict[str, Any]:
        fields: dict[str, Any] = {"sent": list(self._sent.get(name, ()))}
        if name in self._folded:
            fields["folded"] = [_plain(notice) for notice in self._folded[name]]
            fields["due"] = self._due[name]
        return fields


def _plain(notice: Notice) -> dict[str, Any]:
    return {name: getattr(notice, name) for name in notice.__dataclass_fields__}


def _notice(fields: Mapping[str, Any]) -> Notice:
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in fields.items()
    }
    values["kind"] = NoticeKind(values["kind"])
    values["priority"] = Priority(values["priority"])
    return Notice(**values)
