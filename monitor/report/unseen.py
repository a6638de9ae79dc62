"""What was not seen, or is not known: silent sensors, doubtful readings, time the program was off; pure."""

from collections.abc import Iterable

from monitor.report.facts import MorningFacts, SensorNight, Span
from monitor.report.times import Times, lasted
from monitor.report.wording import counted, some

SHORT_S = 900.0
"""A shorter gap is not worth a line of its own."""
ALIKE_S = 240.0
"""Gaps of several sensors that begin and end so near each other are one."""
GAPS_SHOWN = 4
DOUBTFUL_FROM = 3
DOUBTFUL_PART = 0.01
"""A jump or two in a night are nothing to tell; judgement."""
NAMES = 5


def not_seen(facts: MorningFacts, times: Times) -> tuple[str, ...]:
    """A sentence each, what matters most first."""
    return (
        *_watched_since(facts, times),
        *_off(facts, times),
        *_link(facts, times),
        *_never_heard(facts),
        *_gaps(facts, times),
        *_short_gaps(facts),
        *_doubtful(facts),
        *_out_of_time(facts),
        *_clock(facts, times),
        *facts.unknown,
    )


def _watched_since(facts: MorningFacts, times: Times) -> Iterable[str]:
    if facts.first_seen_s > facts.from_s:
        yield f"I began to watch {times.at(facts.first_seen_s)}; nothing is known of the time before"


def _off(facts: MorningFacts, times: Times) -> Iterable[str]:
    short = [span for span in facts.off if span[1] - span[0] < 120.0]
    for span in facts.off:
        if span not in short:
            yield f"I was off {times.span(*span)} ({lasted(span[1] - span[0])}); nobody watched"
    if short:
        often = "once" if len(short) == 1 else f"{len(short)} times"
        yield f"I was started again {often}, off for moments only"


def _link(facts: MorningFacts, times: Times) -> Iterable[str]:
    if facts.link_down_at_s is not None:
        yield f"no connection to the message post since {times.time(facts.link_down_at_s)}"


def _never_heard(facts: MorningFacts) -> Iterable[str]:
    names = [sensor.sensor for sensor in facts.sensors if not sensor.heard]
    if names:
        yield f"{some(names, NAMES)}: never heard"


def _long(sensor: SensorNight, facts: MorningFacts) -> list[Span]:
    """Gaps worth a line that are not told by a time in which the program was off."""
    return [
        gap
        for gap in sensor.gaps
        if gap[1] - gap[0] >= SHORT_S
        and not any(off[0] - ALIKE_S <= gap[0] and gap[1] <= off[1] + ALIKE_S for off in facts.off)
    ]


def _gaps(facts: MorningFacts, times: Times) -> Iterable[str]:
    """Each silence with the sensors that shared it."""
    shared: list[tuple[Span, list[str]]] = []
    for sensor in facts.sensors:
        for gap in _long(sensor, facts) if sensor.heard else ():
            for span, names in shared:
                if abs(span[0] - gap[0]) <= ALIKE_S and abs(span[1] - gap[1]) <= ALIKE_S:
                    names.append(sensor.sensor)
                    break
            else:
                shared.append((gap, [sensor.sensor]))
    by_names: dict[str, list[Span]] = {}
    for span, names in sorted(shared, key=lambda pair: pair[0]):
        by_names.setdefault(some(names, NAMES), []).append(span)
    for said, spans in by_names.items():
        shown = ", ".join(_silence(span, facts, times) for span in spans[:GAPS_SHOWN])
        more = f" and {len(spans) - GAPS_SHOWN} times more" if len(spans) > GAPS_SHOWN else ""
        yield f"{said}: nothing {shown}{more}"


def _silence(span: Span, facts: MorningFacts, times: Times) -> str:
    if span[1] >= facts.at_s - 1.0:
        return f"since {times.time(span[0])} ({lasted(span[1] - span[0])})"
    return f"{times.span(*span)} ({lasted(span[1] - span[0])})"


def _short_gaps(facts: MorningFacts) -> Iterable[str]:
    short = {
        sensor.sensor: sum(to_s - from_s for from_s, to_s in sensor.gaps if to_s - from_s < SHORT_S)
        for sensor in facts.sensors
        if any(to_s - from_s < SHORT_S for from_s, to_s in sensor.gaps)
    }
    if short:
        longest = max(short.values())
        yield f"{some(list(short), NAMES)}: short gaps, {lasted(longest)} in all at most"


def _doubtful(facts: MorningFacts) -> Iterable[str]:
    for sensor in facts.sensors:
        if sensor.doubtful >= max(DOUBTFUL_FROM, DOUBTFUL_PART * sensor.readings):
            of = counted(sensor.readings, "reading")
            said = f"{sensor.doubtful} of {of} are doubtful (jumps, stuck or impossible values)"
            yield f"{sensor.sensor}: {said}"


def _out_of_time(facts: MorningFacts) -> Iterable[str]:
    if facts.late_readings:
        yield f"{counted(facts.late_readings, 'reading')} came too late to guard by, but not too late to keep"
    if facts.future_readings:
        yield f"{counted(facts.future_readings, 'reading')} had a time in the future and did not count"


def _clock(facts: MorningFacts, times: Times) -> Iterable[str]:
    for at_s, by_s in facts.clock_steps:
        way = "forward" if by_s > 0 else "back"
        yield f"the clock was set {way} by {_how_much(by_s)} {times.at(at_s)}; nothing was lost by it"


def _how_much(by_s: float) -> str:
    return f"{abs(by_s):.0f} s" if abs(by_s) < 90 else lasted(abs(by_s))
