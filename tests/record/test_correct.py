"""People who change the same thing at the same time see each other's changes before theirs are kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count

import pytest
from click.testing import CliRunner
from sqlalchemy import select

from monochord.cli.main import main
from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.correct import correct
from monochord.job.record.enter import enter_one
from monochord.job.record.take import Hand
from monochord.store.entry import Draft
from monochord.store.ledger import append, head, last_number
from monochord.store.opening import Record
from monochord.store.retelling import told_differs
from monochord.store.tables_told import STEP

NOW = datetime(2031, 6, 1, 7, 30, tzinfo=UTC)
ADA, BEN = Hand("ada", "bench"), Hand("ben", "tunnel")


@pytest.fixture
def context() -> Context:
    numbers: Iterator[int] = count()
    return Context(now=lambda: NOW, new_id=lambda: f"new-{next(numbers)}-abcdef")


@pytest.fixture
def step(record: Record, context: Context) -> str:
    [entry] = enter_one(record, "step", {"girder": "G7", "step": "lifted", "done_on": "2031-06-01"}, context, ADA).new
    return entry.draft.id


def told_days(record: Record) -> list[str]:
    with record.reading() as connection:
        assert told_differs(connection) == []
        return list(connection.scalars(select(STEP.c.done_on)))


def test_a_correction_takes_the_place_and_says_why(record: Record, context: Context, step: str) -> None:
    old, new = correct(record, "1", {"done_on": "2031-06-02"}, "after midnight", context=context, hand=BEN)
    assert (old.draft.id, new.draft.replaces, new.draft.made_by) == (step, step, "ben")
    assert new.draft.body == {"girder": "G7", "step": "lifted", "done_on": "2031-06-02", "why": "after midnight"}
    assert told_days(record) == ["2031-06-02"]
    _, third = correct(record, new.draft.id, {"words": "by crane"}, "said more", context=context, hand=ADA)
    assert third.draft.body["why"] == "said more"
    assert told_days(record) == ["2031-06-02"]


def test_the_second_who_corrects_is_told_what_the_first_wrote(record: Record, context: Context, step: str) -> None:
    correct(record, step, {"done_on": "2031-06-02"}, "after midnight", context=context, hand=BEN)
    with pytest.raises(
        Refused, match=r"entry 1, which ben corrected at 2031-06-01T07:30.* by entry 2: .*after midnight"
    ):
        correct(record, step[:8], {"done_on": "2031-05-31"}, "the day before", context=context, hand=ADA)
    assert head(record)[0] == 2


def test_what_is_taken_back_tells_nothing_any_more(record: Record, context: Context, step: str) -> None:
    correct(record, step, {}, "wrong girder", context=context, hand=BEN, withdraw=True)
    assert told_days(record) == []


def test_who_has_not_seen_the_last_entry_about_a_girder_is_told_of_it(
    record: Record, context: Context, step: str
) -> None:
    seen = last_number(record, "girder/G7")
    found = {"girder": "G7", "words": "clamp torn"}
    enter_one(record, "nonconformance", found, context, BEN, seen=seen)
    with pytest.raises(Refused, match=r"entry 2, a nonconformance by ben: .*clamp torn"):
        enter_one(record, "step", {"girder": "G7", "step": "shipped", "done_on": "2031-06-02"}, context, ADA, seen=seen)
    with pytest.raises(Refused, match="since entry 1: entry 2"):
        correct(record, step, {"words": "by crane"}, "said more", context=context, hand=ADA, seen=seen)
    assert enter_one(record, "nonconformance", found, context, BEN, seen=seen).known == 1  # a retry is no conflict
    correct(record, step, {"words": "by crane"}, "said more", context=context, hand=ADA, seen=2)
    assert head(record)[0] == 3


@pytest.mark.usefixtures("step")
@pytest.mark.parametrize(
    ("name", "cells", "said"),
    [
        ("9", {"words": "x"}, "no entry under '9'"),
        ("abc", {"words": "x"}, "no entry under 'abc'"),
        ("same-be", {"words": "x"}, "several entries under 'same-be'"),
        ("1", {"colour": "red"}, "the key 'colour'; expected one of done_on, girder, instrument, step, words"),
        ("1", {"done_on": "yesterday"}, "expected a day such as"),
        ("1", {"done_on": "2031-06-01"}, "the values that stand there"),
        ("1", {"girder": "G8"}, "girder/G8 in place of girder/G7"),
        ("4", {"about": "x"}, "a merged; expected what people state"),
    ],
)
def test_a_correction_that_does_not_fit_is_refused(
    record: Record, context: Context, name: str, cells: dict[str, str], said: str
) -> None:
    made = "2031-06-01T07:30:00.000000Z"
    append(
        record,
        [
            Draft("same-beginning-1", "note", "girder/G7", made, "ada", "bench", {"words": "a"}),
            Draft("same-beginning-2", "note", "girder/G7", made, "ada", "bench", {"words": "b"}),
            Draft("a-merge", "merged", "device/t", made, "ada", "bench", {"device": "t"}),
        ],
        NOW,
    )
    with pytest.raises(Refused, match=said):
        correct(record, name, cells, "why not", context=context, hand=BEN)
    assert head(record)[0] == 4


def test_the_command_corrects_and_says_by_which_entry(record: Record, address: str, step: str) -> None:
    command = ["record", "correct", "1", "done_on=2031-06-02", "--why", "after midnight", "--at", address]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 0, done.output
    assert "entry 2 takes the place of entry 1, a step about girder/G7; both stay" in done.output
    again = CliRunner().invoke(main, command)
    assert (again.exit_code, "corrected at" in again.output) == (3, True)
    neither = CliRunner().invoke(main, ["record", "correct", "2", "--why", "x", "--at", address])
    assert neither.exit_code == 2
