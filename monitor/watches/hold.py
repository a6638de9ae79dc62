"""For watches: a condition must hold for a while before it counts, and be gone by a margin to be over."""

from dataclasses import dataclass, field

from monitor.model import Assessment, Judgement, Priority


@dataclass(slots=True)
class Hold:
    """Since when conditions have held, by (kind, subject)."""

    since_s: dict[tuple[str, str], float] = field(default_factory=dict)

    def judge(
        self,
        kind: str,
        subject: str,
        now_s: float,
        breach: bool | None,
        hold_s: float,
        priority: Priority,
        *,
        value: float | None = None,
        limit: float | None = None,
        over: bool = True,
        quality: str = "good",
    ) -> Assessment:
        """What is found: `breach` None is unknown and keeps all; `over` says that it is gone by a margin."""
        key = (kind, subject)
        if breach is None:
            return Assessment(kind, subject, now_s, Judgement.UNKNOWN, quality=quality)
        if not breach:
            self.since_s.pop(key, None)
            return Assessment(
                kind, subject, now_s, Judgement.NORMAL, Priority.LOW, value, limit, quality, returned=over
            )
        since_s = self.since_s.setdefault(key, now_s)
        judgement = Judgement.BREACH if now_s - since_s >= hold_s else Judgement.UNKNOWN
        return Assessment(kind, subject, now_s, judgement, priority, value, limit, quality, immediate=True)

    def as_json(self) -> dict[str, float]:
        """Plain values for a row."""
        return {"|".join(key): since_s for key, since_s in self.since_s.items()}

    @staticmethod
    def from_json(values: dict[str, float]) -> "Hold":
        """What `as_json` wrote."""
        return Hold({(name.split("|")[0], name.split("|")[1]): float(at) for name, at in values.items()})
