"""Waveforms kept in one HDF5 dataset: scans, places, channels and time in any order of its dimensions.

Datasets beside it are facts: one with a value for each scan is a fact of the scan, one with a value for each scan and
place, or for each place, a fact of the block.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from monochord.files.document import Node
from monochord.files.formats.hdf5 import reached, refuse_foreign
from monochord.files.signals import Block, Contents, Group, Signals, Value
from monochord.files.words import listed
from monochord.ground.faults import Fault, Refused

if TYPE_CHECKING:
    import h5py

AnyArray = NDArray[np.generic]

#: What the dimensions of the dataset may be; scan and place may be left out where there is one.
DIMENSIONS = ("scan", "place", "channel", "time")


def dataset_signals(path: Path, file: str, node: Node) -> Signals:
    """Scans as groups and places as blocks of one dataset; samples are read when asked for.

    path  of a container that was inspected;  file  as shown;  node  waveforms of the description

    Raises Refused when the dataset is not there, leads out of the file, or has other dimensions.
    """
    import h5py

    from monochord.files.container import attributes_of

    place, dimensions = node.text("dataset"), node.texts("dimensions")
    with h5py.File(path, "r") as root:
        found = reached(root, place, file)
        if not isinstance(found, h5py.Dataset):
            raise Refused([node.fault("dataset", f"{place!r} is a group", "a dataset", "name the dataset in it")])
        refuse_foreign(found, place, file)
        sizes = _sizes(found.shape, dimensions, place, file)
        scans, places = sizes.get("scan", 1), sizes.get("place", 1)
        beside = _beside(found, file, (scans, places))
        told = attributes_of(root) | attributes_of(found.parent) | attributes_of(found)
    names = [str(n) for n in _names(beside, node, scans)]
    shape = (sizes["time"], sizes["channel"]) if node.text("samples") == "rows" else (sizes["channel"], sizes["time"])
    groups = []
    for i in range(scans):
        of_scan: dict[str, Value] = {k: _item(v[i]) for k, v in beside.items() if v.ndim == 1 and len(v) == scans}
        blocks = tuple(Block(str(j + 1), shape, _of_block(beside, i, j, (scans, places)), j + 1) for j in range(places))
        groups.append(Group(names[i], of_scan, blocks))

    def read(group: str, block: str) -> AnyArray:
        at = {"scan": names.index(group), "place": int(block) - 1}
        with h5py.File(path, "r") as again:
            way = tuple(at.get(d, slice(None)) for d in dimensions)
            part: AnyArray = reached(again, place, file)[way]
        rest = [d for d in dimensions if d in ("channel", "time")]
        rows_first = rest[0] == "time"
        return part if rows_first == (node.text("samples") == "rows") else part.T

    return Signals(Contents(told, tuple(groups)), read)


def _sizes(shape: tuple[int, ...], dimensions: tuple[str, ...], place: str, file: str) -> dict[str, int]:
    if len(shape) != len(dimensions):
        given = f"dataset {place!r} of shape {shape}"
        expected = f"{len(dimensions)} dimensions: {listed(dimensions)}"
        raise Refused([Fault(given, expected, "mend dimensions in the lab description", file)])
    return dict(zip(dimensions, shape, strict=True))


def _beside(found: h5py.Dataset, file: str, sizes: tuple[int, int]) -> dict[str, AnyArray]:
    """Datasets beside it that hold a value for each scan or place."""
    import h5py

    scans, places = sizes
    facts: dict[str, AnyArray] = {}
    for name in found.parent:
        if not isinstance(found.parent.get(name, getlink=True), h5py.HardLink):
            continue
        dataset = found.parent[name]
        if isinstance(dataset, h5py.Dataset) and dataset.shape in ((scans,), (places,), (scans, places)):
            refuse_foreign(dataset, name, file)
            facts[name] = dataset[()]
    return facts


def _of_block(beside: Mapping[str, AnyArray], scan: int, place: int, sizes: tuple[int, int]) -> dict[str, Value]:
    facts: dict[str, Value] = {}
    for name, values in beside.items():
        if values.shape == sizes:
            facts[name] = _item(values[scan, place])
        elif values.shape == (sizes[1],):
            facts[name] = _item(values[place])
    return facts


def _names(beside: Mapping[str, AnyArray], node: Node, scans: int) -> list[Value]:
    told = node.text("scan_names")
    if not told:
        return [str(i + 1) for i in range(scans)]
    if told not in beside or beside[told].shape != (scans,):
        expected = f"one name for each of {scans} scans; beside it stand {listed(list(beside)) or 'none'}"
        raise Refused([node.fault("scan_names", f"no dataset {told!r} of that size", expected, "mend the description")])
    names = [_item(v) for v in beside[told]]
    twice = next((n for i, n in enumerate(names) if n in names[:i]), None)
    if twice is not None:
        raise Refused([node.fault("scan_names", f"scan {twice!r} twice", "each name once", "mend the file")])
    return names


def _item(value: object) -> Value:
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    return str(value) if isinstance(value, str) else float(cast(float, value))
