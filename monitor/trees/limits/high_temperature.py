"""A house that overheats: the air at the tree's sensor beyond `high_warn_c` or `high_harm_c` for a time."""

from collections.abc import Mapping

from monitor.model import Assessment, Flag, Judgement, Priority, Quantity, Use
from monitor.trees.limits import Conditions, LimitDefaults
from monitor.trees.plans import Defaults

KIND = "high-temperature"
QUANTITY = Quantity.TEMPERATURE_C
WORSE = 1


def defaults(plans: Defaults) -> LimitDefaults:
    """The plans say how long the air must stay beyond each limit."""
    return LimitDefaults(
        deadband=1.0,
        on_delay_s=plans.high_warn_hold_min * 60.0,
        on_samples=2,
        off_delay_s=600.0,
        harm_on_delay_s=plans.high_harm_hold_min * 60.0,
    )


def edges(limits: Mapping[str, float], deadband: float) -> tuple[float, ...]:
    """The two limits, and where the milder one has been left behind."""
    held = [limits[key] for key in ("high_warn_c", "high_harm_c") if key in limits]
    return (*held, min(held) - deadband) if held else ()


def assess(conditions: Conditions, limits: Mapping[str, float], deadband: float) -> Assessment:
    """At or above a limit is a breach; a suspect high still counts, a suspect return does not."""
    warn_c, harm_c = limits.get("high_warn_c"), limits.get("high_harm_c")
    held = [limit for limit in (warn_c, harm_c) if limit is not None]
    quality = "good" if conditions.flag <= Flag.NOT_EVALUATED else "suspect"
    found = Assessment(
        KIND, conditions.tree, conditions.at_s, Judgement.UNKNOWN, value=conditions.value, quality=quality
    )
    if not held or conditions.flag is Flag.FAIL or conditions.use is not Use.PRESENT:
        return found
    if harm_c is not None and conditions.value >= harm_c:
        return found._replace(judgement=Judgement.BREACH, priority=Priority.HIGH, limit=harm_c)
    if warn_c is not None and conditions.value >= warn_c:
        return found._replace(judgement=Judgement.BREACH, priority=Priority.MEDIUM, limit=warn_c)
    left = conditions.value < min(held) - deadband and quality == "good"
    return found._replace(judgement=Judgement.NORMAL, limit=min(held), returned=left)
