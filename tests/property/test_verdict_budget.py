"""A budget adds up to the uncertainty it explains, and its advice is what re-measuring would give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Factor, Label, kind_of
from monochord.verdict.budget import budget
from monochord.verdict.measures import Done, Measure, SecondMode, measures_of

HERE = Done(
    "here", stringing="one wire", rounds=2, stations=3,
    second_modes={"Q1": SecondMode(3, 0.8, 0.01)}, change="there-here", soaked=0.6,
)  # fmt: skip
CAUSES = (
    "stringing:one wire", "fit:here/Q1", "fit:here/Q2", "background:here/mode 1", "detuning:here/Q1", "sag:here", "reading:here",
    "mounting:here", "level:here", "slope leakage:Q1", "nest vector:A", "stretch:there-here", "fit:there/Q1", "clamp:there-here",
)  # fmt: skip
SPREADS = st.lists(st.floats(1e-2, 1e2), min_size=len(CAUSES), max_size=len(CAUSES))


def estimate(spreads: list[float]) -> Estimate:
    causes = {c: np.array([[u**2]]) for c, u in zip(CAUSES, spreads, strict=True)}
    return Estimate.of([3.0], ["x"], unit="um", frame="girder", causes=causes)


@given(SPREADS)
def test_shares_add_up_and_are_ranked(spreads: list[float]) -> None:
    made = budget(estimate(spreads), "x")
    assert sum(s.part for s in made.shares) == pytest.approx(1.0, abs=1e-12)
    assert sum(s.u**2 for s in made.shares) == pytest.approx(float(estimate(spreads).u[0]) ** 2, rel=1e-12)
    # ties within six digits stand by name
    assert all(a.u >= b.u * (1.0 - 1e-5) for a, b in zip(made.shares, made.shares[1:], strict=False))


@given(SPREADS)
def test_a_measure_gives_what_the_smaller_causes_give(spreads: list[float]) -> None:
    by_words = {m.words: m for m in measures_of(HERE)}
    made = budget(estimate(spreads), "x", measures=measures_of(HERE))
    assert made.reliefs
    for relief in made.reliefs:
        smaller = [u * by_words[relief.measure].remains(c) ** 0.5 for c, u in zip(CAUSES, spreads, strict=True)]
        total = float(np.sqrt(np.sum(np.square(smaller))))
        assert relief.u_after == pytest.approx(total, rel=1e-9, abs=1e-9)


def test_a_second_stringing_is_the_mean_of_two_measurements() -> None:
    # two independent wires with all their scans, averaged by hand: the sag is one and the same for both
    first = {"stringing:one wire": 3.0, "fit:here/Q1": 2.0, "background:here/mode 1": 1.0, "detuning:here/Q1": 0.5}
    causes = {c: np.array([[u**2]]) for c, u in first.items()}
    one = Estimate.of([3.0], ["x"], unit="um", frame="girder", causes=causes | {"sag:here": np.array([[4.0]])})
    told = budget(one, "x", measures=measures_of(HERE))
    twice = Estimate(
        np.array([3.0, 3.0]),
        (Label("first", "um", "girder"), Label("second", "um", "girder")),
        {f"{c} of {k}": Factor(np.eye(2)[:, [k]], s) for c, s in causes.items() for k in (0, 1)}
        | {"sag:here": Factor(np.ones((2, 1)), np.array([[4.0]]))},
    ).through(np.array([[0.5, 0.5]]), [Label("x", "um", "girder")])
    relief = next(r for r in told.reliefs if r.kind == "stringing")
    assert relief.u_after == pytest.approx(float(twice.u[0]), rel=1e-12)


def test_what_is_past_cannot_be_done_again() -> None:
    causes = {"fit:there/Q1": np.array([[9.0]]), "stringing:there": np.array([[9.0]])}
    past = Estimate.of([0.0], ["x"], unit="um", frame="girder", causes=causes)
    assert budget(past, "x", measures=measures_of(HERE)).reliefs == ()


def test_every_forecast_says_whether_it_is_predicted_or_assumed() -> None:
    assert all(m.basis.split(":")[0] in ("predicted", "assumed") for m in measures_of(HERE))


def test_a_measure_that_makes_it_worse_is_no_relief() -> None:
    wire = Measure("clamp", "a wire", "predicted", instead=2.0)
    one = Estimate.of([0.0], ["x"], unit="um", frame="girder", causes={"clamp:a-b": np.array([[1.0]])})
    assert budget(one, "x", measures=[wire]).reliefs == ()


@given(
    st.integers(1, 4).flatmap(
        lambda k: st.tuples(
            st.lists(st.floats(-3.0, 3.0), min_size=k, max_size=k).filter(lambda r: max(map(abs, r)) > 0.1),
            st.lists(st.floats(0.1, 10.0), min_size=k, max_size=k),
        )
    ),
    st.floats(-20.0, 20.0),
)
def test_no_shorter_error_of_a_cause_brings_the_value_to_its_limit(
    cause: tuple[list[float], list[float]], value: float
) -> None:
    row, spread = np.array(cause[0]), np.diag(np.square(cause[1]))
    one = Estimate(np.array([value]), (Label("x", "um", "girder"),), {"shape:a": Factor(row[None], spread)})
    reach = min((10.0 - value, -10.0 - value), key=abs)
    if abs(reach) < 1e-6:
        return
    flip = budget(one, "x", limit=10.0).flips[0]
    # any error that shifts the value by the reach is at least as long, in the cause's own standard uncertainties
    root = np.array(cause[1])
    for trial in _errors(row * root, reach):
        assert float(np.linalg.norm(trial)) >= flip.times_u * (1.0 - 1e-9)
    assert flip.times_u * float(np.linalg.norm(row * root)) == pytest.approx(abs(reach), rel=1e-9)


def _errors(row: NDArray[np.float64], reach: float) -> list[NDArray[np.float64]]:
    """Standardised errors that all shift the value by the reach: the shortest one and others beside it."""
    shortest = reach * row / float(row @ row)
    beside = np.eye(len(row)) - np.outer(row, row) / float(row @ row)
    return [shortest, *(shortest + 0.3 * b for b in beside), *(shortest - 2.0 * b for b in beside)]


def test_a_flip_is_told_in_the_unit_of_its_one_variable() -> None:
    causes = {
        "nest vector:A": Factor(np.array([[0.0, 0.5, 0.0]]), 4.0 * np.eye(3)),
        "sag:here": Factor(np.array([[8.0]]), np.array([[0.01]])),
    }
    one = Estimate(np.array([3.0]), (Label("y", "m", "girder"),), causes)
    flips = {kind_of(f.cause): f for f in budget(one, "y", limit=11.0).flips}
    # room 8; by hand: the vector's y wrong by 8 / 0.5, which is 8 times its 2; the sag by 8 / 8 of itself, 10 times its 0.1
    assert (flips["nest vector"].variable, flips["nest vector"].size) == ("vector from nest to wire y", 16.0)
    assert flips["nest vector"].times_u == pytest.approx(8.0)
    assert (flips["sag"].size, flips["sag"].unit) == (1.0, "1")
    assert flips["sag"].times_u == pytest.approx(10.0)


def test_uneven_limits_count_by_the_nearer_one() -> None:
    one = Estimate.of([3.0], ["x"], unit="um", frame="girder", causes={"fit:a": np.array([[1.0]])})
    assert budget(one, "x", ends=(-1.0, 100.0)).flips[0].times_u == pytest.approx(4.0)
    assert budget(one, "x", ends=(float("-inf"), 10.0)).flips[0].times_u == pytest.approx(7.0)
    assert budget(one, "x", ends=(float("-inf"), 10.0)).limit == 10.0


def test_causes_of_one_kind_are_one_share() -> None:
    causes = {"nest vector:A": np.array([[9.0]]), "nest vector:B": np.array([[16.0]])}
    made = budget(Estimate.of([0.0], ["x"], unit="um", frame="girder", causes=causes), "x")
    assert [(s.kind, s.u) for s in made.shares] == [("nest vector", 5.0)]
