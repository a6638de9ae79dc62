"""Replay: readings/s and peak memory, beside the same lines through json + pandas and ioos-qc alone."""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks import winter

SENSORS = 6
NIGHTS = (1, 10, 100)
ROOT = Path(__file__).resolve().parent.parent.parent

MEASURED = """
import json, sys, time
from pathlib import Path
sys.path.insert(0, {root!r})
folder = Path({folder!r})
def status(key):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(key))
{before}
resident_kb, began_s = status("VmRSS"), time.process_time()
{act}
cpu_s = time.process_time() - began_s
print(json.dumps({{"cpu_s": cpu_s, "before_kb": resident_kb, "peak_kb": status("VmHWM")}}))
"""
REPLAY = (
    """
from tests.benchmarks import winter
from monitor.replay import replay
from monitor.store.recording import read_recording
from monitor.store.sink import JsonLinesSink
from monitor.trees.plans import load_plans
settings, plans = winter.settings(folder, {sensors}, outdoor=True), load_plans(None)
entries = winter.entries({sensors} - 1, 12, wrapped=True)
""",
    """
with JsonLinesSink(folder / "out") as sink:
    replay(settings, plans, read_recording(folder / "recording.jsonl"), entries, sink)
""",
)
PIPELINE = (
    "from tests.benchmarks.pipeline import flag_all",
    "flag_all(folder / 'recording.jsonl')",
)


def measured(folder: Path, parts: tuple[str, str], sensors: int = SENSORS) -> dict[str, float]:
    """CPU seconds, resident size before and its peak, of one way through the lines, in a child."""
    before, act = (part.format(sensors=sensors) for part in parts)
    code = MEASURED.format(root=str(ROOT), folder=str(folder), before=before, act=act)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main(nights: tuple[int, ...] = NIGHTS) -> list[dict[str, object]]:
    """Nights of five benches and the air outside, twelve trees with damp wraps: every watch at work."""
    rows: list[dict[str, object]] = []
    for count in nights:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            readings = winter.write(folder / "recording.jsonl", count, SENSORS)
            ours, theirs = measured(folder, REPLAY), measured(folder, PIPELINE)
            rows.append(
                {
                    "name": f"replay, {count} nights of {SENSORS} sensors, all watches",
                    "figure": round(readings / ours["cpu_s"]),
                    "unit": "readings/s",
                    "compared_with": "json + pandas + ioos-qc, which only flag",
                    "ratio": theirs["cpu_s"] / ours["cpu_s"],
                    "stands_for": "how long a winter takes to go through again (per second of CPU)",
                }
            )
            grown = ours["peak_kb"] - ours["before_kb"]
            rows.append(
                {
                    "name": f"replay, {count} nights: memory beyond its start",
                    "figure": round(grown / 1024, 1),
                    "unit": "MB",
                    "compared_with": "the same pipeline's",
                    "ratio": grown / max(1.0, theirs["peak_kb"] - theirs["before_kb"]),
                    "stands_for": "whether a longer recording needs more memory",
                }
            )
    return rows
