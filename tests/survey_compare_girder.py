"""A made-up girder and two surveys of it, with or without noise, for the tests of comparisons. Invented numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.points import PointSet
from monochord.campaign.given.girder import Beam, Bolt, Girder, Magnet, Target
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.frames import Rigid
from monochord.survey.datum import rigid_motions, s_transform

Array = NDArray[np.float64]
#: z (n,) -> a shape's size and its slope along z there
Curve = Callable[[Array], tuple[Array, Array]]

NEUTRAL = -0.58
SPAN = 2.1
FEET = (-1.75, -0.62, 0.58, 1.75)
#: Half of the wire's length [m]: its ends stand beyond the girder.
REACH = 2.9


def make_girder(magnets: int = 5, nests: int = 4) -> Girder:
    """A girder of 4.4 m with so many magnets, each with so many targets, and twelve targets of its own."""
    places = np.linspace(-1.6, 1.55, magnets) + 0.03 * (-1.0) ** np.arange(magnets)
    made = tuple(
        Magnet(f"M{k + 1}", "quadrupole", (0.0, 0.0, float(z)), 0.3, 500.0, 0.1, 0.03) for k, z in enumerate(places)
    )
    targets = [
        Target(f"B{k + 1}{side}", "girder", (x, -0.33, float(z)), 5e-4)
        for k, z in enumerate(np.linspace(-SPAN, SPAN, 6))
        for side, x in (("l", 0.31), ("r", -0.31))
    ]
    corners = ((0.18, -0.1), (-0.18, -0.1), (0.18, 0.1), (-0.18, 0.1))[:nests]
    for magnet in made:
        targets += [
            Target(f"{magnet.name}.{k + 1}", magnet.name, (x, 0.29, magnet.point[2] + dz), 5e-4)
            for k, (x, dz) in enumerate(corners)
        ]
    bolts = [
        Bolt(f"V{k}{side}", (0.0, 1.0, 0.0), (x, -0.8, z), 1e-3, None, 0.01, True, 1e9)
        for k, z in enumerate(FEET)
        for side, x in (("l", 0.25), ("r", -0.25))
    ]
    bolts += [
        Bolt(f"S{k}", (1.0, 0.0, 0.0), (-0.3, -0.7, z), 1e-3, None, 0.01, False, 3e8)
        for k, z in enumerate((-1.75, 0.0, 1.75))
    ]
    beam = Beam(400.0, 4.4, 3e8, 3.6e8, 1.2e8, NEUTRAL, 0.5, 12e-6)
    return Girder("made up", "made up", beam, made, tuple(targets), tuple(bolts))


def flat(z: Array) -> tuple[Array, Array]:
    """No shape."""
    return np.zeros_like(z), np.zeros_like(z)


def parabola(size: float) -> Curve:
    """Raised by this at the middle against the ends [m]."""
    return lambda z: (size * (1.0 - (z / SPAN) ** 2), -2.0 * size * z / SPAN**2)


def straight(size: float) -> Curve:
    """Grown by this from the first to the last target [rad]."""
    return lambda z: (0.5 * size * z / SPAN, np.full_like(z, 0.5 * size / SPAN))


@dataclass(frozen=True, eq=False)
class What:
    """What happened between two occasions.

    vertical, lateral, twist   shapes of the neutral line [m] and of the sections [rad]
    bodies   magnet -> own move (6,) [m, rad];  nests  target -> own move (3,) [m];  rigid  (6,)
    grown    relative change of size;  giving  1 when magnets follow the girder all along, 0 when they ride on one section
    """

    vertical: Curve = flat
    lateral: Curve = flat
    twist: Curve = flat
    bodies: Mapping[str, Array] = field(default_factory=dict)
    nests: Mapping[str, Array] = field(default_factory=dict)
    rigid: Array = field(default_factory=lambda: np.zeros(6))
    grown: float = 0.0
    giving: float = 0.0


def _of_section(what: What, points: Array, z: Array) -> Array:
    """Displacement (n, 3) of points that ride on the sections at z (n,)."""
    v, dv = what.vertical(z)
    u, du = what.lateral(z)
    t, _ = what.twist(z)
    arm = points - np.stack([np.zeros_like(z), np.full_like(z, NEUTRAL), z], axis=1)
    shift = np.stack([u, v, np.zeros_like(z)], axis=1)
    return np.asarray(shift + np.cross(np.stack([-dv, du, t], axis=1), arm), float)


def moved(girder: Girder, points: Array, carriers: Sequence[str], what: What, names: Sequence[str] = ()) -> Array:
    """Where points (n, 3) of these carriers went."""
    magnets = {m.name: np.array(m.point) for m in girder.magnets}
    home = np.array([magnets.get(c, p) for c, p in zip(carriers, points, strict=True)])
    z = home[:, 2] + what.giving * (points[:, 2] - home[:, 2])
    gone = points + _of_section(what, points, z)
    for row, carrier in enumerate(carriers):
        if carrier in what.bodies:
            six = np.asarray(what.bodies[carrier], float)
            gone[row] += six[:3] + np.cross(six[3:], points[row] - magnets[carrier])
    for row, name in enumerate(names):
        gone[row] += what.nests.get(name, np.zeros(3))
    gone = gone + what.grown * points
    return np.asarray(gone + (rigid_motions(gone, np.zeros(3)) @ what.rigid).reshape(-1, 3), float)


@dataclass(frozen=True)
class Noise:
    """How well a survey and a wire measure, one standard deviation: points, mountings [m], range scale; axes, string, ends [m]."""

    reading: float = 2.5e-6
    mounting: float = 3e-6
    scale: float = 1e-6
    fit: float = 0.6e-6
    string: float = 1e-6
    ends: float = 4e-6


def survey(
    occasion: str, girder: Girder, places: Array, rng: np.random.Generator | None, noise: Noise, *, scale: float = 0.0
) -> PointSet:
    """A survey of the girder's targets at places (n, 3); with no rng it makes no errors but still tells its uncertainty."""
    names, carriers = [t.name for t in girder.targets], [t.carrier for t in girder.targets]
    size = 3 * len(names)
    datum = s_transform(places, np.array([c == "girder" for c in carriers]))
    swelling = (places - places.mean(axis=0)).reshape(-1, 1)
    factors = {
        f"reading:{occasion}": Factor(datum, noise.reading**2 * np.eye(size)),
        f"mounting:{occasion}": Factor(datum, noise.mounting**2 * np.eye(size)),
        f"range scale:{occasion}": Factor(swelling, np.array([[noise.scale**2]])),
    }
    value = places.reshape(-1) + scale * swelling[:, 0]
    if rng is not None:
        errors = noise.reading * rng.normal(size=size) + noise.mounting * rng.normal(size=size)
        value = value + datum @ errors + noise.scale * rng.normal() * swelling[:, 0]
    labels = tuple(Label(f"{n}.{c}", "m", "girder") for n in names for c in "xyz")
    return PointSet(
        "girder", tuple(names), Estimate(value, labels, factors), dict(zip(names, carriers, strict=True)),
        Rigid("survey", "girder", np.eye(3), np.zeros(3)), (), (), (), {}, 0.0, noise.scale, 1.0, 500.0, (),
    )  # fmt: skip


