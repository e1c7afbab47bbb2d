"""Files that are half-written, locked, cut off, growing or empty: waited for in sight, or refused; never trusted blindly."""

from __future__ import annotations

import errno
import fcntl
import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
from click.testing import CliRunner

from monochord.cli.main import main
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.files.container import contents, inspect
from monochord.files.patience import Patience, copied, quiet
from monochord.ground.faults import Fault, Refused
from tests.table_world import number, read, text
from tests.trial_bench import EXCERPT, Bench

TRACKER = "4-back/tracker.csv"


class Clock:
    """A clock that only moves while somebody sleeps; what happens meanwhile is told by step."""

    def __init__(self, *happens: Callable[[], object]) -> None:
        self.now, self.happens, self.said = 0.0, list(happens), list[str]()

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        if self.happens:
            self.happens.pop(0)()

    def patience(self, limit: float = 10.0) -> Patience:
        """Patience by this clock; every file was written just now."""
        return Patience(limit, 1.0, 2.0, lambda: self.now, self.sleep, lambda: 0.0, self.said.append)


def made(path: Path, content: bytes) -> Path:
    """A file that was written just now, by the clock of the tests."""
    path.write_bytes(content)
    touch(path)
    return path


def touch(path: Path) -> None:
    os.utime(path, (0.0, 0.0))


def grow(path: Path, more: bytes) -> Callable[[], None]:
    """What a writer does: append, and leave the time of just now."""

    def write() -> None:
        with path.open("ab") as stream:
            stream.write(more)
        touch(path)

    return write


def refusal(call: Callable[[], object]) -> list[Fault]:
    with pytest.raises(Refused) as refused:
        call()
    return list(refused.value.faults)


# -- growing -------------------------------------------------------------------------------------------------


