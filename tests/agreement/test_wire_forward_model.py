"""The wire room's forward model against the virtual bench's, which was written apart from it."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.string import sag_below_chord
from monochord.simulate.girder import Spread, build_magnet
from monochord.simulate.taut import Chord, Readings, Springs, displacement, magnet_modes
from monochord.wire.model import Planes, coefficient, field_nodes, field_on_modes, sensor_phasors

WIRE = Wire(-2.8, 5.6, 1.0e-4, 9.81, -2.52, -2.50, 0.0, 0.0, 0.0, 0.0, 0.0)
CLEAN = Spread(stray_gradient=0.0, length=0.0, edge=0.0, harmonics=0.0, remanence=0.0)
KINDS = [("quadrupole", 0.12, 2), ("sextupole", 9.0, 4), ("octupole", 300.0, 4)]


@pytest.mark.parametrize(("kind", "derivative", "mode"), KINDS)
def test_displacements_agree(kind: str, derivative: float, mode: int) -> None:
    """Sag, slope, roll, tanh edges, split and turned planes, tails of all modes; 0.2 Hz beside the resonance of 26 Hz."""
    told = Magnet("M", kind, (0.0, 0.0, 0.4), 0.2, derivative=derivative, edge=0.03)
    made = build_magnet(told, 100.0, CLEAN, np.random.default_rng(4))
    points = np.array([-1e-3, 0.2e-3j, 0.7e-3 + 0.3e-3j])
    f1, split, turn, frequency = 26.0, 5e-4, 0.3, mode * 26.05
    n = len(points)
    readings = Readings(
        np.stack([points.real, points.imag], 1), np.zeros(n, np.int64), np.full(n, 100.0), np.full(n, frequency),
        np.full(n, 0.02), np.zeros(n),
    )  # fmt: skip
    sag = float(WIRE.gravity / (32.0 * f1**2))
    chord = Chord(points, points, np.full(n, sag), np.zeros(1, complex))
    springs = Springs(np.full(n, f1), split, turn, 0.4, 0.03, 0.0)
    sensors = np.array([WIRE.sensor_x_z, WIRE.sensor_y_z]) - WIRE.z_start
    x, y = displacement(magnet_modes([made], WIRE, chord, readings), springs, WIRE, readings, sensors)

    z, _ = field_nodes(told)
    field = field_on_modes(
        told, coefficient(told, 100.0, made.roll), centre=complex(*made.centre[:2]),
        slope=complex(made.slope_x, made.slope_y), points=points,
        below=sag_below_chord(z - WIRE.z_start, WIRE.length, f1, WIRE.gravity), wire=WIRE,
    )  # fmt: skip
    planes = Planes(f1 * (1 - split / 2), f1 * (1 + split / 2), turn, 0.4, 0.4 * 0.03)
    mine = sensor_phasors(field, planes, WIRE, mode=mode, frequency=frequency, current=0.02)
    # the two do not place the magnet's middle alike (10 um along z), and only one splits the tails: 1e-4 of the signal
    assert mine[0] == pytest.approx(x[:, 0], rel=3e-4, abs=1e-4 * float(np.abs(x).max()))
    assert mine[1] == pytest.approx(y[:, 1], rel=3e-4, abs=1e-4 * float(np.abs(y).max()))
