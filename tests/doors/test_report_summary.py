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
    assert (
        len(told) == count if count <= 5 else len(told) >= 6
    )  # where room is short, the last magnets are only counted
    assert any(f"and {count - len(told)} more magnet" in line for line in lines) == (count > len(told))
    assert any(line.startswith("Left out of the survey (41): ") for line in lines)


def test_what_was_decided_stands_before_the_offsets(invented: Result) -> None:
    text = summary(invented)

    told = " ".join(text.split())
    assert "Verdict 3-restored. Line limit: 5 of 5 magnets conform." in told
    assert "Own-move limit: 4 of 5 magnets conform; does not conform: SA2." in told
    assert "Roll limit: 3 of 5 magnets conform; cannot be decided: SA1 and SA2." in told
    assert "Own moves 1-bench to 3-restored: SA2 14.2 ± 1.6 µm left; cannot be told apart: QA1" in told
    assert "Bolts 3-restored: turn nothing" in told
    assert text.index("Verdict") < text.index("Own moves") < text.index("Bolts") < text.index("magnet  x")


def test_first_steps_come_before_all_but_the_sentence(invented: Result) -> None:
    now = replace(
        invented, occasions=invented.occasions[:2], plans=invented.plans[:1], comparisons=invented.comparisons[:1]
    )
    lines = summary(now).splitlines()

    first = next(
        i for i, line in enumerate(lines) if line.startswith("FIRST, 2-arrived: V2L and V4L bear nothing. 3 steps")
    )
    assert lines[first - 1] == ""
    assert " ".join(lines[: first - 1]) == invented.sentence
    turns = " ".join(lines)
    assert (
        "Bolts 2-arrived: bring V2L and V4L to bear, then 7 turns, the farthest V2R +0.1667 turn; 17.2 to 2.4 µm"
        in turns
    )


def test_a_plan_of_the_past_orders_nothing(invented: Result) -> None:
    text = summary(replace(invented, plans=invented.plans[:1]))

    assert "FIRST" not in text
    assert "Past plan 2-arrived (before 3-restored)" in text


def test_changes_since_the_reference_come_before_other_pairs(invented: Result) -> None:
    other = replace(invented.comparisons[1], start="2-arrived", own_moves=(), own_moves_from_targets=())
    text = summary(replace(invented, comparisons=(*invented.comparisons, other)))

    assert "Own moves 1-bench to 3-restored" in text


def test_each_magnet_has_its_worst_word(invented: Result) -> None:
    bench = replace(invented, occasions=invented.occasions[:1])
    rows = {line.split()[0]: line for line in summary(bench).splitlines() if line.startswith(("QA", "QB", "SA"))}

    words = {m: re.search("conforms|does not conform|cannot be decided", row) for m, row in rows.items()}
    assert {m: w[0] for m, w in words.items() if w} == {
        "QA1": "conforms", "SA1": "conforms", "QB1": "cannot be decided", "SA2": "cannot be decided", "QA2": "conforms",
    }  # fmt: skip


def test_carried_axes_are_named_as_such(invented: Result) -> None:
    last = replace(invented.occasions[-1], line_evidence="axes of 1-bench carried by the targets")

    text = summary(replace(invented, occasions=(*invented.occasions[:-1], last)))

    assert "3-restored: offsets from the common line (axes of 1-bench carried by the targets)" in text


def test_without_any_line_it_says_so(invented: Result) -> None:
    text = summary(replace(invented, occasions=invented.occasions[1:2]))

    assert "No occasion has axes and a common line." in text


def test_a_clean_survey_says_that_nothing_was_left_out(invented: Result) -> None:
    assert "Left out of the survey: none" in summary(replace(invented, occasions=invented.occasions[:1]))
