"""Puts itself under the limits of a unit file as far as a process can, then becomes another program.

    python -m tests.deploy.sandbox deploy/aftercare.service SYSCALLS COMMAND WORD...

SYSCALLS is a file with the names that the unit's SystemCallFilter allows, one a line. Applied through
libseccomp, as systemd itself does it: NoNewPrivileges, SystemCallFilter, MemoryDenyWriteExecute,
RestrictAddressFamilies, RestrictNamespaces, RestrictRealtime, LockPersonality. The limits on files, users and
/proc need root and are not put on here.
"""

import ctypes
import ctypes.util
import errno
import os
import signal
import socket
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from tests.deploy.unit_file import directives

_ALLOW = 0x7FFF0000
_EQ, _MASKED_EQ = 4, 7
_PR_SET_NO_NEW_PRIVS = 38
_PROT_WRITE, _PROT_EXEC, _SHM_EXEC = 2, 4, 0o100000
_CLONE_NEW = (0x00020000, 0x02000000, 0x04000000, 0x08000000, 0x10000000, 0x20000000, 0x40000000)
_FAMILIES = 46


class _Compare(ctypes.Structure):
    """`struct scmp_arg_cmp` of libseccomp."""

    _fields_ = (
        ("argument", ctypes.c_uint),
        ("operator", ctypes.c_int),
        ("a", ctypes.c_uint64),
        ("b", ctypes.c_uint64),
    )


def library() -> ctypes.CDLL:
    """libseccomp; OSError where there is none."""
    found = ctypes.CDLL(ctypes.util.find_library("seccomp") or "libseccomp.so.2")
    found.seccomp_init.restype = ctypes.c_void_p
    found.seccomp_init.argtypes = [ctypes.c_uint32]
    found.seccomp_load.argtypes = [ctypes.c_void_p]
    found.seccomp_rule_add_array.argtypes = [
        ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_uint, ctypes.POINTER(_Compare),
    ]  # fmt: skip
    return found


class Filter:
    """One filter: what happens by default, and rules."""

    def __init__(self, seccomp: ctypes.CDLL, default: int = _ALLOW) -> None:
        self._seccomp = seccomp
        self._context = seccomp.seccomp_init(default)

    def rule(self, action: int, call: str, *compares: tuple[int, int, int, int]) -> None:
        """An action for a system call, where all comparisons hold; calls unknown here are left out."""
        number = self._seccomp.seccomp_syscall_resolve_name(call.encode())
        if number < 0:
            return
        array = (_Compare * max(1, len(compares)))(*(_Compare(*compare) for compare in compares))
        failed = self._seccomp.seccomp_rule_add_array(self._context, action, number, len(compares), array)
        if failed and failed != -errno.EEXIST:
            raise OSError(-failed, f"no rule for {call}: {os.strerror(-failed)}")

    def load(self) -> None:
        """From here on it holds, for this process and all its children."""
        failed = self._seccomp.seccomp_load(self._context)
        if failed:
            raise OSError(-failed, os.strerror(-failed))


def _error(number: int) -> int:
    return 0x00050000 | number


def allowed_calls(seccomp: ctypes.CDLL, calls: Iterable[str]) -> Filter:
    """SystemCallFilter."""
    found = Filter(seccomp, _error(errno.EPERM))
    for call in calls:
        found.rule(_ALLOW, call)
    return found


def no_new_code(seccomp: ctypes.CDLL) -> Filter:
    """MemoryDenyWriteExecute."""
    found, both = Filter(seccomp), _PROT_WRITE | _PROT_EXEC
    found.rule(_error(errno.EPERM), "mmap", (2, _MASKED_EQ, both, both))
    found.rule(_error(errno.EPERM), "mprotect", (2, _MASKED_EQ, _PROT_EXEC, _PROT_EXEC))
    found.rule(_error(errno.EPERM), "pkey_mprotect", (2, _MASKED_EQ, _PROT_EXEC, _PROT_EXEC))
    found.rule(_error(errno.EPERM), "shmat", (2, _MASKED_EQ, _SHM_EXEC, _SHM_EXEC))
    return found


def only_families(seccomp: ctypes.CDLL, names: Iterable[str]) -> Filter:
    """RestrictAddressFamilies."""
    found = Filter(seccomp)
    for family in set(range(_FAMILIES)) - {int(getattr(socket, name)) for name in names}:
        found.rule(_error(errno.EAFNOSUPPORT), "socket", (0, _EQ, family, 0))
    return found


def no_privileged_turns(seccomp: ctypes.CDLL) -> Filter:
    """RestrictNamespaces, RestrictRealtime, LockPersonality."""
    found = Filter(seccomp)
    for flag in _CLONE_NEW:
        found.rule(_error(errno.EPERM), "clone", (0, _MASKED_EQ, flag, flag))
        found.rule(_error(errno.EPERM), "unshare", (0, _MASKED_EQ, flag, flag))
    found.rule(_error(errno.ENOSYS), "clone3")
    found.rule(_error(errno.EPERM), "setns")
    for policy in (os.SCHED_FIFO, os.SCHED_RR):
        found.rule(_error(errno.EPERM), "sched_setscheduler", (1, _EQ, policy, 0))
    found.rule(_error(errno.EPERM), "personality")
    return found


def put_on(unit: str, calls: Sequence[str]) -> None:
    """Everything that the unit asks for and this process can do."""
    asked, seccomp = directives(unit), library()
    if ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0):
        raise OSError(ctypes.get_errno(), "no new privileges")
    filters = [
        no_privileged_turns(seccomp),
        only_families(seccomp, asked["RestrictAddressFamilies"][0].split()),
    ]
    if asked.get("MemoryDenyWriteExecute") == ["yes"]:
        filters.append(no_new_code(seccomp))
    filters.append(allowed_calls(seccomp, calls))
    for each in filters:
        each.load()


def main() -> None:
    """Put on the limits and go on as the command."""
    unit, calls, *command = sys.argv[1:]
    names = Path(calls).read_text(encoding="utf-8").split()
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    put_on(Path(unit).name, names)
    os.execv(command[0], command)


if __name__ == "__main__":
    main()
