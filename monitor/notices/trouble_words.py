"""What people read about the program's own troubles."""

from collections.abc import Sequence

from monitor.notices.words import Reason, listed


def delivery_failing(ways: Sequence[str], last_error: str, nobody: bool) -> Reason:
    """Notices that do not get through."""
    which = listed(list(ways)) or "one way to reach you"
    reason = f" ({last_error})" if last_error else ""
    return Reason(
        f"notices do not get through by {which}{reason}",
        "nobody was reached by an urgent notice" if nobody else "an urgent notice may not reach you",
        "See whether the network runs; then try that way with `aftercare drill`.",
    )


def storage_failing(detail: str) -> Reason:
    """A store that does not keep."""
    return Reason(
        f"what happens is not kept as it should be{f': {detail}' if detail else ''}",
        "I go on watching and calling from memory; after a power cut this time would be missing",
        "See whether the disk or card is full or worn out: `aftercare status` shows how much room is left.",
    )


def clock_doubtful() -> Reason:
    """A clock that cannot be right."""
    return Reason(
        "the clock of this computer cannot be right",
        "I watch all the same, but dates and the hour of the morning report are wrong",
        "See whether the network runs, so that the clock can be set, or set it by hand.",
    )


def restarting() -> Reason:
    """A program that starts again and again."""
    return Reason(
        "I have started three times within an hour",
        "each time nobody watched for a moment; something makes me stop",
        "See whether the power supply holds; `journalctl -u aftercare` shows why I stopped.",
    )


def unjudged(tree: str, limits: Sequence[str]) -> Reason:
    """A tree with limits that fail when they are asked."""
    return Reason(
        f"{tree} cannot be judged: the program's part for {listed(list(limits))} fails",
        "nobody watches it as long as that lasts",
        "Look at a thermometer there. `journalctl -u aftercare` shows what fails; take that package out.",
    )
