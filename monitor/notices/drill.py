"""The notice that only tries a way to reach somebody; pure."""

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
