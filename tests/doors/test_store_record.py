"""The record keeps what it is given, changes nothing, and says whether numbers came again."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from monochord.ground.faults import Refused
from monochord.store.journal import Entry, append, differences, document_of, numbers_digest, opened, runs


def entry(run: str, value: float = 1.0, code: str = "c0", digest: str = "aa") -> Entry:
    document = json.dumps({"run": {"id": run}, "occasions": {"x": value}, "versions": {"made_by": run}})
    return Entry(run, "2031-05-05T00:00:00", "monochord test", code, {"a.csv": digest}, document)


def test_a_second_run_of_the_same_inputs_and_code_meets_the_first(tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    first, before = append(record, entry("one"))
    assert before is None
    second, earlier = append(record, entry("two"))
    assert earlier == first
    assert earlier is not None
    assert earlier.numbers == second.numbers
    assert [r.number for r in runs(record)] == [1, 2]
    assert json.loads(document_of(record, 1))["run"]["id"] == "one"


def test_other_numbers_other_code_and_other_inputs_are_told_apart(tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    first, _ = append(record, entry("one"))
    changed, earlier = append(record, entry("two", value=1.5))
    assert earlier == first
    assert changed.numbers != first.numbers
    assert append(record, entry("three", code="c1"))[1] is None
    assert append(record, entry("four", digest="bb"))[1] is None
    assert differences(document_of(record, 1), document_of(record, 2)) == ["occasions.x: 1.0 then, 1.5 now"]


@pytest.mark.parametrize(
    "statement",
    ["UPDATE run SET numbers = 'x'", "DELETE FROM run", "UPDATE input SET sha256 = 'x'", "DELETE FROM input"],
)
def test_nothing_is_changed_or_removed(tmp_path: Path, statement: str) -> None:
    record = tmp_path / "record.sqlite"
    append(record, entry("one"))
    with sqlite3.connect(record) as connection, pytest.raises(sqlite3.IntegrityError, match="in the record is never"):
        connection.execute(statement)
    connection.close()
    assert len(runs(record)) == 1


def test_a_file_that_is_no_record_and_a_newer_record_are_refused_unharmed(tmp_path: Path) -> None:
    strange = tmp_path / "record.sqlite"
    strange.write_text("not a database, " * 100)
    with pytest.raises(Refused, match=r"record\.sqlite"):
        runs(strange)
    assert strange.read_text().startswith("not a database")
    newer = tmp_path / "newer.sqlite"
    connection = sqlite3.connect(newer)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(Refused, match="version 99"), opened(newer):
        pass


def test_an_id_comes_once_and_a_failed_entry_leaves_nothing(tmp_path: Path) -> None:
    record = tmp_path / "record.sqlite"
    append(record, entry("one"))
    with pytest.raises(Refused, match="UNIQUE"):
        append(record, entry("one", value=2.0))
    assert len(runs(record)) == 1


def test_the_digest_of_numbers_passes_over_what_belongs_to_the_run() -> None:
    assert numbers_digest(entry("one").document) == numbers_digest(entry("two").document)
    assert numbers_digest(entry("one").document) != numbers_digest(entry("one", value=2.0).document)
