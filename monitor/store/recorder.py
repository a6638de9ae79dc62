"""Appends what the engine is told to today's recording; days gone by are gzipped, the oldest dropped.

A recording is worth having, never worth a missed alarm: nothing here raises, `failing` says what is wrong.
"""

import contextlib
import gzip
import os
import shutil
import threading
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from monitor.model import Event
from monitor.store.book_file import sync_directory, write_whole
from monitor.store.labels import Labels
from monitor.store.recording import event_line, recording_files
from monitor.store.trouble import store_error

_HELD_LINES = 10_000
"""What waits in memory while the disk takes nothing; older lines are dropped."""


class Recorder:
    """One writer of `recording/`; `record` is cheap, `flush` writes, `close` ends it."""

    def __init__(self, directory: Path, zone: tzinfo = UTC, keep_days: int = 30) -> None:
        """Days are those of `zone`; the newest `keep_days` files are kept, whatever the clock says."""
        self._directory = directory
        self._zone = zone
        self._keep_days = keep_days
        self._label = Labels()
        self._day = ""
        self._next_day_at_s = float("-inf")
        self._held: list[str] = []
        self._descriptor = -1
        self._length = 0
        self._packer: threading.Thread | None = None
        self.failing = ""
        """Why the last flush failed, as one sentence; empty while all is well."""
        self.dropped = 0
        """Lines lost since the start, because the disk took none for too long."""

    def record(self, event: Event) -> None:
        """Hold one event's line for the next flush; events of no use to a replay are passed over."""
        if event.at_s >= self._next_day_at_s:
            self._turn(event.at_s)
        line = event_line(event, self._label)
        if line is not None:
            self._held.append(line)

    def flush(self) -> None:
        """Hand what is held to the operating system."""
        if not self._held:
            return
        try:
            self._write("".join(self._held).encode())
        except OSError as error:
            self.failing = str(store_error(self._directory, error))
            self._give_up()
            return
        self.failing = ""
        self._held.clear()

    def close(self) -> None:
        """Flush and close today's file, which goes on after a restart; wait until older ones are packed."""
        self.flush()
        self._release()
        if self._packer is not None:
            self._packer.join()
            self._packer = None

    def _turn(self, at_s: float) -> None:
        """Begin the day of that instant; the days before it are packed beside the guard's own work."""
        self.flush()
        self._release()
        today = datetime.fromtimestamp(at_s, self._zone).replace(hour=0, minute=0, second=0, microsecond=0)
        self._day = today.date().isoformat()
        self._next_day_at_s = (today + timedelta(days=1)).timestamp()
        if self._packer is None or not self._packer.is_alive():
            arguments = (self._directory, self._day, self._keep_days)
            self._packer = threading.Thread(target=pack, args=arguments, name="recording-pack", daemon=True)
            self._packer.start()

    def _write(self, data: bytes) -> None:
        if self._descriptor < 0:
            self._descriptor, self._length = _open_day(self._directory / f"{self._day}.jsonl")
        write_whole(self._descriptor, data)
        self._length += len(data)

    def _give_up(self) -> None:
        """Take back half a line, so that what comes later starts on a line of its own."""
        if self._descriptor >= 0:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, self._length)
        self._release()
        if len(self._held) > _HELD_LINES:
            self.dropped += len(self._held) - _HELD_LINES
            del self._held[:-_HELD_LINES]

    def _release(self) -> None:
        if self._descriptor >= 0:
            with contextlib.suppress(OSError):
                os.close(self._descriptor)
        self._descriptor = -1


def _open_day(path: Path) -> tuple[int, int]:
    """The day's file for appending and its length, after a line that a power cut tore was cut off."""
    path.parent.mkdir(mode=0o700, exist_ok=True)
    descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        length = _whole_length(descriptor)
        os.ftruncate(descriptor, length)
    except OSError:
        os.close(descriptor)
        raise
    return descriptor, length


def _whole_length(descriptor: int, step: int = 1 << 16) -> int:
    """Bytes up to the last newline, looked for from the end."""
    end = os.fstat(descriptor).st_size
    while end:
        start = max(0, end - step)
        newline = os.pread(descriptor, end - start, start).rfind(b"\n")
        if newline >= 0:
            return start + newline + 1
        end = start
    return 0


def pack(directory: Path, today: str, keep_days: int) -> None:
    """Gzip the files of days before `today`, and keep the newest `keep_days` days; what fails waits a day.

    Later days are let alone: the recorder may have begun one while this was still at work.
    """
    with contextlib.suppress(OSError):
        for file in recording_files(directory):
            if file.suffix == ".jsonl" and file.name.split(".")[0] < today:
                _pack_one(file)
        days = sorted({file.name.split(".")[0] for file in recording_files(directory)})
        dropped = set(days[: max(0, len(days) - max(1, keep_days))])
        for file in recording_files(directory):
            if file.name.split(".")[0] in dropped:
                file.unlink()


def _pack_one(file: Path) -> None:
    """`DAY.jsonl` to `DAY.jsonl.gz`; a crash on the way leaves the one or the other, whole."""
    packed = file.with_name(file.name + ".gz")
    half = file.with_name(file.name + ".gz.part")
    os.close(_open_day(file)[0])
    if packed.exists() and _ends_with(packed, file):
        file.unlink()
        return
    with file.open("rb") as source, half.open("wb") as target:
        os.fchmod(target.fileno(), 0o600)
        with gzip.GzipFile(file.name, "wb", compresslevel=6, fileobj=target, mtime=0) as archive:
            if packed.exists():
                with gzip.open(packed) as earlier:
                    shutil.copyfileobj(earlier, archive)
            shutil.copyfileobj(source, archive)
        target.flush()
        os.fsync(target.fileno())
    half.rename(packed)
    sync_directory(file.parent)
    file.unlink()


def _ends_with(packed: Path, file: Path, step: int = 1 << 20) -> bool:
    """Whether the archive holds this file already: a crash came between packing it and removing it."""
    with gzip.open(packed) as archive, file.open("rb") as plain:
        length = archive.seek(0, os.SEEK_END)
        archive.seek(max(0, length - file.stat().st_size))
        while True:
            part = archive.read(step)
            if part != plain.read(step):
                return False
            if not part:
                return True
