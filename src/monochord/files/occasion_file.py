"""One occasion read from its files: every kind that was measured, and words for what is missing."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from monochord.campaign.given.check_move import CheckMove
from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.excluded import Excluded
from monochord.campaign.given.girder import Girder
from monochord.campaign.given.imports import Import
from monochord.campaign.given.occasion import FootFinding, Occasion, RideSample, TemperatureReading, Turn
from monochord.campaign.given.pairing import Pairing
from monochord.campaign.given.ride import RideLogger
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import RawScan, RawSweep, Sweep, WireScan
from monochord.campaign.origin import Source
from monochord.files import small_tables, wire_tables
from monochord.files.check_moves import check_moves
from monochord.files.checks_loads import check_loads
from monochord.files.checks_survey import habits_of, look_at_survey
from monochord.files.checks_wire import check_wire
from monochord.files.checksum import changed, first_bytes, sha256
from monochord.files.columns import Rows
from monochord.files.conversions import of_waveforms, told_of
from monochord.files.document import Node
from monochord.files.exchanged import exchanged_targets
from monochord.files.excluded import candidates, taken_out
from monochord.files.lab import Lab
from monochord.files.near_in_time import Timed, at_observations, one_scale
from monochord.files.pairing import none_matched, of_occasion, paired
from monochord.files.rates import check_rate
from monochord.files.reading import read_file
from monochord.files.repeated import once_each
from monochord.files.sightings import check_names, sightings
from monochord.files.signals import Signals
from monochord.files.waveform_index import INDEX
from monochord.ground.faults import Fault, Gatherer, Refused


@dataclass(slots=True)
class Measured:
    """Everything that the files of one occasion hold, as it is gathered."""

    sightings: list[Sighting] = field(default_factory=list)
    scans: list[WireScan] = field(default_factory=list)
    sweeps: list[Sweep] = field(default_factory=list)
    raw_scans: list[RawScan] = field(default_factory=list)
    raw_sweeps: list[RawSweep] = field(default_factory=list)
    feet: list[FootFinding] = field(default_factory=list)
    temperatures: list[TemperatureReading] = field(default_factory=list)
    turns: list[Turn] = field(default_factory=list)
    ride: list[RideSample] = field(default_factory=list)
    logger: RideLogger | None = None
    check_moves: list[CheckMove] = field(default_factory=list)
    clocks: dict[str, list[ClockTold]] = field(default_factory=dict)
    timed: Timed = field(default_factory=lambda: Timed([], [], []))
    samples: dict[str, Path] = field(default_factory=dict)
    indexes: dict[str, Path] = field(default_factory=dict)


@dataclass(slots=True)
class Reader:
    """Reads the occasions of one campaign; faults, notes and inputs are gathered over all of them.

    sensors  distance of the x and y sensors from the upstream support [m], where a container told it
    pairings  lists of names that were laid side by side
    aside     entries of what people set aside, and excluded what became of them, by their place in the file
    """

    folder: Path
    lab: Lab
    girder: Girder
    wire_ends: tuple[str, ...]
    faults: Gatherer = field(default_factory=Gatherer)
    notes: list[Fault] = field(default_factory=list)
    inputs: list[Source] = field(default_factory=list)
    sensors: dict[str, float] = field(default_factory=dict)
    pairings: list[Pairing] = field(default_factory=list)
    imports: list[Import] = field(default_factory=list)
    aside: list[Node] = field(default_factory=list)
    excluded: dict[int, Excluded] = field(default_factory=dict)

    def measured(self, node: Node) -> Measured:
        """Everything that the files of one occasion hold, as it was read; faults are gathered."""
        measured = Measured()
        for entry in node.nodes("files"):
            try:
                self._file(entry, measured)
            except Refused as refusal:
                self.faults.faults.extend(refusal.faults)
        self._waveforms(measured)
        return measured

    def occasion(self, node: Node) -> Occasion:
        """One occasion of the campaign file."""
        before = len(self.faults.faults)
        measured = self.measured(node)
        gone = self._set_aside(node.text("name"), measured, whole=len(self.faults.faults) == before)
        told = node.amount("temperature", "temperature") if "temperature" in node else None
        self._near_in_time(measured)
        missed = check_wire(
            self.girder,
            [*measured.scans, *measured.raw_scans],
            [*measured.sweeps, *measured.raw_sweeps],
            self.faults,
            self.notes,
        )
        self.notes.extend(check_loads(self.girder, measured.feet))
        name = node.text("name")
        self._check_sightings(name, measured)
        lacks = [*gone, *missed, *_lacks(name, measured, told, self.wire_ends)]
        scans, raw = _from_first_reading(measured)
        found = Occasion(
            name,
            node.text("place"),
            tuple(measured.sightings),
            scans,
            tuple(measured.sweeps),
            raw,
            tuple(measured.raw_sweeps),
            tuple(measured.feet),
            tuple(measured.temperatures),
            told,
            tuple(measured.turns),
            tuple(measured.ride),
            tuple(lacks),
            node.text("stringing"),
            tuple(c for told in measured.clocks.values() for c in told),
            measured.logger,
            tuple(replace(m, after=m.after or name) for m in measured.check_moves),
        )
        self.pairings += of_occasion(self.girder, found, self._aside())
        return found

    def _file(self, entry: Node, measured: Measured) -> None:
        name, role, then = entry.text("path"), entry.text("role"), entry.text("sha256")
        path = self.folder / name
        if role == "waveforms":
            now = sha256(path, name)
            if now != then:
                raise Refused([changed(name, now, then)])
            self.inputs.append(Source(name, now))
            measured.samples[name] = path
            return
        now = sha256(path, name)
        if now != then:
            raise Refused([changed(name, now, then)])
        self.inputs.append(Source(name, now))
        if role == INDEX:
            measured.indexes[name] = path
            return
        form = self.lab.forms.get(role)
        if form is None:
            given = f"a file for {role!r}"
            raise Refused([entry.fault("role", given, f"[tables.{role}] in the lab description", "add it")])
        before = len(self.faults.faults)
        rows = read_file(path, name, form, self.faults, self.notes)
        if rows is not None and len(self.faults.faults) == before:
            self.imports += told_of(rows.told, self.lab)
            rows = once_each(rows, form, self.faults, self.notes)
            self.faults.faults.extend(check_rate(rows, form, first_bytes(path)))
            if not len(rows):
                self.notes.append(Fault("no row of data", "a table with data", "see whether it was saved", name))
            else:
                self._take(role, rows, measured)

    def _take(self, role: str, rows: Rows, measured: Measured) -> None:
        bolts = [b.name for b in self.girder.bolts]
        lab, faults = self.lab, self.faults
        measured.clocks.setdefault(role, []).extend(rows.clocks.values())
        if role in ("sightings", "wire_scans") and "time" in rows:
            measured.timed.observed += rows.number["time"][~np.isnan(rows.number["time"])].tolist()
        if role == "sightings":
            measured.sightings += sightings(rows, lab, faults, self.notes)
        elif role == "wire_scans":
            measured.scans += wire_tables.scans(rows, lab, faults)
        elif role == "wire_sweeps":
            measured.sweeps += wire_tables.sweeps(rows, lab, faults)
        elif role == "feet":
            measured.feet += small_tables.feet(rows, lab, bolts, faults)
        elif role == "turns":
            measured.turns += small_tables.turns(rows, bolts, faults)
        elif role == "temperatures":
            readings = small_tables.temperatures(rows, lab, faults)
            self.notes += small_tables.differences(readings, rows.file)
            if "time" in rows:
                measured.timed.readings += readings
                measured.timed.times += rows.number["time"].tolist()
            else:
                measured.temperatures += readings
        elif role == "ride":
            measured.ride += small_tables.ride(rows, lab)
            measured.logger = small_tables.ride_logger(lab, rows.file)
        elif role == "check_moves":
            measured.check_moves += check_moves(rows, lab, self._movable(), faults)

    def _movable(self) -> dict[str, list[str]]:
        """What can be moved for a check -> the names that there are."""
        girder = self.girder
        return {
            "magnet": [m.name for m in girder.magnets],
            "target": [t.name for t in girder.targets],
            "bolt": [b.name for b in girder.bolts],
        }

    def _waveforms(self, measured: Measured) -> None:
        if not measured.samples and not measured.indexes:
            return
        from monochord.files.occasion_waveforms import occasion_signals

        for name, found in occasion_signals(self.lab, measured.samples, measured.indexes, self.faults):
            try:
                self._raw(found, name, measured)
            except Refused as refusal:
                self.faults.faults.extend(refusal.faults)

    def _raw(self, found: Signals, name: str, measured: Measured) -> None:
        from monochord.files.waveforms import raw_signals

        raw = raw_signals(found, name, self.lab, self.faults, self.notes)
        measured.raw_scans += raw.scans
        measured.raw_sweeps += raw.sweeps
        measured.clocks.setdefault("waveforms", []).extend(raw.clocks)
        for scan in raw.scans:
            measured.timed.observed += scan.times[~np.isnan(scan.times)].tolist()
        self.imports.append(of_waveforms(name, self.lab, raw.scans, raw.sweeps))
        for axis, place in raw.sensors.items():
            if abs(self.sensors.setdefault(axis, place) - place) > 1e-6:
                given = f"{axis} sensor {place * 1e3:g} mm from the upstream support"
                expected = f"{self.sensors[axis] * 1e3:g} mm as on the occasion before"
                self.faults.add(given, expected, "one bench has one place for it; mend the attribute", file=name)

    def _set_aside(self, occasion: str, measured: Measured, *, whole: bool) -> list[str]:
        """Take out what people set aside; gives words for a kind of which nothing is left.

        whole  whether all files could be read: else what is not found may stand in one that could not
        """
        nodes = [n for n in self.aside if n.text("occasion") == occasion]
        if not nodes:
            return []
        faults: list[Fault] = []
        told, out = taken_out(nodes, candidates(measured.sightings, measured.scans, measured.raw_scans), faults)
        self.excluded |= told
        if whole:
            self.faults.faults.extend(faults)
        left = [len(measured.sightings), len(measured.scans) + len(measured.raw_scans)]
        measured.sightings = [s for s in measured.sightings if id(s) not in out]
        measured.scans = [s for s in measured.scans if id(s) not in out]
        measured.raw_scans = [s for s in measured.raw_scans if id(s) not in out]
        now = [len(measured.sightings), len(measured.scans) + len(measured.raw_scans)]
        kinds = zip(("sighting", "scan"), left, now, strict=True)
        return [f"every {kind} was set aside by people" for kind, then, n in kinds if then and not n]

    def _near_in_time(self, measured: Measured) -> None:
        """To what was observed, the temperatures nearest in time."""
        if not measured.timed.readings:
            return
        told = measured.clocks
        others = [c for role in ("sightings", "wire_scans", "waveforms") for c in told.get(role, [])]
        self.faults.faults.extend(one_scale(told.get("temperatures", []), others))
        within = self.lab.root.node("tables").node("temperatures").amount("within", "time")
        measured.temperatures += at_observations(measured.timed, within, self.notes)

    def _aside(self) -> tuple[str, ...]:
        """Names and patterns of points that are no targets of the girder."""
        return (*self.wire_ends, *self.lab.root.node("tables").node("sightings").texts("other_points"))

    def _check_sightings(self, name: str, measured: Measured) -> None:
        if not measured.sightings:
            return
        known = [t.name for t in self.girder.targets]
        check_names(measured.sightings, known, self._aside(), self.faults, self.notes)
        seen = {s.target for s in measured.sightings}
        pairing = paired("list of targets", known, f"sightings of {name}", seen, self._aside())
        self.faults.faults.extend(none_matched(pairing, measured.sightings[0].file))
        faults, notes = look_at_survey(measured.sightings, self.girder.targets, habits_of(self.lab, self.girder.items))
        self.faults.faults.extend(faults)
        self.notes.extend(notes)
        self.notes.extend(exchanged_targets(measured.sightings, self.girder.targets))


def _from_first_reading(measured: Measured) -> tuple[tuple[WireScan, ...], tuple[RawScan, ...]]:
    """Scans with their times counted from the first reading of the occasion."""
    told = [s.times for s in measured.scans] + [s.times for s in measured.raw_scans]
    times = [t for t in told if not np.isnan(t).all()]
    if not times:
        return tuple(measured.scans), tuple(measured.raw_scans)
    start = min(float(np.nanmin(t)) for t in times)
    tables = tuple(replace(s, times=s.times - start) for s in measured.scans)
    return tables, tuple(replace(s, times=s.times - start) for s in measured.raw_scans)


def _lacks(name: str, m: Measured, told: float | None, wire_ends: tuple[str, ...]) -> list[str]:
    """Words for what was not measured and why it matters."""
    lacks = []
    scanned, surveyed = bool(m.scans or m.raw_scans), bool(m.sightings)
    if (scanned or surveyed) and not m.temperatures and told is None:
        lacks.append(
            "no temperature of the girder: its growth and bow cannot be taken out; "
            f'give it by --set temperature.{name}="... degC"'
        )
    if scanned and not (m.sweeps or m.raw_sweeps):
        lacks.append("no resonance sweep: the wire's sag must come from the drive frequencies")
    seen = {s.target for s in m.sightings}
    if scanned and not wire_ends:
        lacks.append("no wire ends are told: axes stand in the wire's own frame, not the girder's")
    elif scanned and not set(wire_ends) <= seen:
        missing = ", ".join(e for e in wire_ends if e not in seen)
        lacks.append(f"wire end {missing} not surveyed: axes stand in the wire's own frame, not the girder's")
    if surveyed and not m.feet:
        lacks.append("no finding at the feet: it is not known which of them bear")
    return lacks


def checked_inputs(folder: Path, entries: list[Node], faults: Gatherer) -> list[Source]:
    """Checksums of files that are kept but not read again; one that changed is a fault."""
    found = []
    for entry in entries:
        name, then = entry.text("path"), entry.text("sha256")
        try:
            now = sha256(folder / name, name)
        except Refused as refusal:
            faults.faults.extend(refusal.faults)
            continue
        if now != then:
            faults.faults.append(changed(name, now, then))
        found.append(Source(name, now))
    return found


def girder_imports(folder: Path, entries: list[Node], lab: Lab) -> list[Import]:
    """How the girder's own tables read; what they say stands in the girder's file, where it may have been mended."""
    found = []
    for entry in entries:
        name, form = entry.text("path"), lab.forms.get(entry.text("role"))
        if form is None:
            continue
        try:
            rows = read_file(folder / name, name, form, Gatherer(), [])
        except Refused:
            continue
        if rows is not None:
            found += told_of(rows.told, lab)
    return found
