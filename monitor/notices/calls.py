"""Who is told what: calls, people and their notifiers, the person on duty, who is next."""

from collections.abc import Iterable

from monitor.model import Priority
from monitor.settings import Call, Settings

FAR_REACH_S = 1800.0


def _notifiers(settings: Settings, who: Iterable[str]) -> list[str]:
    """The notifiers of people and notifiers named, in order, each once."""
    found: dict[str, None] = {}
    for name in who:
        person = settings.people.get(name)
        for notifier in person.notifiers if person is not None else (name,):
            found[notifier] = None
    return list(found)


def told(settings: Settings, what: Priority | str, duty: Iterable[str] = ()) -> tuple[str, ...]:
    """Notifiers that hear of a priority, or of "report"; people on duty hear whatever somebody hears."""
    who: list[str] = []
    for call in settings.calls:
        if str(what) in call.tell:
            who.extend(call.who)
    if who and str(what) != "report":
        who.extend(duty)
    return tuple(_notifiers(settings, who))


def passed_on(settings: Settings, seen: bool) -> tuple[tuple[float, tuple[str, ...]], ...]:
    """For a high alarm that nobody has seen: after how long [s] each further group of notifiers is told."""
    if seen:
        return ()
    return tuple(
        (call.pass_on_after_s, tuple(_notifiers(settings, call.pass_on_to)))
        for call in settings.calls
        if "high" in call.tell and call.pass_on_after_s is not None and call.pass_on_to
    )


def reach_s(settings: Settings, duty: Iterable[str] = ()) -> float:
    """How long the slowest person who is told of a high alarm first needs to stand in the house [s]."""
    calls: list[Call] = [call for call in settings.calls if "high" in call.tell]
    people = [settings.people[name] for call in calls for name in call.who if name in settings.people]
    people += [settings.people[name] for name in duty if name in settings.people]
    return max((person.reach_s for person in people), default=FAR_REACH_S)


def notifiers_of(settings: Settings, person: str) -> tuple[str, ...]:
    """The ways to reach one person; none for somebody who is not in the settings."""
    known = settings.people.get(person)
    return known.notifiers if known is not None else ()


def names(settings: Settings, notifiers: Iterable[str]) -> str:
    """The people behind some notifiers, as a notice names them; a bare notifier stands for itself."""
    wanted = set(notifiers)
    people = [name for name, person in settings.people.items() if wanted & set(person.notifiers)]
    covered = {n for name in people for n in settings.people[name].notifiers}
    return ", ".join([name.capitalize() for name in people] + sorted(wanted - covered))
