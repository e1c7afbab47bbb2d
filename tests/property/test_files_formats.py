"""Any table survives every format: names letter by letter, numbers bit by bit; and no damaged file ends in a traceback."""

from __future__ import annotations

import io
import json
import struct
import tempfile
import unicodedata
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monochord.files.columns import Column, Form, Rows
from monochord.files.formats.asked import Kept
from monochord.files.formats.opening import asked_of, made_table
from monochord.files.formats.registry import find
from monochord.files.formats.wav import signals
from monochord.files.markers import suspicious
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.ground.units import unit

Row = tuple[str, float]

# Names as people and programs make them: what reads like a number, a date or a missing word stays a name.
# Control characters are no part of names in any of these files, and blanks around a name are cleaned off by the reader.
words = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp"]), min_size=1, max_size=8)
names = st.one_of(
    words, st.sampled_from(["1E5", "007", "NA", "None", "inf", "3-1-2", "M#4", "P,1", 'P"2', "true", "1.50"])
)
# whole numbers that instruments write for no reading (32767, 999 and so on) are asked about, which has tests of its own
values = st.floats(-1e6, 1e6, allow_nan=False, allow_subnormal=False).filter(
    lambda x: abs(x) < 99.0 or not suspicious(np.array([0.0, x]), [])
)
tables = st.lists(st.tuples(names, values), min_size=1, max_size=6)
decimals = st.sampled_from([".", ","])


def form(name: str, decimal: str = ".", inside: str = "") -> Form:
    columns = (
        Column("name", Meaning("text"), ("p",)),
        Column("x", Meaning("number", "length"), ("x",), unit("m")),
    )
    return Form("points", Dialect(decimal=decimal, delimiter=";"), columns, kept=Kept(name, inside=inside))


def json_lines(rows: list[Row]) -> bytes:
    return "".join(json.dumps({"p": p, "x": x}, ensure_ascii=len(p) % 2 == 0) + "\n" for p, x in rows).encode()


def xlsx(rows: list[Row]) -> bytes:
    book = openpyxl.Workbook()
    book.active.append(["p", "x"])
    for i, (name, x) in enumerate(rows, start=2):
        cell = book.active.cell(i, 1, name)
        cell.data_type = "s"
        book.active.cell(i, 2, x)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def records(rows: list[Row]) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    width = max(len(p) for p, _ in rows)
    return np.array(rows, [("p", f"U{width}"), ("x", "f8")])


def npy(rows: list[Row]) -> bytes:
    stream = io.BytesIO()
    np.save(stream, records(rows))
    return stream.getvalue()


def npz(rows: list[Row]) -> bytes:
    stream = io.BytesIO()
    np.savez_compressed(stream, t=records(rows))
    return stream.getvalue()


def hdf5(rows: list[Row]) -> bytes:
    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        file.create_dataset("t/p", data=[p for p, _ in rows], dtype=h5py.string_dtype())
        file["t/x"] = np.array([x for _, x in rows])
    return stream.getvalue()


WRITERS: dict[str, tuple[str, Callable[[list[Row]], bytes]]] = {
    "JSON lines": ("json lines", json_lines),
    "npy": ("numpy", npy),
    "npz": ("numpy", npz),
    "HDF5": ("hdf5", hdf5),
    "xlsx": ("xlsx", xlsx),
}


def read(data: bytes, asked: Form) -> tuple[Rows | None, list[Fault]]:
    faults = Gatherer()
    return read_rows(data, "t", asked, faults, []), faults.faults


@pytest.fixture
def unguarded(monkeypatch: pytest.MonkeyPatch) -> None:
    """The guarded formats in this process, so that many examples take no child each."""
    monkeypatch.setattr(
        "monochord.files.formats.guard.guarded_table",
        lambda data, file, asked, faults: made_table(find(asked.kept.format), data, file, asked, faults),
    )


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize("name", list(WRITERS))
def test_names_and_numbers_survive(name: str) -> None:
    kept, write = WRITERS[name]

    @settings(max_examples=40, deadline=None)
    @given(tables, decimals)
    def survives(rows: list[Row], decimal: str) -> None:
        found, faults = read(write(rows), form(kept, decimal))
        assert faults == []
        assert found is not None
        clean = [unicodedata.normalize("NFC", p.strip()) for p, _ in rows]
        assert found.text["name"] == clean
        # openpyxl writes 16 digits, which is the writer's doing here and not the reader's
        wanted = [float(f"{x:.16g}") for _, x in rows] if name == "xlsx" else [x for _, x in rows]
        assert [v.hex() for v in found.number["x"].tolist()] == [v.hex() for v in wanted]

    survives()


