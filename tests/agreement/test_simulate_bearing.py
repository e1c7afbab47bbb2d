"""Two ways to the same rest: the simulator walks down the energy, the fit's model exchanges feet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monochord.girder.contact import settle
from monochord.girder.model import elastic, standing
from monochord.simulate.bearing import at_rest, bearing
from monochord.simulate.scenario import demo_scenario

GIRDER = demo_scenario().girder
ON = standing(GIRDER, elastic(GIRDER))
OF = bearing(ON)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000), st.sampled_from([1e-6, 1e-5, 1e-4, 1e-3]), st.floats(-0.5, 0.5))
def test_loads_gaps_and_shape_agree(seed: int, scatter: float, top_minus_bottom: float) -> None:
    heights = scatter * np.random.default_rng(seed).normal(size=len(ON.names))
    mine = at_rest(OF, heights, top_minus_bottom)
    other = settle(ON, heights, ON.free.weight + top_minus_bottom * ON.free.bow)

    # newtons of 43 kN, and micrometres of a millimetre: rounding of a stiff system
    assert mine.loads == pytest.approx(other.loads, abs=0.05)
    assert mine.gaps == pytest.approx(other.gaps, abs=1e-10)
    assert mine.nodes == pytest.approx(other.displacement, abs=1e-9)
