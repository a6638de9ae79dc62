"""Thousands of messages, good and bad, alarms that come and go, questions, and links that break: no growth.

Memory and threads are the kernel's own figures (proc(5): VmRSS, Threads). History grows by what it keeps,
which is bounded by days; the allowance is for that.
"""

import json
from pathlib import Path

from tests.faults.figures import measured
from tests.faults.house import COLD_C, LARCH, LOST, TOPIC, WARM_C, House, guarded, heard
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto
from tests.support.waiting import until

MESSAGES = 2000
ROUNDS = 2
GROWTH_AT_MOST_MB = 12.0


def figures(house: House) -> tuple[float, int, int]:
    """Resident memory [MB], threads, open files."""
    lines = Path(f"/proc/{house.process.pid}/status").read_text().splitlines()
    said = dict(line.split(":\t", 1) for line in lines if ":\t" in line)
    files = len(list(Path(f"/proc/{house.process.pid}/fd").iterdir()))
    return float(said["VmRSS"].split()[0]) / 1024, int(said["Threads"]), files


def round_of_everything(house: House, broker: Mosquitto) -> None:
    """Messages of every kind, a frost, many questions, and a link that breaks."""
    with Publisher(broker.port, "soak") as publisher:
        for number in range(MESSAGES):
            body = b"\xff" if number % 50 == 0 else json.dumps({"t": WARM_C + number % 7 / 100}).encode()
            publisher.publish(f"{TOPIC}bench-{'ab'[number % 2]}", body, qos=0)
        publisher.publish(TOPIC + "bench-a", b"{}", qos=1)
    house.air["bench-a"] = COLD_C
    house.rises(LARCH)
    house.air["bench-a"] = WARM_C
    house.ends(LARCH)
    for _ in range(50):
        assert house.status()
    broker.stop()
    house.rises(LOST)
    broker.start()
    house.ends(LOST)
    until(lambda: heard(house) == 2, 20.0, "both sensors heard")


def test_nothing_grows(tmp_path: Path, own_broker: Mosquitto) -> None:
    """After a first round, further rounds add no thread, no open file, and little memory."""
    with guarded(tmp_path, own_broker.port) as house:
        round_of_everything(house, own_broker)
        memory_mb, threads, files = figures(house)
        for _ in range(ROUNDS):
            round_of_everything(house, own_broker)
        memory_after_mb, threads_after, files_after = figures(house)
        measured("memory grown over 4,000 messages and two lost links [MB]", memory_after_mb - memory_mb)
        measured("threads grown", threads_after - threads)
        assert memory_after_mb - memory_mb < GROWTH_AT_MOST_MB
        assert threads_after <= threads
        assert files_after <= files + 2
        assert house.end() == 0
