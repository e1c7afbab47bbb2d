"""Verify finds and names whatever was changed in a record, and finds nothing in one that was not."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner
from sqlalchemy import text

from evidence.record.filled import fill
from evidence.record.flips import anywhere, broken_off_record, closed_record, flipped
from monochord.cli.main import main
from monochord.ground.faults import Refused
from monochord.store.ledger import head
from monochord.store.making import make_record
from monochord.store.opening import Record
from monochord.store.tables import KEPT
from monochord.store.unaltered import unaltered
from monochord.store.verify import Walked, verify, verify_opened
from monochord.store.wal import flaw_in

#: Values that no honest writer would leave, by the type of a column.
OTHERS = {"text": "'other'", "bytea": "'\\x00'::bytea", "number": "8888"}


def quiet(_: str) -> None:
    pass


def faults(address: str, noted: tuple[int, str] | None = None) -> list[str]:
    return [str(fault) for fault in verify(address, quiet, Walked(), noted)]


@pytest.fixture
def filled(record: Record) -> Record:
    fill(record, 2, 7)
    return record


def unguarded(record: Record, *deeds: str) -> None:
    """Do what only the owner of a database can: change rows behind the guards."""
    if record.is_file:
        with closing(sqlite3.connect(str(record.engine.url.database), isolation_level=None)) as plain:
            rows = plain.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for statement in (*(f"DROP TRIGGER {name}" for name, _ in rows), *deeds, *(made for _, made in rows)):
                plain.execute(statement)
        return
    with record.engine.connect() as connection, connection.begin():
        connection.execute(text("SET LOCAL session_replication_role = replica"))
        for deed in deeds:
            connection.execute(text(deed))


def test_a_whole_record_has_no_fault_and_its_head_is_told(filled: Record, address: str) -> None:
    walked = Walked()

    assert [str(f) for f in verify(address, quiet, walked)] == []

    assert walked.last == head(filled)
    assert (walked.entries, walked.files) == (16, 7)  # of two girders; the empty file is one


@pytest.mark.parametrize(
    ("deed", "told"),
    [
        ("UPDATE entry SET body = replace(body, 'dust', 'rust') WHERE number = 7", "entry 7 (note about girder/G01): one of id"),
        ("UPDATE entry SET body = body || ' ' WHERE number = 5", "entry 5 (run about girder/G01): a body that is not"),
        ("UPDATE entry SET kept_at = '2031-03-03T07:30:00.000001Z' WHERE number = 4", "entry 4 (occasion about girder/G01): one"),
        ("UPDATE entry SET previous = hash WHERE number = 9", "a chain that is broken"),
        ("DELETE FROM entry WHERE number = 6", "entry 7 after entry 5: entry 6 missing"),
        ("UPDATE entry SET number = 99 WHERE number = 16", "entry 99 after entry 15: entries 16 to 98 missing"),
        ("UPDATE file SET size = size + 1 WHERE size = 9000", "9000 bytes, table file says 9001"),
        ("DELETE FROM part", "0 bytes, table file says 9000"),
        ("UPDATE part SET place = 1", "places 1 in table part"),
        ("UPDATE girder SET type = 'long' WHERE name = 'G02'", "table girder, row G02: type not as the ledger tells"),
        ("DELETE FROM verdict", "table verdict, row G01, bench, Q1, x: missing"),
        ("UPDATE alembic_version SET version_num = '0009'", "a record of version '0009'"),
    ],
)  # fmt: skip
def test_what_was_changed_behind_the_guards_is_named(filled: Record, address: str, deed: str, told: str) -> None:
    unguarded(filled, deed)

    assert any(told in fault for fault in faults(address)), faults(address)


def test_a_file_that_is_gone_is_named_with_the_entry_that_needs_it(filled: Record, address: str) -> None:
    with filled.reading() as connection:
        lost = connection.execute(text("SELECT sha256 FROM file WHERE size = 0")).scalar()

    unguarded(filled, f"DELETE FROM file WHERE sha256 = '{lost}'")

    assert any(f"names a file with sha256 {str(lost)[:16]} that is not kept" in fault for fault in faults(address))


def test_bytes_that_changed_are_named_with_who_uses_them(filled: Record, address: str) -> None:
    with filled.reading() as connection:
        piece = connection.execute(text("SELECT sha256 FROM file WHERE size = 900")).scalars().first()
    other = "zeroblob(900)" if filled.is_file else "decode(repeat('00', 900), 'hex')"

    unguarded(filled, f"UPDATE piece SET content = {other} WHERE sha256 = '{piece}'")

    [told] = [fault for fault in faults(address) if "with other bytes" in fault]
    assert f"file {str(piece)[:16]}, named by entry 4 about girder/G01: piece" in told


def test_a_guard_that_was_taken_away_is_named(filled: Record, address: str) -> None:
    with filled.writing() as connection:
        connection.execute(text("DROP TRIGGER entry_delete" if filled.is_file else "DROP TRIGGER entry_stays ON entry"))

    assert any("entry_delete of table entry" in f or "entry_stays of table entry" in f for f in faults(address))


def test_a_guard_that_was_softened_is_named(filled: Record, address: str) -> None:
    with filled.writing() as connection:
        if filled.is_file:
            connection.execute(text("DROP TRIGGER entry_delete"))
            connection.execute(text("CREATE TRIGGER entry_delete BEFORE DELETE ON entry BEGIN SELECT 1; END"))
        else:
            body = "$$ BEGIN RETURN NULL; END $$"
            connection.execute(
                text(f"CREATE OR REPLACE FUNCTION monochord_stays() RETURNS trigger LANGUAGE plpgsql AS {body}")
            )

    assert any("of table entry, altered" in f for f in faults(address))


def test_an_end_that_was_cut_off_is_found_by_a_head_noted_elsewhere(filled: Record, address: str) -> None:
    number, digest = head(filled)
    assert faults(address, (number, digest[:16])) == []

    unguarded(filled, f"DELETE FROM entry WHERE number = {number}")

    assert faults(address) == []  # a note tells no table: nothing in the record itself shows that it was there
    [told] = faults(address, (number, digest))
    assert f"a record that ends with entry {number - 1}; expected entry {number}" in told


def test_a_ledger_that_was_written_anew_does_not_fit_the_noted_head(filled: Record, address: str) -> None:
    [told] = faults(address, (4, "0123456789"))

    assert "the ledger was written anew" in told


@pytest.mark.parametrize("address", ["postgresql"], indirect=True)
def test_any_value_that_a_superuser_changes_is_found(address: str) -> None:
    record = make_record(address)
    fill(record, 1, 3)
    listed = "SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = current_schema()"
    with record.reading() as connection:
        columns = [tuple(row) for row in connection.execute(text(f"{listed} ORDER BY 1, ordinal_position"))]
    columns = _every_kept_one_and_some_told(columns)
    tried, missed, looked = 0, [], unaltered(address)
    for table, column, kind in columns:
        other = OTHERS["bytea" if kind == "bytea" else "text" if kind in ("text", "character varying") else "number"]
        with record.reading() as connection:
            old = connection.execute(text(f"SELECT ctid, {column}::text FROM {table} ORDER BY ctid LIMIT 1")).first()
        if old is None:
            continue
        unguarded(record, f"UPDATE {table} SET {column} = {other} WHERE ctid = '{old[0]}'")
        tried += 1
        missed += [] if next(verify_opened(looked, "", quiet, Walked()), None) else [f"{table}.{column}"]
        back = "NULL" if old[1] is None else f"'{old[1]}'::{kind}".replace(":", r"\:")
        unguarded(record, f"UPDATE {table} SET {column} = {back} WHERE {column} = {other}")
    looked.engine.dispose()
    record.engine.dispose()

    assert tried > 25
    assert missed == []
    assert faults(address) == []  # all was put back, so each change was met alone


def _every_kept_one_and_some_told(columns: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    kept, rng = {table.name for table in KEPT}, Random(4)
    told = sorted({table for table, *_ in columns} - kept)
    return [c for c in columns if c[0] in kept] + [rng.choice([c for c in columns if c[0] == t]) for t in told]


@pytest.mark.parametrize("make", [closed_record, broken_off_record])
def test_one_byte_changed_anywhere_is_named_or_changes_no_row(tmp_path: Path, make: object) -> None:
    path = (closed_record if make is closed_record else broken_off_record)(tmp_path, 1, 5)
    rng = Random(20310612)

    tally = flipped(path, anywhere(path, rng, 60))

    assert tally.missed == []
    assert sum(tally.named.values()) > 5


def test_the_comparison_sees_a_check_that_finds_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = closed_record(tmp_path, 1, 5)
    monkeypatch.setattr("evidence.record.flips.verify_opened", lambda *_, **__: iter(()))

    assert flipped(path, anywhere(path, Random(1), 60)).missed


def test_a_log_whose_last_write_was_never_finished_is_no_fault(tmp_path: Path) -> None:
    path = broken_off_record(tmp_path, 1, 5)
    log = path.with_name(path.name + "-wal").read_bytes()

    assert flaw_in(log) is None
    assert flaw_in(log[:-5000]) is None
    assert flaw_in(log[:-4096]) is None  # its last frame has a head and no page
    early, last = bytearray(log), bytearray(log)
    early[5000] ^= 1
    last[-1] ^= 1
    assert [f and f.certain for f in (flaw_in(bytes(early)), flaw_in(bytes(last)))] == [True, False]


def test_the_command_tells_the_head_and_ends_with_5_when_something_differs(filled: Record, address: str) -> None:
    number, digest = head(filled)
    asked = ["record", "verify", "--at", address]

    whole = CliRunner().invoke(main, [*asked, "--head", f"{number}:{digest[:12]}"])
    unguarded(filled, "UPDATE entry SET made_by = 'eve' WHERE number = 3")
    spoilt = CliRunner().invoke(main, asked)

    assert whole.exit_code == 0, whole.output
    assert f"whole: 16 entries, 7 files of 0.0 MB; head {number}:{digest}" in whole.output
    assert spoilt.exit_code == 5
    assert "entry 3 (placed about magnet/G01-17)" in spoilt.output
    assert "restore the last backup" in spoilt.output
    assert CliRunner().invoke(main, [*asked, "--head", "last"]).exit_code == 3


def test_tables_for_questions_that_differ_are_told_anew(filled: Record, address: str) -> None:
    unguarded(filled, "DELETE FROM measure", "UPDATE girder SET type = 'long'")
    assert faults(address)

    done = CliRunner().invoke(main, ["record", "rebuild", "--at", address])

    assert done.exit_code == 0, done.output
    assert "told anew by 16 entries" in done.output
    assert faults(address) == []


def test_there_must_be_a_record_to_look_at(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no such file"):
        faults(str(tmp_path / "none.sqlite"))
    (tmp_path / "other.sqlite").write_text("words, words, words\n" * 99)
    assert "no database, or whose beginning is damaged" in "".join(faults(str(tmp_path / "other.sqlite")))
