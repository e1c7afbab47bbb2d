"""NumPy files, damaged in their bytes, and in the zip file around them; numpy itself says what is in them."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random

import numpy as np
from numpy.typing import NDArray

from evidence.fuzz import mutate, texts
from evidence.fuzz.children import folder
from evidence.fuzz.held import Row, against, form_of
from evidence.fuzz.tables import Came
from monochord.files.formats.numpy_arrays import signals

AnyArray = NDArray[np.generic]

_NUMBERS = (">f8", "<f8", "<f4", "<i4", "<i2", "<u8")


def made_table(rng: Random) -> AnyArray:
    """A structured array of names and numbers."""
    kinds = [
        ("point", rng.choice(("U24", "U24", "S24"))),
        ("x", rng.choice(_NUMBERS)),
        ("y", rng.choice(("<f8", ">f4"))),
    ]
    rng.shuffle(kinds)
    rows = np.zeros(rng.randrange(1, 7), kinds)
    for i in range(len(rows)):
        name = rng.choice(texts.NAMES)[:20] if rng.random() < 0.3 else f"P{i}"
        rows["point"][i] = name.encode() if rows.dtype["point"].kind == "S" else name
        rows["x"][i] = rng.randrange(1, 90) if rows.dtype["x"].kind in "iu" else rng.uniform(-90.0, 90.0)
        rows["y"][i] = rng.uniform(-90.0, 90.0)
    return rows


def saved(array: AnyArray, version: tuple[int, int] | None = None) -> bytes:
    """The bytes of a .npy file."""
    stream = io.BytesIO()
    np.lib.format.write_array(stream, array, version, allow_pickle=False)
    return stream.getvalue()


def zipped(members: Mapping[str, bytes], rng: Random) -> bytes:
    """The bytes of a .npz file."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))) as archive:
        for name, data in members.items():
            archive.writestr(f"{name}.npy", data)
    return stream.getvalue()


def table(rng: Random) -> str:
    """A table in a .npy or a .npz, most of them damaged."""
    array, sound = made_table(rng), rng.random() < 0.15
    version = rng.choice((None, (1, 0), (2, 0)))
    data = saved(array, version)
    inside = ""
    if rng.random() < 0.4:
        if not sound and rng.random() < 0.5:
            data = damaged(data, rng)
        inside = rng.choice(("", "points"))
        members = {"points": data} | ({"x" * 3: saved(np.arange(3.0))} if inside else {})
        data = zipped(members, rng)
        if not sound and rng.random() < 0.7:
            data = mutate.damaged(data, rng)
    elif not sound:
        data = damaged(data, rng)
    came = Came(data, form_of("numpy", inside))
    return against(came, _rows(data, inside), sound=sound)


def damaged(data: bytes, rng: Random) -> bytes:
    """Damage anywhere, or in the words of the head alone."""
    if rng.random() < 0.6:
        return mutate.damaged(data, rng)
    end = data.index(b"\n") + 1
    return mutate.damaged(data[:end], rng) + data[end:]


def _loaded(data: bytes, inside: str) -> AnyArray | None:
    """The array as numpy reads it, None when it does not."""
    try:
        if not data.startswith(b"\x93NUMPY"):
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                names = archive.namelist()
                data = archive.read(next(n for n in names if not inside or n.removesuffix(".npy") == inside))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = np.load(io.BytesIO(data), allow_pickle=False)
        return found if isinstance(found, np.ndarray) else None
    except Exception:  # whatever numpy raises on a damaged file
        return None


def _rows(data: bytes, inside: str) -> dict[int, Row] | None:
    array = _loaded(data, inside)
    if array is None or array.ndim != 1 or array.dtype.names is None:
        return None
    names = array.dtype.names
    if not {"point", "x"} <= set(names):
        return {}
    found = {}
    try:
        listed = array.tolist()
    except SystemError:  # numpy's own, for code points that no text has
        return {i: Row(None, None, None, sure=False) for i in range(1, len(array) + 1)}
    for i, row in enumerate(listed, start=1):
        cells = dict(zip(names, row, strict=True))
        name = cells["point"]
        known = [cells.get(key) for key in ("x", "y")]
        sure = all(isinstance(n, (int, float)) and not isinstance(n, bool) for n in known)
        x, y = (float(n) if isinstance(n, (int, float)) else None for n in known)
        text = name.decode("utf-8", "replace") if isinstance(name, bytes) else str(name)
        found[i] = Row(text, x, y, sure and isinstance(name, (str, bytes)))
    return found


# -- samples -----------------------------------------------------------------------------------------------------------


def samples(rng: Random) -> str:
    """Samples in a .npy or a .npz, most of them damaged."""
    kind, sound = rng.choice(("<f8", "<f4", ">i2", "<i4", "<u2")), rng.random() < 0.15
    arrays = {
        f"b{i}": np.array([rng.randrange(200) for _ in range(12)]).astype(kind).reshape(6, 2)
        for i in range(rng.choice((1, 1, 3)))
    }
    if len(arrays) == 1 and rng.random() < 0.7:
        data = saved(arrays["b0"].T if rng.random() < 0.3 else arrays["b0"])
        data = data if sound else damaged(data, rng)
    else:
        data = zipped({name: saved(array) for name, array in arrays.items()}, rng)
        data = data if sound else mutate.damaged(data, rng)
    with folder() as place:
        path = place / "samples"
        path.write_bytes(data)
        found = signals(path, "samples")
        return _blocks(path, data, {b.name: b.shape for b in found.contents.groups[0].blocks}, found.read)


def _blocks(
    path: Path, data: bytes, shapes: Mapping[str, tuple[int, ...]], read: Callable[[str, str], AnyArray]
) -> str:
    """Every block is what numpy reads, bit for bit, and none is left out."""
    for name, shape in shapes.items():
        own, true = np.asarray(read("", name)), _loaded(data, name)
        if true is None:
            return f"wrong: {name!r} is read and numpy refuses it"
        if own.shape != shape or own.dtype != true.dtype or own.tobytes() != true.tobytes():
            return f"wrong: block {name!r} is {own.shape} {own.dtype}, which is {true.shape} {true.dtype}"
    if not path.read_bytes().startswith(b"\x93NUMPY"):
        there = len(zipfile.ZipFile(io.BytesIO(data)).namelist())
        if there != len(shapes):
            return f"partial: {len(shapes)} blocks of {there}"
    return ""
