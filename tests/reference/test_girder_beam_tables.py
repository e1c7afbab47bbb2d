"""The elastic girder against beam tables: deflections, reactions, support points, thermal bow, torsion.

Each value was recomputed by an independent finite-element beam before it was written here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

from monochord.campaign.given.girder import Beam, Bolt, Girder, Item
from monochord.girder.contact import Contact, settle
from monochord.girder.model import Elastic, elastic, standing
from monochord.girder.shape import free_shapes, thermal_basis

Array = NDArray[np.float64]

DY, RX = 1, 3
#: A beam with E I = 1, length 1 and, in unit gravity, a load of 1 per length.
UNIT = Beam(1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.1, 1e-5)
RIGID = 1e7  # supports this much stiffer than E I / L^3 = 1 give way by 1e-7


def unit_beam(items: tuple[Item, ...] = (), load: float = 1.0) -> Elastic:
    """The unit beam with ``load`` per length, its nodes also at the items."""
    return elastic(Girder("beam", "test", UNIT, items, (), ()), gravity=1.0 if load else 0.0)


def heights(free: Elastic, u: Array, z: Sequence[float]) -> Array:
    points = np.column_stack([np.zeros(len(z)), np.zeros(len(z)), np.asarray(z)])
    rows: Array = free.follow(points)[:, 1] @ u
    return rows


def slopes(free: Elastic, u: Array, z: Sequence[float]) -> Array:
    points = np.column_stack([np.zeros(len(z)), np.zeros(len(z)), np.asarray(z)])
    rows: Array = -free.follow(points)[:, 3] @ u
    return rows


def bent(free: Elastic, forces: Array, held: Sequence[tuple[int, int]]) -> Array:
    """Displacement under vertical forces with the given (node, freedom) held at 0; other freedoms are held softly."""
    fixed = [6 * (node % len(free.z)) + freedom for node, freedom in held]
    open_ = [i for i in range(len(forces)) if i not in fixed]
    soft = np.array([0.0 if i % 6 in (DY, RX) else 1e-9 * free.stiffness.max() for i in open_])
    stiffness = free.stiffness[np.ix_(open_, open_)] + np.diag(soft)
    u = np.zeros(len(forces))
    u[open_] = np.linalg.solve(stiffness, forces[open_])
    return u


def at_node(free: Elastic, z: float, force: float) -> Array:
    f = np.zeros(6 * len(free.z))
    f[6 * int(np.abs(free.z - z).argmin()) + 1] = force
    return f


SIMPLE = [(0, DY), (-1, DY)]
CLAMPED = [(0, DY), (0, RX), (-1, DY), (-1, RX)]
CANTILEVER = [(0, DY), (0, RX)]
PROPPED = [(0, DY), (0, RX), (-1, DY)]

# Standard tables (Roark, Formulas for stress and strain; Timoshenko, Strength of materials), from memory.


@pytest.mark.parametrize(
    ("held", "point_load", "read", "expected"),
    [
        (SIMPLE, None, lambda f, u: -heights(f, u, [0.0])[0], 5.0 / 384.0),
        (SIMPLE, None, lambda f, u: slopes(f, u, [0.5])[0], 1.0 / 24.0),
        (CANTILEVER, None, lambda f, u: -heights(f, u, [0.5])[0], 1.0 / 8.0),
        (CANTILEVER, None, lambda f, u: -slopes(f, u, [0.5])[0], 1.0 / 6.0),
        (CANTILEVER, 0.5, lambda f, u: -heights(f, u, [0.5])[0], 1.0 / 3.0),
        (SIMPLE, 0.0, lambda f, u: -heights(f, u, [0.0])[0], 1.0 / 48.0),
        (CLAMPED, None, lambda f, u: -heights(f, u, [0.0])[0], 1.0 / 384.0),
        (CLAMPED, 0.0, lambda f, u: -heights(f, u, [0.0])[0], 1.0 / 192.0),
    ],
)
def test_deflections_and_slopes_of_the_tables(
    held: list[tuple[int, int]], point_load: float | None, read: Callable[[Elastic, Array], float], expected: float
) -> None:
    middle = (Item("middle", "mark", (0.0, 0.0, 0.0), mass=1e-30),)
    free = unit_beam(middle)
    forces = free.weight if point_load is None else at_node(free, point_load, -1.0)

    # exact at nodes: only rounding of a solve with stiffnesses up to 12 / (1/12)^3 is left
    assert read(free, bent(free, forces, held)) == pytest.approx(expected, rel=1e-8)


def test_propped_cantilever_deflects_by_a_184_6th_and_leans_with_three_eighths() -> None:
    free = unit_beam()
    u = bent(free, free.weight, PROPPED)
    z = np.linspace(-0.5, 0.5, 2001)

    # between nodes the cubic misses w l^4 / 384 EI = 1.3e-7 at most, 2e-5 of the deflection
    assert 1.0 / -heights(free, u, list(z)).min() == pytest.approx(184.637, abs=0.05)
    reaction = (free.stiffness @ u - free.weight)[6 * (len(free.z) - 1) + DY]
    assert reaction == pytest.approx(3.0 / 8.0, rel=1e-7)


def on_supports(
    places: Sequence[float], lift: Sequence[float] | None = None, load: float = 1.0
) -> tuple[Elastic, Contact]:
    """The unit beam on stiff supports that hold both ways, at places along it; lift  heights of the supports."""
    length = max(places) - min(places)
    middle = 0.5 * (max(places) + min(places))
    bolts = tuple(
        Bolt(f"V{k}", (0.0, 1.0, 0.0), (0.0, 0.0, z - middle), 1e-3, None, 0.01, False, RIGID)
        for k, z in enumerate(places)
    )
    girder = Girder("beam", "test", Beam(load, length, 1.0, 1.0, 1.0, 0.0, 0.1, 1e-5), (), (), bolts)
    free = elastic(girder, gravity=1.0)
    return free, settle(standing(girder, free), np.array(lift or [0.0] * len(places)), free.weight)


# Continuous beams of equal spans under uniform load: reactions / wL. Civil Engineering Formulas, table 2.1 (read); the
# three-span row also from an engineering-formula site (read).
CONTINUOUS = {
    2: [3 / 8, 10 / 8, 3 / 8],
    3: [4 / 10, 11 / 10, 11 / 10, 4 / 10],
    4: [11 / 28, 32 / 28, 26 / 28, 32 / 28, 11 / 28],
    5: [15 / 38, 43 / 38, 37 / 38, 37 / 38, 43 / 38, 15 / 38],
    6: [41 / 104, 118 / 104, 100 / 104, 106 / 104, 100 / 104, 118 / 104, 41 / 104],
}


@pytest.mark.parametrize("spans", CONTINUOUS)
def test_reactions_of_continuous_beams(spans: int) -> None:
    _, rest = on_supports([float(k) for k in range(spans + 1)])

    # the supports give way by 1e-7; a settlement of d changes reactions by about 10 d
    np.testing.assert_allclose(rest.loads, CONTINUOUS[spans], atol=2e-6)


def test_three_spans_deflect_by_0_0069() -> None:
    """Civil Engineering Formulas, table 2.1 (read): largest deflection 0.0069 w L^4 / E I, in the end spans."""
    free, rest = on_supports([0.0, 1.0, 2.0, 3.0])

    assert -heights(free, rest.displacement, list(np.linspace(-1.5, -0.5, 1001))).min() == pytest.approx(
        0.0069, abs=5e-5
    )


def test_two_unequal_spans() -> None:
    """Spans 1 and 1.5: M_B = w (a^3 + b^3) / 8 (a + b); outer reactions a/2 - M_B/a and b/2 - M_B/b (read, signs mended)."""
    _, rest = on_supports([0.0, 1.0, 2.5])

    np.testing.assert_allclose(rest.loads[[0, 2]], [0.28125, 0.6041666667], atol=2e-6)


@pytest.mark.parametrize(
    ("places", "sunk", "support", "expected"),
    [([0.0, 1.0, 2.0], 1, 1, 6.0), ([0.0, 1.0, 2.0], 1, 0, -3.0), ([0.0, 1.0, 2.0, 3.0], 1, 1, 9.6)],
)
def test_settlement_of_a_support(places: list[float], sunk: int, support: int, expected: float) -> None:
    """A support that sinks by d loses 6 E I d / L^3 (two spans, middle; from memory) or 9.6 (three spans, second; computed)."""
    level = on_supports(places)[1].loads
    lift = [0.0] * len(places)
    lift[sunk] = -1e-3
    change = (level - on_supports(places, lift)[1].loads) / 1e-3

    # the supports give way by 1e-7 of their reaction: 1e-6 of the settlement's
    assert change[support] == pytest.approx(expected, rel=5e-6)


def on_two(c: float) -> tuple[Elastic, Array]:
    """The unit beam (half-length 1/2) on two supports at +-c of its half-length."""
    place = 0.5 * c
    items = (Item("l", "mark", (0.0, 0.0, -place), mass=1e-30), Item("r", "mark", (0.0, 0.0, place), mass=1e-30))
    free = unit_beam(items)
    left, right = (int(np.abs(free.z - z).argmin()) for z in (-place, place))
    return free, bent(free, free.weight, [(left, DY), (right, DY)])


def end_slope(c: float) -> float:
    return float(slopes(*on_two(c), [0.5])[0])


def shortening(c: float) -> float:
    """Integral of slope^2, twice the shortening of the neutral line."""
    z = np.linspace(-0.5, 0.5, 1201)
    return float(np.trapezoid(slopes(*on_two(c), list(z)) ** 2, z))


def ends_above_middle(c: float) -> float:
    end, middle = heights(*on_two(c), [0.5, 0.0])
    return float(end - middle)


def middle_above_supports(c: float) -> float:
    middle, support = heights(*on_two(c), [0.0, 0.5 * c])
    return float(middle - support)


# Spacing / length of two supports of a uniform bar. Airy 1/sqrt(3): an engineers' notebook (read); Bessel 0.5594 and the
# 571 mm of the 1020 mm prototype metre: an encyclopaedic page (read); least sag 0.5537 and a middle level with the
# supports 0.5227: from memory.


def test_airy_points_keep_the_end_faces_upright() -> None:
    assert brentq(end_slope, 0.5, 0.65, xtol=1e-9) == pytest.approx(0.5773502692, abs=1e-6)


def test_bessel_points_shorten_the_bar_least() -> None:
    found = minimize_scalar(shortening, bounds=(0.5, 0.62), method="bounded", options={"xatol": 1e-6})

    assert found.x == pytest.approx(0.5594, abs=5e-5)
    assert 1020.0 * found.x == pytest.approx(571.0, abs=0.5)


def test_points_of_least_sag_and_of_a_level_middle() -> None:
    assert brentq(ends_above_middle, 0.5, 0.6, xtol=1e-9) == pytest.approx(0.5537, abs=1e-4)
    assert brentq(middle_above_supports, 0.48, 0.6, xtol=1e-9) == pytest.approx(0.5227, abs=2e-4)


def test_supports_at_the_ends_let_a_bar_sag_48_times_as_much() -> None:
    """Derived: 5/384 against the sag at the best points; 47.9 with the rounded 0.5537, 48.15 exactly."""
    ends = -float(heights(*on_two(1.0), [0.0])[0])
    free, u = on_two(0.5537018)
    sag = np.ptp(heights(free, u, list(np.linspace(-0.5, 0.5, 4001))))

    assert ends / sag == pytest.approx(48.15, abs=0.05)


def test_own_weight_sag_of_a_steel_box() -> None:
    """5 w L^4 / 384 E I for w = 2000 N/m, L = 4 m, E = 200 GPa, I = 2e-4 m^4 is 166.667 um (derived)."""
    free = elastic(Girder("box", "test", Beam(2000.0, 4.0, 4e7, 4e7, 1e7, 0.0, 0.4, 12e-6), (), (), ()), gravity=1.0)
    u = bent(free, free.weight, [(0, DY), (-1, DY)])

    assert -1e6 * heights(free, u, [0.0])[0] == pytest.approx(166.667, abs=0.001)


@pytest.mark.parametrize(("expansion", "sag_um"), [(11.7e-6, 3.2906), (23.1e-6, 6.4969)])
def test_thermal_bow_of_a_free_girder(expansion: float, sag_um: float) -> None:
    """alpha dT L^2 / 8 h for 0.1 K over 0.4 m on 3 m (formula from memory, equal to the circle of curvature alpha dT / h)."""
    beam = Beam(100.0, 3.0, 1e7, 1e7, 1e7, 0.0, 0.4, expansion)
    free = elastic(Girder("bow", "test", beam, (), (), ()))
    by_force = free_shapes(free, 0.1 * free.bow)
    stated = thermal_basis(free).nodes[:, 0] * 0.1

    for u in (by_force, stated):
        end, middle = heights(free, u, [1.5, 0.0])
        assert 1e6 * (middle - end) == pytest.approx(sag_um, abs=1e-4)
    if expansion == 11.7e-6:
        lean = slopes(free, by_force, [0.0, 1.5])
        assert 1e6 * (lean[0] - lean[1]) == pytest.approx(4.3875, abs=1e-4)


def test_force_of_a_bow_held_at_its_middle() -> None:
    """P = 48 E I s / L^3 = 58.5 N for E I = 1e7 N m^2 and the bow of 0.1 K (derived): the warm top pulls the middle up."""
    bolts = tuple(
        Bolt(f"V{k}", (0.0, 1.0, 0.0), (0.0, 0.0, z), 1e-3, None, 0.01, False, 1e13)
        for k, z in enumerate((-1.5, 0.0, 1.5))
    )
    girder = Girder("bow", "test", Beam(100.0, 3.0, 1e7, 1e7, 1e7, 0.0, 0.4, 11.7e-6), (), (), bolts)
    free = elastic(girder)
    rest = settle(standing(girder, free), np.zeros(3), 0.1 * free.bow)

    # supports of 1e13 N/m beside 48 E I / L^3 = 1.8e7 N/m: 2e-6 of the force
    np.testing.assert_allclose(rest.loads, [29.25, -58.5, 29.25], rtol=1e-5)


def test_twist_of_a_thin_walled_tube() -> None:
    """Bredt: J = 4 A^2 t / p = 5.9319e-4 m^4; 1 kN m twists 3 m of steel (G = 80 GPa) by 63.2175 urad (derived)."""
    torsion = 80e9 * 4.0 * 0.39**4 * 0.01 / (4 * 0.39)
    free = elastic(Girder("tube", "test", Beam(1.0, 3.0, 1e7, 1e7, torsion, 0.0, 0.4, 12e-6), (), (), ()))
    forces = np.zeros(6 * len(free.z))
    forces[-1] = 1000.0
    u = np.zeros(len(forces))
    u[6:] = np.linalg.solve(free.stiffness[6:, 6:], forces[6:])

    assert torsion / 80e9 == pytest.approx(5.9319e-4, abs=1e-15)
    assert 1e6 * u[-1] == pytest.approx(63.2175, abs=1e-3)


def test_growth_along_the_beam() -> None:
    """3 m of granite (7.4e-6 /K, read in a materials table) grow by 11.1 um in 0.5 K."""
    free = elastic(Girder("stone", "test", Beam(1.0, 3.0, 1e7, 1e7, 1e7, 0.0, 0.4, 7.4e-6), (), (), ()))
    ends = thermal_basis(free).at(np.array([[0.0, 0.0, -1.5], [0.0, 0.0, 1.5]]))[:, 2, 1] * 0.5

    assert 1e6 * (ends[1] - ends[0]) == pytest.approx(11.1, abs=1e-9)


def test_a_stiff_girder_on_three_feet_tilts_as_a_plane() -> None:
    """Feet at (z, x) = (-1, -.4), (-1, .4), (1, 0) m, the first raised by 0.1 mm (derived): 0.025 mm at the middle,
    -0.025 mm/m along the beam, -0.125 mm/m across, 0.01 mm at a magnet at z = 0.6 m."""
    feet = tuple(
        Bolt(f"V{k}", (0.0, 1.0, 0.0), (x, -0.5, z), 1e-3, None, 0.01, True, 1e9)
        for k, (z, x) in enumerate(((-1.0, -0.4), (-1.0, 0.4), (1.0, 0.0)))
    )
    girder = Girder("stiff", "test", Beam(100.0, 2.4, 1e12, 1e12, 1e12, -0.3, 0.4, 12e-6), (), (), feet)
    free = elastic(girder)
    on = standing(girder, free)
    points = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.6], [0.1, 0.0, 0.0]])
    moved = (
        settle(on, np.array([1e-4, 0.0, 0.0]), free.weight).displacement
        - settle(on, np.zeros(3), free.weight).displacement
    )
    y = free.follow(points)[:, 1] @ moved * 1e3

    # three feet hold no bending: only rounding (1e-9 mm) is left
    np.testing.assert_allclose(
        [y[0], (y[1] - y[0]) / 0.6, (y[2] - y[0]) / 0.1, y[1]], [0.025, -0.025, -0.125, 0.01], atol=1e-7
    )
