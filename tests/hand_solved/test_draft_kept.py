"""Drafts of tables that are kept otherwise than as text: the same laboratory in workbooks, JSON lines and arrays."""

from __future__ import annotations

import io
import json
import re
import struct
from collections.abc import Callable

import numpy as np
import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from monochord.files.draft.lines import written
from monochord.files.draft.readback import read_back
from tests.draft_world import Habit, asked, drafted, nominal, settled, sightings
from tests.hand_solved.test_draft_layouts import FACTS

MAGNETS = (
    "magnet,kind,z_mm,length_mm,gradient,unit\n"
    "Q1,quadrupole,-1700.5,250.0,11.25,T/m\n"
    "S1,sextupole,1300.5,200.0,420.0,T/m2\n"
)
Cell = str | float | None


def cells(text: str) -> list[list[Cell]]:
    return [[float(c) if re.fullmatch(r"-?\d+\.\d+", c) else c for c in line.split(",")] for line in text.splitlines()]


def workbook(**sheets: list[list[Cell]]) -> bytes:
    book = openpyxl.Workbook()
    del book[book.sheetnames[0]]
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        assert isinstance(page, Worksheet)
        for row in rows:
            page.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def json_lines(text: str) -> bytes:
    head, *rows = cells(text)
    return "".join(json.dumps(dict(zip(head, row, strict=True))) + "\n" for row in rows).encode()


def array(text: str) -> bytes:
    head, *rows = cells(text)
    kinds = [(str(n), "f8" if isinstance(c, float) else "U16") for n, c in zip(head, rows[0], strict=True)]
    stream = io.BytesIO()
    np.save(stream, np.array([tuple(row) for row in rows], dtype=kinds))
    return stream.getvalue()


KEPT: dict[str, tuple[str, Callable[[str], bytes]]] = {
    "xlsx": ("xlsx", lambda text: workbook(data=cells(text))),
    "json lines": ("jsonl", json_lines),
    "numpy": ("npy", array),
}


@pytest.mark.parametrize("kept", KEPT)
def test_an_answered_draft_reads_tables_of_every_format_back_onto_the_targets(kept: str) -> None:
    ending, make = KEPT[kept]
    files: dict[str, str | bytes] = {
        f"given/magnets.{ending}": make(MAGNETS),
        f"given/targets.{ending}": make(nominal(Habit())),
        f"1-bench/obs.{ending}": make(sightings(Habit())),
    }
    draft, _, looked = drafted(files, dict(FACTS))
    proof = read_back(written(draft, "answered"), "lab.toml", {p: c for p, c in files.items() if isinstance(c, bytes)})

    assert {k.role: k.first.kept.format for k in looked.kinds} == dict.fromkeys(
        ("magnets", "targets", "sightings"), kept
    )
    assert settled(draft, "tables.sightings", "format") == kept
    assert [str(f) for f in proof.open] == []
    assert {r.role: (r.rows, r.refused) for r in proof.read} == {
        "magnets": (2, 0),
        "targets": (10, 0),
        "sightings": (20, 0),
    }
    [line] = proof.geometry
    told = re.search(r"lie within (\S+) mm", line)
    assert told
    assert float(told[1]) < 1e-3, "mm: the tables hold all digits of a micrometre and finer"


def test_sheets_of_one_workbook_are_tables_of_their_own_below_titles_and_beside_text() -> None:
    """A title in the first row, names in the third, units in the fourth; text tables with decimal commas beside them."""
    title: list[list[Cell]] = [
        ["Targets of the girder"],
        [None],
        ["point", "on", "x", "y", "z"],
        ["", "", "mm", "mm", "mm"],
    ]
    habit = Habit(delimiter=";", decimal=",")
    files: dict[str, str | bytes] = {
        "given/girder.xlsx": workbook(
            magnets=cells(MAGNETS), targets=[*title, *cells(nominal(Habit()))[1:]], notes=[["free text"]]
        ),
        "1-bench/obs.csv": sightings(habit),
        "2-tunnel/obs.csv": sightings(habit),
    }
    draft, _, _ = drafted(files, dict(FACTS))
    told = {p: c if isinstance(c, bytes) else c.encode() for p, c in files.items()}
    proof = read_back(written(draft, "answered"), "lab.toml", told)

    assert settled(draft, "tables.targets", "sheet") == "targets"
    assert settled(draft, "tables.magnets", "sheet") == "magnets"
    assert [str(f) for f in proof.open] == []
    assert {(r.role, r.rows, r.refused) for r in proof.read} == {
        ("magnets", 2, 0),
        ("targets", 10, 0),
        ("sightings", 20, 0),
    }
    assert asked(draft) == ["layout.reference"]


def test_what_a_wav_file_tells_and_what_the_description_needs_besides() -> None:
    head = struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + 400, b"WAVE", b"fmt ", 16, 1, 2, 10000, 40000, 4, 16, b"data", 400
    )
    _, _, looked = drafted({"1/wire.wav": head + bytes(400), "1/cut.wav": head + bytes(100)})

    told = "\n".join(looked.others)
    assert "1/wire.wav: raw signals as WAV, 2 channels of 16 bits at 10000 Hz, 0.01 s" in told
    assert "[waveforms.index]" in told
    assert "1/cut.wav: incomplete: 144 of 444 bytes" in told


@pytest.mark.parametrize("name", ["a.xlsx", "a.npy", "a.npz"])
def test_a_damaged_file_is_told_and_the_others_are_drafted(name: str) -> None:
    _, _, looked = drafted({f"given/{name}": b"PK\x03\x04 cut off", "given/targets.csv": nominal(Habit())})

    assert [k.role for k in looked.kinds] == ["targets"]
    assert any(words.startswith(f"given/{name}: ") for words in looked.others)
