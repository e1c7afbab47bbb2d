"""Raw signals of a container as scans and sweeps whose blocks are read when asked for.

Every fact comes from the description: a constant with its unit, or an attribute of the file, the group
or the block with its unit. Scales carry the sign that makes a positive displacement positive x or y of
the girder frame.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.clock import ClockTold
from monochord.campaign.given.wire import RawScan, RawSweep, Waveform
from monochord.files.amounts import amount
from monochord.files.columns import Column
from monochord.files.container import block, contents
from monochord.files.document import Node
from monochord.files.formats.registry import find
from monochord.files.lab import Lab
from monochord.files.roles import Meaning
from monochord.files.signals import Block, Contents, Group, Signals, Value
from monochord.files.times import joined_clocks, read_times
from monochord.files.words import did_you_mean, listed
from monochord.ground import units
from monochord.ground.faults import Fault, Gatherer, Refused

Array = NDArray[np.float64]
Read = Callable[[str, str], NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class Raw:
    """The raw scans and sweeps of one container, and its clock; sensors: distance from the upstream support [m] where told."""

    scans: tuple[RawScan, ...]
    sweeps: tuple[RawSweep, ...]
    sensors: Mapping[str, float]
    clocks: tuple[ClockTold, ...] = ()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where attributes are looked up: file, and group and block when inside them."""

    file: str
    contents: Contents
    group: Group | None = None
    block: Block | None = None

    @property
    def words(self) -> str:
        return "/".join(p.name for p in (self.group, self.block) if p is not None)

    def attributes(self, on: str) -> Mapping[str, Value]:
        if on == "file":
            return self.contents.attributes
        holder = self.group if on == "group" else self.block
        return holder.attributes if holder is not None else {}


@dataclass(frozen=True, slots=True)
class _Bench:
    """The constant facts of one container; and what its clocks tell, gathered scan by scan."""

    rate: float
    to_volts: float
    channels: tuple[int, int, int]
    scales: tuple[float, float, float]
    sensors: Mapping[str, float]
    width: int
    clocks: list[ClockTold] = field(default_factory=list)
    oddities: list[Fault] = field(default_factory=list)


def signals_of(path: Path, name: str, node: Node) -> Signals:
    """One file of waveforms, opened as the description says; an HDF5 file is one that was inspected.

    path  of the file;  name  as shown;  node  waveforms of the description

    Raises Refused when it cannot be opened, or its format holds no waveforms.
    """
    kept = node.text("format", "hdf5")
    if kept != "hdf5":
        found = find(kept).signals
        if found is None:
            raise Refused([node.fault("format", repr(kept), "a format that holds waveforms", "name another format")])
        return _kept_safe(lambda: found(path, name), kept, name)
    if "dataset" in node:
        from monochord.files.waveform_dataset import dataset_signals

        return dataset_signals(path, name, node)
    return Signals(contents(path, name), lambda group, key: block(path, name, group, key))


def _kept_safe(look: Callable[[], Signals], kept: str, name: str) -> Signals:
    """What a format gives; whatever goes wrong in it is a fault with its file."""
    try:
        return look()
    except Refused:
        raise
    except Exception as error:  # whatever a format from elsewhere raises, and what reading a file can
        given = f"format {kept!r} failed on this file ({type(error).__name__}: {' '.join(str(error).split())[:200]})"
        raise Refused([Fault(given, "samples", "copy the file again, or name another format", name)]) from None


def raw_signals(found: Signals, name: str, lab: Lab, faults: Gatherer, notes: list[Fault]) -> Raw:
    """Scans and sweeps of an opened file; faults gathered, nothing read beyond attributes."""
    node = lab.root.node("waveforms")
    inside = found.contents
    notes += found.notes
    for link in inside.links:
        notes.append(Fault(f"link {link!r}", "data in the file itself", "not followed", name))
    place = _Place(name, inside)
    bench = _bench(node, place, lab)
    wire = _number(node, "wire_length", "length", place) if "wire_length" in node else None
    told = lab.root.node("wire").amount("length", "length")
    if wire is not None and abs(wire - told) > 1e-3 * told:
        remedy = "another bench, or a wrong unit; mend the description or the file"
        faults.add(f"wire length {wire:g} m", f"{told:g} m as in the lab description", remedy, file=name)
    scans, sweeps = [], []
    for group in inside.groups:
        here = _Place(name, inside, group)
        try:
            if fnmatch.fnmatchcase(group.name, node.text("scans")):
                scans.append(_scan(found.read, node, here, bench, lab))
            elif fnmatch.fnmatchcase(group.name, node.text("sweeps") or "\0"):
                sweeps.append(_sweep(found.read, node, here, bench))
            else:
                notes.append(Fault(f"group {group.name!r}", "a scan or a sweep", "not read", name))
        except Refused as refusal:
            faults.faults.extend(refusal.faults)
    notes += bench.oddities
    clock: dict[str, ClockTold] = {}
    for told_here in bench.clocks:
        clock = joined_clocks(clock, {"time": told_here})
    return Raw(tuple(scans), tuple(sweeps), bench.sensors, tuple(clock.values()))


