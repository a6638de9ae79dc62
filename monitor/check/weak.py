"""Set-ups that work and will disappoint: one way only to call somebody, nobody who watches the watcher, ...

Pure: settings, plans and trees in, warnings out. Thresholds are judgement and say so.
"""

from collections.abc import Iterator, Mapping, Sequence
from urllib.parse import urlsplit

from monitor.check.lead import too_far_away
from monitor.links import is_loopback
from monitor.model import Place
from monitor.settings import Sensor, Settings
from monitor.settings.words import Found
from monitor.trees.house_holds import WHAT_TO_DO, Beyond, beyond_the_house, beyond_words
from monitor.trees.in_force import limits_in_force
from monitor.trees.plans import Plans
from monitor.trees.stages import is_tender, stages_of
from monitor.trees.tree import Tree

MANY_TREES = 4
"""From here on one sensor alone is little for a house; judgement."""
SLOW_S = 300.0
"""A sensor slower than this leaves one reading to judge a frost by [s]."""
HEATER_SLACK_K = 1.5
"""How far a house falls below its setpoint before the heater counts as not holding [K]."""
SLOW_TO_RING_S = 900.0
"""A low-temperature alarm that waits longer than this gives away the time to act [s]; judgement."""


def weaknesses(
    settings: Settings,
    record_only: frozenset[str],
    plans: Plans,
    trees: Mapping[str, Tree] | None,
    now_s: float,
    lows_c: Mapping[str, Sequence[float | None]],
) -> Iterator[Found]:
    """Everything weak; `record_only` notifiers reach nobody, `trees` None means that nobody knows them.

    `lows_c` are the lows of the last nights at each sensor, as far as anybody knows them.
    """
    yield from _who_is_told(settings)
    yield from _ways_to_call(settings, record_only)
    yield from _never_used(settings)
    yield from _passing_on(settings)
    yield from _watched_from_outside(settings)
    yield from _open_to_others(settings)
    yield from _slow_alarm(settings)
    yield from _houses(settings)
    if trees is None:
        yield from _heater_against_plans(settings, plans)
        yield from _slow_sensors(settings, dict.fromkeys(settings.sensors, ()))
    else:
        here = {name: tree for name, tree in trees.items() if tree.left_at_s is None}
        yield from _trees(settings, plans, here, now_s)
        yield from too_far_away(settings, plans, here, now_s, HEATER_SLACK_K)
        yield from _against_the_nights(settings, plans, here, now_s, lows_c)


# ---- calls ---------------------------------------------------------------------------------------------


def _who_is_told(settings: Settings) -> Iterator[Found]:
    told = {word for call in settings.calls for word in call.tell}
    for priority in ("high", "medium"):
        if priority not in told:
            hint = f'Add "{priority}" to tell of one of the [[calls]].'
            yield ("calls",), f"no call tells anybody of {priority} alarms.", hint
    if "report" not in told:
        yield ("calls",), "no call tells the morning report.", 'Add "report" to tell of one of the [[calls]].'


def _ways_to_call(settings: Settings, record_only: frozenset[str]) -> Iterator[Found]:
    """A high alarm needs two ways that do not fail together."""
    names = {
        name
        for call in settings.calls
        if "high" in call.tell
        for name in _notifiers_of(settings, (*call.who, *call.pass_on_to))
    }
    reaching = sorted(names - record_only)
    if names and not reaching:
        message = f"high alarms are only written down ({', '.join(sorted(names))}); they reach nobody."
        yield ("calls",), message, "Add a way to reach you, for example by mail."
    elif reaching and len({_way(settings, name) for name in reaching}) == 1:
        message = f"high alarms go one way only ({', '.join(reaching)}): when it fails, nobody is called."
        yield ("notifiers",), message, "Add a second way that shares nothing with the first."


def _notifiers_of(settings: Settings, ids: tuple[str, ...]) -> Iterator[str]:
    for each in ids:
        person = settings.people.get(each)
        yield from person.notifiers if person else (each,)


def _way(settings: Settings, name: str) -> tuple[str, str]:
    """What two notifiers share when they fail together: their type and the machine they go through."""
    notifier = settings.notifiers[name]
    values = notifier.model_extra or {}
    url = values.get("url")
    if isinstance(url, str):
        return notifier.type, urlsplit(url).hostname or url
    return notifier.type, str(values.get("host") or values.get("url_file") or "")


