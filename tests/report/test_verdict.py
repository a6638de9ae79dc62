"""One sentence, the worst that is known first; what was not seen is never called fine."""

from dataclasses import replace

from monitor.model import AlarmState, Priority
from monitor.report.facts import HouseNight, Margin
from tests.report.facts import alarm, at, facts, report, sensor, tree


def house(*sensors: object) -> tuple[HouseNight, ...]:
    """The Cold house with these sensors."""
    return (HouseNight("cold", "Cold house", tuple(sensors)),)  # type: ignore[arg-type]


def test_a_quiet_night_names_the_tree_that_came_nearest() -> None:
    """3.7 °C is 2.2 degrees above where it is tender."""
    assert report().verdict == (
        "A quiet night; Larch 3 came nearest, 2.2 degrees to spare (tender below 1.5 °C)."
    )


def test_harm_comes_before_everything_else() -> None:
    """Even where an alarm stands and a bench was blind."""
    blind = sensor("bench-b", None, gaps=((at("16 16:00"), at("17 06:45")),), heard=True)
    said = report(
        trees=(tree(low_c=-1.2), tree("Yew 2", None, sensor="bench-b", unseen_s=53_100.0)),
        houses=house(sensor(low_c=-1.2), blind),
        alarms=(alarm("sensor-silent", "bench-b", active=True, state=AlarmState.UNACKNOWLEDGED),),
    )

    assert said.verdict == (
        "Frost reached Larch 3: −1.2 °C at 03:30, damage likely below 0 °C; "
        "and not all of the night was seen."
    )


def test_heat_is_told_from_frost() -> None:
    """A noon that was too hot for half an hour."""
    hot = Margin("high", "harm", 30.0, 31.4, at("16 13:10"), 2700.0)
    said = report(trees=(replace(tree(), margins=(*tree().margins, hot)),))

    assert said.verdict.startswith("It was too hot for Larch 3: 31.4 °C at 13:10, damage likely above 30 °C")


def test_a_warning_limit_passed_is_a_close_night() -> None:
    """0.6 °C: tender, not harmed."""
    assert report(trees=(tree(low_c=0.6),)).verdict == (
        "A close night for Larch 3: 0.6 °C at 03:30, 0.6 degrees from damage; no damage limit was reached."
    )


def test_a_blind_night_is_never_quiet() -> None:
    """Nothing was heard from the house for most of the night."""
    gap = (at("16 20:00"), at("17 06:45"))
    said = report(houses=house(sensor(gaps=(gap,))), trees=(tree(unseen_s=gap[1] - gap[0]),))

    assert said.verdict == (
        "A blind night: nothing was heard from the house since 20:00, and how Larch 3 fared is not known."
    )
    assert said.trees[0].mark.word == "not seen"


def test_half_an_hour_unseen_is_said_in_the_verdict() -> None:
    """A shorter gap is not."""
    long = (at("17 01:10"), at("17 01:45"))
    short = (at("17 01:10"), at("17 01:25"))

    assert (
        "not all of the night was: nothing from bench-a 01:10–01:45 (35 min)"
        in report(houses=house(sensor(gaps=(long,)))).verdict
    )
    assert report(houses=house(sensor(gaps=(short,)))).verdict.startswith("A quiet night")


def test_the_time_i_was_off_is_not_a_quiet_night() -> None:
    """Restarted at twenty to six."""
    said = report(off=((at("17 02:10"), at("17 05:40")),))

    assert said.verdict == "No harm was seen, but I was off 02:10–05:40, and nobody watched."
    assert said.not_seen == ("I was off 02:10–05:40 (3 h 30 min); nobody watched",)


def test_a_tree_without_a_sensor_is_not_fine() -> None:
    """It was moved where nobody watches."""
    said = report(trees=(tree(), tree("Pine 1", None, sensor="", place="garage")))

    assert said.verdict == "No harm was seen, but nobody watches Pine 1."
    assert said.trees[0].margin == "no sensor where it stands (garage)"


def test_an_outdoor_sensor_does_not_make_a_house_seen() -> None:
    """Only what hangs where trees stand counts."""
    outside = sensor("yard", -3.0, place="outdoor")
    unheard = sensor("bench-a", None, gaps=((at("16 16:00"), at("17 06:45")),), heard=True)

    assert report(houses=house(unheard, outside), trees=(tree(low_c=None),)).verdict.startswith(
        "A blind night"
    )


def test_a_standing_alarm_is_the_verdict_where_nothing_was_harmed() -> None:
    """What was foreseen for the night is not: the night is over."""
    stands = {"active": True, "ended_s": None, "state": AlarmState.UNACKNOWLEDGED}
    mail = alarm("delivery-failing", "site", house="", priority=Priority.MEDIUM, **stands)
    foreseen = alarm("frost-tonight", "Cold house", **stands)

    assert report(alarms=(foreseen, mail)).verdict == (
        "This still stands: notices did not get through, since 02:06."
    )
    assert report(alarms=(foreseen,)).verdict.startswith("A quiet night")


def test_many_trees_are_counted_not_listed() -> None:
    """The worst is named."""
    trees = tuple(tree(f"Larch {number}", low_c=-0.1 * number) for number in range(1, 9))

    assert report(trees=trees).verdict.startswith(
        "Frost reached Larch 8, Larch 7 and 6 more: −0.8 °C at 03:30 at Larch 8, damage likely below 0 °C"
    )


def test_the_verdict_leads_text_and_subject() -> None:
    """The first words on a phone."""
    said = report(trees=(tree(low_c=-1.2),))

    assert said.subject == (
        "Heather Bank, Sun 17 Jan: frost reached Larch 3: −1.2 °C at 03:30, damage likely below 0 °C"
    )
    assert facts().site not in said.verdict