def _bench(node: Node, place: _Place, lab: Lab) -> _Bench:
    names = _channels(node, place)
    reference = node.node("reference")
    channels = {"reference": _channel(reference, names)}
    scales = {"reference": _number(reference, "scale", "resistance", place)}
    from_upstream: dict[str, float] = {}
    for letter, sensor in node.node("sensors").named():
        house, sign = lab.axes.house(letter)
        sign *= -1.0 if sensor.text("sign", "+") == "-" else 1.0
        channels[house] = _channel(sensor, names)
        scales[house] = sign * _number(sensor, "scale", "voltage per length", place)
        if "from_upstream" in sensor:
            from_upstream[house] = _number(sensor, "from_upstream", "length", place)
    if not {"x", "y"} <= set(channels):
        raise Refused(
            [node.fault("sensors", f"sensors along {listed(sorted(channels))}", "two across the beam", "mend")]
        )
    counts = node.data.get("counts_to_volts")
    to_volts = 1.0 if counts == "none" else _number(node, "counts_to_volts", "voltage", place)
    order = ("reference", "x", "y")
    rate = _number(node, "sample_rate", "frequency", place)
    _same_head(node, place, rate, len(names))
    return _Bench(
        rate,
        to_volts,
        (channels[order[0]], channels[order[1]], channels[order[2]]),
        (scales[order[0]], scales[order[1]], scales[order[2]]),
        from_upstream,
        len(names),
    )


def _same_head(node: Node, place: _Place, rate: float, channels: int) -> None:
    """Rate and channels that a file of another format than HDF5 tells of itself must be those described."""
    told = place.contents.attributes if node.text("format", "hdf5") != "hdf5" else {}
    for key, described, unit in (("sample_rate", rate, " Hz"), ("channels", float(channels), "")):
        here = told.get(key)
        if isinstance(here, float) and abs(here - described) > 1e-9 * described:
            remedy = "mend the description, or see whether this is the right file"
            expected = f"{described:g}{unit} as in the lab description"
            raise Refused([_fault(place, f"{key} {here:g}{unit}", expected, remedy)])


def _channels(node: Node, place: _Place) -> list[str]:
    if isinstance(node.data["channels"], list):
        return list(node.texts("channels"))
    value = _attribute(node.node("channels"), place)
    return [str(v) for v in value] if isinstance(value, list) else [v.strip() for v in str(value).split(",")]


def _channel(node: Node, names: list[str]) -> int:
    wanted = node.text("channel")
    if wanted not in names:
        remedy = f"{did_you_mean(wanted, names)}mend the description"
        raise Refused([node.fault("channel", f"channel {wanted!r}", f"one of {listed(names)}", remedy)])
    return names.index(wanted)


def _scan(read: Read, node: Node, place: _Place, bench: _Bench, lab: Lab) -> RawScan:
    assert place.group is not None
    group = place.group
    said = _text(node, "moved", place)
    vector = lab.axes.direction(said)
    if vector is None or vector[2] != 0.0:
        remedy = "mend the attribute, or give words for it in the lab description"
        raise Refused([_fault(place, f"moved axis {said!r}", "an axis across the beam", remedy)])
    stages = _stages(node, place, lab)
    return RawScan(
        group.name,
        _text(node, "magnet", place),
        "x" if vector[0] != 0.0 else "y",
        _number(node, "magnet_current", "current", place),
        _mode(node, place),
        stages["x"],
        stages["y"],
        _times(node, place, bench),
        tuple(_waveform(read, node, _Place(place.file, place.contents, group, b), bench) for b in group.blocks),
        place.file,
        _rows(group),
    )


def _sweep(read: Read, node: Node, place: _Place, bench: _Bench) -> RawSweep:
    assert place.group is not None
    group = place.group
    waves = tuple(_waveform(read, node, _Place(place.file, place.contents, group, b), bench) for b in group.blocks)
    return RawSweep(group.name, _mode(node, place), waves, place.file, _rows(group))


def _rows(group: Group) -> tuple[int, ...]:
    """Where each block stands: its row of the index, or its place in the group, 1 first."""
    return tuple(block.row or i for i, block in enumerate(group.blocks, start=1))


def _waveform(read: Read, node: Node, place: _Place, bench: _Bench) -> Waveform:
    assert place.group is not None
    assert place.block is not None
    rows = node.text("samples") == "rows"
    shape = place.block.shape if rows else place.block.shape[::-1]
    if len(shape) != 2 or shape[1] != bench.width:
        expected = f"samples of {bench.width} channels"
        remedy = "the block is damaged, or samples and channels are exchanged in the lab description"
        raise Refused([_fault(place, f"a block of shape {place.block.shape}", expected, remedy)])
    if shape[0] < 2:
        raise Refused([_fault(place, f"{shape[0]} samples", "a signal", "nothing was recorded; leave the block out")])
    where = (place.group.name, place.block.name)
    reader = _reader(read, where, bench.to_volts, rows=rows)
    frequency = _number(node, "drive_frequency", "frequency", place)
    return Waveform(reader, bench.rate, *bench.channels, *bench.scales, frequency)


