"""Formats that another package brings, the example of the documentation among them; what is broken is refused by name."""

from __future__ import annotations

import importlib
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monochord.files.begin import begin
from monochord.files.columns import Column, Form, Rows
from monochord.files.formats.asked import Kept
from monochord.files.formats.registry import BUILT_IN, find, names
from monochord.files.reading import read_rows
from monochord.files.roles import Meaning
from monochord.files.table import Dialect
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.ground.units import unit
from tests.formats_world import write

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "formats.md").read_text("utf-8")
[POINTS, MODULE] = re.findall(
    r"```(?:toml|text)\n# .*?\n(.*?)```", PAGE[PAGE.index("## A format of your own") :], re.DOTALL
)

HEAD = (
    "from monochord.files.formats.asked import Format\nfrom monochord.files.formats.rows import table_of_rows\n"
    "from monochord.ground.faults import Fault, Refused\n"
)
Install = Callable[..., None]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Install]:
    """Lays a package where Python finds it: a module and the metadata that an installer would have written."""
    site = tmp_path / "site"
    site.mkdir()
    monkeypatch.syspath_prepend(str(site))
    made: list[str] = []

    def lay(module: str, source: str, points: str, version: str = "1.0") -> None:
        (site / f"{module}.py").write_text(source, "utf-8")
        info = site / f"{module}-{version}.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {module}\nVersion: {version}\n", "utf-8")
        (info / "entry_points.txt").write_text(f"[monochord.formats]\n{points}\n", "utf-8")
        importlib.invalidate_caches()
        made.append(module)

    yield lay
    for module in made:
        sys.modules.pop(module, None)


def read(kept: str, data: bytes, decimal: str = ".") -> tuple[Rows | None, list[Fault]]:
    columns = (
        Column("name", Meaning("text"), ("name",)),
        Column("x", Meaning("number", "length"), ("x",), unit("mm")),
        Column("y", Meaning("number", "length"), ("y",), unit("mm")),
    )
    faults = Gatherer()
    form = Form("points", Dialect(decimal=decimal, delimiter=";"), columns, kept=Kept(kept))
    return read_rows(data, "bench.log", form, faults, []), faults.faults


def test_the_example_of_the_documentation_reads(install: Install) -> None:
    points = POINTS.replace('"bench log"', "bench log").replace('"', "")
    install("bench_log", MODULE, points.split("\n", 1)[1].strip())
    assert "bench log" in names()
    rows, faults = read("bench log", b"T1 x=1.5 y=-0.2\nT2 y=1e-3 x=0\n")
    assert faults == []
    assert rows is not None
    assert rows.text["name"] == ["T1", "T2"]
    assert rows.number["x"].tolist() == [0.0015, 0.0]
    assert rows.number["y"].tolist() == [-0.0002, 1e-6]


def test_its_faults_have_their_line(install: Install) -> None:
    install("bench_log", MODULE, "bench log = bench_log:FORMAT")
    _, faults = read("bench log", b"T1 x=1.5 y=-0.2\nT2 x=0\n")
    assert [(f.file, f.line, f.given) for f in faults] == [("bench.log", 2, "'T2 x=0'")]


def test_cells_that_it_gives_are_read_by_the_declared_spelling(install: Install) -> None:
    install("bench_log", MODULE, "bench log = bench_log:FORMAT")
    rows, faults = read("bench log", b"T1 x=1,5 y=2\n", decimal=",")
    assert faults == []
    assert rows is not None
    assert rows.number["x"].tolist() == [0.0015]


