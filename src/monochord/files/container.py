"""Containers of raw signals (HDF5): what is inside, and one block at a time.

A container comes from outside and may be cut off or damaged, and a damaged one can crash or hang the
library that reads it. So a file is first walked through and read whole in a child process with a time
limit (:func:`inspect`); only bytes that passed there are opened here. Every failure ends in a fault.
Links to other files are not followed.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from monochord.files.words import natural
from monochord.ground.faults import Fault, Refused

if TYPE_CHECKING:
    import h5py

Array = NDArray[np.float64]
T = TypeVar("T")
Value = str | float | list[str] | list[float]

_CUT = re.compile(r"eof = (\d+).*stored_eof = (\d+)")

#: Seconds that the inspection of a container may take, and bytes per second on top.
PATIENCE, PACE = 60.0, 5e6


@dataclass(frozen=True, slots=True)
class Block:
    """One dataset: name, shape, and attributes."""

    name: str
    shape: tuple[int, ...]
    attributes: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Group:
    """One group: name, attributes, and its blocks in natural order of their names."""

    name: str
    attributes: Mapping[str, Value]
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """What a container holds; links names what was not followed."""

    attributes: Mapping[str, Value]
    groups: tuple[Group, ...]
    links: tuple[str, ...]


def inspect(path: Path, name: str, *, patience: float = PATIENCE) -> None:
    """Read a container whole in a child process; Refused when it is damaged, hangs, or crashes the reader."""
    size = path.stat().st_size
    if size == 0:
        raise Refused([Fault("an empty file", "an HDF5 file", "copy it again from where it was made", name)])
    command = [sys.executable, "-m", "monochord.files.container_child", str(path)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=patience + size / PACE, check=False)
    except subprocess.TimeoutExpired:
        raise Refused([_damaged("a file on which reading hangs", name)]) from None
    if done.returncode < 0:
        raise Refused([_damaged(f"a file that crashes the reader (signal {-done.returncode})", name)])
    if done.returncode:
        lines = done.stdout.strip().splitlines() or done.stderr.strip().splitlines() or ["unreadable"]
        raise Refused([_damaged(spoken(lines[-1]), name)])


def spoken(error: str) -> str:
    """An error of the library in plain words.

    >>> spoken("Unable to open file (truncated file: eof = 600, sblock->base_addr = 0, stored_eof = 1000)")
    'incomplete: 600 of 1000 bytes'
    """
    if cut := _CUT.search(error):
        return f"incomplete: {cut[1]} of {cut[2]} bytes"
    if "file signature not found" in error:
        return "no HDF5 file"
    if "unable to lock file" in error.lower() or "resource temporarily unavailable" in error.lower():
        return "a file that another program is writing"
    return error


def _damaged(given: str, name: str) -> Fault:
    remedy = "copy the file again from where it was made; nothing was computed from it"
    return Fault(given, "a complete HDF5 file", remedy, name)


def contents(path: Path, name: str) -> Contents:
    """Groups, blocks and attributes of a container that has been inspected."""
    import h5py

    def look() -> Contents:
        with h5py.File(path, "r") as file:
            groups, links = [], []
            for key in sorted(file, key=natural):
                if not isinstance(file.get(key, getlink=True), h5py.HardLink):
                    links.append(key)
                elif isinstance(file[key], h5py.Group):
                    groups.append(_group(file[key], key, links))
            return Contents(_attributes(file), tuple(groups), tuple(links))

    return _kept_safe(look, name)


def _group(group: h5py.Group, name: str, links: list[str]) -> Group:
    import h5py

    blocks = []
    for key in sorted(group, key=natural):
        if not isinstance(group.get(key, getlink=True), h5py.HardLink):
            links.append(f"{name}/{key}")
        elif isinstance(found := group[key], h5py.Dataset):
            blocks.append(Block(key, tuple(int(n) for n in found.shape or ()), _attributes(found)))
    return Group(name, _attributes(group), tuple(blocks))


def _attributes(holder: h5py.Group | h5py.Dataset) -> dict[str, Value]:
    return {key: _plain(value) for key, value in holder.attrs.items()}


def _plain(value: object) -> Value:
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray):
        listed = value.tolist()
        if not isinstance(listed, list):
            return _plain(listed)
        if value.dtype.kind in "iufb":
            return [float(v) for v in value.ravel().tolist()]
        return [str(_plain(v)) for v in value.ravel().tolist()]
    if isinstance(value, (np.number, np.bool_, int, float)):
        return float(value)
    return str(value)


def block(path: Path, name: str, group: str, key: str) -> NDArray[np.generic]:
    """The samples of one block, as stored."""
    import h5py

    def look() -> NDArray[np.generic]:
        with h5py.File(path, "r") as file:
            return cast(NDArray[np.generic], file[group][key][()])

    return _kept_safe(look, name)


def _kept_safe(look: Callable[[], T], name: str) -> T:
    try:
        return look()
    except (OSError, KeyError, RuntimeError, ValueError, TypeError, MemoryError) as error:
        raise Refused([_damaged(spoken(str(error)), name)]) from None


def read_whole(path: Path) -> None:
    """Walk through a container and read every sample, block by block, for the child process."""
    import h5py

    with h5py.File(path, "r") as file:
        for group in contents(path, str(path)).groups:
            for found in group.blocks:
                data = file[group.name][found.name]
                step = max(1, (1 << 24) // max(1, data.dtype.itemsize * int(np.prod(data.shape[1:]))))
                for start in range(0, data.shape[0] if data.shape else 0, step):
                    data[start : start + step]
