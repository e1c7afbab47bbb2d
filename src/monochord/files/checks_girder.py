"""Does the girder hang together? Mix-ups of columns and units that show in the girder's own geometry."""

from __future__ import annotations

from itertools import pairwise

from monochord.campaign.given.girder import Girder, Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.faults import Fault

#: Farthest that a nest may stand from its support along the beam [m].
END_REACH = 0.5

#: Farthest that a target may stand outside its item along the beam before it is noted, and before it is refused [m].
TARGET_REACH, TARGET_TOO_FAR = 0.3, 1.0

#: Masses between which a magnet lies [kg]; outside it is noted.
LIGHTEST, HEAVIEST = 1.0, 50e3

_MIX = "look for exchanged columns, a wrong unit, or a wrong axis in the lab description's frame"


def check_girder(girder: Girder, wire: Wire | None, file: str) -> tuple[list[Fault], list[Fault]]:
    """Faults and notes about the girder's geometry."""
    faults = [*_crowded(girder, file), *_far_targets(girder, file, TARGET_TOO_FAR)]
    notes = [f for f in _far_targets(girder, file, TARGET_REACH) if f not in faults]
    notes += _masses(girder, file)
    if wire is not None:
        faults += _outside_wire(girder.magnets, wire, file)
        faults += _ends(wire, file)
    return faults, notes


def _crowded(girder: Girder, file: str) -> list[Fault]:
    """Two magnets cannot stand in one place along the beam."""
    magnets = girder.magnets
    found = []
    for a, b in pairwise(magnets):
        gap, need = b.point[2] - a.point[2], 0.25 * (a.length + b.length)
        if gap < need:
            given = f"{a.name} and {b.name} only {gap * 1e3:.1f} mm apart along the beam"
            found.append(Fault(given, f"at least {need * 1e3:.0f} mm for their lengths", _MIX, file, None, "items"))
    return found


def _outside_wire(magnets: tuple[Magnet, ...], wire: Wire, file: str) -> list[Fault]:
    start, end = wire.z_start, wire.z_start + wire.length
    return [
        Fault(
            f"magnet {m.name} at z = {m.point[2]:.3f} m",
            f"a place between the wire's supports, {start:.3f} to {end:.3f} m",
            _MIX,
            file,
            None,
            f"items.{m.name}",
        )
        for m in magnets
        if not start < m.point[2] < end
    ]


def _ends(wire: Wire, file: str) -> list[Fault]:
    found = []
    for end, support in zip(wire.ends, (wire.z_start, wire.z_start + wire.length), strict=False):
        if abs(end.z - support) > END_REACH:
            given = f"wire end {end.nest} at z = {end.z:.3f} m"
            expected = f"within {END_REACH:g} m of the support at {support:.3f} m"
            found.append(Fault(given, expected, _MIX, file, None, f"wire_ends.{end.nest}"))
        if max(abs(v) for v in end.to_wire) > 1.0:
            given = f"a vector of {max(abs(v) for v in end.to_wire):.3g} m from nest {end.nest} to the wire"
            found.append(Fault(given, "less than 1 m", _MIX, file, None, f"wire_ends.{end.nest}"))
    return found


def _far_targets(girder: Girder, file: str, reach: float) -> list[Fault]:
    items = {item.name: item for item in girder.items}
    found = []
    for target in girder.targets:
        item = items.get(target.carrier)
        if item is None or target.nominal is None:
            continue
        beyond = abs(target.nominal[2] - item.point[2]) - item.length / 2.0
        if beyond > reach:
            given = f"target {target.name} {beyond:.3f} m beyond the end of {item.name}, which carries it"
            found.append(Fault(given, f"at most {reach:g} m", _MIX, file, None, f"targets.{target.name}"))
    return found


def _masses(girder: Girder, file: str) -> list[Fault]:
    untold = [
        Fault(
            f"no mass of {item.name}",
            "a mass",
            f'its weight does not bend the girder; give it by --set items.{item.name}.mass="... kg"',
            file,
            None,
            f"items.{item.name}",
        )
        for item in girder.items
        if not item.mass
    ]
    return untold + [
        Fault(
            f"{item.name} with a mass of {item.mass:g} kg",
            f"{LIGHTEST:g} to {HEAVIEST:g} kg",
            "look for a wrong unit (t, kg)",
            file,
            None,
            f"items.{item.name}",
        )
        for item in girder.magnets
        if item.mass and not LIGHTEST <= item.mass <= HEAVIEST
    ]
