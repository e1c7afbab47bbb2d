"""The virtual girder: magnets with true axes and fields, targets with true places, and where all of it is on an occasion.

What is true of a magnet and no fit models: its iron is a little longer and its field edge a little softer
than told, it has higher multipoles of its own, and its remanence has another centre than its driven field.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import factorial

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder, Magnet
from monochord.ground.frames import rotation_from_vector
from monochord.simulate.shape import Shape, carried, grown

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Spread:
    """How a virtual girder is scattered, one standard deviation each.

    centre, slope, roll   of the magnets as the crane left them [m], [rad], [rad]
    remanence             remanent field as a part of the field at full current
    remanence_centre      place of the remanent field's centre in its magnet [m]
    stray_gradient        remanent gradient of a sextupole or octupole [T/m]
    length, edge          relative error of the told iron length, and by how much a field's edge is softer than told
    edge_either           the same to either side, beside ``edge``
    harmonics             each unwanted multipole at 10 mm, as a part of the wanted one
    target                true place of a target against its nominal [m]
    beam, bolt, floor     relative error of the told stiffness: of the beam in each way of bending, of every bolt, and
                          of the floor below it, which is another at every place
    """

    centre: float = 80e-6
    slope: float = 60e-6
    roll: float = 90e-6
    remanence: float = 0.004
    remanence_centre: float = 150e-6
    stray_gradient: float = 2e-4
    length: float = 0.003
    edge: float = 0.05
    edge_either: float = 0.0
    harmonics: float = 3e-4
    target: float = 0.25e-3
    beam: float = 0.05
    bolt: float = 0.14
    floor: float = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class VirtualMagnet:
    """One magnet as it truly is, at rest on the unchanged girder.

    centre    (3,) of the axis at the magnet's middle [m];  slope_x, slope_y, roll  [rad]
    driven    (k,) complex coefficients of u^0, u^1, ... of B_y + i B_x per ampere, u = x + i y about the axis
    remanent  (k,) the same of the field that stays without current [T/m^k]
    length, edge  of the true profile [m];  order  N

    The coefficients are those of the unrolled magnet: a roll of phi multiplies the one of u^k by exp(-i (k+1) phi).
    """

    name: str
    order: int
    centre: Array
    slope_x: float
    slope_y: float
    roll: float
    driven: Complex
    remanent: Complex
    length: float
    edge: float


@dataclass(frozen=True, eq=False, slots=True)
class VirtualGirder:
    """A girder that exists only in numbers: what is told of it, and how its magnets and targets truly are at rest."""

    told: Girder
    magnets: tuple[VirtualMagnet, ...]
    targets: Mapping[str, Array]


@dataclass(frozen=True, eq=False, slots=True)
class Placed:
    """Where everything is on one occasion, girder frame.

    magnets   with centre, slopes and roll as they are now;  targets  (3,) each [m]
    """

    magnets: tuple[VirtualMagnet, ...]
    targets: Mapping[str, Array]

    def magnet(self, name: str) -> VirtualMagnet:
        """The magnet of this name."""
        return next(m for m in self.magnets if m.name == name)


#: The unwanted multipoles u^(N-1+p) that magnets of these orders get: allowed by symmetry first, then assembly errors.
_UNWANTED: dict[int, tuple[int, ...]] = {1: (2,), 2: (4, 1), 3: (6, 1), 4: (8, 1)}


def build_magnet(magnet: Magnet, full_current: float, spread: Spread, rng: np.random.Generator) -> VirtualMagnet:
    """One magnet with its true axis and field, drawn about what is told of it.

    full_current  [A] the current to which the remanence belongs

    >>> told = Magnet("Q", "quadrupole", (0.0, 0.0, 0.5), 0.2, 500.0, derivative=0.1, edge=0.03)
    >>> made = build_magnet(told, 100.0, Spread(), np.random.default_rng(1))
    >>> made.order, round(float(made.driven[1].real), 12)
    (2, 0.1)
    """
    n = magnet.order
    main = magnet.derivative / factorial(n - 1)
    driven = np.zeros(n + 8, complex)
    driven[n - 1] = main
    for p in _UNWANTED[n]:
        driven[n - 1 + p] = main * spread.harmonics / 0.010**p * complex(*rng.normal(size=2))
    remanent = np.zeros(n, complex)
    kept = main * full_current * spread.remanence * rng.normal()
    away = spread.remanence_centre * complex(*rng.normal(size=2))
    # kept (u - away)^(N-1), written out in powers of u
    for k in range(n):
        binomial = factorial(n - 1) // (factorial(k) * factorial(n - 1 - k))
        remanent[k] = kept * binomial * (-away) ** (n - 1 - k)
    if n > 2:
        remanent[1] += spread.stray_gradient * complex(*rng.normal(size=2))
    away_xy = spread.centre * rng.normal(size=2)
    slopes = spread.slope * rng.normal(size=2)
    return VirtualMagnet(
        name=magnet.name,
        order=n,
        centre=np.array(magnet.point) + np.array([*away_xy, 10e-6 * rng.normal()]),
        slope_x=float(slopes[0]),
        slope_y=float(slopes[1]),
        roll=spread.roll * float(rng.normal()),
        driven=driven,
        remanent=remanent,
        length=magnet.length * (1.0 + spread.length * float(rng.normal())),
        edge=magnet.edge * _edge(float(rng.normal()), spread),
    )


def _edge(drawn: float, spread: Spread) -> float:
    """True over told width of a field's edge; never below a half."""
    return max(1.0 + spread.edge * abs(drawn) + spread.edge_either * drawn, 0.5)


