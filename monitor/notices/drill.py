"""The notice that only tries a way to reach somebody; pure."""

from collections.abc import Iterable, Iterator

from monitor.model import Notice, NoticeKind, Priority


def drill_notice(site: str, notifier: str, label_s: float) -> Notice:
    """A drill for one notifier; `label_s` is what people's clocks say."""
    return Notice(
        label_s,
        f"drill.{notifier}.{int(label_s * 1000)}",
        NoticeKind.DRILL,
        Priority.LOW,
        notifier,
        f"Drill: {site}",
        f"This is a drill from {site}. If you read it, this way to reach you works. Nothing is wrong.",
    )


def weekly_drill(site: str, notifiers: Iterable[str], label_s: float, date: str) -> Iterator[Notice]:
    """The week's drill, one for each notifier; the local `date` names it, so that it is the same anywhere."""
    for notifier in notifiers:
        yield Notice(
            label_s,
            f"drill.{date}",
            NoticeKind.DRILL,
            Priority.LOW,
            notifier,
            f"Weekly drill: {site}",
            f"This is the weekly drill from {site}. If you read it, this way to reach you works. "
            "Nothing is wrong. If it should have rung and did not, set your phone so that it does.",
        )
