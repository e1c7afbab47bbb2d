"""Where each kind of number comes from, in short: what was measured, how it was found, what its uncertainty is made of."""

from __future__ import annotations

from collections.abc import Iterable

from monochord.campaign.found.result import Result
from monochord.ground.estimate import Estimate, kind_of
from monochord.report.document_verdict import ordered
from monochord.report.facts import finite, with_line, with_points
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, words
from monochord.report.words import listed, number

#: So many causes of an uncertainty are named.
MOST_CAUSES = 3

Row = tuple[str, str, str, str]


def origins_table(result: Result) -> Table:
    """For every kind of printed number: what it rests on, how it was found, and the largest shares of its uncertainty."""
    rows = [
        *_axes(result),
        *_targets(result),
        *_offsets(result),
        *_changes(result),
        *_plans(result),
        *_verdicts(result),
    ]
    return Table(
        ident("table-origins"),
        "Origin of the numbers, in short",
        ("number", "rests on", "found by", "uncertainty mostly from (largest u)"),
        tuple((Cell(row[0]), *map(words, row[1:])) for row in rows),
        empty="No number was found.",
    )


def causes_words(estimate: Estimate, names: Iterable[str]) -> str:
    """The causes with the largest standard uncertainty in any of the named components [m], in µm.

    >>> import numpy as np
    >>> e = Estimate.of([0.0], ["Q1.x"], unit="m", frame="girder", causes={"sag:bench": np.array([[4e-12]])})
    >>> causes_words(e, ["Q1.x"])
    'sag 2.0 µm'
    """
    rows = [i for i, name in enumerate(estimate.names) if name in set(names)]
    kinds: dict[str, list[float]] = {}
    for cause, factor in estimate.factors.items():
        parts = [float(factor.jacobian[i] @ factor.spread @ factor.jacobian[i]) for i in rows]
        old = kinds.setdefault(kind_of(cause), [0.0] * len(rows))
        kinds[kind_of(cause)] = [a + max(b, 0.0) for a, b in zip(old, parts, strict=True)]
    largest = {kind: max(parts, default=0.0) ** 0.5 for kind, parts in kinds.items()}
    ordered_kinds = sorted((k for k in largest if largest[k] > 0.0), key=lambda k: -largest[k])[:MOST_CAUSES]
    told = [f"{kind} {number(largest[kind] * 1e6, 1)} µm" for kind in ordered_kinds]
    return listed(told) if told else "not told"


def _axes(result: Result) -> list[Row]:
    rows = []
    for found in result.occasions:
        if found.wire and found.wire.axes:
            causes = dict.fromkeys(c.cause for axis in found.wire.axes for c in axis.corrections)
            fits = f"fits of {len(found.wire.scans)} scans, corrected for {listed(causes)}"
            told = dict.fromkeys(
                causes_words(a.estimate, [f"{a.magnet}.{q}" for q in "xy"]) for a in found.wire.axes[:1]
            )
            magnet = found.wire.axes[0].magnet
            rows.append((f"axes, {found.name}", "wire scans and resonances", fits, f"{magnet}: {listed(told)}"))
    return rows


def _targets(result: Result) -> list[Row]:
    return [
        (
            f"targets, {found.name}",
            f"{len(points.residuals)} readings from {len(points.stations)} stations",
            f"one adjustment, {number(points.dof, 0)} degrees of freedom, {len(points.rejected)} left out",
            causes_words(points.estimate, points.estimate.names),
        )
        for found, points in with_points(result)
    ]


def _offsets(result: Result) -> list[Row]:
    return [
        (f"offsets, {found.name}", found.line_evidence, line.rule, causes_words(line.offsets, line.offsets.names))
        for found, line in with_line(result)
    ]


def _changes(result: Result) -> list[Row]:
    rows = []
    for found in result.comparisons:
        moves = [*found.own_moves, *found.own_moves_from_targets]
        evidence = "; for comparison ".join(dict.fromkeys(move.evidence for move in moves)) or "the survey"
        across = [(m.estimate, [f"{m.magnet}.dx", f"{m.magnet}.dy"]) for m in moves[:1]]
        told = causes_words(*across[0]) if across else "not told"
        pair = f"{found.start} to {found.end}"
        rows.append(
            (f"own moves and shape, {pair}", evidence, "one fit of shape, own moves, rigid motion and scale", told)
        )
    return rows


def _plans(result: Result) -> list[Row]:
    return [
        (
            f"turns and loads, {plan.at}",
            f"survey and feet of {plan.at}, shape of {plan.reference}",
            "elastic girder on its feet, turns in whole smallest steps",
            causes_words(plan.offsets_after, plan.offsets_after.names),
        )
        for plan in result.plans
    ]


def _verdicts(result: Result) -> list[Row]:
    rows: dict[tuple[str, str], Row] = {}
    for v in ordered(result):
        row = (f"verdicts, {v.occasion}, by the {v.limit_by}", v.evidence, v.rule, "that of the values above")
        if finite(v.value) is not None:
            rows.setdefault((v.occasion, v.limit_by), row)
    return list(rows.values())
