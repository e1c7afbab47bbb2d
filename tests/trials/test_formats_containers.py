"""JSON lines, NumPy and HDF5 tables as programs leave them behind: cut, doubled, linked, compressed by something unknown."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable

import h5py
import numpy as np
import pytest

from monochord.files.columns import Column, Form, Rows
from monochord.files.formats.asked import Kept
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from monochord.ground.units import unit

NAME = Column("name", Meaning("text"), ("p",))
X = Column("x", Meaning("number", "length", True, "unknown"), ("x",), unit("mm"))


def read(
    kept: str, data: bytes, *columns: Column, inside: str = "", dialect: Dialect | None = None
) -> tuple[Rows | None, list[Fault], list[Fault]]:
    faults, notes = Gatherer(), list[Fault]()
    form = Form("points", dialect or Dialect(), columns or (NAME, X), kept=Kept(kept, inside=inside))
    return read_rows(data, "t", form, faults, notes), faults.faults, notes


# -- JSON lines -------------------------------------------------------------------------------------


def test_objects_with_nested_keys_lists_and_nulls() -> None:
    columns = (NAME, Column("x", X.meaning, ("at.x",), unit("mm")), Column("y", X.meaning, ("at.v.1",), unit("mm")))
    data = b'{"p": "A", "at": {"x": 1.5, "v": [7, 8]}}\n\n{"p": "B", "at": {"x": null}}\n'
    rows, faults, notes = read("json lines", data, *columns)
    assert faults == []
    assert rows is not None
    assert (rows.known_all("x"), rows.known_all("y"), list(rows.lines)) == ([0.0015, None], [0.008, None], [1, 3])
    assert any("no key 'at.v.1' in 1 of 2 objects" in n.given for n in notes)


@pytest.mark.parametrize("token", ["NaN", "Infinity", "-Infinity"])
def test_what_json_does_not_have_is_refused_by_line(token: str) -> None:
    _, faults, _ = read("json lines", f'{{"p": "A", "x": 1}}\n{{"p": "B", "x": {token}}}\n'.encode())
    assert [(f.line, f.given) for f in faults] == [(2, token)]


@pytest.mark.parametrize("line", ['{"p": "A", "x": 1, "x": 2}', '{"p": "A", "x.y": 1, "x": {"y": 2}}'])
def test_a_key_that_stands_twice_is_refused(line: str) -> None:
    _, faults, _ = read("json lines", line.encode())
    assert [(f.line, f.given[-5:]) for f in faults] == [(1, "twice")]


def test_a_name_written_as_a_number_stays_as_it_is_written() -> None:
    rows, faults, _ = read("json lines", b'{"p": 1e5, "x": 1}\n{"p": 100000, "x": 2}\n{"p": 1.50, "x": 3}\n')
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == ["1e5", "100000", "1.50"]


def test_numbers_of_json_have_a_point_whatever_the_laboratory_writes() -> None:
    rows, faults, _ = read("json lines", b'{"p": "A", "x": 1.5}\n{"p": "B", "x": "2,5"}\n', dialect=Dialect(";", ","))
    assert faults == []
    assert rows is not None
    assert rows.known_all("x") == [0.0015, 0.0025]


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b'{"p": "A", "x": 1}\n{"p": "B", "x"', 2),
        (b'{"p": "A", "x": 1}\n[1, 2]\n', 2),
        (b'{"p": "A", "x": 1} {"p": "B", "x": 2}\n', 1),
        (b"[" * 200000, 1),
        (b'{"p": "\\ud800", "x": 1}\n', 1),
        (b'{"p": "a\\u0000", "x": 1}\n', 1),
        (b"p;x\nA;1\n", 1),
    ],
)
def test_a_line_that_is_no_object_is_refused(data: bytes, line: int) -> None:
    _, faults, _ = read("json lines", data)
    assert faults[0].line == line
    assert str(faults[0]).isprintable()


# -- NumPy ------------------------------------------------------------------------------------------


def saved(array: np.ndarray[tuple[int, ...], np.dtype[np.generic]], **how: bool) -> bytes:
    stream = io.BytesIO()
    np.save(stream, array, **how)
    return stream.getvalue()


RECORDS = np.array([("A", 1.5), ("B", np.nan)], [("p", "U4"), ("x", "f8")])


def test_records_are_a_table_and_nan_is_no_number() -> None:
    rows, faults, _ = read("numpy", saved(RECORDS))
    assert faults == []
    assert rows is not None
    assert (rows.text["name"], rows.known_all("x")) == (["A", "B"], [0.0015, None])


def test_columns_of_a_plain_array_go_by_their_number() -> None:
    one, two = (Column(k, X.meaning, (n,), unit("mm")) for k, n in (("a", "1"), ("b", "2")))
    for array in (np.array([[1, 2], [3, 4]], ">i2"), np.array([[1.0, 2.0], [3.0, 4.0]], order="F")):
        rows, faults, _ = read("numpy", saved(array), one, two)
        assert faults == []
        assert rows is not None
        assert rows.number["b"].tolist() == [0.002, 0.004]


def test_names_in_bytes_and_dates_in_their_own_type() -> None:
    kinds = [("p", "S4"), ("x", "<f4"), ("t", "M8[s]")]
    array = np.array([(b"A", 0.5, "2026-03-02T07:15:30"), ("Lä".encode(), 1.0, "NaT")], kinds)
    time = Column("time", Meaning("time", lacking="unknown"), ("t",), notation="DD.MM.YYYY hh:mm:ss")
    rows, faults, _ = read("numpy", saved(array), NAME, X, time)
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == ["A", "Lä"]
    assert np.isnan(rows.number["time"]).tolist() == [False, True]


@pytest.mark.parametrize(
    ("data", "given"),
    [
        (saved(np.array([{"a": 1}], object), allow_pickle=True), "an array of Python objects"),
        (saved(RECORDS)[:-5], "incomplete: 43 of 48 bytes"),
        (saved(RECORDS) + b"more", "4 bytes after the last value"),
        (saved(RECORDS)[:40], "no header of an array"),
        (b"p;x\nA;1\n", "a file that begins with"),
        (saved(np.zeros((2, 2, 2))), "an array of shape (2, 2, 2)"),
        (saved(np.array([(1j, "A")], [("x", "c16"), ("p", "U1")])), "a column of type complex128"),
    ],
)
def test_an_array_that_cannot_be_a_table_is_refused(data: bytes, given: str) -> None:
    _, faults, _ = read("numpy", data)
    assert faults[0].given.startswith(given)


def test_a_header_that_promises_more_than_there_is_takes_no_memory() -> None:
    head = b"{'descr': '<f8', 'fortran_order': False, 'shape': (1000000000000, 2), }"
    data = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head) + 1) + head + b"\n" + bytes(16)
    _, faults, _ = read("numpy", data)
    assert [f.given for f in faults] == ["incomplete: 16 of 16000000000000 bytes of values"]


def test_several_arrays_and_none_named_asks_with_the_names() -> None:
    stream = io.BytesIO()
    np.savez(stream, points=RECORDS, older=RECORDS)
    _, faults, _ = read("numpy", stream.getvalue())
    assert [f.given for f in faults] == ["2 arrays (points, older)"]
    rows, faults, _ = read("numpy", stream.getvalue(), inside="points")
    assert faults == []
    assert rows is not None
    _, faults, _ = read("numpy", stream.getvalue(), inside="point")
    assert "did you mean 'points'" in faults[0].remedy


def test_a_damaged_member_is_refused() -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("t.npy", saved(RECORDS))
    data = bytearray(stream.getvalue())
    data[data.index(b"A\0\0\0")] ^= 1
    _, faults, _ = read("numpy", bytes(data))
    assert faults[0].file == "t, array t"
    assert "Bad CRC" in faults[0].given


# -- HDF5 -------------------------------------------------------------------------------------------


def hdf5(fill: Callable[[h5py.File], None]) -> bytes:
    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        fill(file)
    return stream.getvalue()


def good(file: h5py.File) -> None:
    group = file.create_group("deep/points")
    group.create_dataset("p", data=["A", "B"], dtype=h5py.string_dtype())
    group.create_dataset("x", data=[1.5, 2.5])
    group["x"].attrs["units"] = "um"


def test_a_unit_beside_a_column_is_its_unit() -> None:
    column = Column("x", X.meaning, ("x",), unit_line=True)
    rows, faults, _ = read("hdf5", hdf5(good), NAME, column, inside="deep/points")
    assert faults == []
    assert rows is not None
    assert rows.number["x"].tolist() == [1.5 * 1e-6, 2.5 * 1e-6]


def test_units_of_a_compound_dataset_stand_in_a_list() -> None:
    def fill(file: h5py.File) -> None:
        file["t"] = np.array([(b"A", 1.5)], [("p", "S1"), ("x", "f8")])
        file["t"].attrs["units"] = ["", "um"]

    rows, faults, _ = read("hdf5", hdf5(fill), NAME, Column("x", X.meaning, ("x",), unit_line=True))
    assert faults == []
    assert rows is not None
    assert rows.number["x"].tolist() == [1.5e-6]


def linked(kind: str) -> Callable[[h5py.File], None]:
    def fill(file: h5py.File) -> None:
        good(file)
        group = file["deep/points"]
        del group["x"]
        if kind == "external":
            group["x"] = h5py.ExternalLink("/etc/other.h5", "/x")
        elif kind == "soft":
            file["y"] = [1.0, 2.0]
            group["x"] = h5py.SoftLink("/y")
        elif kind == "storage":
            group.create_dataset("x", (2,), "f8", external=[("/etc/hostname", 0, h5py.h5f.UNLIMITED)])
        elif kind == "virtual":
            layout = h5py.VirtualLayout((2,), "f8")
            layout[...] = h5py.VirtualSource("other.h5", "x", (2,))
            group.create_virtual_dataset("x", layout)
        elif kind == "lengths":
            group["x"] = [1.0, 2.0, 3.0]
        elif kind == "size":
            group.create_dataset("x", (1 << 40,), "f8", chunks=(1 << 20,))
        else:
            group["x/more"] = [1.0, 2.0]

    return fill


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("external", "'/x' is a link to another file (/etc/other.h5)"),
        ("soft", "'/x' is a link to '/y'"),
        ("storage", "'deep/points/x' keeps its values in another file (/etc/hostname)"),
        ("virtual", "'deep/points/x' is put together from other files"),
        ("lengths", "p has 2, x has 3"),
        ("size", "dataset 'deep/points/x' with 8388608 MB"),
        ("group", "group deep/points/x"),
    ],
)
def test_what_leads_out_of_the_file_or_does_not_fit_is_refused_by_name(kind: str, given: str) -> None:
    _, faults, _ = read("hdf5", hdf5(linked(kind)), inside="deep/points")
    assert [f.given for f in faults] == [given]


def test_a_filter_that_is_not_known_is_refused_by_its_number() -> None:
    whole = hdf5(lambda file: file.create_dataset("t", data=RECORDS["x"], chunks=(2,), compression="lzf") and None)
    # the number of the filter in the file, 32000, becomes one that nobody registered
    assert whole.count(struct.pack("<H", 32000)) >= 1
    spoiled = whole.replace(struct.pack("<H", 32000), struct.pack("<H", 31999))
    _, faults, _ = read("hdf5", spoiled)
    assert "a filter that is not known here (number 31999" in faults[0].given


@pytest.mark.parametrize(("share", "given"), [(0.6, "incomplete"), (0.01, "incomplete"), (0.0, "no HDF5 file")])
def test_a_file_that_was_cut_says_how_much_is_there(share: float, given: str) -> None:
    data = hdf5(lambda file: file.create_dataset("t", data=np.zeros(10000)) and None)
    _, faults, _ = read("hdf5", data[: int(share * len(data))] if share else b"p;x\nA;1\n")
    assert faults[0].given.startswith(given)


def test_a_place_that_is_not_there_is_refused_with_what_is() -> None:
    _, faults, _ = read("hdf5", hdf5(good), inside="deep/point")
    assert "one of points" in faults[0].expected
    assert "did you mean 'points'" in faults[0].remedy

    def two(file: h5py.File) -> None:
        good(file)
        file.create_group("other")

    _, faults, _ = read("hdf5", hdf5(two))
    assert faults[0].given == "2 things (deep, other)"
