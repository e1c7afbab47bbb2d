"""Every number of a comparison agrees with the sum that tells it, and follows the rows as that sum says."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Result
from monochord.ground.faults import Refused
from monochord.ground.trace import Unfold
from monochord.job.changes import Found, comparisons
from monochord.job.why.names import numbers
from monochord.report.document import result_document
from tests.trace_walk import MOST, Walked, apart, evaluated, found_in, lines_below, rests_on, walk

#: Sums are made again in another order of the same additions: rounding, in units of the largest line.
ROUNDING = 1e-9
#: Parts of a comparison whose numbers the job tells by itself: covariances, shares of causes, intervals, the table of shifts.
OF_THE_JOB = ("cov", "causes", "interval_95", "shifts")


@cache
def result(seed: int = 1) -> Result:
    return evaluated(seed)


@cache
def told(i: int, seed: int = 1) -> dict[str, float]:
    """The numbers of one comparison in the result document, by relative name."""
    document: Any = result_document(result(seed))["comparisons"]
    return {name[1:]: value for name, value in numbers(document[i])}


def unfold(i: int, seed: int = 1) -> Unfold:
    found = result(seed).comparisons[i].unfold
    assert found is not None
    return found


@cache
def walked(i: int, seed: int = 1) -> Walked:
    return walk(unfold(i, seed), list(told(i, seed)))


def of_the_job(name: str) -> bool:
    keys = name.split("/")
    return any(key in OF_THE_JOB for key in keys) or (keys[0] == "axis_changes" and keys[-1].startswith("u_"))


@pytest.mark.parametrize("i", [0, 1, 2])
def test_every_number_is_told_and_is_the_document_s_own(i: int) -> None:
    own = {name: value for name, value in told(i).items() if not of_the_job(name)}
    assert not {name for name in own if name in walked(i).untold}
    assert {name: walked(i).sums[name].value for name in own} == own  # bit for bit
    assert len(own) > 100


@pytest.mark.parametrize("i", [0, 1, 2])
def test_every_sum_makes_its_number_again(i: int) -> None:
    off = {name: apart(s) for name, s in walked(i).sums.items()}
    assert {name: size for name, size in off.items() if size > ROUNDING} == {}


@pytest.mark.parametrize("i", [0, 1, 2])
def test_every_line_is_the_number_that_it_rests_on(i: int) -> None:
    for found in walked(i).sums.values():
        assert len(found.lines) <= MOST or found.formula is not None
        for line, below in rests_on(walked(i), found):
            given = line.amount if line.given is None else line.given
            # "from targets on Q1": the part itself; otherwise the number, which the line may hold as an amount
            assert given == pytest.approx(below.value, rel=1e-9, abs=1e-300)
            if line.factor is not None and line.given is not None:
                assert line.amount == line.factor * line.given


def test_other_nouns_are_asked_for_places_axes_temperatures_and_causes() -> None:
    kinds = {name.split("/")[3] for name in walked(1).elsewhere}
    assert kinds == {"targets", "axes", "temperature", "cause"}
    occasions = {name.split("/")[2] for name in walked(1).elsewhere}
    assert occasions == {"20-lined", "50-settled"}


def test_what_other_nouns_are_asked_for_is_in_the_document() -> None:
    document: Any = result_document(result())
    for i in range(3):
        for name, found in walked(i).sums.items():
            for line in found.lines:
                keys = line.of.split("/")
                if line.of.startswith("/") and keys[3] != "cause":
                    value = document
                    for key in keys[1:]:
                        value = value[int(key)] if isinstance(value, list) else value[key]
                    assert (line.amount if line.given is None else line.given) == value, (name, line)


def test_an_unknown_name_is_refused() -> None:
    for name in ("own_moves/nobody/dx", "scale#nothing", "rigid#change/nobody/x", ""):
        with pytest.raises(Refused):
            unfold(0)(name)


def moved(found: Found, occasion: str, component: str, by: float) -> Found:
    """The same with one coordinate of one target changed."""
    points: PointSet = found.points[occasion]
    value = points.estimate.value.copy()
    value[points.estimate.index(component)] += by
    changed = replace(points, estimate=replace(points.estimate, value=value))
    return Found({**found.points, occasion: changed}, found.wires)


def compared(found: Found) -> Comparison:
    return next(c for c in comparisons(result().campaign, found, []) if (c.start, c.end) == ("20-lined", "50-settled"))


@pytest.mark.parametrize("component", ["Sext2.1.x", "B3r.y", "Quad1.2.y"])
@pytest.mark.parametrize(
    "name",
    [
        "own_moves/Sext2/dx",
        "own_moves/Quad1/dy",
        "own_moves_from_targets/Sext2/rz",
        "axis_changes/Quad1/y",
        "shape/vertical bend/size",
        "scale",
        "closure/offsets/Sext2/x",
    ],
)
def test_a_number_follows_a_coordinate_as_its_lines_say(component: str, name: str) -> None:
    by = 1e-9  # [m]
    before, after = compared(found_in(result())), compared(moved(found_in(result()), "50-settled", component, by))
    assert before.unfold is not None
    assert after.unfold is not None
    first, then = lines_below(before.unfold, name), lines_below(after.unfold, name)
    said = sum(
        (line.factor or 0.0) * ((then[of].given or 0.0) - (line.given or 0.0))
        for of, line in first.items()
        if "change" in of and of in then
    )
    came = after.unfold(name).value - before.unfold(name).value
    # the sizes of shapes and creep and the chances of slips follow the rows too; that is no weight of a row and moves
    # these numbers by less than 0.3 % of the change of the coordinate
    assert abs(came - said) < 3e-3 * by


def test_the_perturbed_coordinates_matter() -> None:
    said = lines_below(unfold(1), "closure/offsets/Sext2/x")["rigid#change/Sext2.1/x"].factor
    bend = lines_below(unfold(1), "shape/vertical bend/size")["rigid#change/B3r/y"].factor
    assert said is not None
    assert bend is not None
    assert abs(said) > 0.1
    assert abs(bend) > 0.03


def test_the_change_of_a_coordinate_is_its_two_places_and_the_motion() -> None:
    found = unfold(1)("rigid#change/Sext2.1/x")
    places = {line.of: line.given for line in found.lines}
    points = found_in(result()).points
    end = points["50-settled"].estimate
    assert places["/occasions/50-settled/targets/Sext2.1/xyz/0"] == end.value[end.index("Sext2.1.x")]
    assert abs(found.value) < 1e-4  # [m], while the places are of the order of metres


def test_a_slip_left_open_is_told_as_chance_times_what_it_would_be() -> None:
    for i in range(3):
        open_slips = [s for name, s in walked(i).sums.items() if name.startswith("own_moves/") and "#slip/" in name]
        for found in open_slips:
            assert 0.0 < found.lines[0].amount < 1.0
            assert len(found.lines) == 4
        if open_slips:
            return
    pytest.fail("no comparison left a slip open, so nothing was looked at")


def test_shapes_get_their_sizes_from_the_rows_again() -> None:
    sizes = [s for name, s in walked(1).sums.items() if name.startswith("own_moves#shape size/") and len(s.lines) > 1]
    assert sizes
    for found in sizes:
        assert found.formula is not None
        doubled = [2.0 * line.amount for line in found.lines]
        assert found.formula(doubled) >= found.value  # rows that say twice as much make a family no smaller


def test_evaluation_computes_no_table_before_it_is_asked() -> None:
    fresh = compared(found_in(result()))
    closed = getattr(fresh.unfold, "__closure__", None)
    assert closed is not None
    tables = [cell.cell_contents for cell in closed if hasattr(cell.cell_contents, "cache_info")]
    assert [t.cache_info().currsize for t in tables] == [0]
    assert fresh.unfold is not None
    fresh.unfold("scale")
    assert [t.cache_info().currsize for t in tables] == [1]


def test_the_closure_s_square_sum_comes_from_its_offsets() -> None:
    found = walked(1).sums["closure/chi_square"]
    closure = result().comparisons[1].closure
    assert closure is not None
    amounts = np.array([line.amount for line in found.lines])
    assert sorted(amounts) == sorted(v for four in closure.offsets.values() for v in four[:2])
