"""Comparisons, plans and verdicts in the document: whole, strict, true to the nouns, held to the schema."""

from __future__ import annotations

import copy
import json
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.result import Result
from monochord.ground.frames import rotation_from_vector
from monochord.report.document import document_text, result_document
from monochord.report.schema import document_faults

Document = dict[str, Any]
THREE = {"conforms", "does not conform", "cannot be decided"}
SIX = ("dx", "dy", "dz", "rx", "ry", "rz")


@pytest.fixture(scope="module")
def document(invented: Result) -> Document:
    return result_document(invented)


def test_own_moves_carry_six_numbers_and_their_covariance(invented: Result, document: Document) -> None:
    for found, part in zip(invented.comparisons, document["comparisons"], strict=True):
        assert (part["from"], part["to"]) == (found.start, found.end)
        for move in found.own_moves:
            told = part["own_moves"][move.magnet]
            unknown = [k for k, v in enumerate(move.estimate.value) if np.isnan(v)]
            assert [told[q] is None for q in SIX] == [k in unknown for k in range(6)]
            known = [k for k in range(6) if k not in unknown]
            assert [told[SIX[k]] for k in known] == move.estimate.value[known].tolist()
            cov = np.array(told["cov"], float)  # None becomes NaN
            assert cov.shape == (6, 6)
            np.testing.assert_array_equal(cov[np.ix_(known, known)], move.estimate.cov[np.ix_(known, known)])
            assert np.isnan(cov[unknown]).all()
            assert np.isnan(cov[:, unknown]).all()


def test_whether_a_magnet_moved_has_three_answers(document: Document) -> None:
    moves = document["comparisons"][1]["own_moves"]

    assert moves["SA2"]["found"] is True
    assert moves["QB1"]["found"] is False
    assert moves["QA1"]["found"] == "cannot be told apart"


def test_an_unknown_component_is_null_with_its_reason(document: Document) -> None:
    told = document["comparisons"][1]["own_moves_from_targets"]["SA1"]

    assert told["rz"] is None
    assert told["reasons"] == {"rz": "targets do not tell it", "cov": "null where targets do not tell it"}


def test_the_parts_of_a_comparison_are_told(invented: Result, document: Document) -> None:
    found, part = invented.comparisons[1], document["comparisons"][1]

    assert part["shape"]["sag"]["size"] == found.shape[0].size
    assert part["shape"]["twist"]["unit"] == "rad"
    assert part["targets_moved"]["G3L"]["x"] == found.targets_moved[0].move[0]
    assert part["targets_moved"]["G3L"]["found"] is True
    assert part["closure"]["dof"] == 6
    assert part["closure"]["offsets"]["SA2"]["u_y"] == pytest.approx(2.3e-6)
    np.testing.assert_allclose(
        part["rigid"]["rotation"], rotation_from_vector(np.array([2e-5, -1e-5, 4e-5])), rtol=0, atol=0
    )
    assert part["scale"] == -0.4e-6
    assert part["sentence"] == found.sentence
    assert document["comparisons"][0]["closure"] is None
    assert document["comparisons"][0]["reasons"]["closure"].startswith("the change by the wire")


def test_causes_of_the_same_name_are_all_kept(invented: Result) -> None:
    found = invented.comparisons[0]
    sag = found.shape[0]
    twice = replace(found, shape=(sag, replace(sag, size=1e-6), replace(sag, size=2e-6)))
    document: Document = result_document(replace(invented, comparisons=(twice,)))

    assert [p["size"] for p in document["comparisons"][0]["shape"].values()] == [sag.size, 1e-6, 2e-6]
    assert document_faults(document) == ()


