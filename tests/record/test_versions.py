"""Records and journals of every version open in this one, each with exactly what it held; nothing else is touched."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import subprocess
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from click.testing import CliRunner
from sqlalchemy import Connection, create_engine, inspect, select, text
from sqlalchemy.exc import DBAPIError

from monochord.cli.main import main
from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.take import Hand, take_campaign, take_journal
from monochord.store import making
from monochord.store.copying import faults_of
from monochord.store.entry import Draft, Entry
from monochord.store.files import blocks_of, keep_bytes
from monochord.store.guards import unguarded
from monochord.store.journal import Entry as Run
from monochord.store.journal import append as append_run
from monochord.store.journal import runs
from monochord.store.ledger import append, entries, head
from monochord.store.making import VERSION, make_record, open_record, upgrade, version_of
from monochord.store.opening import Record, url_of
from monochord.store.retelling import told_differs
from monochord.store.tables import FILE, METADATA
from monochord.store.tables import KEPT as KEPT_TABLES

KEPT = Path(__file__).parent / "kept"
RECORDS = sorted(path for path in KEPT.glob("v*.sqlite") if path.stem != "v0001")
DUMPS = sorted(KEPT.glob("v*.sql"))
JOURNALS = [KEPT / "v0001.sqlite"]
NOW = datetime(2031, 3, 2, 7, 30, tzinfo=UTC)
HAND = Hand("ada", "bench")


def context() -> Context:
    return Context(now=lambda: NOW, new_id=lambda: "unused")


def expected(path: Path) -> Mapping[str, object]:
    found: Mapping[str, object] = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return found


def told(entry: Entry) -> dict[str, object]:
    d = entry.draft
    return {
        "number": entry.number,
        "id": d.id,
        "kind": d.kind,
        "subject": d.subject,
        "made_at": d.made_at,
        "made_by": d.made_by,
        "device": d.device,
        "replaces": d.replaces,
        "body": d.body,
        "kept_at": entry.kept_at,
        "content": entry.content,
        "previous": entry.previous,
        "hash": entry.hash,
    }


def holds(record: Record, known: Mapping[str, object]) -> None:
    """The record holds exactly what is known, is as this program makes it, and goes on."""
    with record.reading() as connection:
        assert version_of(connection) == VERSION
        assert [told(entry) for entry in entries(connection)] == known["entries"]
        sizes = {row.sha256: row.size for row in connection.execute(select(FILE))}
        assert sizes == known["files"]
        for sha256 in sizes:
            assert hashlib.sha256(b"".join(blocks_of(connection, sha256))).hexdigest() == sha256
        assert list(faults_of(connection)) == []
        assert told_differs(connection) == []
        assert list(unguarded(connection)) == []
    number, digest = head(record)
    draft = Draft("next", "note", "girder/G07", "2031-03-02T07:29:00.000000Z", "ada", "bench", {"words": "goes on"})
    [entry] = append(record, [draft], NOW)
    assert (entry.number, entry.previous) == (number + 1, digest)


def test_a_file_of_this_version_and_of_every_one_before_is_kept() -> None:
    names = {path.stem for path in [*RECORDS, *JOURNALS]}
    assert names == {f"v{number:04d}" for number in range(1, int(VERSION) + 1)}
    assert {path.stem for path in DUMPS} == names - {"v0001"}
    assert all(path.stat().st_size < 300_000 for path in KEPT.iterdir())


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_a_record_of_every_version_opens_with_what_it_held(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / "record.sqlite"
    shutil.copyfile(path, copy)
    holds(open_record(str(copy)), expected(path))


@pytest.mark.parametrize("path", DUMPS, ids=lambda path: path.stem)
@pytest.mark.parametrize("address", ["postgresql"], indirect=True)
def test_a_database_of_every_version_opens_with_what_it_held(path: Path, address: str) -> None:
    plain = url_of(address).set(drivername="postgresql").render_as_string(hide_password=False)
    command = ["psql", "--quiet", "--no-psqlrc", "--set", "ON_ERROR_STOP=1", "--file", str(path), plain]
    subprocess.run(command, check=True, capture_output=True)
    record = open_record(address)
    holds(record, expected(path))
    record.engine.dispose()


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_a_journal_is_taken_in_with_what_it_held_and_stays_as_it_is(path: Path, record: Record, tmp_path: Path) -> None:
    journal = tmp_path / "record.sqlite.of-a-campaign"
    shutil.copyfile(path, journal)
    known = expected(path)["runs"]
    assert isinstance(known, list)
    found = take_journal(record, journal, context(), HAND)
    assert [e.draft.id for e in found.new] == [run["id"] for run in known]
    for entry, run in zip(found.new, known, strict=True):
        body = entry.draft.body
        keys = ("girder", "code", "inputs_digest", "numbers", "inputs")
        assert {key: body[key] for key in keys} == {key: run[key] for key in keys}
        assert (entry.draft.kind, entry.draft.subject, entry.draft.made_by) == ("run", "girder/G07", run["made_by"])
        assert datetime.fromisoformat(entry.draft.made_at) == datetime.fromisoformat(run["made_at"])
        with record.reading() as connection:
            assert b"".join(blocks_of(connection, str(body["document"]))).decode() == run["document"]
            assert told_differs(connection) == []
    again = take_journal(record, journal, context(), HAND)
    assert (again.new, again.known) == ((), len(known))
    assert journal.read_bytes() == path.read_bytes()
    assert len(found.missing) == 4


def test_a_journal_in_its_folder_brings_what_the_folder_brings(record: Record, tmp_path: Path) -> None:
    (tmp_path / "campaign").mkdir()
    shutil.copyfile(JOURNALS[0], tmp_path / "campaign" / "record.sqlite")
    (tmp_path / "campaign" / "campaign.toml").write_text('girder = "G07"\n')
    found = take_journal(record, tmp_path / "campaign" / "record.sqlite", context(), HAND)
    assert [e.draft.kind for e in found.new] == ["girder", "run", "run"]
    assert take_campaign(record, tmp_path / "campaign", context(), HAND).new == ()


def test_a_journal_whose_checksums_do_not_hold_is_refused_whole(record: Record, tmp_path: Path) -> None:
    journal = tmp_path / "journal.sqlite"
    shutil.copyfile(JOURNALS[0], journal)
    with sqlite3.connect(journal) as connection:
        connection.execute("DROP TRIGGER run_stays")
        connection.execute("UPDATE run SET document = replace(document, '1.2e-05', '1.1e-05') WHERE number = 2")
    connection.close()
    with pytest.raises(Refused, match="run 2 whose numbers have checksum"):
        take_journal(record, journal, context(), HAND)
    assert head(record)[0] == 0


def test_a_journal_is_no_record_and_a_record_no_journal(record: Record, tmp_path: Path) -> None:
    journal, made = tmp_path / "journal.sqlite", tmp_path / "fleet.sqlite"
    shutil.copyfile(JOURNALS[0], journal)
    for tried in (open_record, make_record):
        with pytest.raises(Refused, match=r"the journal of a campaign.*`monochord record take`"):
            tried(str(journal))
    assert journal.read_bytes() == JOURNALS[0].read_bytes()
    make_record(str(made))
    before = made.read_bytes()
    for called in (lambda: runs(made), lambda: append_run(made, Run("a", "2026", "m", "c", {}, "{}"))):
        with pytest.raises(Refused, match="a record of version 2; expected the journal of a campaign"):
            called()
    with pytest.raises(Refused, match="no journal of a campaign"):
        take_journal(record, made, context(), HAND)
    assert made.read_bytes() == before


def test_a_record_of_a_newer_program_is_refused_and_not_touched(address: str) -> None:
    make_record(address).engine.dispose()
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    before = Path(address).read_bytes() if "://" not in address else b""
    for tried in (open_record, make_record):
        with pytest.raises(
            Refused, match=f"a record of version 9999; expected a record of version {VERSION} or earlier"
        ):
            tried(address)
    if before:
        assert Path(address).read_bytes() == before
        assert [p.name for p in Path(address).parent.glob("*before*")] == []


def test_a_file_of_a_newer_program_is_known_by_its_first_bytes(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 9999")
        connection.execute("CREATE TABLE what_comes (a)")
    connection.close()
    before = path.read_bytes()
    for tried in (open_record, make_record):
        with pytest.raises(Refused, match="a record of version 9999"):
            tried(str(path))
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_what_is_something_else_is_not_touched(tmp_path: Path) -> None:
    other, words = tmp_path / "other.sqlite", tmp_path / "words.txt"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE orders (a)")
    connection.close()
    words.write_text("not a database at all")
    before = {path: path.read_bytes() for path in (other, words)}
    for path, said in ((other, "something else|without a record"), (words, "no database")):
        for tried in (open_record, make_record):
            with pytest.raises(Refused, match=said):
                tried(str(path))
        assert path.read_bytes() == before[path]
    assert sorted(tmp_path.iterdir()) == [other, words]


def differences(connection: Connection) -> list[object]:
    """Where the tables that stand differ from those that the program knows, also in types, keys and indices."""
    context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
    found: list[object] = list(compare_metadata(context, METADATA))
    there = inspect(connection)
    for table in METADATA.tables.values():
        keys = list(there.get_pk_constraint(table.name)["constrained_columns"])
        refers = {(tuple(f["constrained_columns"]), f["referred_table"]) for f in there.get_foreign_keys(table.name)}
        known = {(tuple(f.column_keys), f.referred_table.name) for f in table.foreign_key_constraints}
        if (keys, refers) != ([c.name for c in table.primary_key.columns], known):
            found.append((table.name, keys, refers))
    return found


def test_the_steps_make_the_tables_that_the_program_knows(record: Record) -> None:
    with record.reading() as connection:
        assert differences(connection) == []
        assert list(unguarded(connection)) == []
        assert set(inspect(connection).get_table_names()) == {*METADATA.tables, "alembic_version"}
        if connection.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA user_version").scalar() == int(VERSION)


@pytest.mark.parametrize(
    "deed",
    [
        "DROP INDEX ix_entry_kind_number",
        "ALTER TABLE part ADD COLUMN more TEXT",
        "ALTER TABLE step DROP COLUMN words",
        "CREATE TABLE more (a TEXT)",
    ],
)
def test_a_table_that_differs_is_seen(record: Record, deed: str) -> None:
    with record.writing() as connection:
        connection.execute(text(deed))
        assert differences(connection) != []


@pytest.mark.parametrize("table", [table.name for table in KEPT_TABLES])
def test_every_table_that_is_kept_is_guarded(record: Record, table: str) -> None:
    append(record, [Draft("a", "note", "girder/G07", "2031-03-02T07:29:00.000000Z", "ada", "b", {"words": "w"})], NOW)
    keep_bytes(record, b"a file")
    column = METADATA.tables[table].primary_key.columns.keys()[0]
    deeds = [f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"]
    deeds += [] if record.is_file else [f"TRUNCATE {table} CASCADE"]
    for deed in deeds:
        with pytest.raises(DBAPIError, match=f"a row of {table} is never changed"), record.writing() as connection:
            connection.execute(text(deed))
        with record.reading() as connection:
            assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar() == 1


NEXT = '''"""A step that is not there yet: a table more, then a failure where it is asked for."""
import sqlalchemy as sa
from alembic import op
revision, down_revision = "0003", "0002"
def upgrade():
    op.create_table("later", sa.Column("a", sa.Integer()))
    op.execute("INSERT INTO later VALUES (1)")
    if FAILS:
        raise KeyboardInterrupt
'''


@pytest.fixture
def steps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The steps with one more, as a later program has them; it ends in the middle of its work."""
    folder = tmp_path / "migrations"
    shutil.copytree(making._folder(), folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "v0003_later.py").write_text(f"FAILS = True\n{NEXT}")
    monkeypatch.setattr(making, "_folder", lambda: folder)
    monkeypatch.setattr(making, "VERSION", "0003")
    return folder


