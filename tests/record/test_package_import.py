"""A package goes into another record with its ids and hashes, once however often it comes, or not at all."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.package import export_girder, import_package
from monochord.job.record.signed import judging_run, signing_of_runs
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.files import blocks_of, keep_bytes, keep_file
from monochord.store.ledger import append, entries, entry_with, head, keep
from monochord.store.making import make_record
from monochord.store.opening import Record
from monochord.store.package import taking
from monochord.store.package.checking import check_package
from monochord.store.tables import FILE
from monochord.store.tables_told import VERDICT
from tests.record.signing_world import HAND, context, keep_run, people, signed
from tests.record.test_package_check import rewrite

RUN = "a" * 32
#: What does not depend on the database is held on one of the two.
on_a_file = pytest.mark.parametrize("address", ["sqlite"], indirect=True)
FILES = {"measured/wire.tsv": b"x\ty\n1\t2\n", "measured/empty.tsv": b"", "measured/Süd.bin": bytes(range(256)) * 9000}


def filled(folder: Path, at: Context) -> Record:
    record = make_record(str(folder / "origin.sqlite"))
    keys = people(record, at, folder)
    keep_run(record, "f" * 32, at, girder="G08")
    keep_run(record, "b" * 32, at, words=("cannot be decided",))
    note = Draft("n1", "note", "girder/G07", stamp(at.now()), "ada", "tablet 2", {"words": "0.1 µm", "u": 1.5e-6})
    append(record, [note], at.now())
    append(record, [Draft("n2", "note", "girder/G07", stamp(at.now()), "bo", "t", {"words": "0.2 µm"}, "n1")], at.now())
    keep_run(record, RUN, at, files=FILES)
    signed(record, at, keys["Ada Voß"], "engineer")
    signed(record, at, keys["Bo"], "approver")
    return record


@pytest.fixture
def at() -> Context:
    return context()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a record and the package of one of its girders."""
    folder, at = tmp_path_factory.mktemp("made"), context()
    origin = filled(folder, at)
    export_girder(origin, "G07", folder / "package", at, HAND)
    origin.engine.dispose()
    return folder


@pytest.fixture
def package(made: Path, tmp_path: Path) -> Path:
    shutil.copy(made / "origin.sqlite", tmp_path)
    return Path(shutil.copytree(made / "package", tmp_path / "package"))


def all_of(record: Record) -> list[Entry]:
    with record.reading() as connection:
        return list(entries(connection))


def contents(package: Path) -> list[tuple[str, Any]]:
    lines = (package / "data" / "entries.jsonl").read_text("utf-8").splitlines()
    found = [json.loads(line) for line in lines]
    return [(e["content"], e["entry"]) for e in found if e["entry"]["kind"] != "imported"]


def payload(package: Path) -> dict[str, bytes]:
    """What the package holds beside entries and facts of its own origin."""
    data = package / "data"
    own = {"entries.jsonl", "package.json"}
    return {
        p.relative_to(data).as_posix(): p.read_bytes() for p in data.rglob("*") if p.is_file() and p.name not in own
    }


def test_there_and_back_the_contents_are_the_same(record: Record, at: Context, package: Path, tmp_path: Path) -> None:
    append(record, [Draft("here", "note", "girder/G01", stamp(at.now()), "x", "y", {"words": "was here"})], at.now())
    import_package(record, package, at, HAND)
    export_girder(record, "G07", tmp_path / "again", at, HAND)
    assert contents(tmp_path / "again") == contents(package)
    assert payload(tmp_path / "again") == payload(package)
    assert [s.trouble for s in check_package(tmp_path / "again").signatures] == ["", ""]


