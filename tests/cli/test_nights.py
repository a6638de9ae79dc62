"""What the house came to in the last nights, told where a guard's own state lies and no guard runs."""

from monitor import clock
from monitor.model import Effects, HourRow
from monitor.store.sqlite import Store
from tests.cli.place import Command, Place

HOUR_S, DAY_S = 3600.0, 86_400.0
SAID = "nights, and damage to Yew 2 is likely there. Move the tree, heat, or accept a lower limit"


def _cold_nights(place: Place, low_c: float) -> None:
    """Ten days of hours, all alike, up to now."""
    last_s = clock.wall_s() // HOUR_S * HOUR_S
    hours = [
        HourRow("bench-a", last_s - back * HOUR_S, HOUR_S, low_c, low_c, low_c, *(None,) * 7)
        for back in range(240, 0, -1)
    ]
    store = Store.open(place.state, last_s)
    store.commit([Effects(hours=tuple(hours))], last_s)
    store.close()


def test_work_that_the_house_cannot_hold_is_said_as_it_is_written(place: Place, aftercare: Command) -> None:
    """`book add` straight on the file."""
    _cold_nights(place, -1.5)
    where = ("--config", place.config)
    aftercare("book", "add", "tree", "--name", "Yew 2", "--sensor", "bench-a", *where)
    done = aftercare("book", "add", "work", "--tree", "yew-2", "--work", "heavy-bend", *where)

    assert done.status == 0
    assert "Cold house fell to " in done.out
    assert SAID in done.out


def test_check_says_it_too(place: Place, aftercare: Command) -> None:
    """Beside the other weaknesses."""
    _cold_nights(place, -1.5)
    where = ("--config", place.config)
    aftercare("book", "add", "tree", "--name", "Yew 2", "--sensor", "bench-a", *where)
    aftercare("book", "add", "work", "--tree", "yew-2", "--work", "heavy-bend", *where)
    done = aftercare("check", "--json", *where)

    keys = {warning["key"]: warning["message"] for warning in done.json["warnings"]}
    assert "damage to Yew 2 is likely there" in keys["sensors.bench-a.nights"]


def test_a_house_that_holds_it_is_not_spoken_of(place: Place, aftercare: Command) -> None:
    """Six degrees every night."""
    _cold_nights(place, 6.0)
    where = ("--config", place.config)
    aftercare("book", "add", "tree", "--name", "Yew 2", "--sensor", "bench-a", *where)
    done = aftercare("book", "add", "work", "--tree", "yew-2", "--work", "heavy-bend", *where)

    assert "nights" not in done.out