BROKEN = {
    "raises when loaded": ("raise RuntimeError('no licence')", "package ours 1.0: RuntimeError: no licence"),
    "lacks what it needs": ("import a_module_that_is_not_there", "package ours 1.0: ModuleNotFoundError"),
    "does not parse": ("def f(:", "package ours 1.0: SyntaxError"),
    "has no such object": ("", "package ours 1.0: AttributeError"),
    "is no format": ("FORMAT = 3", "package ours 1.0 is a int"),
    "has another name": (HEAD + "FORMAT = Format('theirs', 'x')", "is a format called 'theirs'"),
    "holds no tables": (HEAD + "FORMAT = Format('ours', 'x')", "format 'ours'"),
    "raises when it reads": (HEAD + "FORMAT = Format('ours', 'x', lambda *a: 1 / 0)", "ZeroDivisionError"),
    "gives nothing": (HEAD + "FORMAT = Format('ours', 'x', lambda *a: None)", "gave nothing and said no fault"),
    "gives something else": (HEAD + "FORMAT = Format('ours', 'x', lambda *a: {})", "it gave a dict"),
    "gives columns of two lengths": (
        HEAD + "def t(d, f, a, g):\n    made = table_of_rows(f, ['name', 'x', 'y'], (), [(1, ['A', '1', '2'])], a)\n"
        "    made.columns[1] = ['1', '2']\n    return made\nFORMAT = Format('ours', 'x', t)",
        "columns of different lengths",
    ),
    "gives numbers for cells": (
        HEAD + "def t(d, f, a, g):\n    made = table_of_rows(f, ['name', 'x', 'y'], (), [(1, ['A', '1', '2'])], a)\n"
        "    made.columns[1] = [1.0]\n    return made\nFORMAT = Format('ours', 'x', t)",
        "cells that are no text",
    ),
    "dies in the child": (
        HEAD + "import os\nFORMAT = Format('ours', 'x', lambda *a: os.abort(), guarded=True)",
        "crashes the reader (signal 6)",
    ),
    "leaves the child": (
        HEAD + "import os\nFORMAT = Format('ours', 'x', lambda *a: os._exit(0), guarded=True)",
        "stops the reader (no answer)",
    ),
    "asks for too much": (
        HEAD + "FORMAT = Format('ours', 'x', lambda *a: bytearray(1 << 40), guarded=True)",
        "asks for more than",
    ),
}


@pytest.mark.parametrize("what", list(BROKEN))
def test_a_broken_package_is_a_refusal_that_names_it(install: Install, what: str) -> None:
    source, told = BROKEN[what]
    install("ours", source, "ours = ours:FORMAT")
    rows, faults = read("ours", b"anything")
    assert rows is None
    assert len(faults) == 1
    assert told in faults[0].given
    assert "Traceback" not in str(faults[0])


def test_a_child_that_takes_too_long_is_ended(install: Install, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monochord.files.formats.guard.PATIENCE", 1.5)
    install(
        "ours",
        HEAD + "import time\nFORMAT = Format('ours', 'x', lambda *a: time.sleep(60), guarded=True)",
        "ours = ours:FORMAT",
    )
    rows, faults = read("ours", b"anything")
    assert rows is None
    assert [f.given for f in faults] == ["a file on which reading took longer than 2 s"]


def test_two_packages_with_one_name_are_refused(install: Install) -> None:
    for module in ("ours", "theirs"):
        install(module, HEAD + "FORMAT = Format('log', 'x', lambda *a: None)", f"log = {module}:FORMAT")
    with pytest.raises(Refused) as refusal:
        find("log")
    assert "package ours 1.0" in refusal.value.faults[0].given
    assert "package theirs 1.0" in refusal.value.faults[0].given


def test_a_built_in_name_is_not_taken_over(install: Install) -> None:
    install("ours", "raise RuntimeError('never loaded')", "\n".join(f"{name} = ours:FORMAT" for name in BUILT_IN))
    assert [find(name).name for name in BUILT_IN] == list(BUILT_IN)


def test_a_name_that_nobody_brings_is_a_fault_of_the_description(tmp_path: Path) -> None:
    root = write(tmp_path, 5, {})
    lab = root / "lab.toml"
    lab.write_text(lab.read_text("utf-8").replace('file = "bolts.tsv"', 'file = "bolts.tsv"\nformat = "xslx"'), "utf-8")
    with pytest.raises(Refused) as refusal:
        begin(root / "handed-over", lab, root / "campaign", {"girder": "demo"})
    [fault] = refusal.value.faults
    assert (fault.file, fault.column) == (str(lab), "tables.bolts.format")
    assert fault.line == lab.read_text("utf-8").splitlines().index('format = "xslx"') + 1
    assert "did you mean 'xlsx'" in fault.remedy
    assert not (root / "campaign").exists()


@pytest.mark.parametrize(
    ("keys", "column"),
    [
        ('sheet = "a"', "tables.bolts.sheet"),
        ('inside = "a"', "tables.bolts.inside"),
        ('options = { a = "b" }', "tables.bolts.options"),
        ('format = "wav"', "tables.bolts.format"),
        ('format = "fixed width"', "tables.bolts.dialect"),
    ],
)
def test_keys_that_a_format_does_not_have_are_faults_of_the_description(tmp_path: Path, keys: str, column: str) -> None:
    root = write(tmp_path, 5, {})
    lab = root / "lab.toml"
    lab.write_text(lab.read_text("utf-8").replace('file = "bolts.tsv"', f'file = "bolts.tsv"\n{keys}'), "utf-8")
    with pytest.raises(Refused) as refusal:
        begin(root / "handed-over", lab, root / "campaign", {"girder": "demo"})
    assert [f.column for f in refusal.value.faults] == [column]
