"""Guarded children by the thousand: what the product's child does, in a fork that has everything loaded.

The product starts its child anew for every file, which costs a third of a second, most of it for loading modules. Here
the same functions run in a fork of this process, under the same limits; that they are the same is held against the
product's own child by some cases of every run.
"""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import h5py

from monochord.files import container, container_child
from monochord.files.formats import guard, guard_child, hdf5
from monochord.ground.faults import Refused

#: Seconds of the processor that a fork may take for a file of some kilobytes; and seconds until it is given up.
PROCESSOR, LIMIT = 0.5, 120.0

#: Loaded before there are forks, which would load it again and again.
LOADED = (h5py, hdf5)

#: How children ended in this process: "fine", "refused", "killed" by a signal of the library, "late".
ended: Counter[str] = Counter()


@contextmanager
def folder() -> Iterator[Path]:
    """A folder in memory where there is one, for files that live for milliseconds."""
    with tempfile.TemporaryDirectory(dir=_memory(), prefix="fuzz-") as place:
        yield Path(place)


def _memory() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def forked(work: Callable[[], int], said: Path) -> int | None:
    """Exit code of some work done in a fork, negative for a signal, None when it took too long; its words in a file."""
    sys.stdout.flush()
    reads, writes = os.pipe()
    process = os.fork()
    if not process:
        code = 70
        try:
            os.close(reads)
            where = os.open(said, os.O_WRONLY | os.O_CREAT)
            os.dup2(where, 1)
            os.dup2(where, 2)
            sys.stdout = open(1, "w", closefd=False)  # noqa: SIM115 - ends with the process
            signal.signal(signal.SIGPROF, signal.SIG_DFL)
            signal.setitimer(signal.ITIMER_PROF, PROCESSOR)
            code = work()
            sys.stdout.flush()
        except BaseException as error:  # a fork never goes back into the caller
            os.write(2, f"{type(error).__name__}: {error}".encode("utf-8", "replace")[:400])
        finally:
            os._exit(code)
    os.close(writes)
    late = not select.select([reads], [], [], LIMIT)[0]
    os.close(reads)
    if late:
        os.kill(process, signal.SIGKILL)
    _, status = os.waitpid(process, 0)
    code = os.waitstatus_to_exitcode(status)
    late = late or code == -signal.SIGPROF
    ended["late" if late else "killed" if code < 0 else "fine" if not code else "refused"] += 1
    return None if late else code


class Unforeseen(Exception):
    """A child that ended otherwise than it may."""


def _answer(folder: Path, file: str, patience: float, name: str) -> None:
    """What the product's own way to its child does, with a fork."""
    code = forked(lambda: guard_child.main([str(folder)]), folder / "said")
    if code is None:
        raise Refused([guard._odd(f"a file on which reading took longer than {patience:.0f} s", file, name)])
    if code < 0:
        raise Refused([guard._odd(f"a file that crashes the reader (signal {-code})", file, name)])
    if code or not (folder / "answer.json").exists():
        raise Unforeseen(f"crash: a child ended with {code}: {(folder / 'said').read_text('utf-8', 'replace')[-300:]}")


def _here(folder: Path, file: str, patience: float, name: str) -> None:
    """The child's work in this process, whose limits the study sets."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as in the child
        guard_child.main([str(folder)])


def _inspected(path: Path, limit: float) -> subprocess.CompletedProcess[str]:
    said = path.with_name("said")
    code = forked(lambda: container_child.main([str(path)]), said)
    if code is None:
        raise subprocess.TimeoutExpired([], limit)
    words = said.read_text("utf-8", "replace")
    if code > 1:
        raise Unforeseen(f"crash: a child ended with {code}: {words[-300:]}")
    return subprocess.CompletedProcess([], code, words, "")


def _no_limit(most: int) -> None:
    """The study has set its own."""


@contextmanager
def cheap(*, here: bool = False) -> Iterator[None]:
    """Children as forks, or their work in this process where it is Python alone."""
    before = guard._run, container.child, guard_child.limit_memory, tempfile.tempdir
    container.child, tempfile.tempdir = _inspected, _memory()
    if here:
        guard._run, guard_child.limit_memory = _here, _no_limit
    else:
        guard._run = _answer
    try:
        yield
    finally:
        guard._run, container.child, guard_child.limit_memory, tempfile.tempdir = before