def wire(
    occasion: str, girder: Girder, centres: Array, rng: np.random.Generator | None, noise: Noise, *, vectors: Array
) -> list[Axis]:
    """Axes from one stringing through these centres (m, 3); vectors (4,) error of the ends' calibration, all occasions alike."""
    waves = np.arange(1, 5)
    spread = np.diag(np.tile(2.0 * noise.string**2 / waves**2 / np.sum(1.0 / waves**2), 2))
    drawn = np.zeros((len(girder.magnets) + 1, 12)) if rng is None else rng.normal(size=(len(girder.magnets) + 1, 12))
    string, ends = np.sqrt(np.diag(spread)) * drawn[-1, :8], noise.ends * drawn[-1, 8:]
    axes = []
    for magnet, centre, own in zip(girder.magnets, centres, drawn[:-1, :2], strict=True):
        part = (magnet.point[2] + REACH) / (2.0 * REACH)
        waving, hanging = np.zeros((2, 8)), np.array([[1 - part, 0, part, 0], [0, 1 - part, 0, part]])
        waving[0, :4] = waving[1, 4:] = -np.sin(waves * np.pi * part)
        factors = {
            f"fit:{occasion}/{magnet.name}": Factor(np.eye(2), noise.fit**2 * np.eye(2)),
            f"stringing:{occasion}": Factor(waving, spread),
            f"ends:{occasion}": Factor(hanging, noise.ends**2 * np.eye(4)),
            "nest vector": Factor(hanging, 1e-10 * np.eye(4)),
        }
        value = centre[:2] + noise.fit * own + waving @ string + hanging @ (ends + vectors)
        labels = tuple(Label(f"{magnet.name}.{c}", "m", "girder") for c in "xy")
        estimate = Estimate(value, labels, factors)
        axes.append(Axis(magnet.name, "girder", magnet.point[2], estimate, None, None, None, None, (), ()))
    return axes


@dataclass(frozen=True, eq=False)
class Two:
    """Two occasions of one girder: targets and axes before and after."""

    a: PointSet
    b: PointSet
    axes_a: list[Axis]
    axes_b: list[Axis]


def two_occasions(
    girder: Girder,
    what: What,
    rng: np.random.Generator | None = None,
    noise: Noise | None = None,
    *,
    scale: float = 0.0,
) -> Two:
    """Both occasions measured; scale  relative error of the later survey's ranges."""
    noise = noise or Noise()
    names, carriers = [t.name for t in girder.targets], [t.carrier for t in girder.targets]
    places = np.array([t.nominal for t in girder.targets], float)
    magnets = [m.name for m in girder.magnets]
    centres = np.array([m.point for m in girder.magnets])
    vectors = np.zeros(4)
    if rng is not None:
        places = places + 2e-4 * rng.normal(size=places.shape)
        vectors = 1e-5 * rng.normal(size=4)
    return Two(
        survey("before", girder, places, rng, noise),
        survey("after", girder, moved(girder, places, carriers, what, names), rng, noise, scale=scale),
        wire("before", girder, centres, rng, noise, vectors=vectors),
        wire("after", girder, moved(girder, centres, magnets, what), rng, noise, vectors=vectors),
    )
