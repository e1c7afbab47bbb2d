"""Wire scans and sweeps that stand in tables: rows grouped, amplitudes made peak, phases made ours."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Sweep, WireScan
from monochord.files.columns import Array, Rows
from monochord.files.lab import Lab
from monochord.ground.faults import Gatherer

Phasors = NDArray[np.complex128]

#: What an amplitude is -> factor to the peak of its sine.
TO_PEAK = {"peak": 1.0, "rms": math.sqrt(2.0), "peak to peak": 0.5}

#: Relative change of a drive frequency or a current inside one scan that still counts as constant.
CONSTANT = 1e-3

#: Magnet current [A] that may flicker about 0 in a background scan.
STILL_ZERO = 0.05


def scans(rows: Rows, lab: Lab, faults: Gatherer) -> list[WireScan]:
    """The scans of one file, in its order; times still count from the scale of the file's clock."""
    signals = lab.root.node("signals")
    peak = TO_PEAK[signals.text("currents")]
    phasors = _phasors(rows, lab, faults)
    stages = _by_house(rows, lab, "stage_{}")
    times = rows.number.get("time", np.full(len(rows), np.nan))
    moved = rows.text["moved"]
    fixed = [rows.text[k] for k in ("scan", "magnet", "moved") if k in rows.text]
    keys = list(zip(*fixed, rows.number["mode"].tolist(), strict=True))
    # Scans are short: plain lists are faster than arrays of ten numbers.
    held = {k: rows.number[k].tolist() for k in ("magnet_current", "drive_frequency", "drive_current")}
    _check_modes(rows, faults)
    found = []
    for number, (a, b) in enumerate(_runs(keys), start=1):
        name = rows.text["scan"][a] if "scan" in rows.text else str(number)
        axis = _house_axis(rows, lab, moved[a], a, faults)
        constant = {k: _constant(rows, k, v[a:b], (a, name), faults) for k, v in held.items()}
        found.append(
            WireScan(
                name,
                rows.text["magnet"][a],
                axis,
                constant["magnet_current"],
                int(rows.number["mode"][a]),
                constant["drive_frequency"],
                peak * constant["drive_current"],
                stages["x"][a:b],
                stages["y"][a:b],
                phasors["x"][a:b],
                phasors["y"][a:b],
                times[a:b],
                rows.file,
                tuple(rows.lines[a:b]),
            )
        )
    _once_each(found, faults)
    return found


def sweeps(rows: Rows, lab: Lab, faults: Gatherer) -> list[Sweep]:
    """The sweeps of one file: rows of one mode (and one sweep, when named) in their order."""
    phasors = _phasors(rows, lab, faults)
    peak = TO_PEAK[lab.root.node("signals").text("currents")]
    named = rows.text.get("sweep", [""] * len(rows))
    _check_modes(rows, faults)
    modes = rows.number["mode"].astype(int).tolist()
    found = []
    for a, b in _runs(list(zip(named, modes, strict=True))):
        name = named[a] or f"mode {modes[a]}"
        current = rows.number.get("drive_current")
        mean = float(current[a:b].mean()) * peak if current is not None else math.nan
        frequencies = rows.number["drive_frequency"][a:b]
        lines = tuple(rows.lines[a:b])
        found.append(Sweep(name, modes[a], frequencies, phasors["x"][a:b], phasors["y"][a:b], mean, rows.file, lines))
    return found


def _runs(keys: Sequence[tuple[object, ...]]) -> list[tuple[int, int]]:
    """Start and end of each run of equal keys."""
    starts = [i for i, key in enumerate(keys) if i == 0 or key != keys[i - 1]]
    return list(zip(starts, [*starts[1:], len(keys)], strict=True)) if starts else []


def _phasors(rows: Rows, lab: Lab, faults: Gatherer) -> dict[str, Phasors]:
    """Complex displacement (n,) by house axis: peak, exp(+i w t), positive along the girder's axis."""
    signals = lab.root.node("signals")
    scale = TO_PEAK[signals.text("displacements")]
    turn = -1.0 if signals.text("time_factor") == "exp(-iwt)" else 1.0
    found: dict[str, Phasors] = {}
    for letter in "xyz":
        house, sign = lab.axes.house(letter)
        if f"{letter}_in" in rows.number and f"{letter}_quadrature" in rows.number:
            value = rows.number[f"{letter}_in"] + 1j * turn * rows.number[f"{letter}_quadrature"]
        elif f"{letter}_amplitude" in rows.number and f"{letter}_phase" in rows.number:
            value = rows.number[f"{letter}_amplitude"] * np.exp(1j * turn * rows.number[f"{letter}_phase"])
        else:
            continue
        found[house] = (sign * scale * value).astype(np.complex128)
    for house in "xy":
        if house not in found:
            given = f"no displacement along the girder's {house}"
            remedy = "name the columns ..._in and ..._quadrature (or ..._amplitude and ..._phase) of that axis"
            faults.add(given, "both sensors", remedy, file=rows.file)
            found[house] = np.full(len(rows), np.nan + 0j)
    return found


def _by_house(rows: Rows, lab: Lab, pattern: str) -> dict[str, Array]:
    """Numbers by lab axis turned to house axes; an axis that is not told stays at 0."""
    found = {letter: np.zeros(len(rows)) for letter in "xyz"}
    for letter in "xyz":
        if (key := pattern.format(letter)) in rows.number:
            house, sign = lab.axes.house(letter)
            found[house] = sign * rows.number[key] + 0.0
    return found


def _house_axis(rows: Rows, lab: Lab, said: str, row: int, faults: Gatherer) -> str:
    vector = lab.axes.direction(said)
    if vector is None or vector[2] != 0.0:
        given = f"moved axis {said!r}"
        remedy = "mend the cell, or map the word in the lab description"
        column = rows.names["moved"]
        faults.add(given, "an axis across the beam", remedy, file=rows.file, line=rows.lines[row], column=column)
        return "x"
    return "x" if vector[0] != 0.0 else "y"


def _check_modes(rows: Rows, faults: Gatherer) -> None:
    for row in np.flatnonzero(rows.number["mode"] < 1.0)[:1].tolist():
        line, column = rows.lines[row], rows.names["mode"]
        given = f"mode {rows.number['mode'][row]:g}"
        remedy = "count modes by their antinodes"
        faults.add(given, "a whole number from 1", remedy, file=rows.file, line=line, column=column)


def _constant(rows: Rows, key: str, values: list[float], scan: tuple[int, str], faults: Gatherer) -> float:
    """The value that a scan holds; the mean of readings that differ by less than they may."""
    low, high = min(values), max(values)
    if low == high:
        return low
    mean = sum(values) / len(values)
    if high - low > max(CONSTANT * abs(mean), STILL_ZERO if key == "magnet_current" else 0.0):
        first, name = scan
        row = first + max(range(len(values)), key=lambda i: abs(values[i] - values[0]))
        given = f"{key} {rows.number[key][row]:.6g} in scan {name}, which began with {values[0]:.6g}"
        remedy = "a scan holds it constant; give the other readings another scan name"
        column = rows.names[key]
        faults.add(given, "one value", remedy, file=rows.file, line=rows.lines[row], column=column)
    return mean


def _once_each(found: list[WireScan], faults: Gatherer) -> None:
    first: dict[str, WireScan] = {}
    for scan in found:
        if scan.name in first:
            remedy = "keep the readings of a scan together and give each scan its own name"
            given = f"scan {scan.name!r} again; it began in line {first[scan.name].rows[0]}"
            faults.add(given, "each scan once", remedy, file=scan.file, line=scan.rows[0])
        first.setdefault(scan.name, scan)
