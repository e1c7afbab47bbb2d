"""HDF5 files, damaged in their bytes, as tables and as raw signals; the library itself says what is in them.

The product opens them in a guarded child: most cases fork one, some take the product's own. A child that the library
kills is told by the product as a fault, and counted here.
"""

from __future__ import annotations

import functools
import io
from pathlib import Path
from random import Random

import h5py
import numpy as np

from evidence.fuzz import arrays, mutate
from evidence.fuzz.children import Unforeseen, cheap, folder
from evidence.fuzz.held import Row, against, form_of
from evidence.fuzz.tables import Came
from monochord.files.container import block, contents, inspect
from monochord.files.signals import Contents

PLACE = "survey/points"


#: Files of each kind that are made once and damaged again and again.
_POOL = 60


@functools.cache
def _pooled_table(number: int) -> bytes:
    return made_table(Random(number))


@functools.cache
def _pooled_signals(number: int) -> tuple[bytes, dict[str, arrays.AnyArray]]:
    return made_signals(Random(number))


def made_table(rng: Random) -> bytes:
    """A compound dataset, or a group with one dataset a column."""
    rows = arrays.made_table(rng)
    if rows.dtype["point"].kind == "U":  # type: ignore[misc]  # a compound dtype
        kinds = [(n, "S24" if n == "point" else rows.dtype[n]) for n in rows.dtype.names or ()]  # type: ignore[misc]
        plain = np.zeros(len(rows), kinds)
        for name in rows.dtype.names or ():
            plain[name] = np.char.encode(rows[name], "utf-8") if name == "point" else rows[name]  # type: ignore[call-overload]
        rows = plain
    stream = io.BytesIO()
    with h5py.File(stream, "w", libver=rng.choice(("earliest", "latest"))) as file:
        group = file.create_group("survey")
        group.attrs["by"] = "hand"
        if rng.random() < 0.5:
            _put(group, "points", rows, rng)
        else:
            points = group.create_group("points")
            for name in rows.dtype.names or ():
                _put(points, name, rows[name], rng)  # type: ignore[call-overload]
    return stream.getvalue()


def _put(group: h5py.Group, name: str, array: arrays.AnyArray, rng: Random) -> None:
    how = rng.choice(("", "", "gzip", "lzf", "chunks"))
    options: dict[str, object] = {"compression": how} if how in ("gzip", "lzf") else {"chunks": (1,)} if how else {}
    if how and rng.random() < 0.4:
        options["fletcher32"] = True
    group.create_dataset(name, data=array, **options)


def changed(data: bytes, rng: Random) -> bytes:
    """Damage anywhere, most often in the structure that stands before the values."""
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        how = rng.random()
        if how < 0.3:
            data = mutate.damaged(data, rng)
        elif data:
            place, size = rng.randrange(len(data)), rng.choice((1, 1, 2, 4, 8))
            new = rng.choice((b"\0" * size, b"\xff" * size, rng.randbytes(size), data[:size]))
            filled = [i for i in range(place, min(len(data), place + 400)) if data[i]]
            place = filled[0] if filled else place  # most of a small file is nothing
            data = data[:place] + new + data[place + size :]
    return data


def table(rng: Random) -> str:
    """A table in a container, most of them damaged, with a fork as its child."""
    return _table(rng, own=False)


def table_guarded(rng: Random) -> str:
    """The same with the product's own child, which takes its time."""
    return _table(rng, own=True)


def _table(rng: Random, *, own: bool) -> str:
    data, sound = _pooled_table(rng.randrange(_POOL)), rng.random() < 0.1
    if not sound:
        data = changed(data, rng)
    inside = PLACE if rng.random() < 0.9 else ""
    form = form_of("hdf5", inside)
    if own:
        came = Came(data, form)
    else:
        with cheap():
            try:
                came = Came(data, form)
            except Unforeseen as odd:
                return str(odd)
    if came.rows is None:
        return against(came, {}, sound=sound and bool(inside))
    return against(came, _rows(data, inside or "survey"), sound=sound and bool(inside))


