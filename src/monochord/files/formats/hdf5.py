"""Tables in HDF5: a compound dataset, a dataset of one or two dimensions, or a group with one dataset a column.

Opened only in the guarded child. What would lead out of the file (links, external storage, virtual datasets) and
compression that is not known here is refused by name. A unit that stands beside a column as the attribute ``unit`` or
``units`` is its unit line.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from monochord.files.formats.arrays import named_columns, table_of_arrays
from monochord.files.formats.asked import Asked, Format
from monochord.files.table import Table
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Gatherer, Refused

if TYPE_CHECKING:
    import h5py

AnyArray = NDArray[np.generic]

#: Bytes that a table may have in memory.
MOST_BYTES = 1 << 30


def table(data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    """The table at the place ``asked.kept.inside``, or the only dataset of the file.

    data  the whole file;  file  as shown

    Raises Refused when the file is damaged, or what stands there leads out of it or cannot be read here.
    """
    import h5py

    from monochord.files.container import spoken

    try:
        with h5py.File(io.BytesIO(data), "r") as root:
            place = asked.kept.inside or _only(root, file)
            found = reached(root, place, file)
            columns = list(_columns(found, place, file))
    except (OSError, KeyError, RuntimeError, ValueError, TypeError) as error:
        remedy = "copy the file again from where it was made; nothing was computed from it"
        raise Refused([Fault(spoken(str(error)), "a complete HDF5 file", remedy, file)]) from None
    arrays = [(name, array) for name, array, _ in columns]
    units = tuple(unit for _, _, unit in columns)
    return table_of_arrays(file, arrays, units if any(units) else (), asked, faults)


def reached(root: h5py.Group, place: str, file: str) -> h5py.Group | h5py.Dataset:
    """What stands at a path, going through the file's own groups only.

    root  where the path begins;  place  such as "survey/sightings";  file  as shown

    Raises Refused when a step is not there or is a link.
    """
    import h5py

    here, way = root, ""
    for step in (s for s in place.split("/") if s):
        if not isinstance(here, h5py.Group) or here.get(step, getlink=True) is None:
            there = list(here) if isinstance(here, h5py.Group) else []
            remedy = f"{did_you_mean(step, there)}mend the place in the lab description"
            expected = f"one of {listed(there) or 'nothing'} in {way or 'the file'!r}"
            raise Refused([Fault(f"nothing at {place!r} ({step!r})", expected, remedy, file)])
        link = here.get(step, getlink=True)
        way = f"{way}/{step}"
        if isinstance(link, h5py.ExternalLink):
            given = f"{way!r} is a link to another file ({link.filename})"
            raise Refused([Fault(given, "data in the file itself", "copy the data into one file", file)])
        if isinstance(link, h5py.SoftLink):
            given = f"{way!r} is a link to {link.path!r}"
            raise Refused([Fault(given, "data at the place itself", "name that place in the lab description", file)])
        here = here[step]
    return here


def _only(root: h5py.Group, file: str) -> str:
    names = list(root)
    if len(names) != 1:
        remedy = 'add inside = "..." in the lab description'
        raise Refused([Fault(f"{len(names)} things ({listed(names)})", "the place of the table", remedy, file)])
    return str(names[0])


def _columns(found: h5py.Group | h5py.Dataset, place: str, file: str) -> Iterator[tuple[str, AnyArray, str]]:
    import h5py

    if isinstance(found, h5py.Dataset):
        fields = list(named_columns("", values(found, place, file)))
        units = _units_of_fields(found, [name for name, _ in fields])
        yield from ((name, array, units.get(name, "")) for name, array in fields)
        return
    for name in found:
        dataset = reached(found, name, file)
        if not isinstance(dataset, h5py.Dataset):
            raise Refused([Fault(f"group {place}/{name}", "one dataset a column", "name the place deeper", file)])
        unit = _unit(dataset)
        for column, array in named_columns(name, values(dataset, f"{place}/{name}", file)):
            yield column, array, unit


def values(dataset: h5py.Dataset, place: str, file: str) -> AnyArray:
    """All values of a dataset as an array, texts as texts.

    dataset  whose storage is looked at first;  place, file  as shown

    Raises Refused when it is kept elsewhere, compressed in a way that is not known here, empty or too large.
    """
    refuse_foreign(dataset, place, file)
    if dataset.shape is None or dataset.ndim not in (1, 2):
        given = f"dataset {place!r} of shape {dataset.shape}"
        raise Refused([Fault(given, "rows, or rows and columns", "name another place", file)])
    size = int(np.prod(dataset.shape)) * dataset.dtype.itemsize
    if size > MOST_BYTES:
        given = f"dataset {place!r} with {size >> 20} MB"
        raise Refused(
            [Fault(given, f"a table of at most {MOST_BYTES >> 20} MB", "read raw signals as waveforms", file)]
        )
    array: AnyArray = dataset[()]
    return array


def refuse_foreign(dataset: h5py.Dataset, place: str, file: str) -> None:
    """Refuse a dataset whose values stand in other files, or are compressed in a way that is not known here.

    dataset  to be looked at;  place, file  as shown
    """
    import h5py

    given = ""
    if dataset.external:
        given = f"{place!r} keeps its values in another file ({dataset.external[0][0]})"
    elif dataset.is_virtual:
        given = f"{place!r} is put together from other files"
    if given:
        raise Refused([Fault(given, "values in the file itself", "copy the values into one file", file)])
    plist = dataset.id.get_create_plist()
    for i in range(plist.get_nfilters()):
        code, _, _, said = plist.get_filter(i)
        if not h5py.h5z.filter_avail(code):
            name = said.decode("utf-8", "replace") or "no name"
            given = f"{place!r} is compressed by a filter that is not known here (number {code}, {name})"
            raise Refused([Fault(given, "gzip, lzf, or nothing", "save the file without it", file)])


def _unit(holder: h5py.Dataset) -> str:
    for key in ("unit", "units"):
        value = holder.attrs.get(key)
        if isinstance(value, (str, bytes)):
            return value if isinstance(value, str) else value.decode("utf-8", "replace")
    return ""


def _units_of_fields(dataset: h5py.Dataset, names: list[str]) -> dict[str, str]:
    """Units of a compound dataset: a list as long as its fields, or one attribute ``<field>_unit`` each."""
    for key in ("unit", "units"):
        value = dataset.attrs.get(key)
        if isinstance(value, np.ndarray) and len(value) == len(names):
            told = [v.decode("utf-8", "replace") if isinstance(v, bytes) else str(v) for v in value.tolist()]
            return dict(zip(names, told, strict=True))
    return {}


FORMAT = Format("hdf5", "HDF5: a compound dataset, or one dataset a column", table, guarded=True)
