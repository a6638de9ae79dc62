"""Rows into a file: JSON lines, a table safe to open in a spreadsheet, or Parquet; whole or not."""

import csv
import json
import os
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Any, TextIO

from monitor.errors import AftercareError, UsageError
from monitor.store.lines import dumps
from monitor.trees.exposure import TABLE_COLUMNS, TABLE_TEXTS


class Format(StrEnum):
    """How an export is written."""

    JSONL = "jsonl"
    CSV = "csv"
    PARQUET = "parquet"


Row = Mapping[str, Any]
_SPREAD = ("p10", "p50", "p90")
_WITH_SPREAD = frozenset({"low_c", "moisture_kg_per_kg", "dry_in_h"})
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""How a text begins that a spreadsheet would take for a formula."""
_BATCH = 20_000

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "readings": ("observed_at", "received_at", "sensor", "quantity", "value", "flag"),
    "alarms": (
        "at", "alarm", "kind", "subject", "occurrence", "seq", "from", "to", "priority", "value", "limit",
        "quality", "respond_within_s", "cause", "consequence", "action", "because",
    ),
    "notices": ("at", "notice", "kind", "priority", "notifier", "subject", "text", "alarms"),
    "forecasts": ("issued_at", "night", "sensor", "method", "nights_learned", "low_c", "low_at", "below"),
    "wraps": ("at", "tree", "wrap", "moisture_kg_per_kg", "dry_in_h", "feel", "gain"),
    "stages": ("at", "tree", "work", "stage", "because"),
    "exposure": TABLE_COLUMNS,
}  # fmt: skip
NUMBERS = frozenset(
    {"value", "flag", "seq", "limit", "respond_within_s", "nights_learned", "gain", *TABLE_COLUMNS}
).difference(TABLE_TEXTS)


def write(what: str, rows: Iterable[Row], format_: Format, out: Path | None) -> int:
    """Write the rows to a file, or to standard output; how many there were."""
    if format_ is Format.PARQUET:
        if out is None:
            raise UsageError("A Parquet file is not for the screen.", "Name it with --out FILE.")
        with _whole(out) as half:
            return _parquet(what, rows, half)
    if out is None:
        return _text(what, rows, format_, sys.stdout)
    with _whole(out) as half, half.open("w", encoding="utf-8", newline="") as file:
        return _text(what, rows, format_, file)


@contextmanager
def _whole(out: Path) -> Iterator[Path]:
    """A file beside `out` that takes its place when all is written."""
    try:
        descriptor, name = tempfile.mkstemp(prefix=".half-", dir=out.parent)
    except OSError as error:
        raise AftercareError(f"{out}: it cannot be written ({error.strerror}).") from error
    os.close(descriptor)
    half = Path(name)
    try:
        yield half
        mask = os.umask(0)
        os.umask(mask)
        half.chmod(0o666 & ~mask)
        half.replace(out)
    except OSError as error:
        raise AftercareError(f"{out}: it cannot be written ({error.strerror}).") from error
    finally:
        half.unlink(missing_ok=True)


def _text(what: str, rows: Iterable[Row], format_: Format, file: TextIO) -> int:
    count = 0
    columns = columns_of(what) if format_ is Format.CSV else ()
    writer = csv.writer(file, lineterminator="\n")
    if columns:
        writer.writerow(columns)
    for row in rows:
        count += 1
        if columns:
            flat = flattened(row)
            writer.writerow([safe(flat.get(column)) for column in columns])
        else:
            file.write(dumps(row) + "\n")
    return count


def columns_of(what: str) -> tuple[str, ...]:
    """The columns of a stream as a table: a spread of values takes three."""
    return tuple(
        name
        for column in COLUMNS[what]
        for name in ([f"{column}_{part}" for part in _SPREAD] if column in _WITH_SPREAD else [column])
    )


def flattened(row: Row) -> dict[str, Any]:
    """A line as cells: spreads in their own columns, lists as JSON."""
    cells: dict[str, Any] = {}
    for key, value in row.items():
        if key in _WITH_SPREAD:
            parts = value if isinstance(value, Mapping) else {}
            cells |= {f"{key}_{part}": parts.get(part) for part in _SPREAD}
        elif isinstance(value, list | dict):
            cells[key] = json.dumps(value, ensure_ascii=False)
        else:
            cells[key] = value
    return cells


def safe(cell: Any) -> Any:
    """A text that begins like a formula gets a quote before it; numbers stay numbers."""
    if isinstance(cell, str) and cell.startswith(_FORMULA):
        return f"'{cell}"
    return cell


def _parquet(what: str, rows: Iterable[Row], half: Path) -> int:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise UsageError(
            "Parquet needs a package that is not installed.",
            "Install it: pip install 'greenhouse-aftercare-monitor[parquet]'.",
        ) from None
    columns = columns_of(what)
    spread = tuple(f"_{part}" for part in _SPREAD)
    numbers = {name for name in columns if name in NUMBERS or name.endswith(spread)}
    schema = pa.schema([(name, pa.float64() if name in numbers else pa.string()) for name in columns])
    count = 0
    with pq.ParquetWriter(half, schema) as writer:
        for batch in _batches(rows):
            count += len(batch)
            flat = [flattened(row) for row in batch]
            table = {name: [_typed(row.get(name), name in numbers) for row in flat] for name in columns}
            writer.write_table(pa.table(table, schema=schema))
    return count


def _typed(cell: Any, is_number: bool) -> Any:
    if cell is None:
        return None
    return float(cell) if is_number else str(cell)


def _batches(rows: Iterable[Row]) -> Iterator[list[Row]]:
    batch: list[Row] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
