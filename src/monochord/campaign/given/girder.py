"""The girder: what sits on it, what it stands on, and how it bends."""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float, float]

#: Kind of a multipole magnet -> N, half its number of poles.
ORDERS: dict[str, int] = {"dipole": 1, "quadrupole": 2, "sextupole": 3, "octupole": 4}


@dataclass(frozen=True, slots=True)
class Item:
    """Something that sits on the girder and is carried by it.

    name   as the laboratory writes it;  kind  in words ("quadrupole", "monitor", ...)
    point  reference point (x, y, z) [m], girder frame;  length  along z [m];  mass  [kg], 0 if not told
    """

    name: str
    kind: str
    point: Point
    length: float = 0.0
    mass: float = 0.0


@dataclass(frozen=True, slots=True)
class Magnet(Item):
    """A multipole magnet.

    derivative  (N-1)-th derivative of By along x per ampere of magnet current [T/m^(N-1)/A], with its sign
    edge        fall-off length e of the field profile 0.5 (tanh((z-a)/e) - tanh((z-b)/e)) [m]; 0 is a hard edge
    """

    derivative: float = 0.0
    edge: float = 0.0

    @property
    def order(self) -> int:
        """N: 2 for a quadrupole, 3 for a sextupole, 4 for an octupole."""
        return ORDERS[self.kind]


@dataclass(frozen=True, slots=True)
class Target:
    """A place for a reflector. carrier is "girder", the name of an item, or "wall"."""

    name: str
    carrier: str
    nominal: Point | None
    u_nominal: float = 0.0


@dataclass(frozen=True, slots=True)
class Bolt:
    """An adjuster, and the foot where the girder bears on it.

    direction     unit vector along which positive turns push the girder, girder frame
    thread_pitch  advance per turn [m]; travel  whole stroke [m] or None; smallest_step  [turn]
    one_sided     True when the girder only rests on it and can lift off
    stiffness     at its best [N/m]; right_handed  thread hand, None when not told
    """

    name: str
    direction: Point
    point: Point
    thread_pitch: float
    travel: float | None
    smallest_step: float
    one_sided: bool
    stiffness: float
    right_handed: bool | None = None


@dataclass(frozen=True, slots=True)
class Beam:
    """The girder as an elastic beam.

    mass_per_length      without the magnets [kg/m];  length  of the beam [m], z from -length/2
    bending_vertical     E I for vertical bending [N m2];  bending_lateral  for lateral bending [N m2]
    torsion              G J [N m2];  neutral_line  its y [m];  depth  top to bottom [m]
    expansion            [1/K]
    """

    mass_per_length: float
    length: float
    bending_vertical: float
    bending_lateral: float
    torsion: float
    neutral_line: float
    depth: float
    expansion: float


@dataclass(frozen=True, slots=True)
class Creep:
    """How far a clamped magnet creeps from one occasion to the next, one standard deviation an axis: shift [m], turn [rad]."""

    shift: float
    turn: float


@dataclass(frozen=True, slots=True)
class Girder:
    """One girder: its name, type and everything that belongs to it; ``creep`` of its clamps is None when nobody told it."""

    name: str
    type_name: str
    beam: Beam | None
    items: tuple[Item, ...]
    targets: tuple[Target, ...]
    bolts: tuple[Bolt, ...]
    creep: Creep | None = None

    @property
    def magnets(self) -> tuple[Magnet, ...]:
        """The items that are magnets, along z."""
        found = [item for item in self.items if isinstance(item, Magnet)]
        return tuple(sorted(found, key=lambda m: m.point[2]))
