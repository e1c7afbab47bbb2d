"""How a driven mode, with the tails of all others, weighs the field along one magnet.

The wire is driven near mode n, but every mode answers a little. Divided by the stiffness of mode n, a
reading is the integral of B(z) W(z) with

    W = sin(k_n s) + sum_m (g_m / g_n) D_n / (w_m^2 - w^2) sin(k_m s),    D_n = w_n^2 - w^2 + 2 i a w

and g_m = sin(k_m s_sensor). The real part of W is the weight, its imaginary part a lag that looks like a
detuning of the mode and is told apart here. The tails matter where mode n is nearly blind.

Source: modal sum of the damped string, derived.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.string import sag_below_chord
from monochord.wire.model import TAIL_MODES, ComplexArray, field_nodes, stiffness
from monochord.wire.resonance import Transfer, sensor_shape

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Nodes:
    """Nodes z (q,) of an integral along z [m], their weights (q,) [m], all mode shapes there (q, TAIL_MODES), the middle [m]."""

    z: Array
    weight: Array
    shapes: Array
    middle: float


def magnet_nodes(magnet: Magnet, wire: Wire) -> Nodes:
    """Nodes along one magnet's field, weighted by its profile."""
    z, weight = field_nodes(magnet)
    return Nodes(z, weight, _shapes(z, wire), magnet.point[2])


def room_nodes(wire: Wire, count: int = 401) -> Nodes:
    """Nodes along the whole wire, for a field that fills the room (trapezoids)."""
    z = np.linspace(wire.z_start, wire.z_start + wire.length, count)
    weight = np.full(count, wire.length / (count - 1))
    weight[[0, -1]] /= 2.0
    return Nodes(z, weight, _shapes(z, wire), wire.z_start + wire.length / 2.0)


def _shapes(z: Array, wire: Wire) -> Array:
    mode = np.arange(1, TAIL_MODES + 1)
    return np.asarray(np.sin(np.outer(z - wire.z_start, mode * np.pi / wire.length)), float)


@dataclass(frozen=True, eq=False, slots=True)
class DrivenMode:
    """One mode of the wire as the sweeps found it.

    number  n;  w_a, w_b  frequencies in the two planes [rad/s];  decay  [1/s];  turn  of plane a [rad]
    w1      mean fundamental of all modes [rad/s];  unsee  (2,) from sensor readings to modal displacement
    ratio   (TAIL_MODES,) other modes' shape at the sensors over this one's, mean of the two, 0 for itself
    """

    number: int
    w_a: float
    w_b: float
    decay: float
    turn: float
    w1: float
    unsee: Array
    ratio: Array

    def kernel(self, w: float | Array, shift: float | Array) -> ComplexArray:
        """Stiffness (..., 2, 2) at drive w with the fundamental moved by shift [rad/s]."""
        moved = np.asarray(2.0 * np.asarray(w) * self.number * shift)
        bare = stiffness(self.w_a, self.w_b, self.decay, self.turn, w)
        return np.asarray(bare + moved[..., None, None] * np.eye(2), complex)

    def detuned(self, w: float | Array, shift: float | Array) -> Array:
        """Real part of D, w_n^2 - w^2 [rad^2/s^2]."""
        return np.asarray(((self.w_a + self.w_b) / 2.0) ** 2 + 2.0 * np.asarray(w) * self.number * shift - np.square(w))

    @property
    def split(self) -> float:
        """Half of w_a^2 - w_b^2 [rad^2/s^2]."""
        return (self.w_a**2 - self.w_b**2) / 2.0

    def answer(self, shapes: Array, w: float, shift: float) -> tuple[Array, Array]:
        """Real part of W (q,), and what it has of the other modes per stiffness of this one, (q,) [s2].

        The imaginary part of W is the second times 2 a w.
        """
        m = np.arange(1, TAIL_MODES + 1)
        gap = (m * (self.w1 + shift)) ** 2 - w**2
        gap[self.number - 1] = 1.0
        far = shapes @ (self.ratio / gap)
        return shapes[:, self.number - 1] + float(self.detuned(w, shift)) * far, far


def driven_mode(number: int, transfer: Transfer, wire: Wire) -> DrivenMode:
    """A mode with everything that reading it needs; its number is at most TAIL_MODES."""
    a, b = transfer.frequencies(number)
    f1 = sum(transfer.fundamental)
    return DrivenMode(
        number,
        2.0 * np.pi * a,
        2.0 * np.pi * b,
        transfer.damping(number),
        transfer.turn,
        np.pi * f1,
        transfer.unsee(number, wire),
        sensor_ratio(number, wire),
    )


def sensor_ratio(number: int, wire: Wire) -> Array:
    """Shape of every mode at the sensors over that of one mode, (TAIL_MODES,), mean of the two sensors, 0 for itself."""
    m = np.arange(1, TAIL_MODES + 1)
    sensors = np.array([wire.sensor_x_z, wire.sensor_y_z]) - wire.z_start
    # The two sensors stand close together: one mean ratio serves both, the tails being small.
    ratio = (np.sin(np.outer(m, np.pi / wire.length * sensors)) / sensor_shape(number, wire)).mean(axis=1)
    ratio[number - 1] = 0.0
    return np.asarray(ratio, float)


@dataclass(frozen=True, eq=False, slots=True)
class Weighing:
    """One magnet under one mode.

    z      (q,) nodes along the magnet [m];  weight  (q,) profile times real part of W times step [m]
    far    answer of all other modes to an offset, per stiffness of this one [m s2];  middle  of the magnet, z [m]
    lag    imaginary over real part of the answer to an offset
    """

    z: Array
    weight: Array
    far: float
    lag: float
    middle: float

    @property
    def offset(self) -> float:
        """S, the part of an offset in the reading [m]."""
        return float(self.weight.sum())

    @property
    def slope(self) -> float:
        """C, the part of a slope in the reading [m2]."""
        return float(self.weight @ (self.z - self.middle))

    def sag(self, wire: Wire, f1: float) -> float:
        """Integral of the sag below the chord under the weight [m2]."""
        return float(self.weight @ sag_below_chord(self.z - wire.z_start, wire.length, f1, wire.gravity))


def weigh(nodes: Nodes, mode: DrivenMode, w: float, shift: float) -> Weighing:
    """The weights of what lies at the nodes, driven at w, the fundamental moved by shift [rad/s]."""
    real, other = mode.answer(nodes.shapes, w, shift)
    weight, far = nodes.weight * real, float(nodes.weight @ other)
    whole = float(weight.sum())
    lag = 2.0 * mode.decay * w * far / whole if whole != 0.0 else float("inf")
    return Weighing(nodes.z, weight, far, lag, nodes.middle)
