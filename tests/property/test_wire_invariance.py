"""What must not change a centre, and what must move it along: on whole days of a virtual bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.wire import Sweep, WireScan
from monochord.wire.axes import find_axes
from monochord.wire.field_law import plan_law, solve_law
from monochord.wire.rotating_coil import find_centre, moved_origin
from tests.wire_world import MAGNETS, WIRE, day

Array = NDArray[np.float64]

UM, NM = 1e-6, 1e-9
DAY = day(1)
FEW = settings(max_examples=6, deadline=None)


def axes(scans: Sequence[WireScan] = DAY.scans, sweeps: Sequence[Sweep] = DAY.sweeps) -> WireFinding:
    return find_axes("day", scans, sweeps, WIRE, MAGNETS)


AS_READ = axes()


def values(finding: WireFinding) -> Array:
    return np.array([a.estimate.value for a in finding.axes])


def same(finding: WireFinding, *, tolerance: float) -> None:
    """Centres alike to a length, slopes to that length over a centimetre, unknown ones unknown."""
    unit = np.array([1.0, 1.0, 100.0, 100.0])
    assert np.allclose(values(finding) / unit, values(AS_READ) / unit, rtol=0.0, atol=tolerance, equal_nan=True)


@FEW
@given(st.floats(-3e-4, 3e-4), st.floats(-3e-4, 3e-4))
def test_moving_the_origin_of_the_stages_moves_every_centre(dx: float, dy: float) -> None:
    moved = axes([replace(s, stage_x=s.stage_x + dx, stage_y=s.stage_y + dy) for s in DAY.scans])
    shift = values(moved)[:, :2] - values(AS_READ)[:, :2]
    # the law is exact about any origin: rounding alone
    assert np.abs(shift - [dx, dy]).max() < 0.01 * NM


@FEW
@given(st.floats(0.7, 3.0))
def test_a_stronger_drive_changes_nothing(factor: float) -> None:
    scans = [replace(s, x=factor * s.x, y=factor * s.y, drive_current=factor * s.drive_current) for s in DAY.scans]
    # only the curvature expected of sensors is told in metres, and it is far below the noise
    same(axes(scans, [replace(s, x=factor * s.x, y=factor * s.y) for s in DAY.sweeps]), tolerance=1 * NM)


def test_a_reversed_drive_changes_nothing() -> None:
    scans = [replace(s, x=-s.x, y=-s.y) for s in DAY.scans]
    finding = axes(scans, [replace(s, x=-s.x, y=-s.y) for s in DAY.sweeps])
    same(finding, tolerance=0.1 * NM)
    assert "other sign" in next(g for g in finding.gates if g.name == "polarity").message


@FEW
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_scans_does_not_count(random: object) -> None:
    shuffled = list(DAY.scans)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    same(axes(shuffled), tolerance=0.1 * NM)


@FEW
@given(st.floats(-0.05, 0.05))
def test_a_turn_of_the_sensor_pair_moves_no_centre(turn: float) -> None:
    """Both sensors at one place, turned together about the wire by up to 50 mrad; only the told turn changes."""
    together = replace(WIRE, sensor_y_z=WIRE.sensor_x_z)
    c, s = np.cos(turn), np.sin(turn)
    scans = [replace(r, x=c * r.x + s * r.y, y=-s * r.x + c * r.y) for r in DAY.scans]
    sweeps = [replace(r, x=c * r.x + s * r.y, y=-s * r.x + c * r.y) for r in DAY.sweeps]
    before = find_axes("day", DAY.scans, DAY.sweeps, together, MAGNETS)
    after = find_axes("day", scans, sweeps, together, MAGNETS)
    quadrupoles = np.array([m.kind == "quadrupole" for m in MAGNETS])
    apart = np.abs(values(after)[:, :2] - values(before)[:, :2])
    # gains and squareness, which do not turn along, are told by the same noisy readings in other proportions
    assert apart[quadrupoles].max() < 20 * NM
    assert apart.max() < 200 * NM
    assert before.sensor_turn is not None
    assert after.sensor_turn == pytest.approx(before.sensor_turn + turn, abs=1e-4)


def test_every_uncertainty_is_a_variance() -> None:
    for axis in AS_READ.axes:
        known = np.isfinite(axis.estimate.value)
        assert (axis.estimate.u[known] > 0.0).all()
        assert np.linalg.eigvalsh(axis.estimate.cov).min() > -1e-22
        assert {c.cause for c in axis.corrections} >= {"background", "sag", "detuning", "sensor turn", "slope leakage"}


@given(
    st.lists(st.complex_numbers(max_magnitude=1.0, allow_nan=False, allow_infinity=False), min_size=1, max_size=3),
    st.complex_numbers(min_magnitude=0.5, max_magnitude=2.0),
    st.complex_numbers(max_magnitude=1e-3),
)
def test_a_polynomial_comes_back_from_its_own_values(low: list[complex], lead: complex, at: complex) -> None:
    grid = (np.linspace(-1, 1, 6)[:, None] + 1j * np.linspace(-1, 1, 6)).ravel()
    zeta = np.asarray(at + 1e-3 * grid, complex)
    c = np.array([*low, lead])
    columns = np.zeros((len(zeta), 8), complex)
    columns[:, 0] = np.polynomial.polynomial.polyval((zeta - at) / 1e-3, c)
    law = solve_law(plan_law(zeta, np.ones((len(zeta), 2)), len(low), frame=(at, 1e-3)), columns)
    assert law.coefficients == pytest.approx(c, abs=1e-10)


@given(
    st.integers(2, 4),
    st.lists(st.complex_numbers(max_magnitude=1e-3, allow_nan=False, allow_infinity=False), min_size=3, max_size=3),
    st.complex_numbers(max_magnitude=1e-3),
    st.floats(-0.3, 0.3),
)
def test_a_coil_finds_a_centre_wherever_it_stands(order: int, higher: list[complex], at: complex, roll: float) -> None:
    own = np.array([*[0.0] * (order - 1), np.exp(-1j * order * roll), *higher])
    seen = find_centre(moved_origin(own, -at, 0.01), order, 0.01)
    assert seen.centre == pytest.approx(at, abs=1e-12)
    assert seen.roll == pytest.approx(roll, abs=1e-9)
