"""Whatever goes wrong with a disk or a database ends in a plain message, exit code 3, and a state from which work goes on."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import text

from evidence.record.kills import ready, whole_campaign
from evidence.record.postgres import database, own_server
from monochord.cli.main import main
from monochord.ground.faults import Refused
from monochord.store.causes import cause_of
from monochord.store.entry import Draft
from monochord.store.journal import runs
from monochord.store.ledger import append, head
from monochord.store.making import make_record, open_record
from monochord.store.opening import Record

NOW = datetime(2031, 3, 2, 7, 30, tzinfo=UTC)


def note(name: str) -> Draft:
    return Draft(name, "note", "girder/G1", "2031-03-02T07:29:00.000000Z", "ada", "tablet 2", {"words": "dust"})


def asked(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def refused(result: Result, *said: str) -> None:
    """The command ended as it should: told, and not as a defect."""
    assert result.exit_code == 3, result.output
    assert "; expected " in result.output
    assert [part for part in said if part not in result.output] == [], result.output


@contextmanager
def small_disk(place: Path, size: str) -> Iterator[Path]:
    """A disk in memory of this size; skipped where nothing may be mounted, not in CI."""
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(place)], check=False, capture_output=True
    )
    if done.returncode:
        assert not os.environ.get("CI"), done.stderr
        pytest.skip("nothing may be mounted here")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


#: What a run writes without page and paper.
QUIETLY = ("--no-paper", "--no-page", "--quiet")


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_campaign(tmp_path_factory.mktemp("invented"))


@pytest.fixture
def work(tmp_path: Path, campaign: Path) -> Path:
    ready(tmp_path / "work", campaign)
    return tmp_path / "work"


def test_a_full_disk_is_told_and_the_same_again_completes(tmp_path: Path, work: Path) -> None:
    with small_disk(tmp_path / "disk", "2m") as disk:
        address = str(disk / "ring.sqlite")
        assert asked("record", "make", "--at", address).exit_code == 0

        refused(asked("record", "take", str(work / "small"), "--at", address), "a full disk", "make room")

        subprocess.run(["mount", "-o", "remount,size=32m", str(disk)], check=True)
        assert asked("record", "take", str(work / "small"), "--at", address).exit_code == 0
        assert asked("record", "verify", "--at", address).exit_code == 0
        assert head(open_record(address))[0] == 2


@pytest.mark.parametrize("share", [0.5, 1.2, 1.9])
def test_a_run_on_a_full_disk_is_told_and_the_same_again_completes(
    tmp_path: Path, campaign: Path, share: float
) -> None:
    shutil.copytree(campaign, tmp_path / "elsewhere")
    assert asked("run", str(tmp_path / "elsewhere"), *QUIETLY).exit_code in (0, 4)
    length = (tmp_path / "elsewhere" / "found" / "result.json").stat().st_size
    with small_disk(tmp_path / "disk", "32m") as disk:
        whole = disk / "whole"
        shutil.copytree(campaign, whole)
        there = os.statvfs(disk)
        # room for half of the document, for it and not for the journal, for both and not for the journal's own log
        room = (there.f_blocks - there.f_bfree) * there.f_frsize + int(share * length)
        subprocess.run(["mount", "-o", f"remount,size={room}", str(disk)], check=True)

        refused(asked("run", str(whole), *QUIETLY), "room", "do the same again")

        subprocess.run(["mount", "-o", "remount,size=64m", str(disk)], check=True)
        assert not list(disk.rglob("*.part"))
        assert asked("run", str(whole), *QUIETLY).exit_code in (0, 4)
        assert [kept.number for kept in runs(whole / "record.sqlite")] == [1]


def test_a_read_only_disk_is_told_and_may_be_looked_at(tmp_path: Path, work: Path) -> None:
    with small_disk(tmp_path / "disk", "32m") as disk:
        address = str(disk / "ring.sqlite")
        made = make_record(address)
        append(made, [note("a")], NOW)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)

        refused(asked("record", "take", str(work / "small"), "--at", address), "expected", str(disk))
        assert asked("record", "verify", "--at", address).exit_code == 0
        refused(asked("record", "make", "--at", str(disk / "new.sqlite")), "new.sqlite")

        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
        assert asked("record", "take", str(work / "small"), "--at", address).exit_code == 0


def test_a_record_held_by_another_program_is_told_after_the_wait(record: Record, address: str) -> None:
    hasty = open_record(address, patience=0.3)
    with record.writing(), pytest.raises(Refused, match="held by another program"):
        append(hasty, [note("a")], NOW)
    assert [e.number for e in append(hasty, [note("a")], NOW)] == [1]
    hasty.engine.dispose()


def test_a_file_held_exclusively_is_told(tmp_path: Path) -> None:
    address = str(tmp_path / "ring.sqlite")
    make_record(address)
    with closing(sqlite3.connect(address, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(Refused, match="held by another program"):
            open_record(address, patience=0.2)


def test_a_journal_held_by_another_program_is_told(work: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monochord.store.journal.PATIENCE", 0.2)
    whole, run = str(work / "whole"), ("run", str(work / "whole"), *QUIETLY)
    assert asked(*run).exit_code in (0, 4)
    with closing(sqlite3.connect(f"{whole}/record.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        refused(asked(*run), "held by another program", "record.sqlite")
    assert asked(*run).exit_code in (0, 4)
    assert [kept.number for kept in runs(work / "whole" / "record.sqlite")] == [1, 2]


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("postgresql://ada@no-such-host.invalid/ring", "a machine that nobody knows"),
        ("postgresql://ada@127.0.0.1:1/ring", "no connection to the database"),
        ("nowhere/at/all.sqlite", "no such file"),
        ("mysql://host/ring", "postgresql://USER@HOST/DATABASE"),
    ],
)
def test_an_address_that_leads_nowhere_is_told(address: str, said: str, tmp_path: Path, work: Path) -> None:
    at = address if "://" in address else str(tmp_path / address)

    refused(asked("record", "take", str(work / "small"), "--at", at), said)
    refused(asked("record", "verify", "--at", at), said)


def test_a_file_that_is_no_record_is_told_and_stays(tmp_path: Path, work: Path) -> None:
    other = tmp_path / "other.sqlite"
    other.write_text("words, words, words\n" * 500)

    refused(asked("record", "take", str(work / "small"), "--at", str(other)))

    assert other.read_text() == "words, words, words\n" * 500


def test_a_file_behind_a_network_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"server:/x {tmp_path} nfs4 rw 0 0\n")
    monkeypatch.setattr("monochord.store.place.MOUNTS", mounts)

    refused(asked("record", "make", "--at", str(tmp_path / "ring.sqlite")), "a folder behind a network (nfs4)")
    assert not (tmp_path / "ring.sqlite").exists()


def test_a_wrong_password_and_an_unknown_database_are_told() -> None:
    with own_server() as server:
        rules = server.place / "data" / "pg_hba.conf"
        make_record(server.url).engine.dispose()
        unknown = server.url.replace("/postgres", "/no-such")
        refused(asked("record", "verify", "--at", unknown), "an unknown database or user")
        rules.write_text("host all all 127.0.0.1/32 scram-sha-256\nlocal all all trust\n")
        server.stop()
        server.start()
        wrong = server.url.replace("monochord@", "monochord:secret@")

        told = asked("record", "verify", "--at", wrong)

        refused(told, "a refused user or password")
        assert "secret" not in told.output


def lose(record: Record, other: Record) -> None:
    """Write with a connection that another ends in the middle."""
    with record.writing() as connection:
        mine = connection.execute(text("SELECT pg_backend_pid()")).scalar()
        with other.reading() as owner:
            owner.execute(text("SELECT pg_terminate_backend(:mine)"), {"mine": mine})
        connection.execute(text("SELECT 1"))


# a command's connections end with its process, which here goes on
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_connection_lost_in_the_middle_is_told_and_the_same_again_completes(server: str, work: Path) -> None:
    with own_server() as own:
        address = database(own.url)
        record, other = make_record(address), open_record(address)
        with pytest.raises(Refused, match="a connection to the database that broke"):
            lose(record, other)
        other.engine.dispose()
        assert [e.number for e in append(record, [note("a")], NOW)] == [1]

        own.stop()
        with pytest.raises(Refused, match=r"no connection|that broke"):
            append(record, [note("b")], NOW)
        refused(asked("record", "take", str(work / "small"), "--at", address), "no connection to the database")
        own.start()

        assert [e.number for e in append(record, [note("a"), note("b")], NOW)] == [1, 2]
        record.engine.dispose()
        assert asked("record", "take", str(work / "small"), "--at", address).exit_code == 0


def test_a_defect_of_the_program_is_not_called_trouble() -> None:
    with closing(sqlite3.connect(":memory:")) as connection, pytest.raises(sqlite3.OperationalError) as told:
        connection.execute("SELEC 1")
    assert cause_of(told.value) is None
