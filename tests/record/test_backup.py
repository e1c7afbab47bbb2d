"""A backup is one state of the record, whole, however many write meanwhile; a record made from it goes on."""

from __future__ import annotations

import hashlib
import multiprocessing
import sqlite3
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import create_engine, select, text

from monochord.ground.faults import Refused
from monochord.store import backup as backup_module
from monochord.store import copying
from monochord.store.backup import back_up, restore
from monochord.store.entry import Draft, Entry
from monochord.store.files import blocks_of, keep_bytes
from monochord.store.ledger import append, entries, head
from monochord.store.making import make_record, open_record, version_of
from monochord.store.opening import Record, url_of
from monochord.store.retelling import told_differs
from monochord.store.tables_told import STEP

NOW = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
#: Two pieces and a bit, so that the order of pieces counts.
LONG = b"".join(hashlib.sha256(str(i).encode()).digest() for i in range(70_000))


def step(name: str, girder: str = "G1", replaces: str | None = None, words: str = "lifted off the bench") -> Draft:
    body = {"girder": girder, "step": "lifted", "done_on": "2026-03-02", "words": words}
    return Draft(name, "step", f"girder/{girder}", "2026-03-02T07:29:00.000000Z", "ada", "tablet 2", body, replaces)


def ledger(record: Record) -> list[Entry]:
    with record.reading() as connection:
        return list(entries(connection))


def quiet(_: str) -> None:
    """Say nothing."""


@pytest.fixture
def filled(record: Record) -> Record:
    append(record, [step("a"), step("b", "G2"), step("c", replaces="a", words="Prüfstand, 0.1 µm")], NOW)
    keep_bytes(record, LONG)
    keep_bytes(record, b"")
    return record


