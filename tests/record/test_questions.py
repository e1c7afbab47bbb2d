"""What the fleet is asked: right against records made by hand, and with as many statements for one girder as for many."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from sqlalchemy import Connection, event, select

from monochord.campaign.found.charts import GirderState, Stay
from monochord.job.record.fleet_door import PAGE, QUESTIONS, Asked
from monochord.job.record.questions import charts, margins, stays
from monochord.job.record.states import instruments, states
from monochord.report.fleet.answer import answer_document, answer_lines, answers_page
from monochord.store.ledger import append
from monochord.store.opening import Record
from monochord.store.retelling import rebuild, told_differs
from monochord.store.tables_told import MEASURE, OCCASION, TOLD, VERDICT
from tests.fleet_world import Day, draft, fleet, keep_run, when

TODAY = date(2031, 6, 1)


def by_name(found: tuple[GirderState, ...]) -> dict[str, GirderState]:
    return {state.girder: state for state in found}


def asked(record: Record, question: Callable[[Connection], object]) -> int:
    """How many statements a question sends."""
    sent: list[str] = []

    def hear(_c: object, _k: object, statement: str, *_: object) -> None:
        if statement.lstrip().upper().startswith(("SELECT", "WITH")):
            sent.append(statement)

    with record.reading() as connection:
        event.listen(record.engine, "before_cursor_execute", hear)
        try:
            question(connection)
        finally:
            event.remove(record.engine, "before_cursor_execute", hear)
    return len(sent)


def test_a_question_sends_as_many_statements_for_one_girder_as_for_many(record: Record) -> None:
    def counts() -> dict[str, int]:
        return {name: asked(record, lambda c, q=QUESTIONS[name]: q(c, Asked(today=TODAY))) for name in PAGE}  # type: ignore[misc]  # q is bound here

    fleet(record, 1)
    one = counts()
    fleet(record, 8)
    assert counts() == one
    assert max(one.values()) <= 9


def test_a_girder_waits_for_what_its_record_lacks(record: Record) -> None:
    good = [Day("1-bench", offsets={"Q1": (5e-6, 2e-6)})]
    keep_run(record, "ready", good)
    keep_run(record, "unsigned", good, signatures=1)
    keep_run(record, "bad", [Day("1-bench", offsets={"Q1": (31e-6, 2e-6)})])
    keep_run(record, "open", [Day("1-bench", offsets={"Q1": (29e-6, 2e-6)}, word="cannot be decided")])
    keep_run(record, "ridden", [*good, Day("2-road", ride=True)])
    keep_run(record, "lifted", good)
    keep_run(record, "torn", good)
    facts = [
        draft("occasion", "o", {"girder": "new", "name": "1-bench", "place": "hall", "files": []}),
        draft("step", "s", {"girder": "lifted", "step": "lifting", "done_on": "2031-04-01", "instrument": "T1"}),
        draft("nonconformance", "n", {"girder": "torn", "words": "clamp torn", "state": "open"}),
        draft("girder", "g", {"name": "empty"}),
    ]
    append(record, facts, when(9))
    with record.reading() as connection:
        found = by_name(states(connection))
    assert {name: state.waits for name, state in found.items()} == {
        "ready": (),
        "unsigned": ("a signature: 0 of 1 persons signed the run that tells its verdicts",),
        "bad": ("a correction: 1 of 2 verdicts of 1-bench do not conform",),
        "open": ("a better measurement: 2 of 2 verdicts of 1-bench cannot be decided",),
        "ridden": ("a verdict: 2-road came after the verdicts of 1-bench",),
        "lifted": (
            "a new measurement: lifting on 2031-04-01 came after the verdicts of 1-bench",
            "a calibration: T1 had none that was valid on 2031-04-01 (lifting)",
        ),
        "torn": ("a decision on an open non-conformance: clamp torn",),
        "new": ("a run that evaluates 1-bench",),
        "empty": ("its first measurement",),
    }
    assert list(found)[:2] == ["torn", "bad"]
    assert list(found)[-1] == "ready"


def test_a_signature_without_a_known_key_ends_no_wait(record: Record) -> None:
    run = keep_run(record, "G1", [Day("1-bench", offsets={"Q1": (5e-6, 2e-6)})], signatures=1)
    append(
        record, [draft("signature", "s", {"girder": "G1", "about": run, "person": "ada", "role": "engineer"})], when(1)
    )
    with record.reading() as connection:
        assert by_name(states(connection))["G1"].waits[0].startswith("a signature: 0 of 1 persons")


def test_a_nonconformance_that_is_closed_by_a_correction_is_waited_for_no_more(record: Record) -> None:
    keep_run(record, "G1", [Day("1-bench", offsets={"Q1": (5e-6, 2e-6)})])
    body = {"girder": "G1", "words": "clamp torn", "state": "open"}
    append(record, [draft("nonconformance", "n1", body)], when(1))
    closed = draft("nonconformance", "n2", body | {"state": "closed", "decision": "clamp renewed"}, replaces="n1")
    append(record, [closed], when(2))
    with record.reading() as connection:
        assert by_name(states(connection))["G1"].waits == ()


def test_margins_come_smallest_first_with_value_limit_and_run(record: Record) -> None:
    run = keep_run(record, "G1", [Day("1-bench", offsets={"Q1": (29e-6, 0.0)}), Day("2-road")])
    keep_run(record, "G2", [Day("1-bench", offsets={"Q1": (-33e-6, 12e-6)})])
    with record.reading() as connection:
        found = margins(connection)
        only = margins(connection, girder="G1", quantity="y")
    assert [(m.girder, m.quantity) for m in found] == [("G2", "x"), ("G1", "x"), ("G2", "y"), ("G1", "y")]
    np.testing.assert_allclose([m.margin for m in found], [-3e-6, 1e-6, 18e-6, 30e-6], rtol=1e-12)  # m, by hand
    np.testing.assert_allclose([m.share or 0.0 for m in found], [-0.1, 1 / 30, 0.6, 1.0], rtol=1e-9)
    assert [(m.quantity, m.run, m.occasion) for m in only] == [("y", run, "1-bench")]


def test_a_chart_has_its_values_in_time_order_with_limits_by_hand(record: Record) -> None:
    ride = (1.0, 3.0, 2.0, 4.0)  # um; mean 2.5, ranges 2, 1, 2: mean 5/3, limits 2.5 -+ 2.6587 * 5/3
    for i, move in enumerate(ride):
        days = [Day("1-bench", "hall"), Day("2-arrival", "tunnel", moves={"Q1": (move * 1e-6, 0.0)})]
        keep_run(record, f"G{i}", days, day=10 * i)
    with record.reading() as connection:
        [chart] = charts(connection, quantity="ride_own_move_x")
        [short] = charts(connection, quantity="ride_own_move_x", last=3)
    assert chart.limits is not None
    found = [chart.limits.centre, chart.limits.low, chart.limits.high]
    np.testing.assert_allclose(found, [2.5e-6, -1.93113e-6, 6.93113e-6], rtol=1e-5)
    np.testing.assert_allclose([v.value for v in chart.values], np.array(ride) * 1e-6)
    assert chart.values[0].u == pytest.approx(2e-6)  # the root of the variance in the document
    assert (chart.values[0].since, chart.values[0].run) == ("1-bench", "run of G0 on 0")
    assert ([v.girder for v in short.values], short.of) == (["G1", "G2", "G3"], 4)


def test_of_two_surveys_after_a_ride_only_the_first_tells_the_ride(record: Record) -> None:
    move = {"Q1": (1e-6, 0.0)}
    days = [
        Day("1", "hall"),
        Day("2", "road", ride=True),
        Day("3", "tunnel", moves=move),
        Day("4", "tunnel", moves=move),
    ]
    keep_run(record, "G1", days)
    wanted = select(MEASURE.c.occasion, MEASURE.c.quantity).where(MEASURE.c.quantity.like("%own_move_x"))
    with record.reading() as connection:
        found = {tuple(row) for row in connection.execute(wanted)}
    assert found == {("3", "ride_own_move_x"), ("4", "own_move_x")}


def test_what_changed_on_one_wire_is_no_difference_between_stringings(record: Record) -> None:
    change = {"Q1": (3e-6, 4e-6)}
    days = [Day("1", stringing="a"), Day("2", stringing="a", changes=change), Day("3", stringing="b", changes=change)]
    keep_run(record, "G1", days)
    with record.reading() as connection:
        [chart] = charts(connection, quantity="stringing_change_y")
    [value] = chart.values
    assert (value.occasion, value.since, value.value, value.u) == ("3", "2", 4e-6, 2e-6)


def test_rounds_at_the_bolts_are_counted_once_an_occasion(record: Record) -> None:
    files = [{"role": "turns", "path": "measured/1/turns.tsv"}]
    turned = [{"girder": "G1", "occasion": "2", "bolt": b, "turns": 0.5} for b in ("B1", "B2")]
    facts = [
        draft("occasion", "o1", {"girder": "G1", "name": "1", "files": files}),
        draft("occasion", "o2", {"girder": "G1", "name": "2", "files": []}, day=1),
        *(draft("turned", f"t{i}", body, day=2) for i, body in enumerate(turned)),
    ]
    append(record, facts, when(3))
    with record.reading() as connection:
        [chart] = charts(connection, quantity="rounds_at_bolts")
    assert [(v.girder, v.occasion, v.value) for v in chart.values] == [("G1", "2", 2.0)]


def test_the_latest_made_run_tells_an_occasion_in_whatever_order_runs_are_kept(record: Record) -> None:
    later = keep_run(record, "G1", [Day("1", offsets={"Q1": (7e-6, 0.0)})], day=9, first=0)
    keep_run(record, "G1", [Day("1", offsets={"Q1": (5e-6, 0.0)}), Day("2", offsets={"Q1": (1e-6, 0.0)})], day=3)
    with record.reading() as connection:
        rows = connection.execute(
            select(VERDICT.c.occasion, VERDICT.c.value, VERDICT.c.run).where(VERDICT.c.quantity == "x")
        )
        found = {row.occasion: (row.value, row.run) for row in rows}
    assert found == {"1": (7e-6, later), "2": (1e-6, "run of G1 on 3")}


def test_a_corrected_run_gives_way_and_what_it_does_not_tell_is_told_by_others(record: Record) -> None:
    both = [Day("1", offsets={"Q1": (5e-6, 0.0)}), Day("2", offsets={"Q1": (6e-6, 0.0)})]
    first = keep_run(record, "G1", both, day=1)
    wrong = keep_run(
        record, "G1", [Day("1", offsets={"Q1": (8e-6, 0.0)}), Day("2", offsets={"Q1": (9e-6, 0.0)})], day=2
    )
    right = keep_run(record, "G1", [Day("1", offsets={"Q1": (7e-6, 0.0)})], day=3, replaces=wrong)
    with record.reading() as connection:
        rows = connection.execute(
            select(VERDICT.c.occasion, VERDICT.c.value, VERDICT.c.run).where(VERDICT.c.quantity == "x")
        )
        found = {row.occasion: (row.value, row.run) for row in rows}
        assert told_differs(connection) == []
    assert found == {"1": (7e-6, right), "2": (6e-6, first)}


def test_an_occasion_without_a_clock_is_not_before_the_one_before_it(record: Record) -> None:
    keep_run(record, "G1", [Day("1"), Day("2")], day=5, clocks=False)
    keep_run(record, "G2", [Day("1")], day=6, first=2)
    with record.reading() as connection:
        rows = connection.execute(select(OCCASION.c.girder, OCCASION.c.at, OCCASION.c.timed_by)).all()
    assert {(r.girder, r.at[:10], r.timed_by) for r in rows} == {
        ("G1", "2031-03-07", "its entry"),
        ("G2", "2031-03-04", "its clock"),
    }


def test_a_magnet_is_where_it_was_placed_last_and_was_elsewhere_before(record: Record) -> None:
    def place(name: str, girder: str, since: str, until: str = "") -> None:
        body = {"serial": "Q-1", "girder": girder, "position": "Q1", "since": since, "until": until}
        append(record, [draft("placed", name, body)], when(1))

    append(record, [draft("magnet", "m", {"serial": "Q-1", "kind": "quadrupole"})], when(0))
    place("later", "G2", "2032-05-01")
    place("early", "G1", "2031-02-01")
    place("between", "G3", "2032-01-01", "2032-02-01")
    with record.reading() as connection:
        found = stays(connection, girder="G2")
    assert found == (
        Stay("Q-1", "quadrupole", "G1", "Q1", "2031-02-01", "2032-01-01"),
        Stay("Q-1", "quadrupole", "G3", "Q1", "2032-01-01", "2032-02-01"),
        Stay("Q-1", "quadrupole", "G2", "Q1", "2032-05-01", ""),
    )


def test_an_instrument_is_valid_to_the_last_day_of_its_latest_calibration(record: Record) -> None:
    append(record, [draft("instrument", n, {"name": n, "kind": "tracker"}) for n in ("T1", "T2", "T3")], when(0))
    calibrations = [
        ("T1", "2029-01-01", "2030-01-01"),
        ("T1", "2030-06-01", "2031-06-01"),
        ("T2", "2029-05-01", "2031-05-31"),
    ]
    bodies = [{"instrument": n, "made_on": a, "valid_until": b} for n, a, b in calibrations]
    append(record, [draft("calibration", f"c{i}", b) for i, b in enumerate(bodies)], when(0))
    with record.reading() as connection:
        found = {i.name: i.expired for i in instruments(connection, TODAY)}
    assert found == {"T1": False, "T2": True, "T3": None}


def rows(record: Record) -> dict[str, list[tuple[object, ...]]]:
    with record.reading() as connection:
        keys = {t.name: list(t.primary_key.columns) for t in TOLD}
        return {t.name: [tuple(r) for r in connection.execute(select(t).order_by(*keys[t.name]))] for t in TOLD}


def test_tables_built_anew_are_the_tables_that_were_told(record: Record) -> None:
    fleet(record, 4)
    keep_run(record, "G001", [Day("9-again", offsets={"Q1": (1e-6, 2e-6)})], day=50)
    withdrawn = {"withdrawn": "entered for the wrong girder", "girder": "G001"}
    facts = [
        draft("nonconformance", "n1", {"girder": "G001", "words": "rust", "state": "open"}),
        draft("nonconformance", "n2", withdrawn, replaces="n1"),
        draft("step", "s1", {"girder": "G002", "step": "lifting", "done_on": "2031-04-01"}),
    ]
    append(record, facts, when(60))
    before = rows(record)
    assert before["nonconformance"] == []
    assert len(before["step"]) == 1
    with record.writing() as connection:
        rebuild(connection)
    assert rows(record) == before


@pytest.mark.parametrize("seed", range(2))
def test_tables_built_anew_are_those_that_were_told_whatever_was_stated_corrected_and_taken_back(
    record: Record, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    last: dict[
        str, tuple[str, dict[str, object], str]
    ] = {}  # id of an uncorrected entry -> kind, body, subject's girder
    for i in range(25):
        girder = f"G{rng.integers(3)}"
        correct = [key for key in last if rng.random() < 0.5][:1]
        if rng.random() < 0.4:
            days = [Day(f"{k}", offsets={"Q1": (1e-6 * rng.integers(9), 0.0)}) for k in range(rng.integers(1, 4))]
            old = [key for key in correct if last[key][0] == "run"]
            owner = last[old[0]][2] if old else girder
            made = keep_run(
                record, owner, days, day=int(rng.integers(60)), name=f"r{i}", replaces=old[0] if old else None
            )
            if old:
                del last[old[0]]
            last[made] = ("run", {}, owner)
        elif correct and last[correct[0]][0] != "run":
            kind, body, _ = last.pop(correct[0])
            changed: dict[str, object] = (
                {**body, "withdrawn": "wrong"} if rng.random() < 0.5 else {**body, "words": f"w{i}"}
            )
            append(record, [draft(kind, f"c{i}", changed, replaces=correct[0])], when(i))
            if "withdrawn" not in changed:
                last[f"c{i}"] = (kind, changed, "")
        else:
            kind = ("step", "nonconformance", "turned")[rng.integers(3)]
            body = {"girder": girder, "step": "lifting", "done_on": "2031-04-01", "words": "rust", "state": "open"}
            body |= {"occasion": "1", "bolt": "B1", "turns": float(i)}
            append(record, [draft(kind, f"f{i}", body)], when(i))
            last[f"f{i}"] = (kind, body, "")
    before = rows(record)
    with record.writing() as connection:
        assert told_differs(connection) == []
        rebuild(connection)
    assert rows(record) == before


def test_a_table_that_was_tampered_with_is_named_by_table_row_and_column(record: Record) -> None:
    fleet(record, 2)
    with record.writing() as connection:
        connection.execute(
            VERDICT.update().where(VERDICT.c.girder == "G001", VERDICT.c.magnet == "Q1").values(margin=1.0)
        )
        connection.execute(OCCASION.delete().where(OCCASION.c.girder == "G000", OCCASION.c.name == "1-bench"))
    with record.reading() as connection:
        found = told_differs(connection)
    assert "table occasion, row G000, 1-bench: missing, though the ledger tells it" in found
    assert "table verdict, row G001, 1-bench, Q1, x: margin not as the ledger tells" in found
    with record.writing() as connection:
        rebuild(connection)
        assert told_differs(connection) == []


def test_every_answer_is_a_sentence_first_then_tables_and_a_page_without_links_to_the_outside(record: Record) -> None:
    fleet(record, 4)
    with record.reading() as connection:
        answers = [QUESTIONS[name](connection, Asked(today=TODAY)) for name in PAGE]
    for answer in answers:
        assert answer_lines(answer)[0] == answer.sentence
        assert f'"question": "{answer.ident}"' in answer_document(answer)
    page = answers_page(answers)
    assert all(f'<section id="{answer.ident}"' in page for answer in answers)
    assert "http" not in page.replace("http://www.w3.org", "")
    assert ", run run of G" in page  # the run behind a number, by the first letters of its id
