"""Tables of a comparison: named parts of the shape, own moves, targets that moved, closure of wire and survey."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.comparison import Closure, Comparison, OwnMove
from monochord.campaign.found.result import Result
from monochord.report.document_comparison import NO_CLOSURE, SIX
from monochord.report.facts import Known, component, finite, magnets_of
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, reasons_note, rows_of, words
from monochord.report.words import UNKNOWN, listed, number, percent, scaled, with_uncertainty

UM = 1e6
FOUND = {True: "moved", False: "did not move", None: "cannot be told apart"}


def _named(kind: str, found: Comparison) -> str:
    return ident(f"table-{kind}", found.start, found.end)


def _pair(found: Comparison) -> str:
    return f"{found.start} to {found.end}"


def shape_table(found: Comparison) -> Table:
    """Named parts of the girder's change of shape."""
    return Table(
        _named("shape", found),
        f"Change of the girder's shape, {_pair(found)}",
        ("part", "size at its largest", "in words"),
        tuple((words(p.cause), _size(p.size, p.u, p.unit), words(p.words)) for p in found.shape),
        note=f"Taken out beforehand: rigid motion, temperature, and a scale of {_scale(found)}.",
        empty="No change of shape was named.",
    )


def _size(size: float, u: float, unit: str) -> Cell:
    """A size in µm, µrad, or µm/m for a relative stretch."""
    printed = {"m": "µm", "rad": "µrad", "1": "µm/m"}.get(unit, unit)
    factor = UM if printed != unit else 1.0
    if finite(size) is None:
        return Cell(UNKNOWN, style="number")
    return Cell(with_uncertainty(size * factor, scaled(finite(u), factor)), size, printed, "number")


def _scale(found: Comparison) -> str:
    if finite(found.scale) is None:
        return "not known"
    spread = f" ± {number(found.u_scale * UM, 1)}" if finite(found.u_scale) is not None else ""
    return f"{number(found.scale * UM, 1, sign=True)}{spread} µm/m"


def _magnets(result: Result, found: Comparison) -> list[tuple[str, OwnMove | None, OwnMove | None]]:
    """Magnet, its own move by targets alone, and by all evidence; along the beam."""
    alone = {move.magnet: move for move in found.own_moves_from_targets}
    every = {move.magnet: move for move in found.own_moves}
    names = dict.fromkeys([*magnets_of(result), *every, *alone])
    return [(m, alone.get(m), every.get(m)) for m in names if m in every or m in alone]


def said_table(result: Result, found: Comparison) -> Table:
    """What is said of every magnet, by all evidence."""
    moves = [every or alone for _, alone, every in _magnets(result, found)]
    known = [move for move in moves if move is not None]
    return Table(
        _named("said", found),
        f"Did a magnet move by itself? {_pair(found)}",
        ("magnet", "by itself", "rests on", "in words"),
        rows_of(
            [words(move.magnet) for move in known],
            [Cell(FOUND[move.found], style="whole strong" if move.found is not False else "whole") for move in known],
            [Cell(move.evidence, style="whole") for move in known],
            [words(move.words) for move in known],
        ),
        empty="No magnet's own move could be told.",
    )


def own_moves_table(result: Result, found: Comparison) -> Table:
    """Own moves across the beam by targets alone and by all evidence, side by side."""
    magnets = _magnets(result, found)
    alone, every = [one for _, one, _ in magnets], [all_of for _, _, all_of in magnets]
    evidence = dict.fromkeys(move.evidence for move in found.own_moves)
    return Table(
        _named("own-moves", found),
        f"Own moves of the magnets at their axes, {_pair(found)}",
        ("magnet", "x, targets alone [µm]", "x, all evidence [µm]", "y, targets alone [µm]", "y, all evidence [µm]",
         "x, 95 of 100 [µm]", "y, 95 of 100 [µm]"),
        rows_of(
            [words(name) for name, _, _ in magnets],
            *(column([_component(move, f"d{q}") for move in side], UM, across=q) for q in "xy" for side in (alone, every)),
            *([words(_between(move, k)) for move in every] for k in (0, 1)),
        ),
        note="An own move is the magnet's rigid motion relative to the girder's fitted shape. "
        f"All evidence here: {listed(evidence)}. 95 of 100: where the own move lies by all evidence in 95 of 100 cases; where "
        "a slip is neither found nor excluded this is not the value and twice its uncertainty.",
        empty="No magnet's own move could be told.",
    )  # fmt: skip


