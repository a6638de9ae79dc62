"""Whether whoever is called first can be in the house before harm is done there; pure.

How fast a house falls is learnt by the guard over its nights; before that two round figures stand for it.
"""

from collections.abc import Iterator, Mapping

from monitor.settings import Settings
from monitor.settings.words import Found
from monitor.trees.in_force import limits_in_force
from monitor.trees.plans import Plans
from monitor.trees.stages import stages_of
from monitor.trees.tree import Tree

FALLS_WITHOUT_HEAT_K_PER_H = 3.0
"""A small glasshouse whose heater fails in a night of frost; common practice, no source."""
FALLS_BY_ITSELF_K_PER_H = 1.5
"""The same without a heater on a clear night; common practice, no source."""


def too_far_away(
    settings: Settings, plans: Plans, trees: Mapping[str, Tree], now_s: float, heater_slack_k: float
) -> Iterator[Found]:
    """Each call of high alarms whose nearest person needs longer than the house allows."""
    tightest = min(_leads(settings, plans, trees, now_s, heater_slack_k), default=None)
    if tightest is None:
        return
    lead_s, tree, house = tightest
    for call in settings.calls:
        people = [name for name in call.who if name in settings.people]
        if "high" not in call.tell or not people:
            continue
        nearest = min(people, key=lambda name: settings.people[name].reach_s)
        reach_s = settings.people[nearest].reach_s
        if reach_s > lead_s:
            message = (
                f"from the first sign of cold in {house} to harm to {tree} it may take "
                f"{lead_s / 60:.0f} min, and {nearest.capitalize()} needs {reach_s / 60:.0f}."
            )
            hint = "Call somebody nearer as well, keep the house warmer, or move the tree."
            yield ("people", nearest, "reach_s"), message, hint


def _leads(
    settings: Settings, plans: Plans, trees: Mapping[str, Tree], now_s: float, heater_slack_k: float
) -> Iterator[tuple[float, str, str]]:
    """(how long from the first sign to harm [s], tree, house) of each tree near a sensor."""
    for tree in trees.values():
        sensor = settings.sensors.get(tree.sensor or "")
        if sensor is None:
            continue
        limits = limits_in_force(tree, stages_of(tree, plans, now_s, lambda since_s: None), plans, now_s)
        house, harm = settings.houses[sensor.house], limits.get("low_harm_c")
        warn = limits.get("low_warn_c")
        if harm is None or warn is None:
            continue
        setpoint_c = house.heater_setpoint_c
        is_heated = setpoint_c is not None and setpoint_c - heater_slack_k > harm.value
        begins_c = setpoint_c - heater_slack_k if setpoint_c is not None and is_heated else warn.value
        falls = FALLS_WITHOUT_HEAT_K_PER_H if is_heated else FALLS_BY_ITSELF_K_PER_H
        yield max(0.0, begins_c - harm.value) / falls * 3600.0, tree.name, house.name or sensor.house
