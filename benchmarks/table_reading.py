"""A table of a million rows with the places of its faults, against a plain reader of arrays and a fast reader of frames.

All three read the same file in this process, in turns; the shortest time counts. What must be right is checked before
anything is timed: the numbers are the same, and a spoiled cell is refused with its line and column.
"""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monochord.files.columns import Column, Form
from monochord.files.reading import read_file
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.units import unit

NAMES = ("t", "x", "y", "z", "w")
ROWS = 1_000_000

#: How many times longer than each of the others it may take.
REACH = {"polars.read_csv": 4.0, "numpy.loadtxt": 1.5}

Array = NDArray[np.float64]


def made(path: Path, rows: int) -> None:
    """Write a table of plain numbers."""
    values = np.random.default_rng(1).normal(size=(rows, 5)) * [1.0, 1000.0, 10.0, 1e-3, 30.0]
    form = ("%.6f", "%.4f", "%.5f", "%.7f", "%.2f")
    np.savetxt(path, values, fmt=form, delimiter=",", header=",".join(NAMES), comments="")


def spoiled(path: Path, into: Path, line: int) -> None:
    """A copy of the table with a sign too much in the second cell of a line, counted from 1."""
    lines = path.read_bytes().split(b"\n")
    lines[line - 1] = lines[line - 1].replace(b",", b",?", 1)
    into.write_bytes(b"\n".join(lines))


def ours(path: Path) -> tuple[Array, list[Fault]]:
    """The table by our reader (n, 5), and the faults found in it."""
    columns = tuple(Column(name, Meaning("number", "length"), (name,), unit("m")) for name in NAMES)
    faults = Gatherer()
    rows = read_file(path, path.name, Form("points", Dialect(), columns), faults, [])
    if rows is None:
        return np.empty((0, 5)), faults.faults
    return np.stack([rows.number[name] for name in NAMES], axis=1), faults.faults


def others(path: Path) -> tuple[dict[str, Callable[[], object]], str]:
    """The readers that are there to compare with, and words for what is not there."""
    found: dict[str, Callable[[], object]] = {"numpy.loadtxt": lambda: np.loadtxt(path, delimiter=",", skiprows=1)}
    try:
        polars = importlib.import_module("polars")
    except ImportError:
        return found, "polars.read_csv: not measured, polars is not installed"
    found["polars.read_csv"] = lambda: polars.read_csv(path)
    return found, ""


def measured(folder: Path, rounds: int, rows: int = ROWS) -> list[str]:
    """One line for each comparison; a reading that is not right is told instead."""
    path, other, line = folder / "million.csv", folder / "spoiled.csv", rows // 2 + 1
    made(path, rows)
    read, faults = ours(path)
    if faults or len(read) != rows or not np.array_equal(read, np.loadtxt(path, delimiter=",", skiprows=1)):
        return [f"table of {rows} rows: NOT right, {faults[0] if faults else 'its numbers differ'}"]
    spoiled(path, other, line)
    _, faults = ours(other)
    if [(f.line, f.column) for f in faults] != [(line, "x")]:
        return [f"table of {rows} rows: NOT right, a spoiled cell is told as {faults}"]
    against, lacking = others(path)
    calls: dict[str, Callable[[], object]] = {"ours": lambda: ours(path), **against}
    shortest = dict.fromkeys(calls, float("inf"))
    for _ in range(rounds):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            shortest[name] = min(shortest[name], time.perf_counter() - start)
    lines = [_line(rows, name, shortest["ours"], shortest[name]) for name in against]
    return [*lines, *([lacking] if lacking else [])]


def _line(rows: int, name: str, ours_s: float, other_s: float) -> str:
    reached, reach = ours_s / other_s, REACH[name]
    word = "reached" if reached <= reach else "NOT reached"
    return f"table of {rows} rows / {name}: {reached:.2f} (at most {reach:g} {word}; {ours_s * 1e3:.0f} ms)"
