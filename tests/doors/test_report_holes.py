"""Whatever is not known, the document stays valid, and page, paper and screen are made without a number that is none."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.result import Result
from monochord.ground.estimate import Estimate
from monochord.ground.frames import Rigid
from monochord.report.document import document_text, result_document
from monochord.report.page import page
from monochord.report.pdf import pdf
from monochord.report.schema import document_faults
from monochord.report.summary import LINES, summary
from monochord.report.summary_decisions import COLUMNS
from tests.doors.test_report_page import parsed

#: What is always there: declared limits, margins, risks and levels, and whole turns of a plan.
KEPT = ("limit", "turns", "risk", "margin", "level", "level_each")


def holed(value: Any, share: float, rng: np.random.Generator) -> Any:
    """The same finding with a share of its numbers not known."""
    if isinstance(value, Estimate):
        return replace(value, value=np.where(rng.random(len(value.value)) < share, np.nan, value.value))
    if isinstance(value, Rigid):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: getattr(value, f.name) for f in fields(value) if f.name not in KEPT}
        return replace(value, **{name: holed(part, share, rng) for name, part in parts.items()})
    if isinstance(value, tuple):
        return tuple(holed(part, share, rng) for part in value)
    if isinstance(value, Mapping):
        return {name: holed(part, share, rng) for name, part in value.items()}
    return float("nan") if isinstance(value, float) and rng.random() < share else value


def with_holes(invented: Result, seed: int, share: float) -> Result:
    rng = np.random.default_rng(seed)
    found = {name: holed(getattr(invented, name), share, rng) for name in ("comparisons", "plans", "verdicts")}
    return replace(invented, **found)


@pytest.mark.parametrize(("seed", "share"), [(1, 0.1), (2, 0.3), (3, 0.7), (4, 1.0)])
def test_holes_are_told_and_never_drawn(invented: Result, seed: int, share: float) -> None:
    result = with_holes(invented, seed, share)
    document = result_document(result)

    assert document_text(document) != document_text(result_document(invented))
    assert document_faults(document) == ()
    root = parsed(page(result))
    for drawing in root.all("svg"):
        for node in drawing.everything():
            drawn = " ".join(v for k, v in node.attributes.items() if k not in ("id", "class", "aria-labelledby"))
            assert not re.search(r"\b(nan|inf|None)\b", drawn), drawn
    assert not re.search(r"\b(nan|inf)\b", " ".join(cell.text for cell in root.all("td")))
    lines = summary(result).splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS


def test_paper_stands_holes_too(invented: Result) -> None:
    assert pdf(with_holes(invented, 5, 0.5)).startswith(b"%PDF-1.")


def test_nothing_that_is_not_known_conforms(invented: Result) -> None:
    document: Any = result_document(with_holes(invented, 4, 1.0))

    words = {q["verdict"] for o in document["verdicts"].values() for m in o.values() for q in m.values()}
    assert words == {"cannot be decided"}


@pytest.mark.parametrize("lack", ["magnets", "bolts", "surveys"])
def test_a_girder_told_in_part_is_still_a_page(invented: Result, lack: str) -> None:
    girder = invented.campaign.girder
    less = {
        "magnets": replace(girder, items=()),
        "bolts": replace(girder, bolts=()),
        "surveys": girder,
    }[lack]
    occasions = tuple(replace(o, points=None) for o in invented.occasions) if lack == "surveys" else invented.occasions
    result = replace(invented, occasions=occasions, campaign=replace(invented.campaign, girder=less))

    assert list(parsed(page(result)).all("h1"))
    assert document_faults(result_document(result)) == ()