def test_a_file_that_grows_is_waited_for_in_sight(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv", b"p,x\nA,1\n")
    clock = Clock(grow(path, b"B,2"), grow(path, b"2\nC,3\n"))
    quiet({"a.csv": path}, clock.patience())
    assert path.read_bytes() == b"p,x\nA,1\nB,22\nC,3\n"
    assert clock.said
    assert all("a.csv: waiting, it is still being written" in line for line in clock.said)


def test_a_file_without_a_last_line_end_is_given_time(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv", b"p,x\nA,1")
    clock = Clock(lambda: None, grow(path, b"5\n"))
    quiet({"a.csv": path}, clock.patience())
    assert path.read_bytes().endswith(b"A,15\n")


def test_a_file_that_grows_on_is_refused_in_words(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv", b"p,x\n")
    clock = Clock(*[grow(path, b"A,1\n")] * 100)
    faults = refusal(lambda: quiet({"a.csv": path}, clock.patience()))
    assert faults[0].file == "a.csv"
    assert "not ready after 10 s" in faults[0].given
    assert "still being written" in faults[0].given
    assert "let the program that writes it end" in faults[0].remedy


def test_a_finished_file_costs_one_short_look(tmp_path: Path) -> None:
    clock = Clock()
    quiet({"a.csv": made(tmp_path / "a.csv", b"p,x\nA,1\n")}, clock.patience())
    assert clock.now < 0.1
    assert clock.said == []


def test_a_file_that_changes_while_it_is_copied_is_copied_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, target = made(tmp_path / "a.csv", b"p,x\nA,1\n"), tmp_path / "copy.csv"
    real, calls = shutil.copyfile, list[int]()

    def once_disturbed(source: Path, into: Path) -> None:
        real(source, into)
        calls.append(1)
        if len(calls) == 1:
            grow(path, b"B,2\n")()

    monkeypatch.setattr("monochord.files.patience.shutil.copyfile", once_disturbed)
    clock = Clock()
    copied(path, target, "a.csv", clock.patience())
    assert target.read_bytes() == path.read_bytes() == b"p,x\nA,1\nB,2\n"
    assert "it changed while it was copied" in clock.said[0]


# -- locked --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [errno.EAGAIN, errno.EDEADLK, errno.ENOLCK, errno.EACCES, errno.EBUSY])
def test_a_held_file_is_tried_again_in_sight(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    path, real, tries = made(tmp_path / "a.csv", b"p,x\n"), shutil.copyfile, list[int]()

    def held(source: Path, into: Path) -> None:
        tries.append(1)
        if len(tries) < 4:
            raise OSError(code, os.strerror(code), str(source))
        real(source, into)

    monkeypatch.setattr("monochord.files.patience.shutil.copyfile", held)
    clock = Clock()
    copied(path, tmp_path / "b.csv", "a.csv", clock.patience())
    assert (tmp_path / "b.csv").read_bytes() == b"p,x\n"
    assert len(clock.said) == 3
    assert "another program holds it" in clock.said[0]
    monkeypatch.setattr(
        "monochord.files.patience.shutil.copyfile",
        lambda source, into: (_ for _ in ()).throw(OSError(code, os.strerror(code), str(source))),
    )
    faults = refusal(lambda: copied(path, tmp_path / "c.csv", "a.csv", clock.patience()))
    assert "another program holds it" in faults[0].given
    assert os.strerror(code) in faults[0].given


def test_a_lock_of_a_writer_is_left_alone_and_the_copy_is_taken(bench: Bench) -> None:
    """Advice of a lock does not stop a reader here: the copy is whole and the writer keeps its lock."""
    with (bench.data / TRACKER).open("rb+") as writer:
        fcntl.flock(writer, fcntl.LOCK_EX | fcntl.LOCK_NB)
        begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"})
        with (bench.data / TRACKER).open("rb") as other, pytest.raises(OSError, match="unavailable"):
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)


# -- what is no file -------------------------------------------------------------------------------------------


def _folder(path: Path) -> None:
    path.mkdir()


def _loop(path: Path) -> None:
    path.symlink_to(path.name)


def _nowhere(path: Path) -> None:
    path.symlink_to("not-there.csv")


def _pipe(path: Path) -> None:
    os.mkfifo(path)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (_folder, "a folder"),
        (_loop, "a link that leads back to itself"),
        (_nowhere, "no such file"),
        (_pipe, "a pipe"),
    ],
)
def test_what_stands_in_the_place_of_a_file_is_named(bench: Bench, make: Callable[[Path], None], words: str) -> None:
    path = bench.data / TRACKER
    path.unlink()
    make(path)
    faults = refusal(lambda: begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"}))
    assert [(f.file, f.given) for f in faults] == [(str(path), words)]
    assert not bench.campaign.exists()


def test_an_empty_file_is_told_and_the_next_good_one_is_taken(bench: Bench) -> None:
    path = bench.data / TRACKER
    good = path.read_bytes()
    (bench.data / "2-aligned/feet.csv").write_bytes(b"\r\n \r\n")
    path.write_bytes(b"")
    faults = refusal(lambda: begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"}))
    assert {(Path(f.file).name, f.given) for f in faults} == {
        ("tracker.csv", "an empty file"),
        ("feet.csv", "an empty file"),
    }
    path.write_bytes(good)
    (bench.data / "2-aligned/feet.csv").unlink()
    begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"})
    assert load_campaign(bench.campaign).occasions


# -- cut off ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.1, 0.35, 0.6, 0.9, 0.99])
def test_a_table_cut_at_any_byte_is_refused_or_told(bench: Bench, share: float) -> None:
    path = bench.data / "2-aligned/wire_scans.csv"
    whole = path.read_bytes()
    cut = int(share * len(whole))
    if whole[cut - 1 : cut] == b"\n":
        cut -= 3
    path.write_bytes(whole[:cut])
    faults = refusal(lambda: begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"}))
    line = whole[:cut].count(b"\n") + 1
    told = [f for f in faults if f.line == line and "cut off" in f.remedy]
    assert told, "\n".join(map(str, faults))


@pytest.mark.parametrize(
    ("tail", "line", "column"),
    [
        ("C,3.0", 4, "y"),
        ("C,3.000,4", 4, "y"),
        ("C,3.000,4.", 4, "y"),
        ("C,3.000,", 4, "y"),
        ("C", 4, ""),
        ("C,3.000", 4, ""),
    ],
)
def test_a_last_line_without_an_end_and_short(tail: str, line: int, column: str) -> None:
    found = read(f"id,x,y\nA,1.000,2.000\nB,2.000,3.000\n{tail}", text("id"), number("x"), number("y"))
    expected = "" if tail.count(",") < 2 else column
    assert (found.faults[0].line, str(found.faults[0].column or "")) == (line, expected), found.printed
    assert "cut off" in str(found.faults[0])


def test_a_last_line_without_an_end_that_is_whole_is_taken_and_told() -> None:
    found = read("id,x,y\nA,1.000,2.000\nB,2.000,3.000", text("id"), number("x"), number("y"))
    assert found.texts("id") == ["A", "B"]
    assert "no end of the last line" in found.printed


def test_a_container_cut_at_six_tenths(tmp_path: Path) -> None:
    path = tmp_path / "raw.h5"
    with h5py.File(path, "w") as file:
        file.create_group("scan01")["000"] = np.arange(10000.0)
    whole = path.read_bytes()
    cut = int(0.6 * len(whole))
    path.write_bytes(whole[:cut])
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    faults = refusal(lambda: inspect(path, "raw.h5"))
    assert faults[0].given == f"incomplete: {cut} of {len(whole)} bytes"
    assert "nothing was computed" in faults[0].remedy
    assert hashlib.sha256(path.read_bytes()).hexdigest() == digest


def test_a_text_of_the_same_name_beside_a_damaged_container_is_offered(bench: Bench) -> None:
    text = (EXCERPT / "b.toml").read_text("utf-8")
    with bench.lab.open("a") as lab:
        lab.write(text[text.index("[waveforms]") : text.index("# --- instruments")].replace("wire.h5", "raw.h5"))
    folder = bench.data / "2-aligned"
    with h5py.File(folder / "raw.h5", "w") as file:
        file.create_group("scan01")["000"] = np.arange(10000.0)
    whole = (folder / "raw.h5").read_bytes()
    (folder / "raw.h5").write_bytes(whole[:50000])
    (folder / "raw.txt").write_text("t;x\n0;0\n")
    printed = bench.refused()
    assert f"{folder}/raw.h5: given incomplete: 50000 of {len(whole)} bytes" in printed
    assert "raw.txt stands beside it" in printed
    assert (folder / "raw.h5").read_bytes() == whole[:50000]


_WRITER = """
import h5py, os
file = h5py.File({path!r}, "w", libver="latest")
for number in range(19):
    file.create_group(f"scan{{number:02d}}")["000"] = [1.0, 2.0]
file.flush()
{then}
"""


@pytest.mark.parametrize(
    ("then", "groups"),
    [("file.close()", 19), ("file.swmr_mode = True; file.flush(); os._exit(0)", 19), ("os._exit(0)", None)],
)
def test_a_container_is_opened_as_its_own_state_asks(tmp_path: Path, then: str, groups: int | None) -> None:
    """Closed, left open for live reading, or left open by a writer that is gone: read, read, and refused in words."""
    path = tmp_path / "raw.h5"
    subprocess.run([sys.executable, "-c", _WRITER.format(path=str(path), then=then)], check=True)
    if groups is None:
        assert "its writer never closed" in refusal(lambda: inspect(path, "raw.h5"))[0].given
    else:
        inspect(path, "raw.h5")
        assert len(contents(path, "raw.h5").groups) == groups


# -- what is kept ------------------------------------------------------------------------------------------------


def test_originals_checksums_and_import_reports_are_kept_and_told(bench: Bench) -> None:
    before = {p: p.read_bytes() for p in bench.data.rglob("*.csv")}
    done = CliRunner().invoke(
        main,
        ["begin", str(bench.data), "--lab", str(bench.lab), "--into", str(bench.campaign), "--set", "girder=G7"],
        catch_exceptions=False,
    )
    assert done.exit_code == 0, done.output
    assert {p: p.read_bytes() for p in bench.data.rglob("*.csv")} == before
    kept = json.loads((bench.campaign / "imports.json").read_text("utf-8"))["imports"]
    inputs = {s.path: s.sha256 for s in load_campaign(bench.campaign).inputs}
    for path, content in before.items():
        name = f"measured/{path.relative_to(bench.data).as_posix()}"
        assert inputs[name] == hashlib.sha256(content).hexdigest()
        told = next(entry for entry in kept if entry["path"] == name)
        assert told["rows"] == sum(1 for line in content.splitlines() if line.strip())
        assert told["rows"] == told["data"] + told["heads"] + told["remarks"] + told["refused"]
        assert f"read: {name}: {told['rows']} rows = {told['data']} data" in done.output
    assert f"read: {len(kept)} files read: " in done.output


def test_a_file_that_reads_otherwise_than_at_first_is_told(bench: Bench) -> None:
    begin(bench.data, bench.lab, bench.campaign, {"girder": "G7"})
    imports = bench.campaign / "imports.json"
    told = json.loads(imports.read_text("utf-8"))
    entry = next(e for e in told["imports"] if e["path"].endswith(TRACKER))
    entry["rows"], entry["data"] = entry["rows"] + 1, entry["data"] + 1
    imports.write_text(json.dumps(told), "utf-8")
    notes = [n for n in load_campaign(bench.campaign).notes if "as when the campaign began" in n.expected]
    assert [n.file for n in notes] == [f"measured/{TRACKER}"]
