"""What people read about drying air and about sensors that cannot be trusted."""

from collections.abc import Sequence

from monitor.notices.words import Reason, Speech, listed


def dry_air(tree: str, why: str) -> Reason:
    """Air that draws water out of a tender tree."""
    return Reason(
        f"the air at {tree} has been very drying for hours",
        "it loses more water than it can take up" + (f" ({why})" if why else ""),
        "Shade it, keep wind and heater away from it, wet the floor and benches by day.",
    )


def doubtful(speech: Speech, sensor: str, what: str, others: str, trees: Sequence[str]) -> Reason:
    """A sensor that cannot be right."""
    watched = (
        f"{listed(trees)} {'are' if len(trees) > 1 else 'is'} watched by it"
        if trees
        else "no tree depends on it"
    )
    del speech
    return Reason(
        f"the sensor {sensor} {what}" + (f" while {others}" if others else ""),
        f"{watched}; what it says is marked and never ends an alarm",
        "Hold a thermometer beside it; dry it, move it out of sun and draught, change it if they differ.",
    )


def battery_low(sensor: str, percent: float, trees: Sequence[str]) -> Reason:
    """A battery that will not last."""
    watched = f"then nobody watches {listed(trees)}" if trees else "no tree depends on it"
    return Reason(
        f"the battery of sensor {sensor} is down to {percent:.0f} %",
        f"it will fall silent, in cold sooner than by warmth; {watched}",
        "Change the battery by day; write nothing down, I see it.",
    )
