"""The virtual bench: a wire with its stages and sensors, scanned across magnets as a crew would do it.

True here and in no fit's model: every mode of the string answers, the decay grows with the mode, the two
sensors are turned by different angles and are slightly curved, the gains creep, the lock-in has a phase
error, the two ends' stages are turned and scaled differently, every other magnet's remanence pulls along,
the room's field is not uniform, and the string drifts while it is read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Wire
from monochord.simulate.girder import Placed
from monochord.simulate.taut import Chord, Readings, Springs, departure, displacement, magnet_modes, room_modes

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class BenchSpread:
    """How virtual benches are scattered and how faulty they are.

    split         relative difference of the two planes' fundamentals;  drift  of the fundamental, relative, per second,
                  one standard deviation;  cubic_at  displacement at which a sensor shows one percent too little [m]
    stage_turn    of the stages at either end, one standard deviation [rad]
    """

    split: float = 3e-4
    drift: float = 2.5e-7 / 28.05
    cubic_at: float = 70e-6
    stage_turn: float = 0.4e-3


@dataclass(frozen=True, eq=False, slots=True)
class Bench:
    """Wire, stages and sensors as they truly are; they travel with the bench.

    decay, decay_growth, stiffness, split, principal   see :class:`~monochord.simulate.taut.Springs`
    sensor_turn   of the x and y sensor about the wire, x towards y [rad];  sensor_gain  true over told
    gain_creep    relative, per second, x and y;  sensor_cubic  c in u (1 - c u^2) [1/m2]
    pickup        apparent displacement per ampere of drive, x and y [m/A];  phase  error of the lock-in [rad]
    stage_turn    of the start's and end's stages about z [rad];  stage_scale  true over told, x and y
    noise         per quadrature and reading [m];  drive_noise  relative, per reading;  drift  as in :class:`BenchSpread`
    """

    wire: Wire
    decay: float
    decay_growth: float
    stiffness: float
    split: float
    principal: float
    sensor_turn: tuple[float, float]
    sensor_gain: tuple[float, float]
    gain_creep: tuple[float, float]
    sensor_cubic: float
    pickup: tuple[complex, complex]
    phase: float
    stage_turn: tuple[float, float]
    stage_scale: tuple[float, float]
    noise: float
    drive_noise: float
    drift: float = 0.0


@dataclass(frozen=True, eq=False, slots=True)
class Stringing:
    """One stringing of the wire in one room.

    start, end    x + i y of the supports with the stages at zero [m], girder frame
    f1            at time 0 [Hz];  creep  [Hz/s];  wander  [Hz] and its period [s]
    own           complex amplitudes of the string's own departure from the straight line [m]
    earth         B_y + i B_x at z = 0 [T], its change along z [T/m], and a steel post: strength [T], z [m], width [m]
    """

    start: complex
    end: complex
    f1: float
    creep: float
    wander: tuple[float, float]
    own: Complex
    earth: complex
    earth_slope: complex
    post: tuple[complex, float, float]

    def f1_at(self, time: Array) -> Array:
        """Fundamental (n,) at times (n,) [Hz]."""
        size, period = self.wander
        value: Array = self.f1 + self.creep * time + size * np.sin(2.0 * np.pi * time / period)
        return value

    def departure_at(self, z: Array, wire: Wire) -> Complex:
        """Own departure x + i y (m,) of the string from the straight line at z (m,) [m]."""
        return departure(self.own, (z - wire.z_start) / wire.length)


def build_bench(wire: Wire, rng: np.random.Generator, spread: BenchSpread | None = None) -> Bench:
    """A bench as benches are: sensors turned by up to a degree, gains a percent off, planes split by a few parts in 10^4.

    >>> from monochord.simulate.scenario import demo_scenario
    >>> build_bench(demo_scenario().wire, np.random.default_rng(1)).noise
    2e-08
    """
    spread = spread or BenchSpread()
    turn = rng.normal() * 8e-3
    return Bench(
        wire=wire, decay=0.42 * (1.0 + 0.08 * rng.normal()), decay_growth=0.03, stiffness=5e-8,
        split=spread.split * (1.0 + 0.3 * rng.normal()), principal=float(rng.uniform(-0.3, 0.3)),
        sensor_turn=(turn + 0.7e-3 * rng.normal(), turn + 0.7e-3 * rng.normal()),
        sensor_gain=(1.0 + 0.01 * rng.normal(), 1.0 + 0.01 * rng.normal()),
        gain_creep=(1e-7 * rng.normal(), 1e-7 * rng.normal()),
        sensor_cubic=0.01 / spread.cubic_at**2,
        pickup=(2e-6 * complex(*rng.normal(size=2)), 2e-6 * complex(*rng.normal(size=2))),
        phase=4e-3 * rng.normal(),
        stage_turn=(spread.stage_turn * rng.normal(), spread.stage_turn * rng.normal()),
        stage_scale=(1.0 + 2e-4 * rng.normal(), 1.0 + 2e-4 * rng.normal()),
        noise=20e-9, drive_noise=5e-5, drift=spread.drift,
    )  # fmt: skip


def string_up(bench: Bench, f1: float, u_stringing: float, rng: np.random.Generator) -> Stringing:
    """A fresh stringing at about f1 [Hz] whose own departure scatters by u_stringing [m] along the wire.

    Four half waves with amplitudes falling as 1/n: their mean square along the wire is 0.712 of the first one's square.

    >>> from monochord.simulate.scenario import demo_scenario
    >>> rng = np.random.default_rng(1)
    >>> string_up(build_bench(demo_scenario().wire, rng), 28.0, 1e-6, rng).own.shape
    (4,)
    """
    first = u_stringing / np.sqrt(0.712)
    own = first / np.arange(1, 5) * (rng.normal(size=4) + 1j * rng.normal(size=4))
    ends = [complex(*rng.normal(size=2)) * 60e-6 for _ in range(2)]
    return Stringing(
        start=ends[0], end=ends[1], f1=f1 * (1.0 + 1.5e-3 * rng.normal()), creep=bench.drift * f1 * rng.normal(),
        wander=(1.0e-3 * abs(rng.normal()), float(rng.uniform(3000.0, 7000.0))), own=own,
        # a horizontal part of some 20 uT and a vertical one of some 40 uT, turned by how the hall lies
        earth=complex(-40e-6 + 4e-6 * rng.normal(), 15e-6 + 6e-6 * rng.normal()),
        earth_slope=2e-6 * complex(*rng.normal(size=2)),
        post=(8e-6 * complex(*rng.normal(size=2)), float(rng.uniform(-2.0, 2.0)), 0.5),
    )  # fmt: skip


def read_bench(
    bench: Bench, stringing: Stringing, placed: Placed, readings: Readings, rng: np.random.Generator | None
) -> tuple[Complex, Complex]:
    """What the lock-in shows for x and y, (n,) complex [m] each; rng None reads without noise."""
    wire = bench.wire
    f1 = stringing.f1_at(readings.time)
    moved = readings.stage[:, 0] * bench.stage_scale[0] + 1j * readings.stage[:, 1] * bench.stage_scale[1]
    chord = Chord(
        stringing.start + moved * np.exp(1j * bench.stage_turn[0]),
        stringing.end + moved * np.exp(1j * bench.stage_turn[1]),
        # the static wire under the same tension: s = g / (32 f1^2)
        wire.gravity / (32.0 * f1**2),
        stringing.own,
    )
    z = np.linspace(wire.z_start, wire.z_start + wire.length, 601)
    strength, post_z, width = stringing.post
    room = stringing.earth + stringing.earth_slope * z + strength * np.exp(-(((z - post_z) / width) ** 2))
    modes = magnet_modes(placed.magnets, wire, chord, readings) + room_modes(z, room, wire)
    noise = np.zeros((4, len(readings))) if rng is None else bench.noise * rng.normal(size=(4, len(readings)))
    if rng is not None:
        modes *= 1.0 + bench.drive_noise * rng.normal(size=(len(readings), 1))
    springs = Springs(f1, bench.split, bench.principal, bench.decay, bench.decay_growth, bench.stiffness)
    sensors = np.array([wire.sensor_x_z, wire.sensor_y_z]) - wire.z_start
    in_x, in_y = displacement(modes, springs, wire, readings, sensors)
    turn_x, turn_y = bench.sensor_turn
    seen = (
        np.cos(turn_x) * in_x[:, 0] + np.sin(turn_x) * in_y[:, 0],
        -np.sin(turn_y) * in_x[:, 1] + np.cos(turn_y) * in_y[:, 1],
    )
    shown = [_sensor(bench, k, u, readings) for k, u in enumerate(seen)]
    return shown[0] + noise[0] + 1j * noise[1], shown[1] + noise[2] + 1j * noise[3]


def _sensor(bench: Bench, which: int, u: Complex, readings: Readings) -> Complex:
    # A cubic sensor shows 3/4 of its curvature at the fundamental of a sine.
    curved = u * (1.0 - 0.75 * bench.sensor_cubic * np.abs(u) ** 2)
    gain = bench.sensor_gain[which] * (1.0 + bench.gain_creep[which] * readings.time)
    shown: Complex = (gain * curved + bench.pickup[which] * readings.drive) * np.exp(1j * bench.phase)
    return shown
