"""Girders on feet whose loads, gaps and shapes can be written down."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.given.girder import Beam, Bolt, Girder
from monochord.girder.model import elastic, standing
from monochord.simulate.bearing import Bearing, at_rest, bearing

G, K = 10.0, 1e9
MASS, LENGTH, DEPTH, EXPANSION = 500.0, 4.0, 0.5, 12e-6
WEIGHT = MASS * LENGTH * G


def on_pairs(places: tuple[float, ...], bending: float) -> Bearing:
    """A beam on pairs of feet at these z [m]; bolts in the order left, right, pair after pair."""
    beam = Beam(MASS, LENGTH, bending, bending, 0.5 * bending, 0.0, DEPTH, EXPANSION)
    feet = tuple(
        Bolt(f"V{k}{side}", (0.0, 1.0, 0.0), (x, -0.4, z), 1e-3, None, 0.01, True, K)
        for k, z in enumerate(places)
        for side, x in (("l", 0.3), ("r", -0.3))
    )
    girder = Girder("g", "t", beam, (), (), feet)
    return bearing(standing(girder, elastic(girder, gravity=G)))


@pytest.mark.parametrize("low", [0.0, 2e-6, 4e-6])
def test_a_stiff_girder_shares_its_weight_among_feet_of_unlike_heights(low: float) -> None:
    # y = -(W + 2 k low) / 6 k, so a foot in the middle carries (W - 4 k low) / 6 and one at an end (W + 2 k low) / 6
    rest = at_rest(on_pairs((-1.5, 0.0, 1.5), 1e13), np.array([0.0, 0.0, -low, -low, 0.0, 0.0]))

    ends, middle = (WEIGHT + 2.0 * K * low) / 6.0, (WEIGHT - 4.0 * K * low) / 6.0
    # newtons: the beam is stiff, not rigid
    assert rest.loads == pytest.approx([ends, ends, middle, middle, ends, ends], abs=0.5)
    assert not rest.gaps.any()


def test_feet_lower_than_the_others_sink_in_hang() -> None:
    # four feet carry W / 4 each and sink by W / 4 k = 5 um; the middle ones are 8 um low, so 3 um are left
    rest = at_rest(on_pairs((-1.5, 0.0, 1.5), 1e13), np.array([0.0, 0.0, -8e-6, -8e-6, 0.0, 0.0]))

    assert rest.loads == pytest.approx([5000.0, 5000.0, 0.0, 0.0, 5000.0, 5000.0], abs=1e-3)
    assert rest.gaps == pytest.approx([0.0, 0.0, 3e-6, 3e-6, 0.0, 0.0], abs=2e-9)


def test_a_girder_on_its_ends_sags_by_its_own_weight() -> None:
    # 5 w L^4 / (384 E I) = 5 * 5000 * 256 / (384 * 1e8) = 166.7 um below its ends
    rest = at_rest(on_pairs((-2.0, 2.0), 1e8), np.zeros(4))
    height = rest.nodes.reshape(-1, 6)[:, 1]

    middle = float(np.interp(0.0, np.linspace(-2.0, 2.0, len(height)), height))
    assert middle - height[0] == pytest.approx(-166.67e-6, abs=0.01e-6)


def test_a_warm_top_lifts_the_middle_of_a_girder_that_may_follow() -> None:
    # expansion dT L^2 / (8 depth) = 12e-6 * 0.2 * 16 / 4 = 9.6 um against the ends; no load changes on four feet
    of = on_pairs((-2.0, 2.0), 1e8)
    even, warm = at_rest(of, np.zeros(4)), at_rest(of, np.zeros(4), 0.2)
    height = (warm.nodes - even.nodes).reshape(-1, 6)[:, 1]

    assert height.max() - height[0] == pytest.approx(9.6e-6, abs=1e-10)
    assert warm.loads == pytest.approx(even.loads, abs=1e-3)


def test_a_girder_held_in_its_middle_keeps_little_of_a_bow() -> None:
    # a bow of f = 9.6 um that three pairs keep down takes R = 48 E I f / L^3 off the middle one, until that lets go
    of = on_pairs((-2.0, 0.0, 2.0), 1e8)
    even, warm = at_rest(of, np.zeros(6)), at_rest(of, np.zeros(6), 0.2)

    # 48 * 1e8 * 9.6e-6 / 64 = 720 N on two feet, but for the feet's own give of some 5 %
    assert even.loads[2] - warm.loads[2] == pytest.approx(360.0, rel=0.06)
    assert at_rest(of, np.zeros(6), 10.0).loads[2:4].tolist() == [0.0, 0.0]
