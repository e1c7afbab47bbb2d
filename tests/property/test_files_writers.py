"""What is written for other programs reads back as it was: every bit of a number, every letter of a name."""

from __future__ import annotations

import csv
import io
import json

import h5py
from hypothesis import given
from hypothesis import strategies as st

from monochord.files.writers import csv_text, hdf5_bytes
from monochord.files.writers_read import document_from_hdf5
from monochord.files.writers_tables import ResultTable

floats = st.floats(allow_nan=False, allow_infinity=False)
# what a result document may hold: no surrogates, and no zero byte, which neither JSON texts of ours nor HDF5 have
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
names = st.one_of(texts, st.sampled_from(["a/b", ".", "..", "%2F", "%", "1E5", "007", "NA", "Q 1", "µ", "reasons"]))
scalars = st.one_of(st.none(), st.booleans(), st.integers(-(2**63), 2**63 - 1), floats, texts)
matrices = st.integers(1, 4).flatmap(
    lambda n: st.lists(st.lists(floats, min_size=n, max_size=n), min_size=1, max_size=4)
)
records = st.lists(st.fixed_dictionaries({"name": texts, "x": floats, "ok": st.booleans()}), max_size=3)
values = st.recursive(
    st.one_of(scalars, matrices, records),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(names, inner, max_size=4)),
    max_leaves=20,
)


@given(st.dictionaries(names, values, max_size=5))
def test_everything_comes_back_from_hdf5(document: dict[str, object]) -> None:
    # as JSON text, which tells 1 from 1.0 and from true, and keeps the order of the keys
    assert json.dumps(document_from_hdf5(hdf5_bytes(document, {}))) == json.dumps(document)


@given(
    st.lists(st.tuples(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), floats), max_size=5)
)
def test_every_cell_comes_back_from_csv(rows: list[tuple[str, float]]) -> None:
    text = csv_text(ResultTable("t", (("magnet", ""), ("x", "m")), tuple(rows)))
    read = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert read[0] == ["magnet", "x [m]"]
    assert [(name, float(x).hex()) for name, x in read[1:]] == [(name, x.hex()) for name, x in rows]


def test_lines_end_and_quotes_stand_as_the_standard_says() -> None:
    # RFC 4180, sections 2.1, 2.6 and 2.7 (from memory): CRLF; cells with commas, quotes or line ends in quotes, quotes doubled
    text = csv_text(ResultTable("t", (("name", ""), ("x", "m")), (('a"b', 0.5), ("c,d", None), ("e\nf", -1e-300))))
    assert text == 'name,x [m]\r\n"a""b",0.5\r\n"c,d",\r\n"e\nf",-1e-300\r\n'


def test_units_and_reasons_stand_beside_the_numbers() -> None:
    schema = {
        "properties": {
            "x": {"description": "Centre, positive left [m]", "type": ["number", "null"]},
            "cov": {"$ref": "#/$defs/matrix", "description": "Covariance [m2]."},
            "roll": {"description": "Roll [rad]"},
        },
        "$defs": {"matrix": {"type": "array"}},
    }
    document = {"x": 1e-6, "cov": [[1e-12]], "roll": None, "reasons": {"roll": "not seen"}}
    with h5py.File(io.BytesIO(hdf5_bytes(document, schema))) as file:
        assert file["x"].attrs["unit"] == "m"
        assert file["cov"].attrs["unit"] == "m2"
        assert (file["roll"].attrs["kind"], file["roll"].attrs["reason"]) == ("null", "not seen")
        assert "unit" not in file["roll"].attrs
