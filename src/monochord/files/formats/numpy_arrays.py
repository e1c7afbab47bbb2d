"""NumPy arrays (.npy, .npz): never a pickled object, and never more bytes than the file really holds.

An array of one or two dimensions, or a structured one, is a table; a file of samples is a block of a waveform. The
header says how many bytes must follow, and a file that is shorter or longer is refused before anything is taken.
"""

from __future__ import annotations

import io
import math
import warnings
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np
from numpy.typing import NDArray

from monochord.files.formats.arrays import named_columns, table_of_arrays
from monochord.files.formats.asked import Asked, Format
from monochord.files.formats.zips import opened, refusal
from monochord.files.signals import Block, Contents, Group, Signals
from monochord.files.table import Table
from monochord.files.words import did_you_mean, listed, natural
from monochord.ground.faults import Fault, Gatherer, Refused

AnyArray = NDArray[np.generic]

_MAGIC = b"\x93NUMPY"
_WANTED = "a NumPy file (.npy or .npz)"


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    """The table in an array: fields by name, columns of a plain array by their number, 1 first.

    data  the whole file;  file  as shown;  asked.kept.inside  names the array of a .npz with several

    Raises Refused when the file is cut off, holds objects, or does not say which array is meant.

    >>> stream = io.BytesIO()
    >>> np.save(stream, np.array([("A", 0.5)], [("p", "U4"), ("x", "f8")]))
    >>> found = table(stream.getvalue(), "t.npy", Asked(), Gatherer())
    >>> (found.header, [list(c) for c in found.columns]) if found else None
    (('p', 'x'), [['A'], ['0.5']])
    """
    array = _array(data, file, asked.kept.inside)
    if array.ndim not in (1, 2):
        faults.add(f"an array of shape {array.shape}", "rows, or rows and columns", "keep it so", file=file)
        return None
    return table_of_arrays(file, list(named_columns("", array)), (), asked, faults)


def _array(data: bytes, file: str, inside: str) -> AnyArray:
    if data.startswith(_MAGIC):
        if inside:
            given = f"inside {inside!r} for a file with one array"
            raise refusal(given, "nothing, for a .npy file has no names", file)
        return whole(io.BytesIO(data), len(data), file)
    with opened(data, file, _WANTED) as archive:
        names = [n.removesuffix(".npy") for n in archive.namelist()]
        if not inside and len(names) != 1:
            remedy = 'add inside = "..." in the lab description'
            raise Refused(
                [Fault(f"{len(names)} arrays ({listed(names)})", "the name of the one to read", remedy, file)]
            )
        return member(archive, inside or names[0], file)


def member(archive: zipfile.ZipFile, name: str, file: str) -> AnyArray:
    """One array of a .npz; Refused when there is none of this name."""
    names = [n.removesuffix(".npy") for n in archive.namelist()]
    if name not in names:
        remedy = f"{did_you_mean(name, names)}mend the name in the lab description"
        raise Refused([Fault(f"no array {name!r}", f"one of {listed(names)}", remedy, file)])
    entry = archive.infolist()[names.index(name)]
    try:
        with archive.open(entry) as stream:
            return whole(cast(BinaryIO, stream), entry.file_size, f"{file}, array {name}")
    except (zipfile.BadZipFile, EOFError, NotImplementedError, ValueError) as error:
        raise refusal(f"array {name!r} is damaged ({error})", _WANTED, file) from None


def whole(stream: BinaryIO, size: int, file: str) -> AnyArray:
    """The array in a stream of so many bytes.

    stream  at its beginning;  size  bytes in it;  file  as shown

    Raises Refused when it is no array of numbers or texts, or not as long as its header says.
    """
    shape, fortran, dtype, begins = header(stream, file)
    count = math.prod(shape)
    _check_size(size - begins, count * dtype.itemsize, file)
    values = np.frombuffer(stream.read(count * dtype.itemsize), dtype, count)
    return values.reshape(shape[::-1]).T if fortran else values.reshape(shape)


def header(stream: BinaryIO, file: str) -> tuple[tuple[int, ...], bool, np.dtype[np.generic], int]:
    """Shape, whether columns come first, type, and where the values begin; Refused when there is no such header."""
    try:
        version = np.lib.format.read_magic(stream)
        reader = {(1, 0): np.lib.format.read_array_header_1_0, (2, 0): np.lib.format.read_array_header_2_0}.get(version)
        if reader is None:
            raise ValueError(f"version {version[0]}.{version[1]}")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # heads of old writers are read all the same
            shape, fortran, dtype = reader(stream)
    except Exception as error:  # a damaged header can raise whatever a reader of Python's own literals can
        said = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise refusal(f"no header of an array ({said})", _WANTED, file) from None
    if dtype.hasobject:
        remedy = "such a file could run a program; save numbers and texts as arrays of their own type"
        raise Refused([Fault("an array of Python objects", "numbers or texts", remedy, file)])
    if any(n < 0 for n in shape) or dtype.itemsize == 0:
        raise refusal(f"an array of shape {shape} and type {dtype}", "numbers or texts", file)
    return tuple(int(n) for n in shape), bool(fortran), dtype, stream.tell()


def _check_size(there: int, needed: int, file: str) -> None:
    if there < needed:
        raise refusal(f"incomplete: {there} of {needed} bytes of values", "the values that its header tells", file)
    if there > needed:
        raise refusal(f"{there - needed} bytes after the last value", "the values that its header tells", file)


def mapped(path: Path, file: str) -> AnyArray:
    """The array of a .npy file, its values left in the file until they are asked for.

    path  of the file;  file  as shown

    Raises Refused as :func:`whole` does.
    """
    with path.open("rb") as stream:
        shape, fortran, dtype, begins = header(stream, file)
    _check_size(path.stat().st_size - begins, math.prod(shape) * dtype.itemsize, file)
    if not math.prod(shape):
        return np.empty(shape, dtype)
    return np.memmap(path, dtype, "r", begins, shape, "F" if fortran else "C")


def signals(path: Path, file: str) -> Signals:
    """Samples in a file: one block without a name in a .npy, one for each array in a .npz.

    path  of the file;  file  as shown

    Raises Refused when an array is damaged or holds no numbers.
    """
    with path.open("rb") as stream:
        single = stream.read(len(_MAGIC)) == _MAGIC
    if single:
        array = _samples(mapped(path, file), file)
        contents = Contents({}, (Group("", {}, (Block("", array.shape, {}),)),))
        return Signals(contents, lambda _group, _block: _samples(mapped(path, file), file))
    data = path.read_bytes()
    with opened(data, file, _WANTED) as archive:
        names = sorted((n.removesuffix(".npy") for n in archive.namelist()), key=natural)
        shapes: Mapping[str, tuple[int, ...]] = {n: _samples(member(archive, n, file), file).shape for n in names}
    blocks = tuple(Block(name, shapes[name], {}) for name in names)

    def read(_group: str, block: str) -> AnyArray:
        with opened(path.read_bytes(), file, _WANTED) as archive:
            return member(archive, block, file)

    return Signals(Contents({}, (Group("", {}, blocks),)), read)


def _samples(array: AnyArray, file: str) -> AnyArray:
    if array.dtype.kind not in "iuf":
        raise refusal(f"an array of type {array.dtype}", "samples, which are numbers", file)
    return array


FORMAT = Format("numpy", "NumPy arrays (.npy, .npz)", table, signals)
