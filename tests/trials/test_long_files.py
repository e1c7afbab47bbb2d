"""Long files: memory does not grow with them, faults keep their lines, and what is joined or too much is told."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from monochord.files import cutting, gathering
from monochord.files.columns import Array, Column, Form, Rows
from monochord.files.gathering import Windows
from monochord.files.reading import read_file
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer
from tests.table_world import number, text

#: A child that reads a table in bounded memory: prints rows kept, and growth of its peak [MiB].
CHILD = """
import resource, sys
from pathlib import Path
from monochord.files.columns import Column, Form
from monochord.files.reading import read_file
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Gatherer
from monochord.ground.units import unit
import numpy as np

resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
columns = tuple(Column(k, Meaning("number", "acceleration"), (k,), unit("m/s2")) for k in "xyz")
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
faults, before = Gatherer(), peak()
rows = read_file(Path(sys.argv[1]), "ride.csv", Form("ride", Dialect(), columns), faults, [])
print(faults.faults[0] if faults.faults else "", len(rows), rows.told.data, round(peak() - before, 1), sep="|")
"""


@pytest.mark.parametrize("mebibytes", [30, 90])
def test_memory_does_not_grow_with_the_file(tmp_path: Path, mebibytes: int) -> None:
    """Thrice the file takes the same memory, less than either; all windows are counted, and the bad one has its line."""
    path = tmp_path / "ride.csv"
    block = b"".join(b"%.4f,%.4f,%.4f\n" % (i / 7e3, -i / 9e3, i % 13) for i in range(40000))
    blocks = (mebibytes << 20) // len(block)
    with path.open("wb") as stream:
        stream.write(b"x,y,z\n")
        for _ in range(blocks):
            stream.write(block)
        stream.write(b"1.0,?!,2.0\n")
    done = subprocess.run([sys.executable, "-c", CHILD, str(path)], capture_output=True, text=True, check=True)
    fault, kept, data, grown = done.stdout.strip().split("|")
    assert f"line {40000 * blocks + 2}, column y: given '?!'" in fault
    assert int(data) == 40000 * blocks
    assert int(kept) <= gathering.MOST_WINDOWS
    # two hundred thousand windows of three numbers are 5 MiB, a part and its arrays 10 MiB, joining takes both twice
    assert float(grown) < 40.0


def windows(
    values: list[float], each_part: int, monkeypatch: pytest.MonkeyPatch, most: int
) -> tuple[Rows, list[Fault]]:
    monkeypatch.setattr(gathering, "MOST_WINDOWS", most)
    kept = Windows("ride.csv")
    for start in range(0, len(values), each_part):
        part: Array = np.array(values[start : start + each_part], np.float64)
        lines = range(2 + start, 2 + start + len(part))
        kept.add(
            Rows("ride.csv", lines, number={"time": np.arange(start, start + len(part), dtype=np.float64), "x": part})
        )
    return kept.rows(), kept.notes()


def test_joined_windows_keep_the_largest_with_its_sign(monkeypatch: pytest.MonkeyPatch) -> None:
    rows, notes = windows([0.1, -0.9, 0.2, 0.3, -0.4, 0.1, 0.7], 3, monkeypatch, 4)
    assert rows.number["x"].tolist() == [-0.9, 0.3, -0.4, 0.7]
    assert rows.number["time"].tolist() == [0.0, 2.0, 4.0, 6.0]
    assert list(rows.lines) == [2, 4, 6, 8]
    assert "7 windows, 2 joined to one" in notes[0].given


@pytest.mark.parametrize("part", [1, 2, 3, 5, 100])
def test_joining_does_not_depend_on_the_parts(monkeypatch: pytest.MonkeyPatch, part: int) -> None:
    values = [((i * 37) % 101 - 50) / 10 for i in range(100)]
    rows, _ = windows(values, part, monkeypatch, 10)
    assert len(rows) <= 10
    assert max(rows.number["x"]) == max(values)
    assert min(rows.number["x"]) == min(values)


def test_few_windows_stay_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    rows, notes = windows([0.1, -0.9], 1, monkeypatch, 4)
    assert (rows.number["x"].tolist(), notes) == ([0.1, -0.9], [])


def test_a_table_that_is_kept_row_by_row_has_a_named_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gathering, "MOST_ROWS", 50)
    monkeypatch.setattr(cutting, "PART", 64)
    path = tmp_path / "points.csv"
    path.write_text("p,x\n" + "".join(f"P{i},{i}\n" for i in range(200)))
    faults = Gatherer()
    assert read_file(path, "points.csv", Form("targets", Dialect(), (text("p"), number("x"))), faults, []) is None
    assert str(faults.faults[0]).startswith("points.csv, line 52: given more than 50 rows")


@pytest.mark.parametrize("part", [16, 64, 1 << 19])
def test_lines_of_faults_are_right_across_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: int) -> None:
    monkeypatch.setattr(cutting, "PART", part)
    lines = [f"P{i};{i},5" for i in range(300)]
    lines[7] = "P7;x7"
    lines[113] = "P113"
    lines[207] = ";1,5"
    path = tmp_path / "points.csv"
    path.write_bytes(("p;x\r\n" + "\r\n".join(lines) + "\r\n").encode())
    faults = Gatherer()
    columns: tuple[Column, ...] = (Column("p", Meaning("text"), ("p",)), number("x"))
    read_file(path, "points.csv", Form("targets", Dialect(";", ","), columns), faults, [])
    assert sorted((f.line or 0, f.column) for f in faults.faults) == [(9, "x"), (115, None), (209, "p")]