def build_girder(told: Girder, full_current: float, spread: Spread, rng: np.random.Generator) -> VirtualGirder:
    """A virtual girder drawn about what is told of it.

    full_current  [A] at which the magnets are scanned

    >>> from monochord.simulate.scenario import demo_scenario
    >>> made = build_girder(demo_scenario().girder, 90.0, Spread(), np.random.default_rng(1))
    >>> len(made.magnets), len(made.targets)
    (6, 36)
    """
    magnets = tuple(build_magnet(m, full_current, spread, rng) for m in told.magnets)
    carried_targets = [t for t in told.targets if t.carrier != "wall" and t.nominal is not None]
    nominal = np.array([t.nominal for t in carried_targets], float).reshape(-1, 3)
    places = nominal + spread.target * rng.normal(size=(len(carried_targets), 3))
    return VirtualGirder(told, magnets, {t.name: p for t, p in zip(carried_targets, places, strict=True)})


def place(
    girder: VirtualGirder, shape: Shape, moves: Mapping[str, Array], *, warmer: float = 0.0, foot: float = 0.0
) -> Placed:
    """Everything where it is on an occasion.

    shape   what the girder's sections did since rest
    moves   magnet -> (6,) own motion since rest: dx, dy, dz [m] at its axis and rotation vector [rad]
    warmer  uniform warming since rest [K];  foot  y about which heights grow [m]

    A magnet follows its section at its axis as a rigid body, its targets with it; then comes its own move.

    >>> from monochord.simulate.scenario import demo_scenario
    >>> from monochord.simulate.shape import unmoved
    >>> made = build_girder(demo_scenario().girder, 90.0, Spread(), np.random.default_rng(1))
    >>> slipped = place(made, unmoved, {"Quad2": np.array([1e-5, 0.0, 0.0, 0.0, 0.0, 0.0])})
    >>> round(float((slipped.magnet("Quad2").centre - made.magnets[2].centre)[0]), 9)
    1e-05
    """
    beam = girder.told.beam
    neutral, expansion = (beam.neutral_line, beam.expansion) if beam else (0.0, 0.0)

    def displaced(points: Array) -> Array:
        return carried(points, shape, neutral) + grown(points, warmer, expansion, foot)

    centres = np.array([m.centre for m in girder.magnets])
    shifts = displaced(centres)
    turns = shape(centres[:, 2]).rotation
    now: list[VirtualMagnet] = []
    targets: dict[str, Array] = {}
    for magnet, shift, turn in zip(girder.magnets, shifts, turns, strict=True):
        own = moves.get(magnet.name, np.zeros(6))
        rotation = turn + own[3:]
        new_centre = magnet.centre + shift + own[:3]
        now.append(turned(magnet, new_centre, rotation))
        names = [t.name for t in girder.told.targets if t.carrier == magnet.name and t.name in girder.targets]
        arms = np.array([girder.targets[n] for n in names]).reshape(-1, 3) - magnet.centre
        swollen = arms * (1.0 + expansion * warmer)
        placed = new_centre + swollen @ rotation_from_vector(rotation).T
        targets.update(zip(names, placed, strict=True))
    rest = [n for n in girder.targets if n not in targets]
    points = np.array([girder.targets[n] for n in rest]).reshape(-1, 3)
    targets.update(zip(rest, points + displaced(points), strict=True))
    return Placed(tuple(now), {name: targets[name] for name in girder.targets})


def turned(magnet: VirtualMagnet, centre: Array, rotation: Array) -> VirtualMagnet:
    """The magnet at a new centre, turned by a small rotation vector: slope_x grows by its y part, slope_y by minus its x part."""
    return replace(
        magnet,
        centre=centre,
        slope_x=magnet.slope_x + float(rotation[1]),
        slope_y=magnet.slope_y - float(rotation[0]),
        roll=magnet.roll + float(rotation[2]),
    )


def with_remanence(magnet: VirtualMagnet, current: float) -> Array:
    """Centre (2,) of the magnet's whole field, driven and remanent: zeta = zeta_axis - c_(N-2) / ((N-1) c_(N-1)).

    current  [A]. For a dipole there is no centre and the axis itself is given.

    >>> told = Magnet("Q", "quadrupole", (0.0, 0.0, 0.5), 0.2, 500.0, derivative=0.1, edge=0.03)
    >>> alone = build_magnet(told, 100.0, Spread(remanence=0.0), np.random.default_rng(1))
    >>> bool(np.all(with_remanence(alone, 100.0) == alone.centre[:2]))
    True
    """
    n = magnet.order
    axis = magnet.centre[:2]
    if n == 1:
        return axis.copy()
    whole = magnet.driven[:n] * current + magnet.remanent
    rolled = whole * np.exp(-1j * np.arange(1, n + 1) * magnet.roll)
    shift = -rolled[n - 2] / ((n - 1) * rolled[n - 1])
    return np.array([axis[0] + shift.real, axis[1] + shift.imag])
