"""The girder's own file and its type file, read back into the nouns; the girder's file goes before the type's."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ParamSpec, TypeVar

from monochord.campaign.given.campaign import LineRule, Tolerance
from monochord.campaign.given.girder import ORDERS, Beam, Bolt, Creep, Girder, Item, Magnet, Point, Target
from monochord.campaign.given.wire import Wire, WireEnd
from monochord.files.document import Document, Node
from monochord.files.girder_tables import STRENGTH_UNITS
from monochord.files.tolerances import tolerance
from monochord.files.words import did_you_mean
from monochord.ground.faults import Fault, Refused
from monochord.ground.frames import DIRECTIONS
from monochord.ground.units import unit

#: Direction in words -> kind of bolt.
_BOLT_KINDS = {"up": "vertical", "down": "vertical", "left": "lateral", "right": "lateral"}

T = TypeVar("T")
P = ParamSpec("P")

#: Standard acceleration of free fall [m/s2], where nothing else is told.
GRAVITY = 9.80665


@dataclass(frozen=True, slots=True)
class GirderFacts:
    """A girder with its wire, its line rule and its tolerances, and what was noted on the way."""

    girder: Girder
    wire: Wire | None
    line_rule: LineRule
    tolerances: tuple[Tolerance, ...]
    notes: tuple[Fault, ...]


def girder_facts(own: Document, shared: Document, campaign: Document) -> GirderFacts:
    """The facts of one girder from its own file over its type file; Refused with all faults."""
    faults: list[Fault] = []
    notes: list[Fault] = []

    def over(key: str) -> Node:
        return _over(own.root.node(key), shared.root.node(key))

    items = [_guarded(faults, _item, name, node, own, shared) for name, node in own.root.node("items").named()]
    kinds = over("bolt_kinds")
    bolts = [_guarded(faults, _bolt, name, node, kinds) for name, node in own.root.node("bolts").named()]
    names = list(own.root.node("items"))
    known = ["girder", "wall", *names]
    good_to = _over(own.root, shared.root)
    targets = [_guarded(faults, _target, name, node, known, good_to) for name, node in own.root.node("targets").named()]
    beam = _guarded(faults, _beam, over("beam")) if over("beam") else None
    creep = _guarded(faults, _creep, over("clamps")) if over("clamps") else None
    ends = list(own.root.node("wire_ends").named())
    wire = _guarded(faults, _wire, over("wire"), ends) if over("wire") else None
    rules = _over(campaign.root, good_to)
    tolerances = [_guarded(faults, tolerance, node, names) for node in rules.nodes("tolerances")]
    if beam is None:
        notes.append(own.fault((), "no [beam]", "the girder as an elastic beam", "without it no bolt plan; add [beam]"))
    if faults:
        raise Refused(faults)
    girder = Girder(
        own.root.text("name"),
        shared.root.text("name"),
        beam,
        tuple(i for i in items if i is not None),
        tuple(t for t in targets if t is not None),
        tuple(b for b in bolts if b is not None),
        creep,
    )
    rule = _line(rules.node("line"))
    return GirderFacts(girder, wire, rule, tuple(t for t in tolerances if t is not None), tuple(notes))


def _over(first: Node, second: Node) -> Node:
    """Keys of the first table over those of the second; faults are placed where a key stands."""
    if not first:
        return second
    if not second:
        return first
    return Node(first.document, first.path, {**second.data, **first.data})


def _guarded(faults: list[Fault], make: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T | None:
    try:
        return make(*args, **kwargs)
    except Refused as refusal:
        faults.extend(refusal.faults)
        return None


def _point(node: Node) -> Point:
    return (node.amount("x", "length"), node.amount("y", "length"), node.amount("z", "length"))


def _item(name: str, node: Node, own: Document, shared: Document) -> Item:
    kind, point = node.text("kind"), _point(node)
    length, mass = node.amount("length", "length", 0.0), node.amount("mass", "mass", 0.0)
    if kind not in ORDERS:
        return Item(name, kind, point, length, mass)
    dimension = unit(STRENGTH_UNITS[ORDERS[kind]]).dimension
    current = node.amount("at_current", "current")
    if current == 0.0:
        raise Refused(
            [node.fault("at_current", "'0 A'", "the current of the strength", "give a current that is not 0")]
        )
    edge = node.amount("edge", "length", _over(own.root, shared.root).amount("edge", "length", 0.0))
    return Magnet(name, kind, point, length, mass, node.amount("strength", dimension) / current, edge)


def _target(name: str, node: Node, known: list[str], good_to: Node) -> Target:
    carrier = node.text("carrier")
    if carrier not in known:
        remedy = f"{did_you_mean(carrier, known)}mend the carrier"
        raise Refused([node.fault("carrier", repr(carrier), "girder, wall or the name of an item", remedy)])
    nominal = _point(node) if "x" in node else None
    u = node.amount("good_to", "length", good_to.amount("targets_good_to", "length", 0.0))
    return Target(name, carrier, nominal, u)


def _bolt(name: str, node: Node, kinds: Node) -> Bolt:
    direction = node.text("direction")
    kind = kinds.node(_BOLT_KINDS.get(direction, "axial"))
    own = _over(node, kind)
    hand = node.data.get("right_handed")
    return Bolt(
        name,
        DIRECTIONS[direction],
        _point(node),
        node.amount("thread_pitch", "thread pitch"),
        own.amount("travel", "length") if "travel" in own else None,
        own.amount("smallest_step", "turns"),
        node.yes("one_sided"),
        own.amount("stiffness", "stiffness"),
        hand if isinstance(hand, bool) else None,
    )


def _beam(node: Node) -> Beam:
    return Beam(
        node.amount("mass_per_length", "mass per length"),
        node.amount("length", "length"),
        node.amount("bending_vertical", "bending stiffness"),
        node.amount("bending_lateral", "bending stiffness"),
        node.amount("torsion", "bending stiffness"),
        node.amount("neutral_line", "length"),
        node.amount("depth", "length"),
        node.amount("expansion", "expansion"),
    )


def _creep(node: Node) -> Creep:
    return Creep(node.amount("creep", "length"), node.amount("creep_turn", "angle"))


def _wire(node: Node, ends: list[tuple[str, Node]]) -> Wire:
    start, told = node.amount("upstream_support", "length"), node.node("sensors")
    # Containers may tell the places of the sensors instead: then they stay unknown here.
    x, y = (told.amount(letter, "length") if letter in told else math.nan for letter in "xy")
    free = node.text("sensor_turn") == "unchecked"
    found = [_wire_end(name, end, node) for name, end in ends]
    return Wire(
        start,
        node.amount("length", "length"),
        node.amount("mass_per_length", "mass per length"),
        node.amount("gravity", "acceleration", GRAVITY),
        start + x,
        start + y,
        math.inf if free else node.amount("sensor_turn", "angle"),
        node.amount("stringing", "length"),
        node.amount("stage_turn", "angle"),
        node.amount("stage_scale", "ratio"),
        node.amount("sensor_gain", "ratio"),
        tuple(sorted(found, key=lambda e: e.z)),
    )


def _wire_end(name: str, node: Node, wire: Node) -> WireEnd:
    vector = (
        node.amount("to_wire_x", "length"),
        node.amount("to_wire_y", "length"),
        node.amount("to_wire_z", "length", 0.0),
    )
    u = node.amount("good_to", "length") if "good_to" in node else wire.amount("end_vector", "length")
    return WireEnd(name, vector, u, node.amount("z", "length"))


def _line(node: Node) -> LineRule:
    weights = node.node("weight_of")
    return LineRule(
        node.text("line", "refitted"),
        node.text("weights", "equal"),
        {key: weights.number(key, 1.0) for key in weights},
    )
