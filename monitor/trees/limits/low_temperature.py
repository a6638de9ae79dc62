"""Frost on fresh work: the air at the tree's sensor against `low_warn_c` and `low_harm_c`."""

from collections.abc import Mapping

from monitor.model import Assessment, Flag, Judgement, Priority, Quantity, Use
from monitor.trees.limits import Conditions, LimitDefaults
from monitor.trees.plans import Defaults

KIND = "low-temperature"
QUANTITY = Quantity.TEMPERATURE_C
WORSE = -1

SLOW_SENSOR_S = 300.0
"""Above this interval waiting for a second sample would cost more than a false ring."""


def defaults(plans: Defaults) -> LimitDefaults:
    """Deadband and delays that keep a hovering house from chattering at no cost in time."""
    del plans
    return LimitDefaults(deadband=0.5, on_delay_s=60.0, on_samples=2, off_delay_s=300.0)


def edges(limits: Mapping[str, float], deadband: float) -> tuple[float, ...]:
    """The two limits, and where the milder one has been left behind."""
    held = [limits[key] for key in ("low_warn_c", "low_harm_c") if key in limits]
    return (*held, max(held) + deadband) if held else ()


def assess(conditions: Conditions, limits: Mapping[str, float], deadband: float) -> Assessment:
    """At or below a limit is a breach; a suspect low still counts, a suspect return does not.

    A reading of unknown age or one that failed its checks says nothing.
    """
    warn_c, harm_c = limits.get("low_warn_c"), limits.get("low_harm_c")
    low_c, value = conditions.value, conditions.value
    unknown = (
        conditions.flag is Flag.FAIL or conditions.use > Use.RAISES or (warn_c is None and harm_c is None)
    )
    quality = "good" if conditions.flag <= Flag.NOT_EVALUATED else "suspect"
    if conditions.use is Use.RAISES:
        quality = "retained"

    def found(judgement: Judgement, priority: Priority, limit: float | None) -> Assessment:
        slow = conditions.every_s > SLOW_SENSOR_S and priority is Priority.HIGH
        return Assessment(
            KIND,
            conditions.tree,
            conditions.at_s,
            judgement,
            priority,
            value,
            limit,
            "one reading" if slow and quality == "good" else quality,
            immediate=slow,
        )

    if unknown:
        return found(Judgement.UNKNOWN, Priority.LOW, warn_c)
    if harm_c is not None and low_c <= harm_c:
        return found(Judgement.BREACH, Priority.HIGH, harm_c)
    if warn_c is not None and low_c <= warn_c:
        return found(Judgement.BREACH, Priority.MEDIUM, warn_c)
    milder = max(limit for limit in (warn_c, harm_c) if limit is not None)
    present = conditions.use is Use.PRESENT and quality == "good"
    return Assessment(
        KIND,
        conditions.tree,
        conditions.at_s,
        Judgement.NORMAL,
        Priority.LOW,
        value,
        milder,
        quality,
        returned=present and low_c > milder + deadband,
    )