GOOD: list[Row] = [("A", 1.5), ("B", -0.25), ("C", 3e-7)]


@pytest.mark.usefixtures("unguarded")
@pytest.mark.parametrize("name", ["JSON lines", "npy", "npz"])
def test_a_damaged_file_is_read_or_refused(name: str) -> None:
    kept, write = WRITERS[name]
    whole = write(GOOD)

    @settings(max_examples=300, deadline=None)
    @given(
        st.integers(0, len(whole)), st.lists(st.tuples(st.integers(0, len(whole) - 1), st.integers(0, 255)), max_size=4)
    )
    def stands(end: int, changes: list[tuple[int, int]]) -> None:
        data = bytearray(whole)
        for place, value in changes:
            data[place] = value
        asked = form(kept)
        try:
            read(bytes(data[:end]), asked)
        except Refused as refusal:
            pytest.fail(f"a refusal left the reader: {refusal}")

    stands()


@pytest.mark.parametrize("name", list(WRITERS))
def test_every_cut_is_told(name: str) -> None:
    """A file that lost its end gives a fault at every length, unless no row is lost with it."""
    kept, write = WRITERS[name]
    whole = write(GOOD)
    # the two that are opened in a child are cut at fewer places
    step = max(1, len(whole) // 12) if kept in ("xlsx", "hdf5") else max(1, len(whole) // 60)
    for end in range(0, len(whole) - 1, step):
        found, faults = read(whole[:end], form(kept))
        complete = found is not None and found.text.get("name") == [p for p, _ in GOOD]
        ends_a_row = kept == "json lines" and whole[:end].endswith((b"}\n", b"}"))
        assert faults or complete or ends_a_row, end
        assert not (faults and complete), end


def pcm(values: np.ndarray[tuple[int, int], np.dtype[np.int64]], bits: int) -> bytes:
    """A WAV file of whole samples (n, channels)."""
    flat = values.reshape(-1)
    raw = b"".join(int(v).to_bytes(bits // 8, "little", signed=True) for v in flat)
    channels = values.shape[1]
    frame = channels * bits // 8
    head = struct.pack("<HHIIHH", 1, channels, 8000, 8000 * frame, frame, bits)
    parts = (
        b"fmt " + struct.pack("<I", 16) + head + b"data" + struct.pack("<I", len(raw)) + raw + b"\0" * (len(raw) % 2)
    )
    return b"RIFF" + struct.pack("<I", 4 + len(parts)) + b"WAVE" + parts


@given(st.sampled_from([16, 24, 32]), st.integers(1, 3), st.data())
def test_whole_samples_keep_every_bit(bits: int, channels: int, data: st.DataObject) -> None:
    edge = 2 ** (bits - 1)
    numbers = data.draw(st.lists(st.integers(-edge, edge - 1), min_size=channels, max_size=6 * channels))
    values = np.array(numbers[: len(numbers) // channels * channels], np.int64).reshape(-1, channels)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        path.write_bytes(pcm(values, bits))
        found = signals(path, "a.wav")
        read_back = np.asarray(found.read("", ""), np.float64) * edge
    assert found.contents.attributes == {"sample_rate": 8000.0, "channels": float(channels)}
    assert read_back.tolist() == values.astype(np.float64).tolist()


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 63), st.lists(st.tuples(st.integers(0, 62), st.integers(0, 255)), max_size=3))
def test_a_damaged_wav_is_read_or_refused(end: int, changes: list[tuple[int, int]]) -> None:
    whole = bytearray(pcm(np.arange(10, dtype=np.int64).reshape(-1, 1), 16))
    for place, value in changes:
        whole[place] = value
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        path.write_bytes(whole[: len(whole) if end == 63 else end])
        try:
            samples = signals(path, "a.wav").read("", "")
        except Refused as refusal:
            files = [f.file for f in refusal.faults]
        else:
            files = [] if end == 63 and samples.ndim == 2 else ["read although cut"]
    assert files in ([], ["a.wav"])


def test_what_a_form_asks_goes_by_the_names_of_the_laboratory() -> None:
    assert asked_of(form("xlsx")).kinds == {"p": "text", "x": "number"}