def test_entries_keep_who_when_and_where_and_the_tables_tell_them(record: Record, at: Context, package: Path) -> None:
    checked, came = import_package(record, package, at, HAND)
    stated = contents(package)
    assert came.new == len(stated)
    assert came.known == 0
    found = all_of(record)
    assert [(e.content, e.draft.made_by, e.draft.device, e.draft.made_at) for e in found[:-1]] == [
        (content, e["made_by"], e["device"], e["made_at"]) for content, e in stated
    ]
    facts = checked.facts
    assert found[-1].draft.kind == "imported"
    assert found[-1].draft.body == {
        "package": checked.manifest,
        "girder": "G07",
        "entries": len(stated),
        "origin": {"record": facts.record, "number": facts.number, "head": facts.head, "device": "bench computer"},
    }
    with record.reading() as connection:
        assert judging_run(connection, "G07") == (RUN, "5-restored")
        assert signing_of_runs(connection, {RUN: "5-restored"})[RUN].words == (
            "signed 2 of 2 by Ada Voß as engineer, Bo as approver"
        )
        assert connection.execute(select(func.count()).select_from(VERDICT)).scalar() == 2
        for kept in checked.files.values():
            content = b"".join(blocks_of(connection, kept.sha256))
            assert content == (package / "data" / kept.place).read_bytes()


def test_a_package_that_comes_again_changes_nothing(record: Record, at: Context, package: Path) -> None:
    import_package(record, package, at, HAND)
    before = head(record)
    _, came = import_package(record, package, at, HAND)
    assert (came.new, came.files) == (0, 0)
    assert head(record) == before


def test_a_later_package_brings_what_is_new(record: Record, at: Context, package: Path, tmp_path: Path) -> None:
    import_package(record, package, at, HAND)
    origin = make_record(str(tmp_path / "origin.sqlite"))
    append(origin, [Draft("n3", "note", "girder/G07", stamp(at.now()), "bo", "t", {"words": "more"})], at.now())
    export_girder(origin, "G07", tmp_path / "later", at, HAND)
    _, came = import_package(record, tmp_path / "later", at, HAND)
    assert came.new == 1
    assert [e.draft.id for e in all_of(record)][-2] == "n3"
    before = head(record)
    import_package(record, package, at, HAND)  # the older one, once more
    assert head(record) == before


def test_what_comes_home_is_known_already(at: Context, package: Path, tmp_path: Path) -> None:
    origin = make_record(str(tmp_path / "origin.sqlite"))
    before = head(origin)
    _, came = import_package(origin, package, at, HAND)
    assert came.new == 0
    assert head(origin) == before


def test_conflicts_are_told_all_at_once_and_nothing_comes(record: Record, at: Context, package: Path) -> None:
    append(record, [Draft(RUN, "note", "girder/G07", stamp(at.now()), "eve", "t", {"words": "another fact"})], at.now())
    append(
        record,
        [Draft("n1", "note", "girder/G07", stamp(at.now()), "ada", "t", {"words": "0.1 µm", "u": 1.5e-6})],
        at.now(),
    )
    append(record, [Draft("x", "note", "girder/G07", stamp(at.now()), "eve", "t", {"words": "0.3 µm"}, "n1")], at.now())
    before = head(record)
    with pytest.raises(Refused) as found:
        import_package(record, package, at, HAND)
    told = [str(fault) for fault in found.value.faults]
    assert len(told) == 2
    assert "given note n2 about girder/G07, a correction of what entry 3 of eve corrected here" in told[0]
    assert "which is another fact here (entry 1 of eve)" in told[1]
    assert head(record) == before


def test_the_same_fact_stated_here_by_another_hand_stays_and_is_told(
    record: Record, at: Context, package: Path
) -> None:
    here = Draft("n1", "note", "girder/G07", stamp(at.now()), "eve", "t", {"words": "0.1 µm", "u": 1.5e-6})
    append(record, [here], at.now())
    _, came = import_package(record, package, at, HAND)
    assert came.known == 1
    [note] = came.notes
    assert "the same fact, stated here by eve on t, there by ada on tablet 2" in note
    with record.reading() as connection:
        kept = entry_with(connection, "n1")
    assert kept is not None
    assert kept.draft.made_by == "eve"


