"""Tables about the axes: offsets and moves, axes, corrections, uncertainty by cause."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine, Correction
from monochord.campaign.found.result import OccasionFinding, Result, WireFinding
from monochord.ground.estimate import kind_of
from monochord.report.document_occasion import reasons_of
from monochord.report.facts import Known, component, finite, limit_of, limits_said, magnets_of, offset_of
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, plain, reasons_note, rows_of, words
from monochord.report.words import decimals_for, listed, number, scaled

UM = 1e6
CAUTION = (
    "The numbers advise; they do not release work. Powering, unloading and lifting follow the site's rules and the "
    "people licensed for them."
)
KNOWN_SLOPES = {"slope_x": "yaw (dx/dz)", "slope_y": "pitch (dy/dz)"}


def offsets_table(result: Result, found: OccasionFinding, line: CommonLine) -> Table:
    """Offset of every magnet from the common line, and its limit."""
    names = magnets_of(result)
    offsets = [offset_of(line, n) for n in names]
    limits = [limit_of(result.campaign.tolerances, "offset", n) for n in names]
    said = [limits_said(result.campaign.tolerances, "offset", n) for n in names]
    missing = [(n, "not part of the common line") for n, (x, _) in zip(names, offsets, strict=True) if x.value is None]
    return Table(
        ident("table-offsets", found.name),
        f"Offsets from the common line, {found.name}",
        ("magnet", "z [m]", "x [µm]", "y [µm]", "limit in x and y [µm]"),
        rows_of(
            map(words, names),
            [plain(m.point[2], 3, sign=True) for m in result.campaign.girder.magnets],
            column([x for x, _ in offsets], UM, across="x"),
            column([y for _, y in offsets], UM, across="y"),
            [Cell(w or "none declared", v, style="number") for v, w in zip(limits, said, strict=True)],
        ),
        note=f"Common line: {line.rule}. Rests on: {found.line_evidence}. {reasons_note(missing)}".strip(),
    )


def moves_table(found: OccasionFinding) -> Table:
    """What the crew should do to the magnets."""
    moves = found.moves
    return Table(
        ident("table-moves", found.name),
        f"What to do, {found.name}",
        ("magnet", "move x [µm]", "move y [µm]", "in words"),
        rows_of(
            [words(m.magnet) for m in moves],
            column([Known(finite(m.x), finite(m.u_x)) for m in moves], UM, across="x"),
            column([Known(finite(m.y), finite(m.u_y)) for m in moves], UM, across="y"),
            [words(m.words) for m in moves],
        ),
        note=CAUTION if moves else "",
        empty=found.lacks.get("moves", "No move is ordered."),
    )


def axes_table(result: Result, found: OccasionFinding, wire: WireFinding) -> Table:
    """Centres, slopes and roll of all axes."""
    axes = {axis.magnet: axis for axis in wire.axes}
    here = [axes[n] for n in dict.fromkeys([*magnets_of(result), *axes]) if n in axes]
    missing = [n for n in magnets_of(result) if n not in axes]
    part = {q: [component(a.estimate, f"{a.magnet}.{q}") for a in here] for q in ("x", "y", "slope_x", "slope_y")}
    places = decimals_for(scaled(k.u, UM) for k in (*part["x"], *part["y"]))
    frames = listed(dict.fromkeys(a.frame for a in here))
    missed = f"No axis: {listed(missing)}. " if missing else ""
    return Table(
        ident("table-axes", found.name),
        f"Magnetic axes, {found.name}, in the {frames} frame, corrections applied",
        (
            "magnet", "x [µm]", "y [µm]", "yaw (dx/dz) [µrad]", "pitch (dy/dz) [µrad]", "roll [µrad]",
            "x with remanence [µm]", "y with remanence [µm]",
        ),
        rows_of(
            [words(a.magnet) for a in here],
            column(part["x"], UM, across="x"),
            column(part["y"], UM, across="y"),
            column(part["slope_x"], UM),
            column(part["slope_y"], UM),
            column([Known(finite(a.roll), finite(a.u_roll)) for a in here], UM),
            [plain(a.remanence_x, places, UM, sign=True) for a in here],
            [plain(a.remanence_y, places, UM, sign=True) for a in here],
        ),
        note=missed + reasons_note(_reasons(here)),
    )  # fmt: skip


def _reasons(axes: list[Axis]) -> list[tuple[str, str]]:
    found = []
    for axis in axes:
        told = reasons_of(axis)
        for q in ("x", "y", "slope_x", "slope_y"):
            if component(axis.estimate, f"{axis.magnet}.{q}").value is None:
                found.append((f"{axis.magnet} {KNOWN_SLOPES.get(q, q)}", told.get(q, "no reason was given")))
        if finite(axis.roll) is None:
            found.append((f"{axis.magnet} roll", told.get("roll", "no reason was given")))
        if finite(axis.remanence_x) is None or finite(axis.remanence_y) is None:
            found.append((f"{axis.magnet} with remanence", told["x_with_remanence"]))
    return found


def corrections_table(found: OccasionFinding, wire: WireFinding) -> Table:
    """Every correction that a centre carries."""
    rows = [(axis, correction) for axis in wire.axes for correction in axis.corrections]
    return Table(
        ident("table-corrections", found.name),
        f"Corrections that the axes carry, {found.name}",
        ("magnet", "correction", "added to x [µm]", "added to y [µm]"),
        rows_of(
            [words(axis.magnet) for axis, _ in rows],
            [words(correction.cause) for _, correction in rows],
            [_correction(c, c.x, c.u_x) for _, c in rows],
            [_correction(c, c.y, c.u_y) for _, c in rows],
        ),
        empty="No correction was applied.",
        long=True,
    )


def _correction(correction: Correction, value: float, u: float) -> Cell:
    decimals = decimals_for([scaled(correction.u_x, UM), scaled(correction.u_y, UM)])
    if value == 0.0 and u == 0.0:
        return Cell("0", 0.0, style="number")
    return Cell(
        f"{number(value * UM, decimals, sign=True)} ± {number(u * UM, decimals)}", finite(value), style="number"
    )


def causes_table(result: Result, found: OccasionFinding, line: CommonLine) -> Table:
    """Where the uncertainty of the offsets comes from: standard uncertainty by kind of cause, x and y of every magnet."""
    picked = [
        (n, q, line.offsets.index(f"{n}.{q}"))
        for n in magnets_of(result)
        for q in "xy"
        if f"{n}.{q}" in line.offsets.names
    ]
    kinds = _variances_by_kind(line)
    total = np.sqrt(np.maximum(np.diag(line.offsets.cov), 0.0))
    return Table(
        ident("table-causes", found.name),
        f"Standard uncertainty of the offsets by cause, {found.name} [µm]",
        ("magnet", "in", *kinds, "all together"),
        tuple(
            (
                words(n),
                words(q),
                *(plain(math.sqrt(v[i]), 2, UM) for v in kinds.values()),
                plain(float(total[i]), 2, UM),
            )
            for n, q, i in picked
        ),
        note="The squares of a row sum to the square of its last number.",
        long=True,
    )


def _variances_by_kind(line: CommonLine) -> dict[str, list[float]]:
    """Kind of cause -> variances of all components [m2], the kind with the largest sum first."""
    kinds: dict[str, NDArray[np.float64]] = {}
    for cause, factor in line.offsets.factors.items():
        part = np.maximum(np.diag(factor.cov), 0.0)
        kinds[kind_of(cause)] = kinds.get(kind_of(cause), np.zeros(len(part))) + part
    ordered = sorted(kinds.items(), key=lambda item: -float(np.nansum(item[1])))
    return {kind: [float(v) for v in part] for kind, part in ordered}