def _rows(data: bytes, place: str) -> dict[int, Row] | None:
    """Rows as the library gives them, the columns found by their names alone."""
    columns: dict[str, list[object]] = {}
    with h5py.File(io.BytesIO(data), "r") as file:
        found = file[place]
        if isinstance(found, h5py.Dataset):
            array = found[()]
            columns = {name: array[name].tolist() for name in array.dtype.names or ()}
        else:
            columns = {name: found[name][()].tolist() for name in found if isinstance(found[name], h5py.Dataset)}
    if not {"point", "x"} <= set(columns):
        return {}
    rows = {}
    for i, name in enumerate(columns["point"], start=1):
        x, y = (columns[key][i - 1] if key in columns else None for key in ("x", "y"))
        sure = isinstance(x, (int, float)) and isinstance(y, (int, float)) and isinstance(name, (bytes, str))
        text = name.decode("utf-8", "replace") if isinstance(name, bytes) else str(name)
        first, second = (float(v) if isinstance(v, (int, float)) else None for v in (x, y))
        rows[i] = Row(text, first, second, sure)
    return rows


# -- raw signals -------------------------------------------------------------------------------------------------------


def made_signals(rng: Random) -> tuple[bytes, dict[str, arrays.AnyArray]]:
    """Scans with blocks and attributes; and the blocks by their places."""
    stream, blocks = io.BytesIO(), dict[str, arrays.AnyArray]()
    with h5py.File(stream, "w", libver=rng.choice(("earliest", "latest"))) as file:
        file.attrs["sample_rate"] = 1000.0
        for i in range(rng.choice((1, 2))):
            group = file.create_group(f"scan{i}")
            group.attrs["magnet"] = "Q1"
            for k in range(rng.choice((1, 3))):
                array = np.array([rng.randrange(-900, 900) for _ in range(20)], "<i2").reshape(10, 2)
                options: dict[str, object] = {"chunks": (4, 2), "compression": "gzip"} if rng.random() < 0.4 else {}
                made = group.create_dataset(f"at{k}", data=array, **options)
                made.attrs["z"] = 0.1 * k
                blocks[f"scan{i}/at{k}"] = array
    return stream.getvalue(), blocks


def signals(rng: Random) -> str:
    """Raw signals in a container: inspected in a fork, then looked at and read as the product does."""
    data, blocks = _pooled_signals(rng.randrange(_POOL))
    sound = rng.random() < 0.1
    if not sound:
        data = changed(data, rng)
    with folder() as place:
        path = place / "raw.h5"
        path.write_bytes(data)
        with cheap():
            try:
                inspect(path, "raw.h5")
            except Unforeseen as odd:
                return str(odd)
        found = contents(path, "raw.h5")
        return _held(path, found, blocks, sound=sound)


def _held(path: Path, found: Contents, blocks: dict[str, arrays.AnyArray], *, sound: bool) -> str:
    """Every block of two levels is listed and whole; an undamaged one is what was written."""
    listed = {f"{g.name}/{b.name}": b.shape for g in found.groups for b in g.blocks}
    there = set[str]()
    with h5py.File(path, "r") as file:
        for name in file:
            if isinstance(file.get(name, getlink=True), h5py.HardLink) and isinstance(group := file[name], h5py.Group):
                there |= {
                    f"{name}/{key}"
                    for key in group
                    if isinstance(group.get(key, getlink=True), h5py.HardLink) and isinstance(group[key], h5py.Dataset)
                }
    if there != set(listed):
        return f"partial: blocks {sorted(listed)} of {sorted(there)}"
    for name, shape in listed.items():
        group, _, key = name.partition("/")
        values = block(path, "raw.h5", group, key)
        if np.shape(values) != shape:
            return f"partial: {np.shape(values)} of {shape} in {name!r}"
        if sound and (name not in blocks or not np.array_equal(values, blocks[name])):
            return f"wrong: block {name!r} is not what was written"
    return "" if not sound or set(listed) == set(blocks) else f"partial: {sorted(listed)} of {sorted(blocks)}"
