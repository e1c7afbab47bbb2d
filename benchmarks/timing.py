"""Interleaved best-of-n timing of whole commands, and the name of the BLAS kernel behind the numbers."""

from __future__ import annotations

import ctypes
import os
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

Command = Sequence[str]


def once(command: Command) -> float:
    """Wall time of one run of a command [s]; a command that fails stops the benchmark."""
    start = time.perf_counter()
    subprocess.run(list(command), check=True, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def best(commands: Mapping[str, Command], rounds: int) -> dict[str, float]:
    """Shortest wall time of each command [s].

    The commands take turns, so that a slow spell of the machine meets all of them; the shortest
    time is the one that other work on the machine disturbed least.
    """
    shortest = dict.fromkeys(commands, float("inf"))
    for _ in range(rounds):
        for name, command in commands.items():
            shortest[name] = min(shortest[name], once(command))
    return shortest


def blas_kernel() -> str:
    """The kernel that numpy's BLAS has chosen for this processor, or why it is not known."""
    folder = Path(np.__file__).resolve().parent.parent / "numpy.libs"
    for library in sorted(folder.glob("*openblas*")):
        loaded = ctypes.CDLL(str(library))
        for name in ("scipy_openblas_get_corename64_", "openblas_get_corename64_", "openblas_get_corename"):
            if hasattr(loaded, name):
                function = getattr(loaded, name)
                function.restype = ctypes.c_char_p
                return f"OpenBLAS {function().decode()}"
    return "not told by the BLAS in use"


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0))