@pytest.fixture
def other(address: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[str]:
    """Address of another empty place in the same kind of database."""
    if "://" not in address:
        yield str(tmp_path / "again" / "record.sqlite")
        return
    name = f"again_{uuid.uuid4().hex}"
    engine = create_engine(url_of(address), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}"'))
    yield url_of(address).set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(text(f'DROP DATABASE "{name}" WITH (FORCE)'))
    engine.dispose()


def test_a_backup_is_restored_with_entries_files_and_what_they_tell_and_goes_on(
    filled: Record, other: str, tmp_path: Path
) -> None:
    said: list[str] = []
    copied = back_up(filled, tmp_path / "backup.sqlite", said.append)
    assert (copied.number, copied.hash) == head(filled)
    assert "copying entry: 3 of 3" in said
    before = (tmp_path / "backup.sqlite").read_bytes()
    restored = restore(tmp_path / "backup.sqlite", other, quiet)
    assert (restored.number, restored.hash) == head(filled)
    assert (tmp_path / "backup.sqlite").read_bytes() == before
    again = open_record(other)
    assert ledger(again) == ledger(filled)
    with again.reading() as connection:
        assert b"".join(blocks_of(connection, hashlib.sha256(LONG).hexdigest())) == LONG
        assert b"".join(blocks_of(connection, hashlib.sha256(b"").hexdigest())) == b""
        assert list(connection.scalars(select(STEP.c.words).order_by(STEP.c.girder))) == [
            "Prüfstand, 0.1 µm",
            "lifted off the bench",
        ]
        assert told_differs(connection) == []
    [fourth] = append(again, [step("d")], NOW)
    assert (fourth.number, fourth.previous) == (4, copied.hash)
    again.engine.dispose()


def test_a_backup_is_one_quiet_file_that_opens_as_a_record(filled: Record, tmp_path: Path) -> None:
    path = tmp_path / "kept" / "backup.sqlite"
    back_up(filled, path, quiet)
    assert [p.name for p in path.parent.iterdir()] == ["backup.sqlite"]
    opened = open_record(str(path))
    assert ledger(opened) == ledger(filled)
    with opened.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"


def test_nothing_is_written_where_something_is(filled: Record, address: str, tmp_path: Path) -> None:
    path = tmp_path / "backup.sqlite"
    back_up(filled, path, quiet)
    with pytest.raises(Refused, match=r"a file that is there already; expected a new name"):
        back_up(filled, path, quiet)
    with pytest.raises(Refused, match=r"expected (a new name|an empty place)"):
        restore(path, address, quiet)
    assert head(filled)[0] == 3


def test_a_restore_beside_tables_of_something_else_is_refused(filled: Record, other: str, tmp_path: Path) -> None:
    back_up(filled, tmp_path / "backup.sqlite", quiet)
    if "://" in other:
        engine = create_engine(url_of(other))
        with engine.begin() as connection:
            connection.execute(text("CREATE TABLE entry (kept TEXT)"))
        engine.dispose()
    else:
        Path(other).parent.mkdir()
        Path(other).write_text("something else")
    with pytest.raises(Refused, match=r"expected (a new name|an empty place)"):
        restore(tmp_path / "backup.sqlite", other, quiet)


@pytest.mark.parametrize("at", ["copying piece", "reading"])
def test_what_is_broken_off_leaves_nothing_half(filled: Record, other: str, tmp_path: Path, at: str) -> None:
    def broken_off(line: str) -> None:
        if line.startswith(at):
            raise KeyboardInterrupt

    folder = tmp_path / "kept"
    with pytest.raises(KeyboardInterrupt):
        back_up(filled, folder / "backup.sqlite", broken_off)
    assert list(folder.iterdir()) == []
    back_up(filled, folder / "backup.sqlite", quiet)
    with pytest.raises(KeyboardInterrupt):
        restore(folder / "backup.sqlite", other, broken_off)
    if "://" in other:
        engine = create_engine(url_of(other))
        with engine.connect() as connection:
            assert version_of(connection) == ""
        engine.dispose()
    else:
        assert list(Path(other).parent.iterdir()) == []
    assert restore(folder / "backup.sqlite", other, quiet).number == 3


def test_a_damaged_record_gives_no_backup_and_a_damaged_backup_no_record(filled: Record, tmp_path: Path) -> None:
    path = tmp_path / "backup.sqlite"
    back_up(filled, path, quiet)
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER entry_update")
        connection.execute("DROP TRIGGER piece_update")
        connection.execute("UPDATE entry SET body = replace(body, 'lifted off', 'lifted on') WHERE number = 2")
        [(key, content)] = connection.execute(
            "SELECT sha256, content FROM piece WHERE length(content) > 1048575 LIMIT 1"
        )
        connection.execute("UPDATE piece SET content = ? WHERE sha256 = ?", (b"x" + content[1:], key))
    connection.close()
    with pytest.raises(Refused, match="entry 2 with another content") as told:
        restore(path, str(tmp_path / "again.sqlite"), quiet)
    assert "with other bytes than its name says" in str(told.value)
    assert not (tmp_path / "again.sqlite").exists()
    with pytest.raises(Refused, match="entry 2 with another content"):
        back_up(open_record(str(path)), tmp_path / "second.sqlite", quiet)
    assert not (tmp_path / "second.sqlite").exists()


def test_a_backup_that_cannot_be_read_is_named(filled: Record, tmp_path: Path) -> None:
    path = tmp_path / "backup.sqlite"
    back_up(filled, path, quiet)
    content = bytearray(path.read_bytes())
    content[4096 * 3 : 4096 * 200] = b"\xff" * (4096 * 197)
    path.write_bytes(content)
    with pytest.raises(Refused, match=r"backup\.sqlite: given a damaged file"):
        restore(path, str(tmp_path / "again.sqlite"), quiet)
    assert [p.name for p in tmp_path.glob("again*")] == []


def test_a_copy_that_lacks_a_row_is_refused(filled: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(copying, "ORDER", copying.ORDER[:-1])
    with pytest.raises(Refused, match="a copy with 0 rows of part; expected 3 rows"):
        back_up(filled, tmp_path / "backup.sqlite", quiet)
    assert not (tmp_path / "backup.sqlite").exists()


def test_a_file_that_is_no_backup_is_refused(tmp_path: Path) -> None:
    (tmp_path / "words.txt").write_text("no database")
    sqlite3.connect(tmp_path / "other.sqlite").execute("CREATE TABLE x (y)").connection.close()
    for name, said in (
        ("missing", "no such file"),
        ("words.txt", "no database"),
        ("other.sqlite", "without a record"),
    ):
        with pytest.raises(Refused, match=said):
            restore(tmp_path / name, str(tmp_path / "again.sqlite"), quiet)
    assert not (tmp_path / "again.sqlite").exists()


def test_a_backup_may_lie_behind_a_network_and_a_record_may_not(
    filled: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def everywhere(_: Path) -> str:
        return "nfs4"

    monkeypatch.setattr("monochord.store.opening.network_of", everywhere)
    back_up(filled, tmp_path / "backup.sqlite", quiet)
    with pytest.raises(Refused, match="behind a network"):
        restore(tmp_path / "backup.sqlite", str(tmp_path / "again.sqlite"), quiet)
    assert [p.name for p in tmp_path.glob("again*")] == []


def _write(address: str, name: str, count: int) -> None:
    record = make_record(address)
    for number in range(count):
        append(record, [step(f"{name}-{number}", f"G{number % 7}")], NOW)
        if number % 5 == 0:
            keep_bytes(record, f"{name} {number}".encode() * 1000)
    record.engine.dispose()


def test_backups_while_several_write_are_each_a_beginning_of_what_came(
    record: Record, address: str, tmp_path: Path
) -> None:
    made = multiprocessing.get_context("spawn")
    writers = [made.Process(target=_write, args=(address, name, 15)) for name in ("ada", "ben")]
    for writer in writers:
        writer.start()
    taken: list[Path] = []
    while any(writer.is_alive() for writer in writers) or not taken:
        path = tmp_path / f"backup-{len(taken)}.sqlite"
        back_up(record, path, quiet)
        taken.append(path)
    assert [writer.exitcode for writer in writers] == [0, 0]
    whole = ledger(record)
    assert len(whole) == 30
    lengths = []
    for path in taken:
        copy = open_record(str(path))
        kept = ledger(copy)
        lengths.append(len(kept))
        assert kept == whole[: len(kept)]
        with copy.reading() as connection:
            assert list(copying.faults_of(connection)) == []
            assert told_differs(connection) == []
    assert lengths == sorted(lengths)


def test_the_name_is_given_only_to_a_whole_file(
    filled: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_module, "_flushed", fails)
    with pytest.raises(Refused, match="No space left on device"):
        back_up(filled, tmp_path / "kept" / "backup.sqlite", quiet)
    assert list((tmp_path / "kept").iterdir()) == []
