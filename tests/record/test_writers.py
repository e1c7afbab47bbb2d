"""Several writers append, merge and correct in any order: nothing is lost, nothing comes twice, the order stays."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.correct import correct
from monochord.job.record.merge import merge
from monochord.job.record.queue import line_of
from monochord.job.record.take import Hand
from monochord.store.copying import faults_of
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.ledger import append, entries, head, last_number
from monochord.store.making import open_record
from monochord.store.opening import Record
from monochord.store.retelling import told_differs

NOW = datetime(2031, 3, 2, 7, 30, tzinfo=UTC)
WRITERS, TABLETS, SUBJECTS = ("ada", "ben", "eva"), ("tablet 1", "tablet 2"), ("1", "2")
#: Ids and girders of an example of its own in the one record of a test.
EXAMPLES = count()

writers, tablets, subjects = (st.sampled_from(names) for names in (WRITERS, TABLETS, SUBJECTS))
which = st.integers(0, 1000)


class Writers(RuleBasedStateMachine):
    """The record against a list of what must be in it."""

    def __init__(self, record: Record, folder: Path) -> None:
        super().__init__()
        self.record, self.folder, self.example = record, folder, next(EXAMPLES)
        self.before = head(record)[0]
        self.numbers: Iterator[int] = count()
        self.kept: list[Draft] = []
        self.queues: dict[str, list[Draft]] = {name: [] for name in TABLETS}
        self.seen: dict[tuple[str, str], int] = {}
        self.merges = 0

    def draft(self, writer: str, subject: str, replaces: Draft | None = None) -> Draft:
        number = next(self.numbers)
        about = replaces.subject if replaces else f"girder/{self.example}-{subject}"
        made = stamp(NOW + timedelta(seconds=number))
        name = f"{self.example}-{number}"
        body = {"words": f"said {number}"}
        return Draft(name, "note", about, made, writer, writer, body, replaces.id if replaces else None)

    def replaced(self, draft: Draft) -> bool:
        return any(other.replaces == draft.id for other in self.kept)

    @rule(writer=writers, subject=subjects, several=st.integers(1, 3))
    def states(self, writer: str, subject: str, several: int) -> None:
        drafts = [self.draft(writer, subject) for _ in range(several)]
        append(self.record, drafts, NOW)
        self.kept += drafts

    @rule(writer=writers, subject=subjects)
    def looks(self, writer: str, subject: str) -> None:
        about = f"girder/{self.example}-{subject}"
        self.seen[writer, about] = last_number(self.record, about)

    @rule(writer=writers, subject=subjects)
    def states_what_it_thinks_is_the_next(self, writer: str, subject: str) -> None:
        draft = self.draft(writer, subject)
        seen = self.seen.get((writer, draft.subject), 0)
        there = last_number(self.record, draft.subject)
        if there == seen:
            append(self.record, [draft], NOW, seen={draft.subject: seen})
            self.kept.append(draft)
        else:
            with pytest.raises(Refused, match=f"since entry {seen}: entry "):
                append(self.record, [draft], NOW, seen={draft.subject: seen})

    @rule(writer=writers, number=which)
    def states_again(self, writer: str, number: int) -> None:
        if not self.kept:
            return
        draft = self.kept[number % len(self.kept)]
        [entry] = append(self.record, [draft], NOW)
        assert entry.draft == draft

    @rule(writer=writers, number=which)
    def states_another_fact_under_an_id(self, writer: str, number: int) -> None:
        if not self.kept:
            return
        draft = self.kept[number % len(self.kept)]
        other = Draft(draft.id, "note", draft.subject, draft.made_at, writer, writer, {"words": "other"})
        with pytest.raises(Refused, match="another fact under the id"):
            append(self.record, [self.draft(writer, "1"), other], NOW)

    @rule(writer=writers, number=which)
    def corrects(self, writer: str, number: int) -> None:
        if not self.kept:
            return
        old = self.kept[number % len(self.kept)]
        draft = self.draft(writer, "1", old)
        context = Context(now=lambda: NOW, new_id=lambda: draft.id)
        try:
            _, new = correct(
                self.record, old.id, {"words": f"{draft.id}!"}, "why", context=context, hand=Hand(writer, writer)
            )
        except Refused:
            assert self.replaced(old)
        else:
            assert not self.replaced(old)
            assert new.draft.replaces == old.id
            self.kept.append(new.draft)

    @rule(tablet=tablets, subject=subjects, number=which, several=st.integers(1, 4))
    def queues_up(self, tablet: str, subject: str, number: int, several: int) -> None:
        old = self.kept[number % len(self.kept)] if number % 2 and self.kept else None
        self.queues[tablet] += [self.draft(tablet, subject, old if n == 0 else None) for n in range(several)]

    @rule(tablet=tablets, first=st.sampled_from([0, 0, 0, 1, 2, 5]), length=st.integers(1, 8))
    def merges_a_piece(self, tablet: str, first: int, length: int) -> None:
        queue = self.queues[tablet]
        start = first % (len(queue) + 1)
        piece = list(enumerate(queue, start=1))[start : start + length]
        path = self.folder / "piece.jsonl"
        path.write_bytes(b"".join(line_of(draft, number) for number, draft in piece))
        new, refused = [], set[str]()
        for _, draft in piece:
            there = {d.id for d in self.kept}
            if draft.id not in there:
                old = next((d for d in self.kept if d.id == draft.replaces), None)
                if draft.replaces and (old is None or self.replaced(old)):
                    refused.add(draft.id)
                else:
                    new.append(draft)
                    self.kept.append(draft)
        found = merge(self.record, path, Context(now=lambda: NOW, new_id=lambda: ""), Hand("eva", "desk"))
        assert [entry.draft for entry in found.new] == new
        assert len(found.refused) == len(refused)
        self.merges += bool(new)

    @invariant()
    def holds_what_was_kept(self) -> None:
        with self.record.reading() as connection:
            there = list(entries(connection, after=self.before))
        assert [entry.draft for entry in there if entry.draft.kind != "merged"] == self.kept
        assert sum(entry.draft.kind == "merged" for entry in there) == self.merges
        assert [entry.number for entry in there] == list(range(self.before + 1, self.before + 1 + len(there)))

    def teardown(self) -> None:
        with self.record.reading() as connection:
            assert list(faults_of(connection)) == []
            assert told_differs(connection) == []


def test_writers_in_any_order_lose_nothing_and_double_nothing(record: Record, tmp_path: Path) -> None:
    class Here(Writers):
        def __init__(self) -> None:
            super().__init__(record, tmp_path)

    few = settings(max_examples=12, stateful_step_count=18, deadline=None, print_blob=False)
    run_state_machine_as_test(Here, settings=few)


def test_writers_at_the_same_time_lose_nothing_and_double_nothing(record: Record, address: str, tmp_path: Path) -> None:
    append(record, [_note("start")], NOW)
    said: dict[str, list[Entry]] = {}
    wrong: list[BaseException] = []

    def writes(name: str) -> None:
        mine = open_record(address)
        said[name] = []
        context = Context(now=lambda: NOW, new_id=lambda: f"{name}-c{len(said[name])}")
        try:
            for number in range(4):
                said[name] += append(mine, [_note(f"{name}-{number}")], NOW)
                append(mine, [_note(f"{name}-{number}")], NOW)  # an answer that was lost, and a retry
                path = tmp_path / f"{name}-{number}.jsonl"
                path.write_bytes(b"".join(line_of(_note(f"queued-{n}", "tablet"), n + 1) for n in range(number + 2)))
                said[name] += merge(mine, path, context, Hand(name, name)).new
                try:
                    said[name].append(
                        correct(mine, "start", {"words": name}, "why", context=context, hand=Hand(name, name))[1]
                    )
                except Refused as refused:
                    assert "corrected" in str(refused)  # noqa: PT017  # which of them is first is open
        except BaseException as error:
            wrong.append(error)
        finally:
            mine.engine.dispose()

    threads = [threading.Thread(target=writes, args=(name,)) for name in WRITERS]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    with record.reading() as connection:
        there = list(entries(connection))
        assert list(faults_of(connection)) == []
        assert told_differs(connection) == []
    facts = [entry for entry in there if entry.draft.kind != "merged"]
    acknowledged = [entry for mine in said.values() for entry in mine]
    assert sorted(entry.number for entry in facts[1:]) == sorted(entry.number for entry in acknowledged)
    assert {e.draft.id for e in facts} == {
        "start",
        *(f"{name}-{number}" for name in WRITERS for number in range(4)),
        *(f"queued-{number}" for number in range(5)),
        *(e.draft.id for e in facts if e.draft.replaces == "start"),
    }
    assert sum(entry.draft.replaces == "start" for entry in facts) == 1
    for mine in said.values():
        assert [entry.number for entry in mine] == sorted(entry.number for entry in mine)


def _note(name: str, device: str = "bench") -> Draft:
    return Draft(name, "note", "girder/G1", "2031-03-02T07:29:00.000000Z", "ada", device, {"words": name})