def test_plans_are_those_of_the_nouns(invented: Result, document: Document) -> None:
    for plan, part in zip(invented.plans, document["plans"], strict=True):
        assert part["turns"] == dict(plan.turns)
        assert part["sense"] == dict(plan.senses)
        assert part["first"] == list(plan.first)
        assert part["loads_before"] == dict(plan.loads_before)
        assert part["loads_after"] == dict(plan.loads_after)
        for key in ("offsets_before", "offsets_after", "shape_before", "shape_after"):
            estimate = getattr(plan, key)
            for name, value, u in zip(estimate.names, estimate.value, estimate.u, strict=True):
                magnet, plane = name.split(".")
                if np.isnan(value):
                    assert part[key][magnet][plane] is None
                    assert part[key][magnet]["reasons"][plane]
                else:
                    assert part[key][magnet][plane] == value
                    assert part[key][magnet][f"u_{plane}"] == pytest.approx(u, rel=1e-12)
    assert document["plans"][0]["curable_share"] == 0.83
    assert document["plans"][1]["curable_share"] is None
    assert document["plans"][1]["reasons"]["curable_share"] == "there is nothing to cure"
    assert document["plans"][1]["do_nothing"] is True


def test_a_load_that_is_not_known_is_null_with_its_reason(invented: Result) -> None:
    plan = invented.plans[0]
    blind = replace(plan, loads_before={**plan.loads_before, "V1L": float("nan")}, left_after_95=float("inf"))
    document: Document = result_document(replace(invented, plans=(blind,)))

    part = document["plans"][0]
    assert part["loads_before"]["V1L"] is None
    assert part["reasons"]["loads_before.V1L"]
    assert part["left_after_95"] is None
    assert document_faults(document) == ()


def test_verdicts_are_told_by_occasion_magnet_and_quantity(invented: Result, document: Document) -> None:
    told = document["verdicts"]

    assert list(told) == ["1-bench", "3-restored"]
    for found in invented.verdicts:
        part = told[found.occasion][found.magnet][found.quantity]
        assert (part["limit"], part["rule"], part["limits_by"]) == (found.limit, found.rule, found.limit_by)
        assert part["verdict"] == found.verdict
        if np.isfinite(found.value):
            assert (part["offset"], part["u"]) == (found.value, found.u)
            assert (part["probability"], part["guard"]) == (found.probability, found.guard)
    assert sum(len(q) for o in told.values() for q in o.values()) == len(invented.verdicts)
    assert set(Counter(v.verdict for v in invented.verdicts)) == THREE


def test_what_is_not_known_cannot_be_decided(invented: Result, document: Document) -> None:
    part = document["verdicts"]["3-restored"]["SA1"]["roll"]
    assert part["offset"] is part["u"] is part["probability"] is None
    assert part["verdict"] == "cannot be decided"
    assert part["reasons"]["offset"] == "needs scans in both planes in one mode"

    # also when the verdict itself says otherwise
    first = invented.verdicts[0]
    bold = replace(first, value=float("nan"), verdict="conforms", evidence="")
    told: Document = result_document(replace(invented, verdicts=(bold,)))
    entry = told["verdicts"][first.occasion][first.magnet][first.quantity]
    assert entry["verdict"] == "cannot be decided"
    assert entry["reasons"]["offset"] == "no value was found"
    assert document_faults(told) == ()


def test_of_two_limits_the_tighter_is_told(invented: Result) -> None:
    first = invented.verdicts[0]
    wide, tight = replace(first, limit=40e-6), replace(first, limit=20e-6, limit_by="the tighter")
    for order in ((wide, tight), (tight, wide)):
        document: Document = result_document(replace(invented, verdicts=order))
        assert document["verdicts"][first.occasion][first.magnet][first.quantity]["limits_by"] == "the tighter"


def test_parts_without_anything_say_why(invented: Result) -> None:
    document: Document = result_document(replace(invented, comparisons=(), plans=(), verdicts=()))

    assert (document["comparisons"], document["plans"], document["verdicts"]) == ([], [], {})
    assert document["reasons"]["verdicts"] == "no occasion gave a value that a limit is declared for"
    assert document["reasons"]["comparisons"]
    assert document["reasons"]["plans"]
    free = replace(invented, verdicts=(), campaign=replace(invented.campaign, tolerances=()))
    assert result_document(free)["reasons"]["verdicts"] == "no tolerance is declared"  # type: ignore[index]


