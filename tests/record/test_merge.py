"""A tablet's queue is merged exactly once, whatever happened to it and to the clocks; nothing of it is lost."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count, pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monochord.job.context import Context
from monochord.job.record.clocks import Shown, shown_of
from monochord.job.record.merge import Merged, merge
from monochord.job.record.queue import line_of, parse, read_queue, seal_of
from monochord.job.record.queue_add import add_to_queue, close_queue
from monochord.job.record.take import Hand
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.files import has_file
from monochord.store.ledger import append, entries
from monochord.store.opening import Record
from monochord.store.retelling import told_differs

NOW = datetime(2031, 5, 7, 9, 30, tzinfo=UTC)
DESK = Hand("eva", "desk")


def at(seconds: float) -> str:
    return stamp(NOW + timedelta(seconds=seconds))


def context_at(moment: datetime = NOW) -> Context:
    numbers: Iterator[int] = count(1)
    return Context(now=lambda: moment, new_id=lambda: f"id-{next(numbers)}")


def turned(
    name: str, made_at: str, bolt: str = "B3", device: str = "tablet 1", turns: float = 0.25, **more: object
) -> Draft:
    body = {"girder": "G07", "occasion": "tunnel-1", "bolt": bolt, "turns": turns, **more}
    return Draft(name, "turned", "girder/G07", made_at, "ada", device, body)


def written(path: Path, *lines: tuple[Draft, int], seal: float | None = None) -> Path:
    data = b"".join(line_of(draft, number) for draft, number in lines)
    device = lines[0][0].device
    path.write_bytes(data + (b"" if seal is None else seal_of(data, device, NOW + timedelta(seconds=seal))))
    return path


def five(device: str = "tablet 1") -> list[tuple[Draft, int]]:
    return [(turned(f"{device}-{n}", at(60.0 * n - 900), f"B{n}", device), n) for n in range(1, 6)]


def kept(record: Record) -> list[Entry]:
    with record.reading() as connection:
        return [e for e in entries(connection) if e.draft.kind != "merged"]


def merges(record: Record) -> list[Entry]:
    with record.reading() as connection:
        assert told_differs(connection) == []
        return list(entries(connection, kind="merged"))


def said(found: Merged, words: str) -> list[str]:
    return [line for line in found.told if words in line]


def faults(found: Merged) -> list[str]:
    return [str(fault) for bad in found.refused for fault in bad.faults]


def test_a_queue_comes_once_however_often_it_is_brought(record: Record, tmp_path: Path) -> None:
    path = written(tmp_path / "t.jsonl", *five(), seal=-20)
    first = merge(record, path, context_at(), DESK, Shown(NOW))
    assert [e.draft for e in first.new] == [draft for draft, _ in five()]
    assert (first.known, first.refused, first.beside) == (0, (), None)
    again = merge(record, path, context_at(NOW + timedelta(hours=1)), Hand("ben", "other"))
    assert (again.new, again.known, again.told) == ((), 5, ())
    [note] = merges(record)
    body = note.draft.body
    assert note.draft.subject == "device/tablet 1"
    assert (body["have"], body["sent_at"]) == ([[1, 5]], at(-20))
    assert body["entries"] == [[n, f"tablet 1-{n}"] for n in range(1, 6)]
    assert body["ahead"] == {"least_s": 0.0, "most_s": 31.0, "at": at(0)}
    assert has_file(record, str(body["files"][0]["sha256"]))  # type: ignore[index]


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cuts=st.lists(st.floats(0, 1), min_size=1, max_size=4).map(sorted),
    order=st.lists(st.integers(0, 4), max_size=8),
)
def test_pieces_in_any_order_and_number_bring_every_whole_line_once(
    record: Record, tmp_path: Path, cuts: list[float], order: list[int]
) -> None:
    name = f"tablet {len(merges(record))}"  # a device of its own for every example
    whole = written(tmp_path / "t.jsonl", *five(name), seal=-20).read_bytes()
    ends = [0, *(round(cut * len(whole)) for cut in cuts), len(whole)]
    pieces = [whole[a:b] for a, b in pairwise(ends)]
    brought = [*(pieces[number % len(pieces)] for number in order), whole, *pieces]
    for number, piece in enumerate(brought):
        path = tmp_path / f"piece-{number}.jsonl"
        path.write_bytes(piece)
        merge(record, path, context_at(), DESK)
    mine = [e.draft for e in kept(record) if e.draft.device == name]
    assert sorted(mine, key=lambda d: d.id) == [draft for draft, _ in five(name)]
    [last] = [m for m in merges(record) if m.draft.body["device"] == name][-1:]
    assert last.draft.body["have"] == [[1, 5]]


def test_a_half_transferred_queue_is_seen_and_its_whole_lines_are_kept(record: Record, tmp_path: Path) -> None:
    whole = written(tmp_path / "t.jsonl", *five(), seal=-20).read_bytes()
    half = tmp_path / "half.jsonl"
    half.write_bytes(whole[: whole.index(b'"tablet 1-4"') + 30])
    found = merge(record, half, context_at(), DESK)
    assert len(found.new) == 3
    assert said(found, "the queue was not closed")
    assert "half.jsonl, line 4, column " in faults(found)[0]
    assert "the queue seems cut off; bring it again" in faults(found)[0]
    lacks_head = tmp_path / "tail.jsonl"
    lacks_head.write_bytes(whole[whole.index(b"\n") + 1 :])
    found = merge(record, lacks_head, context_at(), DESK)
    assert (len(found.new), found.known) == (2, 2)
    assert said(found, "line 5 closes a queue of 5 lines that are not those before it")
    changed = tmp_path / "changed.jsonl"
    changed.write_bytes(whole.replace(b'"turns": 0.25', b'"turns": 0.5', 1))
    assert said(merge(record, changed, context_at(), DESK), "line 6 closes a queue of 5 lines that are not those")
    assert not said(merge(record, tmp_path / "t.jsonl", context_at(), DESK), "closes")


def test_changed_ends_of_lines_do_not_break_the_close(tmp_path: Path) -> None:
    whole = written(tmp_path / "t.jsonl", *five(), seal=-20).read_bytes()
    queue = parse(b"\xef\xbb\xbf" + whole.replace(b"\n", b"\r\n"), "t.jsonl")
    assert [seal.whole for seal in queue.seals] == [True]
    assert len(queue.entries) == 5


def test_an_id_with_another_content_is_refused_by_name_and_the_rest_goes_on(record: Record, tmp_path: Path) -> None:
    lines = five()
    merge(record, written(tmp_path / "t.jsonl", *lines), context_at(), DESK)
    other = turned("tablet 1-2", at(-780), "B2", turns=0.5)
    path = written(tmp_path / "u.jsonl", (other, 2), (turned("new", at(-10), "B9"), 6))
    found = merge(record, path, context_at(), DESK)
    assert [e.draft.id for e in found.new] == ["new"]
    [fault] = faults(found)
    assert (
        fault.startswith("given the id tablet 1-2 of entry 2 with another content")
        or "u.jsonl, line 1, column id" in fault
    )
    assert "body.turns 0.25 there, 0.5 here" in fault
    assert found.beside is not None
    assert found.beside.read_bytes() == path.read_bytes().split(b"\n")[0] + b"\n"
    assert kept(record)[1].draft.body["turns"] == 0.25
    again = merge(record, path, context_at(), DESK)
    assert (again.beside, len(list(tmp_path.glob("u.refused*")))) == (found.beside, 1)


def test_gaps_and_repeats_of_the_running_number_are_told_and_close(record: Record, tmp_path: Path) -> None:
    lines = five()
    found = merge(record, written(tmp_path / "a.jsonl", lines[0], lines[3]), context_at(), DESK)
    assert said(found, "missing of tablet 1: the running numbers 2 to 3")
    found = merge(record, written(tmp_path / "b.jsonl", lines[1], lines[4]), context_at(), DESK)
    assert said(found, "missing of tablet 1: the running numbers 3; ")
    found = merge(record, written(tmp_path / "c.jsonl", lines[2]), context_at(), DESK)
    assert said(found, "that were missing have come")
    twin = (turned("other-3", at(-5), "B8"), 3)
    found = merge(record, written(tmp_path / "d.jsonl", twin), context_at(), DESK)
    assert said(
        found, "number 3 of tablet 1 came before under the id tablet 1-3, now under other-3: two devices bear the name"
    )
    pair = [(turned("x", at(-4), "B7"), 6), (turned("y", at(-3), "B6"), 6)]
    found = merge(record, written(tmp_path / "e.jsonl", *pair), context_at(), DESK)
    assert said(found, "number 6 of tablet 1 stands on line 1 and on line 2 under two ids")
    assert len(kept(record)) == 8  # all are kept


def test_a_line_without_a_number_is_kept_and_told(record: Record, tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    path.write_bytes(line_of(turned("a", at(-60)), 1).replace(b'"n": 1, ', b""))
    found = merge(record, path, context_at(), DESK)
    assert len(found.new) == 1
    assert said(found, "line 1: no running number")


GOOD = json.loads(line_of(turned("good", at(-60)), 1))


#: Lines that cannot be kept -> what is told.
DAMAGED = [
    (b"\xff\xfe", "column 1: given the byte ff, which is no UTF-8"),
    (b'{"n": 1, "id": "a" "b"}', ", column 20: "),
    (b"[1, 2]", "expected one JSON object"),
    (b'{"id": "a", "id": "b"}', "the key 'id' twice"),
    (json.dumps({**GOOD, "extra": 1}).encode(), "column extra: given the key 'extra'"),
    (json.dumps({**GOOD, "body": {**GOOD["body"], "turns": 1}}).replace("1}", "NaN}", 1).encode(), "given NaN"),
    (json.dumps(GOOD).replace("0.25", "1e999").encode(), "a number too large"),
    (json.dumps({**GOOD, "made_by": "\ud800"}).encode(), "half of a sign"),
    (json.dumps({**GOOD, "made_by": "a\0"}).encode(), "column made_by"),
    (json.dumps({**GOOD, "id": "x" * 65}).encode(), "column id: given 65 letters; expected at most 64"),
    (json.dumps({**GOOD, "made_at": "2031-05-07 09:30"}).encode(), "column made_at"),
    (json.dumps({**GOOD, "n": 0}).encode(), "column n: given the running number 0"),
    (json.dumps({**GOOD, "body": []}).encode(), "column body: given no body"),
    (json.dumps({**GOOD, "kind": "run"}).encode(), "column kind: given a run"),
    (json.dumps({**GOOD, "subject": "girder/G08"}).encode(), "column subject: given the subject 'girder/G08'"),
    (
        json.dumps({**GOOD, "body": {"girder": "G07", "bolt": "B1", "turns": 1.0}}).encode(),
        "column occasion: given no occasion",
    ),
    (json.dumps({**GOOD, "replaces": "never"}).encode(), "expected an entry that is in the record"),
    (b'{"sha256": "ab", "lines": "x"}', "column lines"),
    (b"[" * 100_000, "nested too deeply"),
    (b"\0" * 40, "column 1: given"),
]


def test_damaged_lines_are_told_with_their_place_and_written_beside_and_the_rest_is_kept(
    record: Record, tmp_path: Path
) -> None:
    path = tmp_path / "t.jsonl"
    good = [line_of(turned(f"good-{n}", at(n - 90.0), f"B{n}"), n + 1) for n in range(len(DAMAGED) + 1)]
    bad = [line + b"\n" for line, _ in DAMAGED]
    path.write_bytes(b"".join(a + b for a, b in zip(good, [*bad, b""], strict=True)))
    found = merge(record, path, context_at(), DESK)
    assert [e.draft.id for e in found.new] == [f"good-{n}" for n in range(len(good))]
    for number, (told, fault) in enumerate(zip((told for _, told in DAMAGED), faults(found), strict=True)):
        assert f"t.jsonl, line {2 * number + 2}" in fault
        assert told in fault
    assert found.beside is not None
    assert found.beside.read_bytes() == b"".join(bad)


def test_corrections_are_kept_after_what_they_correct_wherever_they_stand(record: Record, tmp_path: Path) -> None:
    first = turned("first", at(-60))
    second = Draft(
        "second", "turned", "girder/G07", at(-50), "ada", "tablet 1", {**first.body, "turns": -0.25}, "first"
    )
    rings = [Draft(a, "note", "girder/G07", at(-40), "ada", "tablet 1", {"words": a}, b) for a, b in ("xy", "yx")]
    path = written(tmp_path / "t.jsonl", (second, 2), (first, 1), (rings[0], 3), (rings[1], 4))
    found = merge(record, path, context_at(), DESK)
    assert [e.draft.id for e in found.new] == ["first", "second"]
    assert [bad.line for bad in found.refused] == [3, 4]


def test_the_clock_that_was_compared_is_told_and_kept(record: Record, tmp_path: Path) -> None:
    path = written(tmp_path / "t.jsonl", *five(), seal=110)
    found = merge(record, path, context_at(), DESK, Shown(NOW + timedelta(seconds=120)))
    assert said(found, "the clock of tablet 1 is ahead of the record's by 120 s to 151 s")
    assert not said(found, "future")
    assert merges(record)[0].draft.body["clock_shown"] == at(120)
    assert merges(record)[0].draft.body["told"] == list(found.told)


def test_entries_from_the_future_tell_of_a_wrong_clock(record: Record, tmp_path: Path) -> None:
    path = written(tmp_path / "t.jsonl", (turned("a", at(-60)), 1), (turned("b", at(7200)), 2), seal=7300)
    found = merge(record, path, context_at(), DESK)
    assert said(found, "the clock of tablet 1 is ahead of the record's by at least 2.0 h")
    assert said(found, "1 entry of tablet 1 from the future, the latest line 2")
    assert len(found.new) == 2


def test_a_clock_set_back_is_told(record: Record, tmp_path: Path) -> None:
    lines = [(turned("a", at(-60)), 1), (turned("b", at(-3660), "B4"), 2), (turned("c", at(30), "B5"), 3)]
    found = merge(record, written(tmp_path / "t.jsonl", *lines), context_at(), DESK, Shown(NOW))
    assert said(found, "was set back between its numbers 1 and 2")
    assert said(found, "bear later times than its clock shows")


@pytest.mark.parametrize(
    ("shown", "told"),
    [(None, "one of the clocks was wrong"), (Shown(NOW), "also when what is known of both clocks is allowed for")],
)
def test_an_entry_before_what_it_refers_to_is_told(
    record: Record, tmp_path: Path, shown: Shown | None, told: str
) -> None:
    before = Draft("found", "note", "girder/G07", at(-600), "eva", "desk", {"words": "loose foot"})
    append(record, [before], NOW - timedelta(seconds=600))
    answer = Draft("answer", "note", "girder/G07", at(-900), "ada", "tablet 1", {"words": "tight", "about": ["found"]})
    found = merge(record, written(tmp_path / "t.jsonl", (answer, 1)), context_at(), DESK, shown)
    assert said(found, "comes before entry 1 of")
    assert said(found, told)
    later = Draft("later", "note", "girder/G07", at(-300), "ada", "tablet 1", {"words": "tight", "about": ["found"]})
    found = merge(record, written(tmp_path / "u.jsonl", (later, 2)), context_at(), DESK, shown)
    assert not said(found, "comes before")


def test_an_order_that_the_clocks_leave_open_is_told_and_one_they_decide_is_not(record: Record, tmp_path: Path) -> None:
    one = written(tmp_path / "1.jsonl", (turned("a", at(-600)), 1), (turned("b", at(-600), "B4"), 2))
    assert not said(merge(record, one, context_at(), DESK, Shown(NOW)), "which came first")
    near = turned("c", at(-590), device="tablet 2", turns=-0.5)
    far = turned("d", at(-300), "B4", device="tablet 2", turns=-0.5)
    found = merge(record, written(tmp_path / "2.jsonl", (near, 1), (far, 2)), context_at(), DESK, Shown(NOW))
    [line] = said(found, "which came first cannot be decided")
    assert line.startswith("bolt B3 of girder/G07: which came first cannot be decided, line 1 of tablet 2")
    assert "its clock known to 31 s" in line
    unknown = turned("e", at(-300), "B4", device="tablet 3")
    found = merge(record, written(tmp_path / "3.jsonl", (unknown, 1)), context_at(), DESK)
    [line] = said(found, "which came first cannot be decided")
    assert "its clock was not compared" in line
    assert "1 more pairs" in line


def test_the_same_deed_on_two_tablets_is_told(record: Record, tmp_path: Path) -> None:
    lines = [(turned("a", at(-600)), 1), (turned("b", at(-595), device="tablet 2"), 1)]
    found = merge(record, written(tmp_path / "t.jsonl", *lines), context_at(), DESK, Shown(NOW))
    assert len(said(found, "perhaps one deed written down on two devices")) == 1
    assert [m.draft.body["device"] for m in merges(record)] == ["tablet 1", "tablet 2"]


def test_long_queues_come_in_goes(record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monochord.job.record.merge.TOGETHER", 2)
    merge(record, written(tmp_path / "t.jsonl", *five()), context_at(), DESK)
    assert [e.draft.id for e in kept(record)] == [f"tablet 1-{n}" for n in range(1, 6)]
    assert [m.draft.body["have"] for m in merges(record)] == [[[1, 2]], [[1, 4]], [[1, 5]]]


@pytest.mark.parametrize(
    ("text", "seconds", "step"),
    [
        ("2031-05-07T09:31:00Z", 60, 1.0),
        ("2031-05-07T11:31:15+02:00", 75, 1.0),
        ("2031-05-07T09:31Z", 60, 60.0),
    ],
)
def test_what_a_clock_shows_is_read_with_its_step(text: str, seconds: float, step: float) -> None:
    shown = shown_of(text, NOW)
    assert ((shown.at - NOW).total_seconds(), shown.step) == (seconds, step)


def test_a_clock_time_without_a_day_is_the_nearest_one() -> None:
    local = (NOW + timedelta(hours=1)).astimezone()
    assert shown_of(local.strftime("%H:%M:%S"), NOW).at == NOW + timedelta(hours=1)


Adder = Callable[..., tuple[int, Draft]]


@pytest.fixture
def adder(tmp_path: Path) -> Adder:
    context = context_at()

    def add(kind: str, **cells: str) -> tuple[int, Draft]:
        hand, subject = Hand("ada", "tablet 1"), cells.pop("about", "")
        return add_to_queue(tmp_path / "q.jsonl", kind, cells, context=context, hand=hand, subject=subject)

    return add


def test_a_queue_made_at_a_tablet_is_merged_as_it_was_stated(record: Record, tmp_path: Path, adder: Adder) -> None:
    path = tmp_path / "q.jsonl"
    made = [
        adder("turned", girder="G07", occasion="tunnel-1", bolt="B3", turns="-0.25"),
        adder("foot", girder="G07", occasion="tunnel-1", foot="F2", found="loose"),
    ]
    assert close_queue(path, "", context_at()) == 2
    with path.open("ab") as stream:
        stream.write(b'{"n": 3, "id": "half')  # the power failed
    made.append(adder("note", words="water under F2", about="girder/G07"))
    assert [number for number, _ in made] == [1, 2, 3]
    assert close_queue(path, "", context_at()) == 5
    assert close_queue(path, "", context_at()) == 5  # nothing came since
    assert [seal.whole for seal in read_queue(path).seals] == [True, True]
    found = merge(record, path, context_at(), DESK)
    assert [e.draft for e in found.new] == [draft for _, draft in made]
    assert [bad.line for bad in found.refused] == [4]


@pytest.mark.parametrize(
    ("kind", "cells", "told"),
    [
        ("turned", {"girder": "G07"}, "column occasion"),
        (
            "turned",
            {"girder": "G07", "occasion": "a", "bolt": "B", "turns": "inf"},
            "column turns: given inf; expected a number",
        ),
        (
            "foot",
            {"girder": "G07", "occasion": "a", "foot": "F", "found": "wet"},
            "one of loose, touching, tight, held down",
        ),
        ("note", {"words": "x"}, "what it is about"),
        ("run", {"girder": "G07"}, "state it at the record"),
        ("dream", {"girder": "G07"}, "one of girder"),
    ],
)
def test_what_would_be_refused_at_the_record_is_refused_at_the_tablet(
    tmp_path: Path, adder: Adder, kind: str, cells: dict[str, str], told: str
) -> None:
    with pytest.raises(Exception, match=told):
        adder(kind, **cells)
    assert not (tmp_path / "q.jsonl").exists() or (tmp_path / "q.jsonl").read_bytes() == b""
