"""Past hours are packed, and nobody who reads can tell: properties held against plain dictionaries."""

import zlib
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.model import Effects, Flag, Quantity, Reading, Use
from monitor.store import packs
from monitor.store.queries import Reader
from monitor.store.sqlite import Store
from tests.store.shelf import AT_S, reading

HOUR_S = 3600.0

arriving = st.lists(
    st.builds(
        reading,
        minute=st.integers(-600, 180),
        value=st.floats(-40, 60),
        sensor=st.sampled_from(["bench-a", "bench-b", "yard"]),
        quantity=st.sampled_from(list(Quantity)),
        flag=st.sampled_from(list(Flag)),
        use=st.sampled_from(list(Use)),
    ),
    max_size=60,
)


def stored(directory: Path) -> list[Reading]:
    """Every reading, sorted as a test can repeat it."""
    with Reader(directory) as reader:
        return sorted(reader.readings())


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=st.lists(arriving, max_size=5), hours_later=st.integers(0, 12))
def test_packing_changes_no_reading_and_no_count(
    tmp_path_factory, batches: list[list[Reading]], hours_later: int
) -> None:
    """Whatever comes in whatever order, packed or not yet: the first of each instant, and nothing else."""
    directory = tmp_path_factory.mktemp("packs")
    expected: dict[tuple[str, Quantity, float], Reading] = {}
    with Store.open(directory, AT_S) as store:
        for number, batch in enumerate(batches):
            store.commit([Effects(readings=tuple(batch))], AT_S + number * hours_later * HOUR_S)
            for one in batch:
                expected.setdefault((one.sensor, one.quantity, one.observed_at_s), one)
        assert stored(directory) == sorted(expected.values())
        for _ in range(20):
            store.commit([], AT_S + 30 * HOUR_S)
        assert store.size()["readings"] == len(expected)
        assert stored(directory) == sorted(expected.values())
        loaded = store.load(0).readings
    counted = [one for one in expected.values() if one.use != Use.SHOWN]
    assert set(loaded) == {(one.sensor, one.quantity) for one in counted}
    for (sensor, quantity), (t, value, flag) in loaded.items():
        mine = sorted(
            (one.observed_at_s, one.value, int(one.flag))
            for one in counted
            if (one.sensor, one.quantity) == (sensor, quantity)
        )
        assert list(zip(t.tolist(), value.tolist(), flag.tolist(), strict=True)) == mine


def rows_and_packs(directory: Path) -> tuple[int, list[int]]:
    """How many readings are rows still, and which hours are packed, counted from AT_S's."""
    with Reader(directory) as reader:
        rows = reader._all("SELECT count(*) FROM readings", ())[0][0]
        hours = [row[0] for row in reader._all("SELECT hour FROM packs ORDER BY hour", ())]
    return rows, [hour - int(AT_S // HOUR_S) for hour in hours]


def test_an_hour_is_packed_an_hour_after_its_end_and_not_before(tmp_path: Path) -> None:
    """Stragglers of the last hour are still single rows: no hour is packed twice for nothing."""
    with Store.open(tmp_path, AT_S) as store:
        store.commit([Effects(readings=(reading(0), reading(59), reading(60)))], AT_S + 2 * HOUR_S - 1)
        assert rows_and_packs(tmp_path) == (3, [])
        store.commit([], AT_S + 2 * HOUR_S + 60)
        assert rows_and_packs(tmp_path) == (1, [0])
        store.commit([], AT_S + 3 * HOUR_S + 60)
        assert rows_and_packs(tmp_path) == (0, [0, 1])


def test_a_commit_packs_one_hour_at_most(tmp_path: Path) -> None:
    """A backlog of ten hours is packed over ten commits, so that none of them takes long."""
    backlog = tuple(reading(-60.0 * hour, hour, use=Use.HISTORY) for hour in range(2, 12))
    with Store.open(tmp_path, AT_S) as store:
        for left in range(9, -1, -1):
            store.commit([Effects(readings=backlog)] if left == 9 else [], AT_S)
            assert rows_and_packs(tmp_path)[0] == left


def test_a_late_reading_joins_its_packed_hour(tmp_path: Path) -> None:
    """And a second value for an instant that is packed already is dropped for good."""
    with Store.open(tmp_path, AT_S) as store:
        store.commit([Effects(readings=(reading(0, 1.0), reading(10, 2.0)))], AT_S + 3 * HOUR_S)
        late = (reading(10, 9.0), reading(5, 5.0, sensor="bench-b"))
        store.commit([Effects(readings=late)], AT_S + 4 * HOUR_S)
        assert rows_and_packs(tmp_path) == (0, [0])
        assert store.size()["readings"] == 3
    assert [(one.sensor, one.value) for one in stored(tmp_path)] == [
        ("bench-a", 1.0),
        ("bench-a", 2.0),
        ("bench-b", 5.0),
    ]


def test_a_packed_hour_takes_a_fifth_of_the_room(tmp_path: Path) -> None:
    """Common practice, no source: minute values of two decimals; 32 bytes as rows, measured."""
    chance = np.random.default_rng(3)
    hour = tuple(
        reading(minute, float(round(chance.normal(2, 0.5), 2)), f"bench-{n}")
        for minute in range(60)
        for n in range(40)
    )
    block = packs.block_of(
        [(round(r.observed_at_s * 1000), int(r.sensor[6:]), 0, 400, r.value, 1, 0) for r in hour]
    )
    assert len(packs.encode(block)) / len(hour) < 32 / 5


def test_a_broken_block_is_an_empty_hour_and_no_exception() -> None:
    """The checksum inside a block tells what SQLite's own check cannot see."""
    block = packs.block_of([(1000, 1, 0, 400, 1.5, 1, 0), (2000, 1, 0, 400, None, 4, 0)])
    body = packs.encode(block)
    assert packs.decode(body, 2)[["at_ms", "sensor", "flag"]].tolist() == [(1000, 1, 1), (2000, 1, 4)]
    assert len(packs.decode(body[:-4] + b"\x00\x00\x00\x00", 2)) == 0
    assert len(packs.decode(zlib.compress(b"too short"), 2)) == 0
