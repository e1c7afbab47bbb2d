"""Files that are still being written, or that another program holds: wait for them with a visible state, then refuse.

A file counts as still when its size and time stay the same over a look; one that was written moments ago is looked
at twice. A copy is taken and held against the file again, so that what was copied is what stood there. Locks are
waited for and never switched off.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monochord.ground.faults import Fault, Refused

#: Refusals of a system that pass when the other program is done.
_HELD = frozenset(
    getattr(errno, name)
    for name in ("EAGAIN", "EACCES", "EPERM", "EBUSY", "EDEADLK", "ENOLCK", "ETXTBSY", "EINTR", "ESTALE")
    if hasattr(errno, name)
)


def _silent(_: str) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait, and how.

    limit    seconds for a file that grows or is held;  step  seconds between two looks
    settle   seconds for which a file must not have changed to be taken at the first look
    clock, sleep, wall, say  seconds that pass, a pause, seconds of the file system's time, one line of progress
    """

    limit: float = 30.0
    step: float = 0.5
    settle: float = 2.0
    clock: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    wall: Callable[[], float] = time.time
    say: Callable[[str], None] = field(default=_silent)


def look(path: Path, name: str) -> os.stat_result:
    """State of an ordinary file; Refused in words for whatever is no file or cannot be reached.

    >>> look(Path("/"), "data")
    Traceback (most recent call last):
        ...
    monochord.ground.faults.Refused: data: given a folder; expected a file; put the file in its place
    """
    try:
        state = path.stat()
    except OSError as error:
        raise _unreachable(error, name) from None
    if stat.S_ISREG(state.st_mode):
        return state
    kinds = {stat.S_IFDIR: "a folder", stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket"}
    given = kinds.get(stat.S_IFMT(state.st_mode), "a device")
    raise Refused([Fault(given, "a file", "put the file in its place", name)])


def quiet(files: Mapping[str, Path], patience: Patience) -> None:
    """Wait until files stand still; Refused for every one that cannot be reached or grows for too long.

    files  name as shown -> path

    A file is taken when it did not change for ``settle`` seconds, or when it ends with a line end and stays the same
    over a look; whatever changes is looked at again.
    """
    start = patience.clock()
    faults: list[Fault] = []
    states: dict[str, os.stat_result] = {}
    for name, path in files.items():
        try:
            states[name] = look(path, name)
        except Refused as refusal:
            faults += refusal.faults
    if faults:
        raise Refused(faults)
    fresh = {n: s for n, s in states.items() if abs(patience.wall() - s.st_mtime) < patience.settle}
    pause = min(patience.step, 0.05)
    while fresh:
        patience.sleep(pause)
        pause = patience.step
        fresh = {name: state for name, old in fresh.items() if (state := _again(files[name], name, old, patience))}
        if fresh and patience.clock() - start >= patience.limit:
            raise Refused([f for n, s in fresh.items() for f in _refused(n, _grows(s), patience).faults])
        for name, state in fresh.items():
            patience.say(f"{name}: waiting, {_grows(state)}")


def _again(path: Path, name: str, old: os.stat_result, patience: Patience) -> os.stat_result | None:
    """The state of a file that is not yet finished, None for one that is."""
    state = look(path, name)
    still = abs(patience.wall() - state.st_mtime) >= patience.settle
    if _marks(state) == _marks(old) and (still or _ends_whole(path)):
        return None
    return state


def _ends_whole(path: Path) -> bool:
    """Whether a file ends with a line end, or is no text of lines at all."""
    try:
        with path.open("rb") as stream:
            stream.seek(max(0, path.stat().st_size - 256))
            tail = stream.read()
    except OSError:
        return True  # copying tells why it cannot be read
    return not tail or tail[-1:] in b"\n\r\x00\x1a" or any(b < 9 for b in tail)


def _grows(state: os.stat_result) -> str:
    return f"it is still being written, {state.st_size} bytes by now"


def copied(source: Path, target: Path, name: str, patience: Patience) -> None:
    """Copy a file as it stands; Refused when it changes meanwhile or is held for longer than the patience lasts."""
    start = patience.clock()
    while True:
        state = look(source, name)
        why = _copy(source, target, name)
        if not why:
            after = look(source, name)
            if _marks(after) == _marks(state) and target.stat().st_size == after.st_size:
                return
            why = "it changed while it was copied"
        if patience.clock() - start >= patience.limit:
            raise _refused(name, why, patience)
        patience.say(f"{name}: waiting, {why}")
        patience.sleep(patience.step)


def _copy(source: Path, target: Path, name: str) -> str:
    """Why the copy could not be made now, "" when it is made."""
    try:
        shutil.copyfile(source, target)
    except OSError as error:
        if error.errno not in _HELD or (error.filename and Path(error.filename) == target):
            if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EROFS):
                raise
            raise _unreachable(error, name) from None
        return f"another program holds it, or it may not be read ({error.strerror})"
    return ""


def _refused(name: str, why: str, patience: Patience) -> Refused:
    remedy = "let the program that writes it end, or check the rights of the file, then again"
    return Refused(
        [Fault(f"a file that is not ready after {patience.limit:g} s: {why}", "a finished file", remedy, name)]
    )


def _unreachable(error: OSError, name: str) -> Refused:
    words = {
        errno.ELOOP: "a link that leads back to itself",
        errno.ENOENT: "no such file",
        errno.EISDIR: "a folder",
    }
    given = words.get(error.errno or 0, error.strerror or "an unreadable file")
    return Refused([Fault(given, "a readable file", "put the file back or check its rights", name)])


def _marks(state: os.stat_result) -> tuple[int, int, int]:
    return state.st_size, state.st_mtime_ns, state.st_ino
