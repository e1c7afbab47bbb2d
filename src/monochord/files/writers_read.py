"""A result document read back from the HDF5 file that was written of it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING
from urllib.parse import unquote

import numpy as np

if TYPE_CHECKING:
    import h5py


def document_from_hdf5(data: bytes) -> dict[str, object]:
    """The document in an HDF5 file made by :func:`monochord.files.writers.hdf5_bytes`, number by number the same.

    data  the whole file, made here and not by others
    """
    import h5py

    with h5py.File(io.BytesIO(data), "r", track_order=True) as file:
        return {_name(key): _value(file[key]) for key in file}


def _name(key: str) -> str:
    return "" if key == "%" else unquote(key)


def _value(found: h5py.Group | h5py.Dataset) -> object:
    import h5py

    kind = found.attrs.get("kind")
    if isinstance(found, h5py.Group):
        if kind == "list":
            return [_value(found[str(i)]) for i in range(len(found))]
        return {_name(key): _value(found[key]) for key in found}
    return None if kind == "null" else _read(found)


def _read(found: h5py.Dataset) -> object:
    raw = found[()]
    if isinstance(raw, np.ndarray) and raw.dtype.names is not None:
        names = [str(name) for name in found.attrs["names"]]
        return [dict(zip(names, map(_nest, row), strict=True)) for row in raw.tolist()]
    if isinstance(raw, np.ndarray):
        return _nest(raw.tolist())
    return raw.decode("utf-8") if isinstance(raw, bytes) else raw.item()


def _nest(value: object) -> object:
    """Lists with text for bytes, and None where there is no number."""
    if isinstance(value, list):
        return [_nest(item) for item in value]
    if isinstance(value, bytes):
        return value.decode("utf-8")
    return None if isinstance(value, float) and value != value else value  # noqa: PLR0124  NaN