def _never_used(settings: Settings) -> Iterator[Found]:
    called = {each for call in settings.calls for each in (*call.who, *call.pass_on_to)}
    for name in settings.people:
        if name not in called:
            hint = "Put them into who or pass_on_to of a call, unless you call them only while away."
            yield ("people", name), "no call tells this person anything.", hint
    owned = {name for person in settings.people.values() for name in person.notifiers}
    for name in settings.notifiers:
        if name not in called | owned:
            hint = "Give it to a person, or put it into who of a call."
            yield ("notifiers", name), "nothing is ever sent this way.", hint


def _passing_on(settings: Settings) -> Iterator[Found]:
    for number, call in enumerate(settings.calls):
        path = ("calls", number, "pass_on_after_s")
        if call.pass_on_after_s is not None and not call.pass_on_to:
            yield path, "it is passed on to nobody.", "Name somebody in pass_on_to."
        elif call.pass_on_to and "high" not in call.tell:
            yield path, "only high alarms are passed on, and this call tells none.", 'Add "high" to its tell.'


# ---- the installation ----------------------------------------------------------------------------------


def _watched_from_outside(settings: Settings) -> Iterator[Found]:
    if settings.liveness is None:
        message = "nobody watches from outside: a power cut or a dead machine will be silent."
        yield (
            ("liveness",),
            message,
            "Add [liveness] with the url of a service that calls you when it hears nothing.",
        )


def _open_to_others(settings: Settings) -> Iterator[Found]:
    broker, web = settings.broker, settings.web
    if broker.embedded:
        message = "the message post of our own is for trying things: it ends with this program."
        yield ("broker", "embedded"), message, "To guard trees, install an MQTT broker, and name its host."
    elif not is_loopback(broker.host):
        if broker.password_file is None:
            message = "the message post asks for no password: anybody in that network can send readings."
            yield (
                ("broker", "password_file"),
                message,
                "Give the MQTT broker a password, and name its file here.",
            )
        elif not broker.tls:
            message = "the password crosses the network unprotected."
            yield ("broker", "tls"), message, "Write tls = true, and set it up in the MQTT broker."
    host = web.listen.rpartition(":")[0]
    if not is_loopback(host.strip("[]")):
        if web.password_file is None:
            message = "whoever is in the network can open the page and answer alarms."
            yield ("web", "password_file"), message, "Type: aftercare web password"
        elif web.tls_cert_file is None:
            message = "the page's password crosses the network unprotected."
            yield (
                ("web", "tls_cert_file"),
                message,
                "Name a certificate, or listen on 127.0.0.1 behind a proxy.",
            )


def _slow_alarm(settings: Settings) -> Iterator[Found]:
    alarm = settings.alarms.get("low-temperature")
    if alarm is None:
        return
    inside = [sensor.every_s for sensor in settings.sensors.values() if sensor.place is not Place.OUTDOOR]
    by_samples_s = (alarm.on_samples or 1) * max(inside, default=0.0)
    for key, wait_s in (("on_delay_s", alarm.on_delay_s or 0.0), ("on_samples", by_samples_s)):
        if wait_s > SLOW_TO_RING_S and getattr(alarm, key) is not None:
            message = f"a low-temperature alarm rings {wait_s / 60:.0f} min late with this."
            yield ("alarms", "low-temperature", key), message, "Make it smaller."


def _houses(settings: Settings) -> Iterator[Found]:
    for name in settings.houses:
        if not _inside(settings, name):
            yield ("houses", name), "no sensor hangs inside this house.", "Add one with place bench."


def _inside(settings: Settings, house: str) -> list[str]:
    return [
        name
        for name, sensor in settings.sensors.items()
        if sensor.house == house and sensor.place is not Place.OUTDOOR
    ]


# ---- trees ---------------------------------------------------------------------------------------------


def _heater_against_plans(settings: Settings, plans: Plans) -> Iterator[Found]:
    """Without a book: which works a heater's setpoint is too low for."""
    for name, house in settings.houses.items():
        if house.heater_setpoint_c is None:
            continue
        holds_c = house.heater_setpoint_c - HEATER_SLACK_K
        works = [
            f"{plan.label.lower()} ({low_c:g} °C)"
            for plan in plans.works.values()
            if (low_c := plan.stages[0].limits["low_warn_c"]) is not None and low_c > holds_c
        ]
        if works:
            message = f"the house may fall to {holds_c:g} °C; too cold while fresh for: {', '.join(works)}."
            yield (
                ("houses", name, "heater_setpoint_c"),
                message,
                "Set the heater higher before you do such work.",
            )


