"""Do the wire's readings hang together? Unknown magnets, the wrong axis, wrong units, too few points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.given.girder import Girder
from monochord.campaign.given.wire import RawScan, RawSweep, Sweep, WireScan
from monochord.files.names import hint
from monochord.files.words import listed
from monochord.ground.faults import Fault, Gatherer

#: Farthest that the stages go in a scan [m].
STAGE_REACH = 0.020

#: Largest displacement of a wire that sings [m].
LOUDEST = 0.005

#: Relative departure of frequency over mode number from its median before it is noted.
MODE_SLACK = 0.2


def check_wire(
    girder: Girder,
    scans: Sequence[WireScan | RawScan],
    sweeps: Sequence[Sweep | RawSweep],
    faults: Gatherer,
    notes: list[Fault],
) -> list[str]:
    """Faults and notes about scans and sweeps of one occasion; words about magnets that were not scanned."""
    names = [m.name for m in girder.magnets]
    orders = {m.name: m.order for m in girder.magnets}
    unknown: set[str] = set()
    for scan in scans:
        if scan.magnet not in names:
            if scan.magnet not in unknown:
                _unknown(scan, names, faults)
            unknown.add(scan.magnet)
            continue
        _stages(scan, faults)
        wanted = orders[scan.magnet] + 2
        if len(scan.rows) < wanted:
            given = f"{len(scan.rows)} points in scan {scan.name} of {scan.magnet}"
            remedy = "too few to check the fit; repeat the scan with more points"
            notes.append(Fault(given, f"{wanted} or more", remedy, scan.file, _line(scan)))
        if isinstance(scan, WireScan):
            _loud(scan, faults)
    _modes(scans, sweeps, notes)
    missed = [n for n in names if n not in {s.magnet for s in scans}] if scans else []
    for name in missed:
        remedy = "no axis can be given for it on this occasion; scan it, or leave it out knowingly"
        notes.append(Fault(f"no scan of magnet {name}", "every magnet scanned", remedy, scans[0].file))
    return [f"no scan of {listed(missed)}: no axis of it on this occasion"] if missed else []


def _line(scan: WireScan | RawScan | Sweep | RawSweep) -> int | None:
    return scan.rows[0] if isinstance(scan, (WireScan, Sweep)) and scan.rows else None


def _unknown(scan: WireScan | RawScan, names: list[str], faults: Gatherer) -> None:
    remedy = f"{hint(scan.magnet, names)}mend the name, or add the magnet to the table of magnets"
    given = f"magnet {scan.magnet!r} in scan {scan.name}"
    column = None if isinstance(scan, WireScan) else scan.name
    faults.add(given, f"one of {listed(names)}", remedy, file=scan.file, line=_line(scan), column=column)


def _stages(scan: WireScan | RawScan, faults: Gatherer) -> None:
    x, y = scan.stage_x.tolist(), scan.stage_y.tolist()
    if not x:
        return
    moved, other = (x, y) if scan.moved == "x" else (y, x)
    line, column = _line(scan), None if isinstance(scan, WireScan) else scan.name
    if max(moved) - min(moved) < max(other) - min(other):
        given = f"scan {scan.name} of {scan.magnet} said to move along {scan.moved}, whose stage stood still"
        remedy = "look for exchanged stage columns or a wrong word for the axis"
        faults.add(given, "the stage of that axis to move", remedy, file=scan.file, line=line, column=column)
    reach = max(map(abs, [*x, *y]))
    if reach > STAGE_REACH:
        given = f"a stage at {reach * 1e3:.4g} mm in scan {scan.name}"
        remedy = "look for a wrong unit (um, mm)"
        expected = f"within {STAGE_REACH * 1e3:g} mm"
        faults.add(given, expected, remedy, file=scan.file, line=line, column=column)


def _loud(scan: WireScan, faults: Gatherer) -> None:
    size = np.maximum(np.abs(scan.x), np.abs(scan.y))
    if size.size and float(np.nanmax(size)) > LOUDEST:
        row = int(np.nanargmax(size))
        given = f"a displacement of {size[row] * 1e3:.4g} mm in scan {scan.name}"
        remedy = "look for a wrong unit (nm, um)"
        faults.add(given, f"below {LOUDEST * 1e3:g} mm", remedy, file=scan.file, line=scan.rows[row])


def _modes(scans: Sequence[WireScan | RawScan], sweeps: Sequence[Sweep | RawSweep], notes: list[Fault]) -> None:
    told: list[tuple[float, WireScan | RawScan | Sweep | RawSweep]] = []
    for scan in [*scans, *sweeps]:
        frequency = _frequency(scan)
        if frequency is not None and scan.mode:
            told.append((frequency / scan.mode, scan))
    if len(told) < 3:
        return
    usual = float(np.median([f for f, _ in told]))
    for fundamental, scan in told:
        if abs(fundamental - usual) > MODE_SLACK * usual:
            given = f"{fundamental * scan.mode:.4g} Hz for mode {scan.mode} in {scan.name}"
            remedy = f"the others have about {usual:.4g} Hz times the mode; look for a wrong mode number"
            notes.append(Fault(given, f"about {usual * scan.mode:.4g} Hz", remedy, scan.file, _line(scan)))


def _frequency(scan: WireScan | RawScan | Sweep | RawSweep) -> float | None:
    if isinstance(scan, WireScan):
        return scan.drive_frequency
    if isinstance(scan, Sweep):
        return float(np.median(scan.frequencies)) if scan.frequencies.size else None
    return float(np.median([w.frequency for w in scan.waveforms])) if scan.waveforms else None
