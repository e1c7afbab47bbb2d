"""The taut string's closed forms: sag from the fundamental, parabola against catenary, shapes of the modes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from monochord.ground.string import mid_sag, mode_shape, sag_below_chord

# Fundamental f1 = sqrt(T / mu) / (2 L) and sag mu g L^2 / (8 T), from memory; sag = g / (32 f1^2) follows. That the shape of
# wires up to 140 m was found from the fundamental as well as from a fitted parabola was read in a conference abstract.


@pytest.mark.parametrize(("f1", "sag_um"), [(50.0, 122.625), (100.0, 30.65625), (40.0, 191.6015625)])
def test_sag_of_any_wire_of_any_length(f1: float, sag_um: float) -> None:
    assert 1e6 * mid_sag(f1, 9.81) == pytest.approx(sag_um, rel=1e-12)


def test_sag_of_a_wire_from_its_tension_and_mass() -> None:
    """4 m of 0.125 mm wire of 8300 kg/m^3 at 10 N: 1.01856e-4 kg/m, 39.1666 Hz, 199.842 um (derived)."""
    mass = 8300.0 * np.pi * (0.125e-3 / 2.0) ** 2
    f1 = np.sqrt(10.0 / mass) / 8.0
    assert f1 == pytest.approx(39.1666, abs=5e-5)
    assert 1e6 * mid_sag(f1, 9.81) == pytest.approx(1e6 * mass * 9.81 * 16.0 / 80.0, rel=1e-12)
    assert 1e6 * mid_sag(f1, 9.81) == pytest.approx(199.842, abs=5e-4)


def test_the_parabola_is_the_catenary_of_a_taut_wire() -> None:
    """Catenary of the same horizontal tension, derived: it differs by (L / a)^2 / 48 of the sag, a = T / (mu g)."""
    length, f1 = 4.0, 5.0
    sag = mid_sag(f1)
    a = length**2 / (8.0 * sag)
    s = np.linspace(0.0, length, 9)
    catenary = a * (np.cosh(length / (2.0 * a)) - np.cosh((s - length / 2.0) / a))
    # Sag 12 mm: (4 / 163)^2 / 48 = 1.3e-5 of it.
    np.testing.assert_allclose(sag_below_chord(s, length, f1), catenary, atol=2e-5 * sag)
    assert catenary[4] / sag - 1.0 == pytest.approx((length / a) ** 2 / 48.0, rel=1e-3)


def test_quarter_span_hangs_three_quarters_of_the_sag() -> None:
    below = sag_below_chord(np.array([0.0, 1.0, 2.0, 4.0]), 4.0, 50.0)
    np.testing.assert_allclose(below / mid_sag(50.0), [0.0, 0.75, 1.0, 0.0], atol=1e-14)


def test_modes_have_their_nodes_and_antinodes() -> None:
    """At a quarter of the span mode 2 has an antinode, mode 4 a node; inner nodes are mode - 1 in number."""
    quarter = np.array(1.0)
    assert float(mode_shape(quarter, 2, 4.0)) == pytest.approx(1.0, abs=1e-15)
    assert float(mode_shape(quarter, 4, 4.0)) == pytest.approx(0.0, abs=1e-15)
    inside = np.linspace(0.01, 3.99, 400)
    for mode in range(1, 7):
        assert int((np.diff(np.sign(mode_shape(inside, mode, 4.0))) != 0).sum()) == mode - 1
    node = brentq(lambda s: float(mode_shape(np.array(s), 3, 4.0)), 1.0, 2.0)
    assert node == pytest.approx(4.0 / 3.0, abs=1e-12)
