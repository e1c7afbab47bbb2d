"""The ledger keeps facts in order, each once, and never changes one."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from monochord.ground.faults import Refused
from monochord.store.entry import START, Draft, canonical
from monochord.store.ledger import append, entries, head, last_number
from monochord.store.opening import Record

NOW = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)


def note(name: str, words: str = "dust on the nest", replaces: str | None = None) -> Draft:
    return Draft(
        name,
        "note",
        "girder/G1",
        "2026-03-02T07:29:00.000000Z",
        "ada",
        "tablet 2",
        {"words": words, "u": 1.5e-06},
        replaces,
    )


def test_entries_are_numbered_in_their_order_and_read_back_as_they_were_stated(record: Record) -> None:
    append(record, [note("a"), note("b", "Prüfstand, 0.1 µm")], NOW)
    append(record, [note("c")], LATER)
    with record.reading() as connection:
        found = list(entries(connection))
    assert [(e.number, e.draft) for e in found] == [(1, note("a")), (2, note("b", "Prüfstand, 0.1 µm")), (3, note("c"))]
    assert head(record) == (3, found[-1].hash)
    assert last_number(record, "girder/G1") == 3
    assert last_number(record, "girder/G2") == 0


def test_the_chain_is_the_hash_that_its_description_says(record: Record) -> None:
    [first, second] = append(record, [note("a"), note("b")], NOW)
    stated = ["b", "note", "girder/G1", "2026-03-02T07:29:00.000000Z", "ada", "tablet 2", None]
    content = hashlib.sha256(canonical([*stated, {"u": 1.5e-06, "words": "dust on the nest"}]).encode()).hexdigest()
    link = f'["{first.hash}",2,"2026-03-02T07:30:00.000000Z","{content}"]'
    assert first.previous == START
    assert second.hash == hashlib.sha256(link.encode()).hexdigest()


def test_a_retry_is_kept_once_and_another_fact_under_its_id_is_refused(record: Record) -> None:
    [first] = append(record, [note("a")], NOW)
    assert append(record, [note("a")], LATER) == [first]
    with pytest.raises(Refused, match="another fact under the id a of entry 1"):
        append(record, [note("b"), note("a", "no dust")], LATER)
    assert head(record) == (1, first.hash)  # b was not kept either: all or none


def test_a_fact_is_corrected_once_and_then_its_correction(record: Record) -> None:
    append(record, [note("a"), note("b", "rust", replaces="a")], NOW)
    with pytest.raises(Refused, match="ada corrected meanwhile by entry 2"):
        append(record, [note("c", "oil", replaces="a")], LATER)
    with pytest.raises(Refused, match="an entry that is in the record"):
        append(record, [note("c", "oil", replaces="never")], LATER)
    [third] = append(record, [note("c", "oil", replaces="b")], LATER)
    assert third.draft.replaces == "b"


def test_a_writer_who_has_not_seen_the_last_entries_is_told_what_they_say(record: Record) -> None:
    append(record, [note("a")], NOW)
    append(record, [note("b", "rust")], NOW, seen={"girder/G1": 1})
    with pytest.raises(Refused, match=r"entry 2, a note by ada: .*rust.*; expected entry 1 as the last"):
        append(record, [note("c")], LATER, seen={"girder/G1": 1})
    append(record, [note(f"n{i}") for i in range(6)], NOW)
    with pytest.raises(Refused, match=r"since entry 1: entry 2, .*; entry 6, .*; and more; expected"):
        append(record, [note("c")], LATER, seen={"girder/G1": 1})
    with pytest.raises(Refused, match="entry 9 about girder/G1 as seen, which is not there: the last is entry 8"):
        append(record, [note("c")], LATER, seen={"girder/G1": 9})  # of a record that was restored from before
    append(record, [note("c")], LATER, seen={"girder/G1": 8, "girder/G2": 0})
    assert head(record)[0] == 9


@pytest.mark.parametrize(
    "made_at", ["2026-03-02T07:29:00Z", "2026-03-02T07:29:00.0Z", "2026-03-02 07:29", "yesterday", ""]
)
def test_a_time_has_one_spelling(record: Record, made_at: str) -> None:
    with pytest.raises(Refused, match="UTC with microseconds"):
        append(record, [replace(note("a"), made_at=made_at)], NOW)
    assert head(record)[0] == 0


def test_a_clock_set_back_does_not_bring_the_order_out_of_time(record: Record) -> None:
    [first] = append(record, [note("a")], LATER)
    [second] = append(record, [note("b")], NOW)
    assert second.kept_at == first.kept_at


@pytest.mark.parametrize(
    "deed", ["UPDATE entry SET body = '{}'", "DELETE FROM entry", "DELETE FROM entry WHERE number = 2"]
)
def test_no_statement_changes_or_removes_an_entry(record: Record, deed: str) -> None:
    append(record, [note("a"), note("b")], NOW)
    with pytest.raises(DBAPIError, match="never changed"), record.writing() as connection:
        connection.execute(text(deed))
    assert head(record)[0] == 2
