"""What page, report and export may ask for, beside a running writer."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.model import Effects, Flag, Quantity
from monitor.store import queries
from monitor.store.queries import Reader
from monitor.store.sqlite import Store
from tests.store.shelf import AT_S, NIGHT, STAGE, change, hour, notice, reading, report, transition


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A writer that stays open while the test reads."""
    with Store.open(tmp_path, AT_S) as opened:
        yield opened


def test_readings_of_a_span_come_in_order_of_time(store: Store) -> None:
    """From the first instant to before the last, over packed hours and young rows, of one sensor or all."""
    readings = tuple(reading(m, m, s) for m in range(0, 300, 10) for s in ("bench-b", "bench-a"))
    store.commit([Effects(readings=readings)], AT_S + 5 * 3600)
    for _ in range(3):
        store.commit([], AT_S + 5 * 3600)
    with Reader(store.directory) as reader:
        found = list(reader.readings(AT_S + 600, AT_S + 12_000))
        assert found == sorted(found, key=lambda one: one.observed_at_s)
        assert found == [one for one in found if AT_S + 600 <= one.observed_at_s < AT_S + 12_000]
        assert len(found) == 2 * 19
        assert {one.sensor for one in reader.readings(sensor="bench-a")} == {"bench-a"}
        assert len(list(reader.readings(sensor="bench-a"))) == 30
        assert list(reader.readings(sensor="nobody")) == []


def test_a_series_is_arrays_of_one_sensor(store: Store) -> None:
    """What a curve on the page is drawn from."""
    store.commit([NIGHT], AT_S)
    with Reader(store.directory) as reader:
        t, value, flag = reader.series("bench-a", Quantity.TEMPERATURE_C, AT_S, AT_S + 3600)
        assert (t.tolist(), value.tolist(), flag.tolist()) == ([AT_S, AT_S + 120], [1.25, 0.1 + 0.2], [1, 1])
        nothing = reader.series("yard", Quantity.BATTERY_PCT, AT_S, AT_S + 3600)
        assert [column.dtype for column in nothing] == [np.float64, np.float64, np.uint8]
        assert [len(column) for column in nothing] == [0, 0, 0]


def test_long_answers_come_in_pages_without_loss_or_repeat(store: Store, monkeypatch) -> None:
    """Also where many rows share an instant."""
    monkeypatch.setattr(queries, "_PAGE_ROWS", 7)
    transitions = tuple(transition(seq, AT_S + seq // 5) for seq in range(50))
    hours = tuple(hour(AT_S + 3600 * (n // 3), f"bench-{n % 3}") for n in range(30))
    store.commit([Effects(transitions=transitions, hours=hours)], AT_S)
    with Reader(store.directory) as reader:
        assert tuple(reader.transitions()) == transitions
        assert tuple(reader.transitions(AT_S + 2, AT_S + 4)) == transitions[10:20]
        assert tuple(reader.hours()) == hours
        assert tuple(reader.hours(AT_S + 3600, AT_S + 7200)) == hours[3:6]
        assert tuple(reader.hours(sensor="bench-1")) == hours[1::3]


def test_notices_tell_how_they_stand(store: Store) -> None:
    """Sent, waiting, and why."""
    store.commit([Effects(notices=(notice(), notice("n2")))], AT_S)
    store.commit(
        [Effects(outbox=(change("pending", AT_S + 5, "421 try later"), change("sent", AT_S + 20)))], AT_S
    )
    store.commit([Effects(outbox=(change("failed", AT_S + 5, "550 unknown", "n2"),))], AT_S)
    with Reader(store.directory) as reader:
        assert list(reader.notices()) == [
            (notice(), "sent", 2, ""),
            (notice("n2"), "failed", 1, "550 unknown"),
        ]


def test_streams_come_as_they_were_saved(store: Store) -> None:
    """Each under its own name."""
    store.commit([NIGHT], AT_S)
    with Reader(store.directory) as reader:
        assert list(reader.stream("stages")) == [STAGE]
        assert list(reader.stream("stages", AT_S + 1)) == []


def test_a_report_is_found_by_its_date_or_as_the_newest(store: Store) -> None:
    """As it was sent, and never a second one of a date."""
    store.commit([Effects(reports=(report("2026-11-29"), report("2026-11-30")))], AT_S)
    with Reader(store.directory) as reader:
        assert reader.report() == report("2026-11-30")
        assert reader.report("2026-11-29") == report("2026-11-29")
        assert reader.report("2026-11-28") is None
        assert reader.report_dates() == ("2026-11-29", "2026-11-30")


def test_what_is_enclosed_with_a_report_is_kept_once_and_comes_back_with_its_notices(store: Store) -> None:
    """The calendar and what the pictures show: with the report, and with each notice still on its way."""
    enclosed = replace(report(), calendar="BEGIN:VCALENDAR", pictures="[{}]")
    told = [
        replace(notice(enclosed.notice, way), calendar=enclosed.calendar, pictures=enclosed.pictures)
        for way in ("mail", "other")
    ]
    store.commit([Effects(reports=(enclosed,), notices=(*told, notice("n2")))], AT_S)

    with Reader(store.directory) as reader:
        assert reader.report() == enclosed
    assert [found for found, _tries in store.load(0).outbox] == [*told, notice("n2")]


def test_old_calendars_go_and_what_pictures_show_stays(store: Store) -> None:
    """A calendar grows with the trees, and only the last ones are of use."""
    for day in range(1, 15):
        enclosed = replace(report(f"2026-11-{day:02}"), calendar="BEGIN:VCALENDAR", pictures="[{}]")
        store.commit([Effects(reports=(enclosed,))], AT_S + day)

    with Reader(store.directory) as reader:
        kept = [reader.report(date) for date in reader.report_dates()]

    assert [bool(each and each.calendar) for each in kept] == [False] * 4 + [True] * 10
    assert all(each is not None and each.pictures == "[{}]" for each in kept)


def test_an_export_between_labels_moves_readings_only(store: Store) -> None:
    """Readings are kept in guard time, an hour behind the wall here; the rest is labelled already."""
    store.commit([NIGHT], AT_S)
    with Reader(store.directory) as reader:
        found = list(reader.export_lines("readings", AT_S + 3600, AT_S + 3660, label_offset_s=3600))
        assert [line["observed_at"] for line in found] == ["2026-11-30T04:00:00Z"] * 2
        assert [line["at"] for line in reader.export_lines("stages", AT_S, AT_S + 1, 3600)] == [
            "2026-11-30T03:00:00Z"
        ]


def test_a_reader_sees_each_commit_once_it_is_made(store: Store) -> None:
    """One open reader, as the page has."""
    with Reader(store.directory) as reader:
        for number in range(3):
            assert len(list(reader.readings())) == number
            store.commit([Effects(readings=(reading(number, flag=Flag.FAIL),))], AT_S)


def test_all_series_at_once_are_those_of_each_sensor(store: Store) -> None:
    """Packed hours and young rows alike."""
    readings = tuple(reading(m, m, s) for m in range(0, 300, 10) for s in ("bench-b", "bench-a"))
    store.commit([Effects(readings=readings)], AT_S + 5 * 3600)
    span = (Quantity.TEMPERATURE_C, AT_S + 600, AT_S + 12_000)
    with Reader(store.directory) as reader:
        found = reader.series_of_all(*span)
        assert set(found) == {"bench-a", "bench-b"}
        for name, columns in found.items():
            alone = reader.series(name, *span)
            assert [column.tolist() for column in columns] == [column.tolist() for column in alone]
        assert reader.series_of_all(Quantity.BATTERY_PCT, AT_S, AT_S + 3600) == {}