def test_the_text_stays_strict(document: Document) -> None:
    assert json.loads(document_text(document), parse_constant=pytest.fail) == document


def test_what_offsets_rest_on_is_told(invented: Result, document: Document) -> None:
    assert document["occasions"]["3-restored"]["line"]["evidence"] == "wire"
    assert document["occasions"]["2-arrived"]["line"]["evidence"] is None
    carried = replace(invented.occasions[0], line_evidence="axes of 0-x carried by targets")
    told: Document = result_document(replace(invented, occasions=(carried,)))
    assert told["occasions"]["1-bench"]["line"]["evidence"] == "axes of 0-x carried by targets"


def _fourth_word(d: Document) -> None:
    d["verdicts"]["1-bench"]["QA1"]["x"]["verdict"] = "nearly conforms"


def _bold_verdict(d: Document) -> None:
    d["verdicts"]["3-restored"]["SA1"]["roll"]["verdict"] = "conforms"


def _null_offset(d: Document) -> None:
    d["verdicts"]["1-bench"]["QA1"]["x"]["offset"] = None


def _sure_beyond_one(d: Document) -> None:
    d["verdicts"]["1-bench"]["QA1"]["x"]["probability"] = 1.2


def _strange_quantity(d: Document) -> None:
    d["verdicts"]["1-bench"]["QA1"]["xx"] = d["verdicts"]["1-bench"]["QA1"].pop("x")


def _narrow_cov(d: Document) -> None:
    d["comparisons"][1]["own_moves"]["SA2"]["cov"].pop()


def _perhaps_moved(d: Document) -> None:
    d["comparisons"][1]["own_moves"]["SA2"]["found"] = "perhaps"


def _closure_gone(d: Document) -> None:
    d["comparisons"][1]["closure"] = None


def _shape_in_mm(d: Document) -> None:
    d["comparisons"][1]["shape"]["sag"]["unit"] = "mm"


def _target_without_u(d: Document) -> None:
    del d["comparisons"][1]["targets_moved"]["G3L"]["u_z"]


def _idle_plan_turns(d: Document) -> None:
    d["plans"][1]["turns"]["V1L"] = 0.5


def _loose_without_steps(d: Document) -> None:
    d["plans"][0]["first"] = []


def _share_in_percent(d: Document) -> None:
    d["plans"][0]["curable_share"] = 83.0


def _plan_without_sentence(d: Document) -> None:
    del d["plans"][0]["sentence"]


@pytest.mark.parametrize(
    ("spoil", "place"),
    [
        (_fourth_word, "verdicts.1-bench.QA1.x.verdict"),
        (_bold_verdict, "verdicts.3-restored.SA1.roll.verdict"),
        (_null_offset, "verdicts.1-bench.QA1.x"),
        (_sure_beyond_one, "verdicts.1-bench.QA1.x.probability"),
        (_strange_quantity, "verdicts.1-bench.QA1"),
        (_narrow_cov, "comparisons.1.own_moves.SA2.cov"),
        (_perhaps_moved, "comparisons.1.own_moves.SA2.found"),
        (_closure_gone, "comparisons.1"),
        (_shape_in_mm, "comparisons.1.shape.sag.unit"),
        (_target_without_u, "comparisons.1.targets_moved.G3L"),
        (_idle_plan_turns, "plans.1.turns.V1L"),
        (_loose_without_steps, "plans.0.first"),
        (_share_in_percent, "plans.0.curable_share"),
        (_plan_without_sentence, "plans.0"),
    ],
)
def test_a_broken_document_is_found_at_its_place(
    document: Document, spoil: Callable[[Document], None], place: str
) -> None:
    broken = copy.deepcopy(document)
    spoil(broken)

    faults = {fault.column for fault in document_faults(broken)}

    # where other nulls have their reasons already, the reason that lacks is missed among them
    assert place in faults or f"{place}.reasons" in faults
    # a null offset may also be found by what hangs on it
    assert all(str(fault).startswith(place) for fault in faults)
