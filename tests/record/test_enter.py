"""What people enter: whole lists or nothing, with every fault in its line and column."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import select

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.enter import enter_list, enter_one
from monochord.job.record.take import Hand
from monochord.store.ledger import head
from monochord.store.opening import Record
from monochord.store.tables_told import MAGNET, NONCONFORMANCE, PERSON, PLACED, STEP

HAND = Hand("ada", "desk")
CONTEXT = Context(lambda: datetime(2031, 3, 2, 7, 30, tzinfo=UTC), lambda: "id", made_by="a test")


def write(folder: Path, text: str, name: str = "list.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(record: Record, path: Path, kind: str) -> list[str]:
    before = head(record)
    with pytest.raises(Refused) as told:
        enter_list(record, path, kind, CONTEXT, HAND)
    assert head(record) == before
    return [str(f).partition("; ")[0].removeprefix(f"{path}, ") for f in told.value.faults]


def test_three_hundred_magnets_and_their_places_come_in_one_go_and_once(record: Record, tmp_path: Path) -> None:
    magnets = write(tmp_path, "serial,kind\n" + "".join(f"Q-{i},quadrupole\n" for i in range(300)))
    places = write(
        tmp_path,
        "# who stands where\nserial;girder;position;since;until\n\n"
        + "".join(f"Q-{i};G{i // 5};Q{i % 5};2031-03-01;\n" for i in range(300)),
        "places.csv",
    )
    assert len(enter_list(record, magnets, "magnet", CONTEXT, HAND).new) == 300
    again = enter_list(record, magnets, "magnet", CONTEXT, HAND)
    found = enter_list(record, places, "placed", CONTEXT, HAND)
    assert (len(again.new), again.known) == (0, 300)
    assert found.notes == ("nothing else is in the record yet of 60 girders: G0, G1, G10, G11, G12 and 55 more",)
    with record.reading() as connection:
        assert len(connection.execute(select(MAGNET)).all()) == 300
        assert connection.execute(select(PLACED).where(PLACED.c.serial == "Q-7")).one().position == "Q2"


def test_every_fault_of_a_list_is_told_with_line_and_column_and_nothing_is_kept(record: Record, tmp_path: Path) -> None:
    enter_one(record, "magnet", {"serial": "Q-1", "kind": "quadrupole"}, CONTEXT, HAND)
    text = "serial,girder,position,since,until\nQ-1,G1,Q1,2031-02-30\nQ-9,G1,Q2,,\n\nQ-1,G1,Q3,2031-02-01,2030-01-01\n"
    assert refused(record, write(tmp_path, text), "placed") == [
        "line 2, column since: given '2031-02-30'",
        "line 3, column since: given no since",
        "line 5, column until: given '2030-01-01', which lies before since '2031-02-01'",
        "line 3, column serial: given 'Q-9'",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("serial,kind,kind\n", "line 1, column 3: given the head 'kind' twice"),
        ("serial,kind\nQ-1,q,x\n", "line 2, column 3: given 3 cells, the last 'x'"),
        ("serial,shelf\nQ-1,2\n", "line 2, column shelf: given the key 'shelf'"),
        ('serial,kind\nQ-1,"q\n', "line 2: given unexpected end of data"),
        ("serial,kind\nQ-1,q\nQ-2,q\nQ-1,q\n", "line 4, column serial: given 'Q-1', which stands on line 2 already"),
        ("", "given an empty file"),
    ],
)
def test_a_list_that_is_none_is_refused_in_its_place(record: Record, tmp_path: Path, text: str, said: str) -> None:
    [first, *_] = refused(record, write(tmp_path, text), "magnet")
    assert first.removeprefix(f"{tmp_path / 'list.csv'}: ") == said


def test_bytes_that_are_no_text_are_told_with_their_line(record: Record, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(b"serial,kind\nQ-1,q\nQ-2,gr\xfcn\n")
    assert refused(record, path, "magnet") == ["line 3: given byte 0xfc"]


def test_a_toml_list_holds_several_kinds_and_its_faults_name_the_line(record: Record, tmp_path: Path) -> None:
    good = """[[instrument]]
name = "T1"
kind = "tracker"
[[calibration]]
instrument = "T1"
made_on = 2031-01-05
valid_until = 2032-01-05
[[person]]
name = "ada"
roles = ["engineer", "surveyor"]
"""
    found = enter_list(record, write(tmp_path, good, "a.toml"), "", CONTEXT, HAND)
    assert [e.draft.kind for e in found.new] == ["instrument", "calibration", "person"]
    with record.reading() as connection:
        assert connection.execute(select(PERSON.c.roles)).scalar_one() == "engineer; surveyor"
    bad = good + '[[calibration]]\ninstrument = "T2"\nmade_on = 2031-01-05\n'
    assert refused(record, write(tmp_path, bad, "b.toml"), "") == [
        "line 11, column valid_until: given no valid_until",
        "line 11, column instrument: given 'T2'",
    ]


def test_a_statement_is_corrected_and_taken_back_by_its_id(record: Record) -> None:
    cells = {"girder": "G1", "words": "clamp torn"}
    [first] = enter_one(record, "nonconformance", cells, CONTEXT, HAND).new
    closed = cells | {"state": "closed", "decision": "renewed", "replaces": first.draft.id}
    [second] = enter_one(record, "nonconformance", closed, CONTEXT, HAND).new
    with record.reading() as connection:
        [row] = connection.execute(select(NONCONFORMANCE)).all()
    assert (row.state, row.decision, row.entry) == ("closed", "renewed", second.draft.id)
    taken = {"girder": "G1", "withdrawn": "another girder was meant", "replaces": second.draft.id}
    enter_one(record, "nonconformance", taken, CONTEXT, HAND)
    with record.reading() as connection:
        assert connection.execute(select(NONCONFORMANCE)).all() == []


def test_a_step_needs_an_instrument_that_is_known_and_a_note_needs_a_subject(record: Record) -> None:
    step = {"girder": "G1", "step": "lifted", "done_on": "2031-06-01"}
    with pytest.raises(Refused, match="column instrument: given 'T9'"):
        enter_one(record, "step", step | {"instrument": "T9"}, CONTEXT, HAND)
    with pytest.raises(Refused, match="given a note about nothing"):
        enter_one(record, "note", {"words": "dust"}, CONTEXT, HAND)
    with pytest.raises(Refused, match="given the kind 'sticker'"):
        enter_one(record, "sticker", {"words": "dust"}, CONTEXT, HAND)
    [note] = enter_one(record, "note", {"words": "dust"}, CONTEXT, HAND, subject="girder/G1").new
    enter_one(record, "step", step, CONTEXT, HAND)
    assert note.draft.subject == "girder/G1"
    with record.reading() as connection:
        assert [r.step for r in connection.execute(select(STEP))] == ["lifted"]


def test_the_ledger_refuses_a_body_that_lacks_what_its_kind_needs(record: Record) -> None:
    from monochord.store.ledger import append
    from tests.fleet_world import draft, when

    with pytest.raises(Refused, match="a step, column done_on: given no done_on"):
        append(record, [draft("step", "s", {"girder": "G1", "step": "lifted"})], when(0))
