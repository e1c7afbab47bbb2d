"""Forms, rules and shifts as the doors tell them: document, page, paper, screen and sentence, on invented offsets."""

from __future__ import annotations

import html
import json
from dataclasses import replace
from typing import Any

import pytest

from monochord.campaign.found.result import Result
from monochord.campaign.given.tolerance import PriorKnowledge, Tolerance
from monochord.job.sentence import whole_sentence
from monochord.job.verdicts import verdicts
from monochord.report.document import result_document
from monochord.report.page import page
from monochord.report.pdf import report_of
from monochord.report.schema import document_faults
from monochord.report.summary import LINES, summary
from monochord.report.summary_decisions import COLUMNS

UM = 1e-6
HALF = "about half are wrongly accepted"


def judged(invented: Result, *tolerances: Tolerance) -> Result:
    """The invented result judged by other tolerances, by the job's own chain."""
    campaign = replace(invented.campaign, tolerances=tolerances)
    found = verdicts(campaign, invented.occasions, invented.comparisons)
    sentence = whole_sentence(campaign, invented.occasions, invented.comparisons, invented.plans, found)
    return replace(invented, campaign=campaign, verdicts=found, sentence=sentence)


def everything(result: Result) -> dict[str, str]:
    """All that is said, by door; white space made one."""
    said = {
        "document": json.dumps(result_document(result), ensure_ascii=False),
        "page": html.unescape(page(result)),
        "paper": json.dumps(report_of(result), ensure_ascii=False),
        "screen": summary(result),
        "sentence": result.sentence,
    }
    return {door: " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split()) for door, text in said.items()}


@pytest.mark.parametrize("form", ["each axis", "radial", "rms", "all together"])
@pytest.mark.parametrize("quantity", ["offset", "own move"])
def test_simple_acceptance_is_labelled_in_every_output(invented: Result, form: str, quantity: str) -> None:
    simple = everything(judged(invented, Tolerance(quantity, 30 * UM, form=form, rule="simple acceptance")))
    guarded = everything(judged(invented, Tolerance(quantity, 30 * UM, form=form)))
    assert {door for door, text in simple.items() if HALF in text and "imple acceptance" in text} == set(simple)
    assert [door for door, text in guarded.items() if HALF in text] == []


def test_the_label_stays_beside_the_guard_band_of_another_limit(invented: Result) -> None:
    both = everything(
        judged(invented, Tolerance("offset", 30 * UM), Tolerance("own move", 20 * UM, rule="simple acceptance"))
    )
    assert all(HALF in text for text in both.values())
    lines = summary(judged(invented, Tolerance("own move", 20 * UM, rule="simple acceptance"))).splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS


def test_the_producers_rule_is_labelled(invented: Result) -> None:
    told = everything(judged(invented, Tolerance("offset", 30 * UM, risk=0.02, whose="producer's")))
    assert [door for door, text in told.items() if "producer's risk of 2 %" not in text.lower()] == []
    assert "(producer's risk 2 %)" in told["document"]


def test_girder_wide_verdicts_stand_under_the_girder(invented: Result) -> None:
    result = judged(
        invented,
        Tolerance("offset", 30 * UM, form="rms"),
        Tolerance("offset", 20 * UM, ("QA1", "QA2"), form="rms"),
        Tolerance("offset", 40 * UM, form="all together"),
        Tolerance("offset", 30 * UM, form="radial"),
    )
    document: Any = result_document(result)
    assert document_faults(document) == ()
    last = document["verdicts"]["3-restored"]
    assert set(last["girder"]) == {"offset_rms", "offset_rms_2", "offset_all"}
    assert last["girder"]["offset_rms_2"]["magnets"] == ["QA1", "QA2"]
    assert list(last["QA1"]) == ["offset_radial"]
    names = {"QA1": "girder"}
    renamed = replace(
        result.campaign.girder,
        items=tuple(replace(i, name=names.get(i.name, i.name)) for i in result.campaign.girder.items),
    )
    other: Any = result_document(replace(result, campaign=replace(result.campaign, girder=renamed)))
    assert set(other["verdicts"]["3-restored"]["whole girder"]) == {"offset_rms", "offset_rms_2", "offset_all"}


def test_a_prior_tells_risks_and_changes_no_verdict(invented: Result) -> None:
    prior = PriorKnowledge("normal", mean=0.0, sd=10 * UM)
    plain: Any = result_document(judged(invented, Tolerance("offset", 30 * UM)))
    told: Any = result_document(judged(invented, Tolerance("offset", 30 * UM, prior=prior)))
    for occasion, magnets in plain["verdicts"].items():
        for magnet, quantities in magnets.items():
            for quantity, one in quantities.items():
                other = told["verdicts"][occasion][magnet][quantity]
                assert other["verdict"] == one["verdict"]
                assert other["probability"] == one["probability"]
                assert one["reasons"]["posterior"] == "no prior is declared"
                if other["offset"] is not None:
                    assert other["consumers_risk"] == pytest.approx(1.0 - other["posterior"], abs=1e-15)
                    assert 0.0 < other["global_consumers_risk"] < 0.05
    assert document_faults(told) == ()
    assert "normal, 0 ± 10 µm" in everything(judged(invented, Tolerance("offset", 30 * UM, prior=prior)))["page"]


def test_a_fleet_without_a_spread_of_its_own_says_so(invented: Result) -> None:
    fleet = PriorKnowledge("fleet", values=(1 * UM, -1 * UM, 0.0), u=5 * UM)
    document: Any = result_document(judged(invented, Tolerance("offset", 30 * UM, prior=fleet)))
    one = document["verdicts"]["3-restored"]["QA1"]["x"]
    assert one["posterior"] is None
    assert "scatter its uncertainties explain" in one["reasons"]["posterior"]


def test_uneven_limits_are_drawn_and_said(invented: Result) -> None:
    result = judged(
        invented, Tolerance("offset", 30 * UM, lower=-12 * UM), Tolerance("own move", 20 * UM, sides="upper")
    )
    document: Any = result_document(result)
    assert document_faults(document) == ()
    one = document["verdicts"]["3-restored"]["QA1"]
    assert (one["x"]["lower"], one["x"]["upper"]) == (-12 * UM, 30 * UM)
    assert one["own_move_x"]["lower"] is None
    assert one["own_move_x"]["reasons"]["lower"] == "no lower limit is declared"
    said = everything(result)
    assert "the limits −12 to +30 µm" in said["sentence"]
    assert "at most +20 µm" in said["sentence"]
    assert "−12 to +30" in said["screen"]


def test_shifts_stand_in_document_and_page(invented: Result) -> None:
    document: Any = result_document(invented)
    for comparison in document["comparisons"]:
        for kind in comparison["shifts"].values():
            assert kind["level"] == 0.05
            known = [s for s in kind["magnets"].values() if s["found"] is not None]
            # Sidak: all magnets together keep the level (from memory)
            assert 1.0 - (1.0 - kind["level_each"]) ** len(known) == pytest.approx(0.05, abs=1e-12)
            for shift in known:
                assert shift["e_n_x"] == pytest.approx(shift["x"] / (2.0 * shift["u_x"]), rel=1e-12)
                assert shift["found"] == (shift["probability"] < kind["level_each"])
                assert shift["less"] != "yes" or shift["answerable"] <= shift["margin"]
    shown = page(invented)
    assert "Moved? own moves, 1-bench to 3-restored" in shown
    assert "less than [µm]?" in shown
