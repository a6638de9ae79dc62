"""What the guard is worth over made winters: warnings, leads, nuisances, bands, errors, heaters found.

Every winter of `tests/winters/winters.py`, those on which parameters were chosen and those that are only
reported apart; some thirty seconds of one core each. What is counted stands in `tests/winters/outcomes.py`
and `forecasts.py`. Nothing fails here; three of the winters are held by tests.
"""

import sys
from collections.abc import Sequence
from functools import reduce

from tests.winters.forecasts import Errors, errors, mean_error_k
from tests.winters.outcomes import Outcome, by_night, leads_where, outcome, quiet_months, share
from tests.winters.winters import ALL, Made

HEAD = (
    f"{'winter':<34}{'seed':>9}{'cross':>6}{'missed':>7}{'lead h':>12}{'vain/mo':>8}{'night':>6}{'band':>6}"
    f"{'gain':>6}{'at 2':>6}{'heater out, min':>24}{'false':>6}"
)

LEARNT_MONTHS = 4.5
Seen = tuple[Made, Outcome, Errors, int]
Row = tuple[str, float, str, str, str]


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, stands_for; the table goes to standard error."""
    print(HEAD, file=sys.stderr)
    seen = []
    for made in ALL:
        heard = made.heard()
        result: Seen = (made, outcome(heard), errors(heard), by_night(heard, outcome(heard)))
        print(line(*result), file=sys.stderr, flush=True)
        seen.append(result)
    reported = [row for row in seen if not row[0].chosen]
    chosen = [row for row in seen if row[0].chosen]
    return [*figures(reported, "reported"), *figures(chosen, "chosen on")]


def line(made: Made, result: Outcome, forecast: Errors, woken: int) -> str:
    """One winter of the table."""
    lead = f"{share(result.leads_h, 0.5):.1f} / {share(result.leads_h, 0.1):.1f}"
    found = ", ".join(f"{minutes:.0f}" for minutes in result.found_min) or "-"
    return (
        f"{made.name:<34}{made.station:>5}{made.seed:>4}{result.crossings:>6}{len(result.missed):>7}{lead:>12}"
        f"{quiet_months(result):>8.1f}{woken:>6}{forecast.held_share:>6.2f}{forecast.gain:>6.2f}"
        f"{forecast.at_two_share:>6.2f}{found:>24}{len(result.false_heater):>6}"
    )


def figures(seen: Sequence[Seen], which: str) -> list[dict[str, object]]:
    """All winters of a group in one."""
    rows = [*_warned(seen), *_in_vain(seen), *_forecast(seen), *_heaters(seen)]
    keys = ("name", "figure", "unit", "compared_with", "stands_for")
    named = [(f"winters, {which}: {name}", float(figure), *rest) for name, figure, *rest in rows]
    return [dict(zip(keys, row, strict=True)) for row in named]


def _warned(seen: Sequence[Seen]) -> list[Row]:
    results = [result for _, result, _, _ in seen]
    times = sum(result.crossings for result in results)
    missed = sum(len(result.missed) for result in results)
    long = [lead for result in results for lead in leads_where(result, 2.0)]
    short = [lead for result in results for lead in leads_where(result, 0.75)]
    return [
        ("harm that nothing had warned of", missed, "times", "bound 0", f"of {times} times at the limit"),
        ("lead, median", share(long, 0.5), "h", "bound 2", f"{len(long)} times with 2 h to warn"),
        ("lead, tenth part", share(short, 0.1), "h", "bound 0.5", f"{len(short)} with 45 min to warn"),
    ]


def _in_vain(seen: Sequence[Seen]) -> list[Row]:
    def a_month(results: Sequence[Outcome]) -> float:
        return 30.0 * sum(len(r.nuisance) for r in results) / max(sum(r.quiet_days for r in results), 1)

    heated = [result for made, result, _, _ in seen if made.plan.heater_w]
    free = [result for made, result, _, _ in seen if not made.plan.heater_w]
    woken = sum(woken for *_, woken in seen)
    return [
        ("rings in vain, heated", a_month(heated), "a quiet month", "bound 1", "thirty quiet days"),
        (
            "rings in vain, unheated",
            a_month(free),
            "a quiet month",
            "bound 1",
            "at the limit every third night",
        ),
        ("woken in vain", woken, "times", "bound 0", "between 23:00 and 06:00 on quiet days"),
    ]


def _forecast(seen: Sequence[Seen]) -> list[Row]:
    free = reduce(Errors.joined, [forecast for made, _, forecast, _ in seen if not made.plan.heater_w])
    nights = f"{len(free.held)} nights of houses without a heater"
    usual = f"usual fall {mean_error_k(free.usual_k):.2f}, bound a tenth less"
    return [
        ("eighty per cent band", free.held_share, "held", "bound 0.75-0.85", nights),
        ("error at sunset + 2 h", mean_error_k(free.evening_k), "K", usual, nights),
        ("error at 02:00", mean_error_k(free.at_two_k), "K", "bound half of it", nights),
    ]


def _heaters(seen: Sequence[Seen]) -> list[Row]:
    heated = [result for made, result, _, _ in seen if made.plan.heater_w]
    found = [minutes for result in heated for minutes in result.found_min]
    out = sum(result.failures for result in heated)
    lost = sum(result.not_found for result in heated)
    false = sum(len(result.false_heater) for result in heated) / (len(heated) * LEARNT_MONTHS)
    said = f"{out} failures on cold nights, {lost} not found"
    return [
        ("heater out, found at the latest", max(found, default=float("nan")), "min", "bound 15", said),
        ("heater called failing in vain", false, "a month", "bound 1", f"{len(heated)} winters"),
    ]