def test_a_package_that_breaks_off_on_its_way_in_leaves_no_entry_and_goes_on(
    record: Record, at: Context, package: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    count = iter(range(100))

    def broken(*args: Any) -> Entry:
        if next(count) == 5:
            raise KeyboardInterrupt
        return keep(*args)

    monkeypatch.setattr("monochord.store.package.taking.keep", broken)
    with pytest.raises(KeyboardInterrupt):
        import_package(record, package, at, HAND)
    assert all_of(record) == []
    monkeypatch.undo()
    _, came = import_package(record, package, at, HAND)
    assert came.new == len(contents(package))


@on_a_file
def test_a_damaged_package_is_refused_and_nothing_kept(record: Record, at: Context, package: Path) -> None:
    path = package / "data" / "files" / "measured" / "wire.tsv"
    path.write_bytes(path.read_bytes().replace(b"1", b"3"))
    with pytest.raises(Refused, match=r"data/files/measured/wire\.tsv"):
        import_package(record, package, at, HAND)
    assert all_of(record) == []
    with record.reading() as connection:
        assert connection.execute(select(func.count()).select_from(FILE)).scalar() == 0


@on_a_file
def test_a_file_that_changes_between_check_and_keeping_is_refused(
    record: Record, at: Context, package: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked = check_package(package)
    (package / "data" / "files" / "measured" / "wire.tsv").write_bytes(b"others")
    with pytest.raises(Refused, match="a file that changed meanwhile"):
        taking.take_package(record, package, checked, at.now(), by="x", device="y", name="z")
    assert all_of(record) == []


@on_a_file
@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("calibration", {"instrument": "T1", "made_on": "never", "valid_until": "2032-01-01"}),
        ("run", {"girder": "G07"}),
        ("person", {"name": 7, "roles": "all"}),
    ],
)
def test_bodies_that_do_not_fit_their_kind_are_refused_with_the_entry(
    record: Record, at: Context, package: Path, kind: str, body: dict[str, object]
) -> None:
    def other(lines: list[dict[str, Any]]) -> None:
        [note] = [line for line in lines if line["entry"]["id"] == "n2"]
        note["entry"] |= {"kind": kind, "body": body, "replaces": None}

    rewrite(package, other)
    with pytest.raises(Refused):
        import_package(record, package, at, HAND)
    assert all_of(record) == []


@pytest.mark.parametrize(
    "document", [b"[" * 100_000, b"\xff", b"7", b'{"verdicts": {"o": {"Q": {"x": 1}}}, "occasions": 3}']
)
def test_a_document_that_is_none_comes_along_as_the_file_it_is(
    record: Record, at: Context, tmp_path: Path, document: bytes
) -> None:
    origin = make_record(str(tmp_path / "origin.sqlite"))
    body = {"girder": "G07", "document": keep_bytes(origin, document), "inputs": []}
    append(origin, [Draft(RUN, "run", "girder/G07", stamp(at.now()), "m", "d", body)], at.now())
    export_girder(origin, "G07", tmp_path / "package", at, HAND)
    import_package(record, tmp_path / "package", at, HAND)
    with record.reading() as connection:
        assert b"".join(blocks_of(connection, str(body["document"]))) == document
    origin.engine.dispose()


def test_a_long_file_comes_through_in_a_bounded_memory(
    at: Context, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tracemalloc

    monkeypatch.setattr("monochord.store.files.TOGETHER", 4)
    origin, target = (make_record(str(tmp_path / name)) for name in ("origin.sqlite", "target.sqlite"))
    with (tmp_path / "raw.bin").open("wb") as stream:
        stream.truncate(32 << 20)
    digest = keep_file(origin, tmp_path / "raw.bin")
    body: dict[str, object] = {"words": "a long signal", "file": {"path": "raw.bin", "sha256": digest}}
    append(origin, [Draft("n", "note", "girder/G07", stamp(at.now()), "a", "t", body)], at.now())
    tracemalloc.start()
    export_girder(origin, "G07", tmp_path / "package", at, HAND)
    import_package(target, tmp_path / "package", at, HAND)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20e6  # bytes: twice the 4 pieces of 1 MiB that are kept together, and some for the rest
    shutil.rmtree(tmp_path / "package")
