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
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from monochord.files.signals import Block, Contents, Group, Value
from monochord.files.words import natural
from monochord.ground.faults import Fault, Refused

if TYPE_CHECKING:
    import h5py

__all__ = ["Block", "Contents", "Group", "Value", "block", "contents", "inspect", "read_whole", "spoken"]

T = TypeVar("T")

_CUT = re.compile(r"eof = (\d+).*stored_eof = (\d+)")

#: Seconds that the inspection of a container may take, and bytes per second on top.
PATIENCE, PACE = 60.0, 5e6


def inspect(path: Path, name: str, *, patience: float = PATIENCE) -> None:
    """Read a container whole in a child process; Refused when it is damaged, hangs, or crashes the reader."""
    size = path.stat().st_size
    if size == 0:
        raise Refused([Fault("an empty file", "an HDF5 file", "copy it again from where it was made", name)])
    try:
        done = child(path, patience + size / PACE)
    except subprocess.TimeoutExpired:
        raise Refused([_damaged("a file on which reading hangs", name)]) from None
    if done.returncode < 0:
        raise Refused([_damaged(f"a file that crashes the reader (signal {-done.returncode})", name)])
    if done.returncode:
        lines = done.stdout.strip().splitlines() or done.stderr.strip().splitlines() or ["unreadable"]
        raise Refused([_damaged(spoken(lines[-1]), name)])


def child(path: Path, limit: float) -> subprocess.CompletedProcess[str]:
    """The child that reads a container, when it has ended; TimeoutExpired after ``limit`` seconds."""
    command = [sys.executable, "-m", "monochord.files.container_child", str(path)]
    return subprocess.run(command, capture_output=True, text=True, timeout=limit, check=False)


def opened(path: Path) -> h5py.File:
    """A container opened to read, as its own state asks: one that its writer left open for live reading is read live."""
    import h5py

    try:
        return h5py.File(path, "r")
    except OSError as error:
        if "already open" not in str(error):
            raise
        return h5py.File(path, "r", swmr=True)


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
    if "already open for" in error.lower():
        return "a file that its writer never closed"
    return error


def _damaged(given: str, name: str) -> Fault:
    remedy = "copy the file again from where it was made; nothing was computed from it"
    return Fault(given, "a complete HDF5 file", remedy, name)


def contents(path: Path, name: str) -> Contents:
    """Groups, blocks and attributes of a container that has been inspected."""
    import h5py

    def look() -> Contents:
        with opened(path) as file:
            groups, links = [], []
            for key in sorted(file, key=natural):
                if not isinstance(file.get(key, getlink=True), h5py.HardLink):
                    links.append(key)
                elif isinstance(file[key], h5py.Group):
                    groups.append(_group(file[key], key, links))
            return Contents(attributes_of(file), tuple(groups), tuple(links))

    return _kept_safe(look, name)


def _group(group: h5py.Group, name: str, links: list[str]) -> Group:
    import h5py

    blocks = []
    for key in sorted(group, key=natural):
        if not isinstance(group.get(key, getlink=True), h5py.HardLink):
            links.append(f"{name}/{key}")
        elif isinstance(found := group[key], h5py.Dataset):
            blocks.append(Block(key, tuple(int(n) for n in found.shape or ()), attributes_of(found)))
    return Group(name, attributes_of(group), tuple(blocks))


def attributes_of(holder: h5py.Group | h5py.Dataset) -> dict[str, Value]:
    """Attributes as texts and numbers."""
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

    def look() -> NDArray[np.generic]:
        with opened(path) as file:
            return cast(NDArray[np.generic], file[group][key][()])

    return _kept_safe(look, name)


def _kept_safe(look: Callable[[], T], name: str) -> T:
    try:
        return look()
    except (OSError, KeyError, RuntimeError, ValueError, TypeError, MemoryError) as error:
        raise Refused([_damaged(spoken(str(error)), name)]) from None


def read_whole(path: Path) -> None:
    """Walk through a container and read every sample, piece by piece, for the child process.

    Raises Refused when a dataset keeps its values in other files, or is compressed in a way that is not known here.
    """
    import h5py

    from monochord.files.formats.hdf5 import refuse_foreign

    with opened(path) as file:
        attributes_of(file)

        def one(name: str, found: h5py.Group | h5py.Dataset) -> None:
            attributes_of(found)
            if not isinstance(found, h5py.Dataset):
                return
            refuse_foreign(found, name, str(path))
            if not found.shape:
                found[()]
                return
            step = max(1, (1 << 24) // max(1, found.dtype.itemsize * int(np.prod(found.shape[1:]))))
            for start in range(0, found.shape[0], step):
                found[start : start + step]

        file.visititems(one)
