"""A budget adds up to the uncertainty it explains, and its advice is what re-measuring would give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monochord.ground.estimate import Estimate
from monochord.verdict.budget import MEASURES, budget

KINDS = sorted(MEASURES)
SPREADS = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=len(KINDS))


def estimate(spreads: list[float]) -> Estimate:
    causes = {f"{kind}:here": np.array([[u**2]]) for kind, u in zip(KINDS, spreads, strict=False)}
    return Estimate.of([3.0], ["x"], unit="um", frame="girder", causes=causes)


@given(SPREADS)
def test_shares_add_up_and_are_ranked(spreads: list[float]) -> None:
    made = budget(estimate(spreads), "x")
    assert sum(s.part for s in made.shares) == pytest.approx(1.0, abs=1e-12)
    assert sum(s.u**2 for s in made.shares) == pytest.approx(float(estimate(spreads).u[0]) ** 2, rel=1e-12)
    assert [s.u for s in made.shares] == sorted((s.u for s in made.shares), reverse=True)


@given(SPREADS)
def test_a_measure_gives_what_the_smaller_cause_gives(spreads: list[float]) -> None:
    for relief in budget(estimate(spreads), "x").reliefs:
        smaller = list(spreads)
        smaller[KINDS.index(relief.kind)] *= MEASURES[relief.kind][1] ** 0.5
        total = float(np.sqrt(np.sum(np.square(smaller))))
        assert relief.u_after == pytest.approx(total, rel=1e-9, abs=1e-9)


@given(SPREADS)
def test_a_bias_of_the_named_size_brings_the_value_to_its_limit(spreads: list[float]) -> None:
    made = budget(estimate(spreads), "x", limit=10.0)
    by_kind = {s.kind: s.u for s in made.shares}
    assert [f.times_u for f in made.flips] == sorted(f.times_u for f in made.flips)
    for flip in made.flips:
        assert 3.0 + flip.times_u * by_kind[flip.kind] == pytest.approx(10.0, rel=1e-9)


def test_causes_of_one_kind_are_one_share() -> None:
    causes = {"nest vector:A": np.array([[9.0]]), "nest vector:B": np.array([[16.0]])}
    made = budget(Estimate.of([0.0], ["x"], unit="um", frame="girder", causes=causes), "x")
    assert [(s.kind, s.u) for s in made.shares] == [("nest vector", 5.0)]
