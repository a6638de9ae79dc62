"""What a test does in a process of its own: die by `kill -9` in mid-commit, run out of disk, lose its rights.

`python -m tests.store.child WHAT DIRECTORY`; prints one JSON object.
"""

import ctypes
import json
import os
import random
import resource
import signal
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from monitor.errors import StoreError
from monitor.model import Effects, Row
from monitor.store.book_file import BookFile
from monitor.store.queries import Reader
from monitor.store.recorder import Recorder
from monitor.store.sqlite import Store
from tests.store.shelf import AT_S, change, notice, reading, transition

_EVERY_S = 600.0
"""Six commits an hour, so that hours are packed between them."""


def numbered(number: int) -> Effects:
    """One commit's worth: the same number in every stream."""
    minute = number * _EVERY_S / 60
    return Effects(
        readings=tuple(reading(minute + part / 10, number) for part in range(5)),
        transitions=(transition(number, AT_S + number),),
        notices=(notice(f"n{number}"),),
        outbox=(change("sent", AT_S + number, name=f"n{number - 1}"),),
        rows=(Row("alarm", "low-temperature/larch-3", {"seq": number}),),
    )


def at_s(number: int) -> float:
    """The instant of commit `number`."""
    return AT_S + number * _EVERY_S


def standing(directory: Path) -> dict[str, float]:
    """How far each stream came, seen by a fresh start."""
    with Store.open(directory, AT_S) as store:
        saved = store.load(0)
        notes = store.notes
    with Reader(directory) as reader:
        readings = sum(1 for _ in reader.readings()) / 5
        transitions = sum(1 for _ in reader.transitions())
        notices = sum(1 for _ in reader.notices())
    return {
        "commits": ((saved.last_commit_at_s or AT_S - _EVERY_S) - AT_S) / _EVERY_S + 1,
        "rows": saved.rows.get("alarm", {}).get("low-temperature/larch-3", {"seq": -1})["seq"] + 1,
        "readings": readings,
        "transitions": transitions,
        "notices": notices,
        "pending": len(saved.outbox),
        "digests": len(saved.digests),
        "notes": len(notes),
    }


def commit_on(directory: Path, start: int, said: Callable[[int], Any], stop: int = 1 << 30) -> None:
    """Commit number after number, telling each one that is kept."""
    with Store.open(directory, AT_S) as store:
        for number in range(start, stop):
            store.commit([numbered(number)], at_s(number), [("heather/yard", b"%d" % number)])
            said(number)


def _tell(descriptor: int, number: int) -> None:
    os.write(descriptor, b"%d\n" % number)


def killed(directory: Path, times: int = 25) -> dict[str, Any]:
    """Fork a writer, kill it at a moment of chance, look what stands, go on from there."""
    chance = random.Random(7)
    found: list[dict[str, Any]] = []
    start = 0
    for _ in range(times):
        reading_end, writing_end = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                commit_on(directory, start, partial(_tell, writing_end))
            finally:
                os._exit(1)
        os.close(writing_end)
        said = os.read(reading_end, 1)
        time.sleep(chance.random() * 0.03)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while part := os.read(reading_end, 65536):
            said += part
        os.close(reading_end)
        state = standing(directory)
        last_said = int(said.split()[-1]) if said.split() else start
        found.append({"said": last_said + 1, "state": state})
        start = int(state["commits"])
    return {"found": found}


def disk_full(directory: Path) -> dict[str, Any]:
    """No file may grow beyond a limit: every kind of file fails in one sentence, and goes on when it may."""
    book = BookFile(directory / "book.jsonl")
    recorder = Recorder(directory / "recording")
    sentences: list[str] = []
    with Store.open(directory, AT_S) as store:
        commit_at = 0
        _limit(400_000)
        try:
            for commit_at in range(10_000):
                store.commit([numbered(commit_at)], at_s(commit_at))
        except StoreError as error:
            sentences.append(str(error))
        _limit(64)
        try:
            book.append([{"at": "2026-11-30T03:00:00Z", "kind": "note", "note": "x" * 200}])
        except StoreError as error:
            sentences.append(str(error))
        for number in range(20):
            recorder.record(_message(number))
        recorder.flush()
        sentences.append(recorder.failing)
        _limit(resource.RLIM_INFINITY)
        book.append([{"at": "2026-11-30T03:01:00Z", "kind": "note", "note": "room again"}])
        recorder.record(_message(20))
        recorder.close()
        failing = store.failing
        store.commit([numbered(commit_at)], at_s(commit_at))
        after = store.failing
    return {
        "sentences": sentences,
        "failing": failing,
        "after": after,
        "commits": commit_at + 1,
        "state": standing(directory),
        "book": len(book.load()),
        "recorded": sum(1 for _ in (directory / "recording" / "2026-11-30.jsonl").open()),
    }


def _limit(size: float) -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(size), resource.RLIM_INFINITY))


def _message(number: int) -> Any:
    from monitor.model import Message

    return Message(AT_S + number, "heather/yard", b'{"t":1.5}')


def without_rights(directory: Path) -> dict[str, Any]:
    """A state directory that cannot be written, after a clean end and after a crash; then it can again."""
    give_up_rights()
    files = [directory, *directory.iterdir()]
    for file in files[1:]:
        file.chmod(0o400)
    directory.chmod(0o500)
    with Store.open(directory, AT_S) as store:
        failing = store.failing
        saved = store.load(0)
        try:
            store.commit([numbered(99)], at_s(99))
            sentence = "none"
        except StoreError as error:
            sentence = str(error)
        directory.chmod(0o700)
        for file in files[1:]:
            file.chmod(0o600)
        store.commit([numbered(3)], at_s(3))
        result = {"failing": failing, "sentence": sentence, "after": store.failing}
    return result | {"loaded": saved.rows, "state": standing(directory)}


def give_up_rights() -> None:
    """Root without its right to pass over permissions is like anybody else."""
    if os.geteuid() == 0:
        header = (ctypes.c_uint32 * 2)(0x20080522, 0)
        nothing = (ctypes.c_uint32 * 6)()
        if ctypes.CDLL(None, use_errno=True).capset(header, nothing) != 0:
            raise OSError(ctypes.get_errno(), "capset")


def holds(directory: Path) -> dict[str, Any]:
    """Own the directory until killed."""
    with Store.open(directory, AT_S):
        print("{}", flush=True)
        signal.pause()
    return {}


if __name__ == "__main__":
    jobs: dict[str, Callable[[Path], dict[str, Any]]] = {
        "killed": killed,
        "disk-full": disk_full,
        "without-rights": without_rights,
        "holds": holds,
    }
    print(json.dumps(jobs[sys.argv[1]](Path(sys.argv[2]))))
