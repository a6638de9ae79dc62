"""Replay: readings/s and peak memory, beside the same lines through json + pandas and ioos-qc alone."""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

from tests.benchmarks import winter

SENSORS = 6
CHILD = """
import json, sys, time
sys.path.append({root!r})
from pathlib import Path
from tests.benchmarks import winter
from monitor.replay import replay
from monitor.store.recording import read_recording
from monitor.store.sink import JsonLinesSink
from monitor.trees.plans import load_plans
folder = Path({folder!r})
settings = winter.settings(folder, {sensors})
plans = load_plans(None)
def status(key):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(key))

before = status("VmRSS")
began = time.perf_counter()
cpu = time.process_time()
with JsonLinesSink(folder / "out") as sink:
    replay(settings, plans, read_recording(folder / "recording.jsonl"), winter.entries({sensors}, 12), sink)
print(json.dumps({{
    "wall_s": time.perf_counter() - began,
    "cpu_s": time.process_time() - cpu,
    "before_kb": before,
    "peak_kb": status("VmHWM"),
}}))
"""


def _replayed(folder: Path) -> dict[str, float]:
    root = str(Path(__file__).resolve().parent.parent.parent)
    code = CHILD.format(root=root, folder=str(folder), sensors=SENSORS)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def _pipeline(path: Path) -> float:
    """Seconds of CPU to read the same lines with json into pandas and to flag them with ioos-qc."""
    from ioos_qc import qartod

    began = time.process_time()
    rows = []
    with path.open(encoding="utf-8") as file:
        for line in file:
            message = json.loads(line)
            pack = json.loads(message["payload"])
            rows.append((message["received_at"], message["topic"], pack[0]["v"], pack[1]["v"]))
    frame = pd.DataFrame(rows, columns=["at", "topic", "t", "rh"])
    frame["at"] = pd.to_datetime(frame["at"])
    for _, part in frame.groupby("topic"):
        for column, gross in (("t", (-40, 80)), ("rh", (0, 105))):
            values = part[column].to_numpy()
            at = part["at"].dt.tz_convert(None).to_numpy()
            qartod.gross_range_test(values, fail_span=gross)
            qartod.spike_test(values, suspect_threshold=3, fail_threshold=8)
            qartod.rate_of_change_test(values, at, threshold=1.5 / 60)
            qartod.flat_line_test(values, at, suspect_threshold=7200, fail_threshold=21600, tolerance=0.05)
    return time.process_time() - began


def main() -> list[dict[str, object]]:
    """1, 10 and 100 winter nights of six sensors."""
    rows: list[dict[str, object]] = []
    for nights in (1, 10, 100):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            readings = winter.write(folder / "recording.jsonl", nights, SENSORS)
            found = _replayed(folder)
            rate = readings / found["cpu_s"]
            against = readings / _pipeline(folder / "recording.jsonl") if nights <= 10 else None
            rows.append(
                {
                    "name": f"replay, {nights} nights of {SENSORS} sensors",
                    "figure": rate,
                    "unit": "readings/s",
                    "compared_with": "json + pandas + ioos-qc",
                    "ratio": rate / against if against else None,
                    "stands_for": "how long a winter takes to go through again (per second of CPU)",
                }
            )
            rows.append(
                {
                    "name": f"replay, {nights} nights: peak memory",
                    "figure": found["peak_kb"] / 1024,
                    "unit": "MB",
                    "compared_with": f"before it began {found['before_kb'] / 1024:.0f} MB",
                    "ratio": None,
                    "stands_for": "whether a longer recording needs more memory",
                }
            )
    return rows
