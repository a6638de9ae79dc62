"""What replay is held against: the same lines through json into pandas, flagged by ioos-qc, and no more."""

import json
from pathlib import Path

import pandas as pd
from ioos_qc import qartod


def flag_all(path: Path) -> None:
    """Read a recording of `winter.lines` and run four tests of QARTOD over each sensor and quantity."""
    rows = []
    with path.open(encoding="utf-8") as file:
        for line in file:
            message = json.loads(line)
            pack = json.loads(message["payload"])
            rows.append((message["received_at"], message["topic"], pack[0]["v"], pack[1]["v"]))
    frame = pd.DataFrame(rows, columns=["at", "topic", "t", "rh"])
    frame["at"] = pd.to_datetime(frame["at"])
    for _, part in frame.groupby("topic"):
        at = part["at"].dt.tz_convert(None).to_numpy()
        for column, gross in (("t", (-40, 80)), ("rh", (0, 105))):
            values = part[column].to_numpy()
            qartod.gross_range_test(values, fail_span=gross)
            qartod.spike_test(values, suspect_threshold=3, fail_threshold=8)
            qartod.rate_of_change_test(values, at, threshold=1.5 / 60)
            qartod.flat_line_test(values, at, suspect_threshold=7200, fail_threshold=21600, tolerance=0.05)