def test_an_upgrade_that_is_broken_off_leaves_the_old_record_whole(
    record: Record, address: str, steps: Path, tmp_path: Path
) -> None:
    draft = Draft("a", "note", "girder/G07", "2031-03-02T07:29:00.000000Z", "ada", "bench", {"words": "before"})
    [entry] = append(record, [draft], NOW)
    record.engine.dispose()
    with pytest.raises(KeyboardInterrupt):
        open_record(address)
    with record.reading() as connection:
        assert version_of(connection) == "0002"
        assert not connection.dialect.has_table(connection, "later")
        assert list(entries(connection)) == [entry]
    record.engine.dispose()
    (steps / "versions" / "v0003_later.py").write_text(f"FAILS = False\n{NEXT}")
    again = open_record(address)
    with again.reading() as connection:
        assert version_of(connection) == "0003"
        assert connection.execute(text("SELECT a FROM later")).scalar() == 1
        assert list(entries(connection)) == [entry]
    again.engine.dispose()
    if "://" not in address:
        beside = tmp_path / "record.sqlite.before-0002"
        with Record(create_engine(f"sqlite:///{beside}"), "copy").reading() as connection:
            assert version_of(connection) == "0002"
            assert list(entries(connection)) == [entry]


def test_the_copy_beside_holds_what_is_still_in_the_log(tmp_path: Path) -> None:
    record = make_record(str(tmp_path / "record.sqlite"))
    with record.reading() as connection:  # holds the log open
        version_of(connection)
        draft = Draft("a", "note", "girder/G07", "2031-03-02T07:29:00.000000Z", "ada", "bench", {"words": "in the log"})
        append(record, [draft], NOW)
        copy = making.copy_beside(record, "0002")
    assert [e.draft.id for e in _entries(copy)] == ["a"]
    assert making.copy_beside(record, "0002") == copy


def _entries(path: Path) -> list[Entry]:
    engine = create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        found = list(entries(connection))
    engine.dispose()
    return found


def test_an_upgrade_of_what_is_up_to_date_does_nothing(record: Record) -> None:
    with record.writing() as connection:
        upgrade(connection)
        assert version_of(connection) == VERSION


def test_the_command_takes_a_journal_alone(address: str, tmp_path: Path) -> None:
    shutil.copyfile(JOURNALS[0], tmp_path / "journal.sqlite")
    make_record(address).engine.dispose()
    done = CliRunner().invoke(main, ["record", "take", str(tmp_path / "journal.sqlite"), "--at", address])
    assert done.exit_code == 0, done.output
    assert "2 run; 0 known already" in done.output
