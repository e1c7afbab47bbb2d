"""Files that can crash, hang or swell the library that reads them are opened in a child process with limits.

The child gets the path of a copy and what is asked, and leaves its answer as files: names, texts and faults as JSON,
numbers as plain arrays. Nothing that it wrote is executed here. A child that takes too long, asks for too much
memory, or dies is a fault that says so.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import cast

import numpy as np

from monochord.files.formats.asked import Asked
from monochord.files.number_column import NumberColumn
from monochord.files.table import Table
from monochord.ground.faults import Fault, Gatherer, Refused

#: Seconds that a child may take, bytes per second on top, and memory it may ask for [bytes].
PATIENCE, PACE, MOST_MEMORY = 60.0, 1e5, 3 << 30

Answer = Mapping[str, object]


def guarded_table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    """The table in the bytes of a file, made by its format in a child process; None when the faults say why not.

    data  the whole file;  file  as shown

    Raises Refused when the format refuses the file, or when the child hangs, dies or runs out of memory.
    """
    with tempfile.TemporaryDirectory(prefix="monochord-") as place:
        folder = Path(place)
        (folder / "file").write_bytes(data)
        task = {"file": file, "asked": _plain(asked), "memory": MOST_MEMORY}
        (folder / "task.json").write_text(json.dumps(task), "utf-8")
        _run(folder, file, PATIENCE + len(data) / PACE, asked.kept.format)
        answer = cast(Answer, json.loads((folder / "answer.json").read_text("utf-8")))
        refused, told = _faults(answer, "refused"), _faults(answer, "faults")
        if refused:
            raise Refused(refused)
        faults.faults.extend(told)
        return _table(folder, file, answer, asked)


def _run(folder: Path, file: str, patience: float, name: str) -> None:
    # The child sees the packages that this process sees, and not the folder in which it happens to stand.
    paths = os.pathsep.join(p for p in sys.path if p)
    surroundings = {**os.environ, "PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"}
    command = [sys.executable, "-P", "-m", "monochord.files.formats.guard_child", str(folder)]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, errors="replace", timeout=patience, check=False, env=surroundings
        )
    except subprocess.TimeoutExpired:
        raise Refused([_odd(f"a file on which reading took longer than {patience:.0f} s", file, name)]) from None
    if done.returncode < 0:
        raise Refused([_odd(f"a file that crashes the reader (signal {-done.returncode})", file, name)])
    if done.returncode or not (folder / "answer.json").exists():
        said = (done.stderr.strip().splitlines() or ["no answer"])[-1]
        raise Refused([_odd(f"a file that stops the reader ({said[:200]})", file, name)])


def _odd(given: str, file: str, name: str) -> Fault:
    return Fault(given, f"a sound file of format {name!r}", "copy the file again from where it was made", file)


def _plain(asked: Asked) -> dict[str, object]:
    told = asdict(asked)
    told["dialect"] |= {"missing": sorted(asked.dialect.missing), "summaries": sorted(asked.dialect.summaries)}
    return told


def _faults(answer: Answer, key: str) -> list[Fault]:
    return [Fault(**item) for item in cast(list[dict[str, str]], answer[key])]  # type: ignore[arg-type]


def _table(folder: Path, file: str, answer: Answer, asked: Asked) -> Table | None:
    told = cast(Answer | None, answer["table"])
    if told is None:
        return None
    lines = cast(list[int], told["lines"])
    columns: list[NumberColumn | list[str]] = []
    for i, cells in enumerate(cast(list[list[str] | str], told["columns"])):
        if isinstance(cells, str):
            columns.append(NumberColumn(np.load(folder / f"{i}.npy", allow_pickle=False), cells))
        else:
            columns.append(cells)
    numbers = range(lines[0], lines[1]) if told["counted"] else lines
    return Table(
        file,
        tuple(cast(list[str], told["header"])),
        tuple(cast(list[str], told["units"])),
        list(columns),
        numbers,
        asked.dialect,
        _faults(answer, "notes"),
        cast(int, told["remarks"]),
        cast(str, told["sheet"]),
        heads=cast(int, told["heads"]),
        refused=cast(int, told["refused"]),
        encoding=cast(str, told["encoding"]),
    )