def _between(move: OwnMove | None, component: int) -> str:
    """The 95 % interval of one component in µm, in words."""
    ends = (None, None) if move is None else tuple(map(finite, move.interval(component)))
    if None in ends:
        return UNKNOWN
    low, high = (number(UM * end, 1, sign=True) for end in ends if end is not None)
    return f"{low} to {high}"


def _component(move: OwnMove | None, part: str) -> Known:
    return component(move.estimate, f"{move.magnet}.{part}") if move else Known(None, None)


def six_table(found: Comparison) -> Table:
    """All six components of every own move, from all evidence and from targets alone."""
    told = {(move.magnet, move.evidence) for move in found.own_moves}
    moves = [*found.own_moves, *(m for m in found.own_moves_from_targets if (m.magnet, m.evidence) not in told)]
    unknown = [
        (f"{m.magnet} {q} from {m.evidence}", "this evidence does not tell it")
        for m in moves
        for q in SIX
        if _component(m, q).value is None
    ]
    return Table(
        _named("six", found),
        f"All six components of the own moves, {_pair(found)}",
        ("magnet", *(f"{q} [µm]" for q in SIX[:3]), *(f"{q} [µrad]" for q in SIX[3:]), "rests on"),
        rows_of(
            [words(m.magnet) for m in moves],
            *(column([_component(m, q) for m in moves], UM) for q in SIX),
            [words(m.evidence) for m in moves],
        ),
        note=f"dx is positive to the left, dy up, dz along the beam; rz turns x towards y. {reasons_note(unknown)}".strip(),
        empty="No magnet's own move could be told.",
    )


def axis_changes_table(result: Result, found: Comparison) -> Table:
    """Change of every magnet's axis about the line that shape and own moves make."""
    names = [m for m in magnets_of(result) if f"{m}.x" in found.axis_changes.names]
    return Table(
        _named("axis-changes", found),
        f"Change of the axes about their line by shape and own moves, {_pair(found)}",
        ("magnet", "x [µm]", "y [µm]"),
        rows_of(
            map(words, names),
            *(column([component(found.axis_changes, f"{m}.{q}") for m in names], UM, across=q) for q in "xy"),
        ),
        empty="No axis is known on both occasions.",
    )


def targets_moved_table(found: Comparison) -> Table:
    """Targets that moved by themselves."""
    moved: Sequence[tuple[str, list[Known]]] = [
        (t.target, [Known(finite(v), finite(u)) for v, u in zip(t.move, t.u, strict=True)]) for t in found.targets_moved
    ]
    return Table(
        _named("targets-moved", found),
        f"Targets that moved by themselves, {_pair(found)}",
        ("target", "x [µm]", "y [µm]", "z [µm]", "by itself", "in words"),
        rows_of(
            [words(name) for name, _ in moved],
            *(column([three[k] for _, three in moved], UM, across="xy"[k : k + 1]) for k in range(3)),
            [words(FOUND[t.found]) for t in found.targets_moved],
            [words(t.words) for t in found.targets_moved],
        ),
        empty="No target moved by itself.",
    )


def closure_table(found: Comparison) -> Table:
    """Wire change minus survey change, magnet by magnet."""
    closure = found.closure
    offsets = closure.offsets if closure else {}
    return Table(
        _named("closure", found),
        f"Wire change minus survey change, {_pair(found)}",
        ("magnet", "x [µm]", "y [µm]"),
        rows_of(
            map(words, offsets),
            column([Known(finite(o[0]), finite(o[2])) for o in offsets.values()], UM, across="x"),
            column([Known(finite(o[1]), finite(o[3])) for o in offsets.values()], UM, across="y"),
        ),
        note=_closed(closure) if closure else "",
        empty=f"Not known: {NO_CLOSURE}.",
    )


def _closed(closure: Closure) -> str:
    chance = finite(closure.probability)
    share = "not known" if chance is None else f"{percent(chance)} %"
    return (
        f"{closure.words[:1].upper()}{closure.words[1:]}: {'it closes' if closure.ok else 'it does not close'}. Chi-square "
        f"{number(closure.chi_square, 1)} with {closure.dof} degrees of freedom; chance gives as much or more with {share}."
    )


def comparison_gates(found: Comparison) -> Table:
    """Checks of the comparison."""
    return Table(
        _named("comparison-checks", found),
        f"Checks of the comparison, {_pair(found)}",
        ("check", "outcome", "what was found"),
        tuple((words(g.name), words("passed" if g.ok else "did not pass"), words(g.message)) for g in found.gates),
        empty="No check was made.",
    )
