"""Containers of raw signals: which attribute tells what, by its name, its place and its value."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monochord.files.container import Contents, Value
from monochord.files.draft import words
from monochord.files.draft.cells import notations
from monochord.files.draft.columns import LETTERS, is_axis
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.lexicon import STAGE
from monochord.files.draft.lines import Draft, Section
from monochord.files.draft.tables import Work, sign_of

#: Fact -> (words of its name, dimension).
FACTS = {
    "counts_to_volts": ("lsb counts volts+per+count adc counts+to+volts", "voltage"),
    "sample_rate": ("sample+rate rate sampling abtastrate fs frequence+echantillonnage", "frequency"),
    "wire_length": ("wire+length drahtlaenge length longueur+fil", "length"),
    "drive_frequency": ("drive drive+frequency frequency freq f frequenz anregung", "frequency"),
    "magnet": ("magnet magnete aimant iman magnete element", ""),
    "moved": ("moved axis achse plane bewegt eje asse", ""),
    "magnet_current": ("magnet+current magnet current strom i courant corriente corrente", "current"),
    "mode": ("mode order n harmonic ordnung", "ratio"),
    "time": ("time zeit clock date heure hora ora", ""),
    "channels": ("channels channel kanaele kanal canaux canales canali", ""),
}


@dataclass(frozen=True, slots=True)
class Attribute:
    """An attribute of a container: name, where it stands, value."""

    name: str
    on: str
    value: Value


def attributes(inside: Contents) -> list[Attribute]:
    """All attributes of the file, of its first group with each of them, and of its first block."""
    found = [Attribute(k, "file", v) for k, v in inside.attributes.items()]
    groups: dict[str, Value] = {}
    blocks: dict[str, Value] = {}
    for group in inside.groups:
        groups |= {k: v for k, v in group.attributes.items() if k not in groups}
        for block in group.blocks[:1]:
            blocks |= {k: v for k, v in block.attributes.items() if k not in blocks}
    return (
        found
        + [Attribute(k, "group", v) for k, v in groups.items()]
        + [Attribute(k, "block", v) for k, v in blocks.items()]
    )


def waveforms(work: Work, files: Mapping[str, Contents], pattern: str) -> None:
    """The section of a container, from the first one; what is not found is asked for."""
    draft = work.draft
    inside = next(iter(files.values()))
    others = [c for c in files.values() if c is not inside]
    there = attributes(inside)
    head = draft.section("waveforms")
    head.add("file", pattern, f"{len(files)} container{'s' * (len(files) > 1)} with {len(inside.groups)} groups")
    scans, sweeps = _groups(inside)
    head.add("scans", scans or None, "groups that name a magnet")
    if sweeps:
        head.add("sweeps", sweeps, "groups without a magnet")
    names = _channels(there)
    shapes = {b.shape for g in inside.groups for b in g.blocks}
    shape = next(iter(shapes), (0, 0))
    rows = len(shape) == 2 and shape[1] == len(names)
    head.add("samples", "rows" if rows else "columns", f"blocks of {shape}, {len(names)} channels")
    used: set[str] = set()
    for key, (known, dimension) in FACTS.items():
        found = _fact(there, key, known, dimension, used)
        if found is None:
            if key in ("time", "wire_length"):
                continue
            draft.put(
                head,
                key,
                Question(f"waveforms.{key}", f"which attribute tells the {key.replace('_', ' ')}", (), "fact"),
            )
            continue
        used.add(found.name)
        entry: dict[str, object] = {"attribute": found.name, "on": found.on}
        if dimension and dimension != "ratio":
            entry["unit"] = words.apart(found.name).unit or _MISSING_UNITS.get(key, "?")
        if key == "time":
            entry["notation"] = _time_notation(draft, [inside, *others], found)
        head.add(key, entry, f"is {_shown(found.value)}")
    _sensors(work, head, there, names)


_MISSING_UNITS = {"sample_rate": "Hz", "drive_frequency": "Hz"}


def _time_notation(draft: Draft, files: Sequence[Contents], found: Attribute) -> str:
    blocks = [b.attributes for inside in files for g in inside.groups for b in g.blocks]
    fitting = notations([str(b[found.name]) for b in blocks if found.name in b])
    if len(fitting) == 1:
        return fitting[0]
    known = tuple(Choice(n, f"for {found.value}") for n in fitting)
    return draft.ask(Question("waveforms.time.notation", "How are the times of the blocks written?", known)) or "?"


def _groups(inside: Contents) -> tuple[str, str]:
    """Patterns of the names of groups with a magnet and without one."""
    with_magnet = [g.name for g in inside.groups if any("magnet" in words.split(k) for k in g.attributes)]
    without = [g.name for g in inside.groups if g.name not in with_magnet]
    return _pattern(with_magnet), _pattern(without)


def _pattern(names: Sequence[str]) -> str:
    if len(names) < 2:
        return names[0] if names else ""
    stems = {re.sub(r"\d+$", "", n) for n in names}
    return f"{stems.pop()}*" if len(stems) == 1 else ""


def _channels(there: Sequence[Attribute]) -> list[str]:
    for a in there:
        if isinstance(a.value, list) and a.value and all(isinstance(v, str) for v in a.value):
            return [str(v) for v in a.value]
    text = next((a.value for a in there if "channels" in words.split(a.name) and isinstance(a.value, str)), "")
    return [v.strip() for v in str(text).split(",")] if text else []


def _fact(there: Sequence[Attribute], key: str, known: str, dimension: str, used: set[str]) -> Attribute | None:
    from monochord.files.draft.lexicon import matched

    best: tuple[float, Attribute] | None = None
    for a in there:
        name = words.apart(a.name)
        if a.name in used or set(name.words) & (STAGE | {"sensor", "shunt"}):
            continue
        fits = words.dimension_of(name.unit) if name.unit else ""
        if dimension and dimension != "ratio" and fits not in ("", dimension):
            continue
        if (dimension and not isinstance(a.value, float)) or (key == "moved" and not is_axis(str(a.value))):
            continue
        if not dimension and name.unit:
            continue
        score = matched(name.words, known) + (0.5 if dimension and fits == dimension else 0.0)
        if matched(name.words, known) and (best is None or score > best[0]):
            best = (score, a)
    return best[1] if best else None


def _sensors(work: Work, head: Section, there: Sequence[Attribute], names: Sequence[str]) -> None:
    """The reference channel, the sensors by the axis along which they look, and the stages."""
    draft = work.draft
    scales = {
        a.name: words.apart(a.name).unit
        for a in there
        if words.dimension_of(words.apart(a.name).unit) == "voltage per length"
    }
    shunt = next((a for a in there if words.dimension_of(words.apart(a.name).unit) == "resistance"), None)
    reference = draft.section("waveforms.reference")
    channel = next((n for n in names if shunt and set(words.split(n)) & set(words.split(shunt.name))), None)
    reference.add(
        "channel", channel, "the one whose scale is in V/A" if channel else "which channel is the drive current's?"
    )
    scale = {"attribute": shunt.name, "on": shunt.on, "unit": words.apart(shunt.name).unit} if shunt else None
    reference.add("scale", scale, f"is {_shown(shunt.value)}" if shunt else "its scale in V/A")
    sensors = [n for n in names if n != channel]
    axes = [c for c in LETTERS if c != work.along] if work.along else list(LETTERS)
    looking = _looking(draft, sensors, axes)
    if not looking:
        head.add("sensors", None, "OPEN waveforms.sensors: along which axis each sensor looks")
    distances = next((a for a in there if "upstream" in words.split(a.name) and isinstance(a.value, list)), None)
    for place, name in enumerate(sensors if looking else ()):
        section = draft.section(f"waveforms.sensors.{looking[name]}")
        section.add("channel", name, "as answered")
        own = max(scales, key=lambda s: len(set(words.split(s)) & set(words.split(name))), default="")
        if own:
            on = next(a for a in there if a.name == own).on
            section.add("scale", {"attribute": own, "on": on, "unit": scales[own]}, "the scale whose name is its own")
        else:
            section.add("scale", None, "its scale in V/um")
        sign = sign_of(work, name)
        if sign != "+":
            section.add("sign", sign, "OPEN signs" if sign == "?" else "as answered")
        if distances is not None:
            unit = words.apart(distances.name).unit
            entry = {"attribute": distances.name, "on": distances.on, "unit": unit, "index": place}
            section.add("from_upstream", entry, f"is {_shown(distances.value)}, in the order of the channels")
    stages = draft.section("waveforms.stages")
    for a in there:
        said = words.apart(a.name)
        axis = next((c for c in LETTERS if c in said.words), "")
        if axis and set(said.words) & STAGE:
            sign = sign_of(work, a.name)
            stage: dict[str, object] = {"attribute": a.name, "on": a.on, "unit": said.unit or "?"}
            stage |= {"sign": sign} if sign != "+" else {}
            stages.add(axis, stage, f"is {_shown(a.value)}")


def _looking(draft: Draft, sensors: Sequence[str], axes: Sequence[str]) -> dict[str, str]:
    """Along which axis each sensor looks, where names cannot tell it."""
    if len(sensors) != 2 or len(axes) < 2:
        return {}
    named = {n: next((c for c in axes if c in words.split(n)), "") for n in sensors}
    pairs = [(a, b) for a in axes for b in axes if a != b]
    why = "as the names say" if all(named.values()) else ""
    told = tuple(
        Choice(f"{sensors[0]} along {a}, {sensors[1]} along {b}", why if (a, b) == tuple(named.values()) else "")
        for a, b in pairs
    )
    answer = draft.ask(
        Question("waveforms.sensors", "Along which of the laboratory's axes does each sensor look?", told)
    )
    return dict(re.findall(r"(\S+) along ([xyz])", answer)) if answer else {}


def _shown(value: Value) -> str:
    if isinstance(value, list):
        return ", ".join(_shown(v) for v in value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)
