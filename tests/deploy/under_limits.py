"""What a test runs under the unit's limits; prints one JSON object.

`python -m tests.deploy.under_limits refused|work FOLDER`
"""

import asyncio
import ctypes
import hashlib
import json
import mmap
import os
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

DRAW = """
import io, matplotlib
matplotlib.use("agg")
from matplotlib import pyplot
pyplot.plot([1, 2], [3, 4])
out = io.BytesIO()
pyplot.savefig(out, format="png")
print(out.getvalue()[1:4].decode())
"""


def refused() -> dict[str, int]:
    """What the limits forbid, with the number of the error that came of it; 0 where nothing was refused."""
    libc = ctypes.CDLL(None, use_errno=True)

    def call(name: str, *arguments: Any) -> None:
        if getattr(libc, name)(*arguments):
            raise OSError(ctypes.get_errno(), name)

    def error(step: Callable[[], object]) -> int:
        try:
            step()
        except OSError as refusal:
            return refusal.errno or 0
        return 0

    return {
        "new code": error(lambda: mmap.mmap(-1, 4096, prot=mmap.PROT_WRITE | mmap.PROT_EXEC)),
        "netlink": error(lambda: socket.socket(socket.AF_NETLINK, socket.SOCK_RAW)),
        "namespace": error(lambda: call("unshare", 0x20000000)),
        "mount": error(lambda: call("mount", b"none", b"/", b"tmpfs", 0, None)),
        "priority": error(lambda: os.setpriority(os.PRIO_PROCESS, 0, 5)),
        "plain socket": error(lambda: socket.socket(socket.AF_INET).close()),
    }


def work(folder: Path) -> dict[str, Any]:
    """A piece of everything that the program is built on."""
    import jinja2
    import numpy as np
    import pandas as pd
    import uvicorn
    from paho.mqtt import client

    matrix = np.random.default_rng(1).normal(size=(60, 60))
    index = pd.date_range("2026-01-01", periods=120, freq="min", tz="UTC")
    frame = pd.DataFrame({"c": range(120)}, index=index)
    hashlib.scrypt(b"word", salt=b"salt", n=2**14, r=8, p=1)
    ssl.create_default_context()
    with closing(sqlite3.connect(folder / "probe.db")) as db:
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        db.execute("CREATE TABLE probe (x)")
        db.commit()
    thread = threading.Thread(target=asyncio.run, args=(asyncio.sleep(0),))
    thread.start()
    thread.join()
    drawn = subprocess.run([sys.executable, "-c", DRAW], capture_output=True, text=True, check=False)
    return {
        "imported": [module.__name__ for module in (jinja2, uvicorn, client)],
        "solved": bool(np.abs(matrix @ np.linalg.inv(matrix) - np.eye(60)).max() < 1e-9),
        "low": float(frame.resample("1h").min()["c"].iloc[-1]),
        "journal": mode,
        "drawn": drawn.stdout.strip(),
        "error": drawn.stderr[-500:],
    }


if __name__ == "__main__":
    print(json.dumps(refused() if sys.argv[1] == "refused" else work(Path(sys.argv[2]))))
