"""The summary keeps to one screen and says the same as the document."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.points import Rejected
from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Magnet
from monochord.ground.estimate import Estimate
from monochord.report.summary import LINES, summary
from monochord.report.summary_decisions import COLUMNS
from monochord.report.words import MINUS


def many_magnets(invented: Result, count: int) -> Result:
    """The invented result with more magnets, a long sentence, many rejected sightings and many lacks."""
    magnets = tuple(Magnet(f"QQ{i:02d}", "quadrupole", (0.0, 0.0, 0.4 * i), 0.2) for i in range(count))
    names = [f"{m.name}.{q}" for m in magnets for q in "xy"]
    values, noise = [1e-6 * i for i in range(2 * count)], {"reading noise": np.eye(2 * count) * 1e-12}
    offsets = Estimate.of(values, names, unit="m", frame="girder", causes=noise)
    last = invented.occasions[-1]
    assert last.points is not None
    rejected = tuple(Rejected(f"T{i}", f"G{i}", "distance", 1e-3, "m", "far off") for i in range(40))
    line = CommonLine("straight line", offsets, (0.0, 0.0), (0.0, 0.0), {})
    lacks = {f"part {i}": "for a reason that takes some words" for i in range(9)}
    busy = replace(last, line=line, points=replace(last.points, rejected=rejected), lacks=lacks)
    girder = replace(invented.campaign.girder, items=magnets)
    campaign = replace(invented.campaign, girder=girder)
    sentence = "The girder sagged, and then much more was found that takes many words to tell. " * 12
    return replace(invented, campaign=campaign, occasions=(*invented.occasions[:-1], busy), sentence=sentence)


def test_the_sentence_stands_first_and_the_report_last(invented: Result) -> None:
    lines = summary(invented, report="larch/report.html").splitlines()

    assert " ".join(lines).startswith(invented.sentence)
    assert lines[-1] == "Report: larch/report.html"


def test_offsets_moves_rejected_and_lacks_are_told(invented: Result) -> None:
    text = summary(invented)
    line = invented.occasions[-1].line
    assert line is not None

    for magnet in invented.campaign.girder.magnets:
        row = next(r for r in text.splitlines() if r.startswith(magnet.name))
        numbers = [float(n.replace(MINUS, "-")) for n in re.findall(rf"[+{MINUS}]?\d+\.\d", row)]
        i = line.offsets.index(f"{magnet.name}.x")
        expected = [line.offsets.value[i], line.offsets.u[i], line.offsets.value[i + 1], line.offsets.u[i + 1]]
        # printed in µm with one decimal: half a unit of the last digit
        assert numbers == pytest.approx([1e6 * v for v in expected], abs=0.0501)
    assert "9 µm right, 12 µm down" in text
    assert "Left out of the survey (1): 2-arrived T2 to SA1-3 (sighting)" in text
    assert "no wire was strung on this occasion" in text
    assert "1-bench QB1 y −30.3 ± 1.3 µm" in text
    assert "1 remark about the files" in text


@pytest.mark.parametrize("count", [1, 5, 10, 16])
def test_it_never_outgrows_the_screen(invented: Result, count: int) -> None:
    lines = summary(many_magnets(invented, count), report="somewhere/" * 8).splitlines()

    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    told = [line for line in lines if line.startswith("QQ")]
    assert len(told) == min(count, 10)
    assert any(f"and {count - 10} more magnet" in line for line in lines) == (count > 10)
    assert any(line.startswith("Left out of the survey (41): ") for line in lines)


def test_without_any_line_it_says_so(invented: Result) -> None:
    text = summary(replace(invented, occasions=invented.occasions[1:2]))

    assert "No occasion has axes and a common line." in text


def test_a_clean_survey_says_that_nothing_was_left_out(invented: Result) -> None:
    assert "Left out of the survey: none" in summary(replace(invented, occasions=invented.occasions[:1]))
