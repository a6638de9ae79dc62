"""A month of winter days in a child process, kept in the real store: does it grow where it should not?"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

DAYS = 30
FULL_AFTER_DAYS = 15
"""From then on the last fourteen days are in memory, and what comes in drives out what is old."""
SENSORS = 6
EVERY_MIN = 5
ROOT = Path(__file__).resolve().parent.parent.parent

CHILD = """
import json, sys
from pathlib import Path
sys.path.insert(0, {root!r})
from tests.benchmarks.bench_month import resident_by_day
print(json.dumps(resident_by_day(Path({folder!r}), {days})))
"""


def resident_by_day(folder: Path, days: int) -> list[int]:
    """Resident size at the end of each day [kB]: replay into the store, every watch at work."""
    from monitor.model import Message
    from monitor.replay import replay
    from monitor.store.sqlite import Store
    from monitor.trees.plans import load_plans
    from tests.benchmarks import winter

    begin_s = winter.BEGINS_AT_S
    sizes: list[int] = []

    def messages():
        for minute in range(0, days * 1440, EVERY_MIN):
            for n in range(SENSORS):
                yield Message(begin_s + 60.0 * minute + n, f"b/s{n}", winter.payload(n, minute).encode())

    def progress(at_s: float) -> None:
        if at_s >= begin_s + 86_400.0 * (len(sizes) + 1) - 60.0 * EVERY_MIN:
            status = Path("/proc/self/status").read_text(encoding="utf-8")
            sizes.append(
                next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
            )

    settings = winter.settings(folder, SENSORS, outdoor=True, every_s=60 * EVERY_MIN)
    entries = winter.entries(SENSORS - 1, 12, wrapped=True)
    with Store.open(folder / "state", begin_s) as store:
        replay(settings, load_plans(None), messages(), entries, store, progress=progress)
    return sizes


def main(days: int = DAYS, full_after_days: int = FULL_AFTER_DAYS) -> list[dict[str, object]]:
    """Growth a day once the memory of a fortnight is full, beside what the process holds then."""
    with tempfile.TemporaryDirectory() as folder:
        code = CHILD.format(root=str(ROOT), folder=folder, days=days)
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    sizes: list[int] = json.loads(done.stdout)
    settled = sizes[min(full_after_days, len(sizes) - 2) :]
    grown_kb = settled[-1] - settled[0]
    per_day_kb = grown_kb / (len(settled) - 1)
    return [
        {
            "name": f"memory: growth a day after {full_after_days} days",
            "figure": round(per_day_kb, 1),
            "unit": "kB/day",
            "compared_with": f"of the {settled[0] / 1024:.0f} MB held then, over a year",
            "ratio": per_day_kb * 365 / settled[0],
            "stands_for": "whether a guard that runs for years must be restarted (a leak shows here)",
        }
    ]