def _slow_sensors(settings: Settings, guarded: Mapping[str, tuple[str, ...]]) -> Iterator[Found]:
    for name, trees in guarded.items():
        sensor = settings.sensors[name]
        if sensor.every_s > SLOW_S and sensor.place is not Place.OUTDOOR:
            whom = f" for {', '.join(trees)}" if trees else ""
            message = f"one reading in {sensor.every_s / 60:.0f} min is little{whom} in a night of frost."
            yield ("sensors", name, "every_s"), message, "Let it report every minute, 5 minutes at most."


def _trees(settings: Settings, plans: Plans, trees: Mapping[str, Tree], now_s: float) -> Iterator[Found]:
    by_sensor: dict[str, list[Tree]] = {}
    tender: dict[str, tuple[str, ...]] = {}
    for tree in trees.values():
        if tree.sensor is None:
            continue
        sensor = settings.sensors.get(tree.sensor)
        if sensor is None:
            message = f'{tree.name} stands at sensor "{tree.sensor}", which is not here: nobody watches it.'
            yield (
                ("sensors", tree.sensor),
                message,
                "Add the sensor, or move the tree: aftercare book add move.",
            )
            continue
        by_sensor.setdefault(tree.sensor, []).append(tree)
        yield from _tree_in_its_house(settings, plans, tree, sensor, now_s)
        if is_tender(stages_of(tree, plans, now_s, _unknown_warmth)):
            tender[tree.sensor] = (*tender.get(tree.sensor, ()), tree.name)
    yield from _slow_sensors(settings, tender)
    for name, standing in by_sensor.items():
        if len(standing) >= MANY_TREES and _inside(settings, settings.sensors[name].house) == [name]:
            message = f"one sensor alone guards {len(standing)} trees: nothing shows when it reads wrong."
            yield ("sensors", name), message, "Hang a second sensor in this house."


def _tree_in_its_house(
    settings: Settings, plans: Plans, tree: Tree, sensor: Sensor, now_s: float
) -> Iterator[Found]:
    """Whether the house can be held as warm as the tree needs it."""
    limits = limits_in_force(tree, stages_of(tree, plans, now_s, _unknown_warmth), plans, now_s)
    warn, harm = limits.get("low_warn_c"), limits.get("low_harm_c")
    setpoint_c = settings.houses[sensor.house].heater_setpoint_c
    path = ("houses", sensor.house, "heater_setpoint_c")
    if setpoint_c is None:
        if harm is not None and harm.value >= 0:
            message = f"{tree.name} must stay above {harm.value:g} °C, and no heater is known in this house."
            yield path, message, "Heat the house, move the tree, or accept a lower limit with your reason."
    elif warn is not None and warn.value > setpoint_c - HEATER_SLACK_K:
        message = (
            f"{tree.name} is warned of at {warn.value:g} °C, and the house may fall to "
            f"{setpoint_c - HEATER_SLACK_K:g} °C before its heater counts as not holding."
        )
        yield path, message, "Set the heater higher, or accept a lower limit with your reason."


def _against_the_nights(
    settings: Settings,
    plans: Plans,
    trees: Mapping[str, Tree],
    now_s: float,
    lows_c: Mapping[str, Sequence[float | None]],
) -> Iterator[Found]:
    """Trees whose limits their place did not hold in most of the last nights, a sentence a sensor."""
    beyond: dict[str, list[tuple[Beyond, str]]] = {}
    for tree in trees.values():
        if tree.sensor not in settings.sensors or tree.sensor is None:
            continue
        limits = limits_in_force(tree, stages_of(tree, plans, now_s, _unknown_warmth), plans, now_s)
        values = {key: limit.value for key, limit in limits.items()}
        found = beyond_the_house(values, lows_c.get(tree.sensor, ()))
        if found is not None:
            beyond.setdefault(tree.sensor, []).append((found, tree.name))
    for sensor, each in beyond.items():
        worst = max(each, key=lambda pair: (pair[0].grade == "harm", pair[0].limit_c))[0]
        names = [name for found, name in each if found.grade == worst.grade]
        house = settings.sensors[sensor].house
        place = f"{settings.houses[house].name or house} ({sensor})"
        yield ("sensors", sensor, "nights"), beyond_words(worst, names, place), WHAT_TO_DO


def _unknown_warmth(_since_s: float) -> None:
    """Without readings a stage that asks for warmth is not over: the stricter one counts."""