def _reader(look: Read, where: tuple[str, str], to_volts: float, *, rows: bool) -> Callable[[], Array]:
    def read() -> Array:
        # To float first: integer samples would wrap in their own type.
        samples = look(*where).astype(np.float64)
        volts: Array = (samples if rows else samples.T) * to_volts
        return volts

    return read


def _stages(node: Node, place: _Place, lab: Lab) -> dict[str, Array]:
    assert place.group is not None
    blocks = place.group.blocks
    found = {letter: np.zeros(len(blocks)) for letter in "xyz"}
    stages = node.node("stages")
    for letter in stages:
        house, sign = lab.axes.house(letter)
        values = [_number(stages, letter, "length", _Place(place.file, place.contents, place.group, b)) for b in blocks]
        found[house] = sign * np.array(values, float) + 0.0
    return found


def _times(node: Node, place: _Place, bench: _Bench) -> Array:
    assert place.group is not None
    if "time" not in node:
        return np.full(len(place.group.blocks), np.nan)
    fact = node.node("time")
    cells = [_text(node, "time", _Place(place.file, place.contents, place.group, b)) for b in place.group.blocks]
    notation, zone, hour = (fact.text(key) for key in ("notation", "zone", "repeated_hour"))
    column = Column("time", Meaning("time"), ("time",), notation=notation, zone=zone, repeated_hour=hour)
    read = read_times(cells, column, "waveforms", place.file, fact.text("attribute"))
    if read.misfits:
        row = min(read.misfits)
        where = _Place(place.file, place.contents, place.group, place.group.blocks[row])
        raise Refused([_fault(where, f"time {cells[row]!r}", *read.misfits[row])])
    bench.oddities.extend(_fault(place, *note[:3]) for note in read.notes)
    if read.told is not None:
        bench.clocks.append(read.told)
    return read.values


def _mode(node: Node, place: _Place) -> int:
    value = _number(node, "mode", "ratio", place)
    if value < 1 or value != int(value):
        raise Refused([_fault(place, f"mode {value:g}", "a whole number from 1", "mend the attribute")])
    return int(value)


def _number(node: Node, key: str, dimension: str, place: _Place) -> float:
    """A number in SI from a constant or an attribute."""
    source = node.data[key]
    if isinstance(source, str):
        try:
            return amount(source, dimension)
        except Refused as refusal:
            f = refusal.faults[0]
            raise Refused([node.fault(key, f.given, f.expected, f.remedy)]) from None
    at = node.node(key)
    value = _attribute(at, place)
    if isinstance(value, list):
        index = at.whole("index")
        if index >= len(value):
            given = f"attribute {at.text('attribute')!r} with {len(value)} entries"
            raise Refused([_fault(place, given, f"an entry {index}", "mend the index in the lab description")])
        value = value[index]
    try:
        number = float(value)
        unit = units.unit(at.text("unit"), dimension=dimension)
    except ValueError:
        given = f"attribute {at.text('attribute')!r} = {value!r}"
        raise Refused([_fault(place, given, "a number", "mend the file")]) from None
    except Refused as refusal:
        f = refusal.faults[0]
        raise Refused([at.fault("unit", f.given, f.expected, f.remedy)]) from None
    if not np.isfinite(number):
        given = f"attribute {at.text('attribute')!r} = {number}"
        raise Refused([_fault(place, given, "a number", "nothing was recorded; leave the block out")])
    return (-1.0 if at.text("sign", "+") == "-" else 1.0) * unit.to_si(number)


def _text(node: Node, key: str, place: _Place) -> str:
    source = node.data[key]
    if isinstance(source, str):
        return source
    at = node.node(key)
    value = str(_attribute(at, place)).strip()
    words = at.node("words")
    return words.text(value, value)


def _attribute(at: Node, place: _Place) -> Value:
    key, on = at.text("attribute"), at.text("on")
    there = place.attributes(on)
    if key not in there:
        remedy = f"{did_you_mean(key, there)}mend the lab description or the file"
        where = place if on != "file" else _Place(place.file, place.contents)
        expected = f"the {on} to have it; it has {listed(list(there)) or 'none'}"
        raise Refused([_fault(where, f"no attribute {key!r}", expected, remedy)])
    return there[key]


def _fault(place: _Place, given: str, expected: str, remedy: str) -> Fault:
    where = place.words
    return Fault(f"{given} in {where}" if where else given, expected, remedy, place.file, None, where or None)
