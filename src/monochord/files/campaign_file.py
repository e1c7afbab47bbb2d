"""A campaign's folder read back into the nouns: everything that is given about one girder.

What :func:`load_campaign` delivers is listed in ``docs/files.md``. All faults of all files come at once.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.wire import Wire
from monochord.campaign.origin import Source
from monochord.files import document
from monochord.files.budget_scale import budget_scale
from monochord.files.checks_girder import check_girder
from monochord.files.checks_order import check_order
from monochord.files.checks_repeats import repeated_readings
from monochord.files.checksum import sha256
from monochord.files.document import Document
from monochord.files.excluded import Candidate, candidates, entries
from monochord.files.girder_file import girder_facts
from monochord.files.imports import reading_differs
from monochord.files.lab import Lab, lab_of
from monochord.files.occasion_file import Reader, checked_inputs, girder_imports
from monochord.files.pairing import between_occasions, none_matched
from monochord.files.places import key_lines
from monochord.files.schema_check import check
from monochord.files.sightings import instrument
from monochord.files.times import in_future
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused

CAMPAIGN, GIRDER, GIRDER_TYPE, LAB = "campaign.toml", "girder.toml", "girder-type.toml", "lab.toml"


def load_campaign(folder: Path) -> Campaign:
    """The campaign in a folder made by ``begin``, in SI and in the girder frame.

    Raises Refused with all faults: a file that is missing, does not fit, or changed since the campaign began.
    """
    campaign, own, shared, lab = _documents(folder)
    facts = girder_facts(own, shared, campaign)
    aside, unsound = entries(campaign.root, (n.text("name") for n in campaign.root.nodes("occasions")))
    reader = Reader(folder, lab, facts.girder, tuple(own.root.node("wire_ends")), aside=aside)
    kept = checked_inputs(folder, campaign.root.nodes("files"), reader.faults)
    occasions = tuple(reader.occasion(node) for node in campaign.root.nodes("occasions"))
    wire = _with_sensors(facts.wire, reader.sensors)
    wrong, doubtful = check_girder(facts.girder, wire, own.name)
    twice, perhaps = repeated_readings(occasions)
    # a file left over from elsewhere contradicts clocks and places as well, and is told once
    order, strange = ([], []) if twice else check_order(facts.girder, occasions, reader.wire_ends)
    told = [*reader.faults.faults, *twice, *order]
    faults = [*unsound, *_placed(wrong, own), *told, *_wire_told(wire, occasions, own)]
    reference = _reference(campaign, occasions, faults)
    scale = budget_scale(campaign, faults)
    pairings = between_occasions(facts.girder, occasions, reference)
    faults += [f for p in pairings for f in none_matched(p, campaign.name)]
    if faults:
        raise Refused(faults)
    late = in_future((c for o in occasions for c in o.clocks), began) if (began := campaign.root.text("began")) else []
    imports = (*girder_imports(folder, campaign.root.nodes("files"), lab), *reader.imports)
    settings, about = campaign.root.node("settings"), lab.root.node("instrument")
    documents = (campaign, own, shared, lab.root.document)
    return Campaign(
        facts.girder,
        wire,
        instrument(about) if about else None,
        facts.line_rule,
        facts.tolerances,
        occasions,
        reference,
        tuple(dict.fromkeys([*(Source(d.name, sha256(folder / d.name)) for d in documents), *kept, *reader.inputs])),
        {key: settings.text(key) for key in settings},
        (
            *facts.notes,
            *_placed(doubtful, own),
            *_unsaid(campaign, reference),
            *reader.notes,
            *perhaps,
            *strange,
            *late,
            *reading_differs(imports, folder),
        ),
        scale,
        (*reader.pairings, *pairings),
        imports,
        {".".join(map(str, path)): line for path, line in key_lines(lab.root.document.text).items()},
        excluded=tuple(reader.excluded[i] for i in sorted(reader.excluded)),
    )


def readings_of(folder: Path) -> tuple[Document, dict[str, list[Candidate]], tuple[Fault, ...]]:
    """The campaign's file, the sightings and scans of every occasion, nothing left out, and the faults of their rows.

    Raises Refused when the documents of the campaign do not fit.
    """
    campaign, own, shared, lab = _documents(folder)
    reader = Reader(folder, lab, girder_facts(own, shared, campaign).girder, tuple(own.root.node("wire_ends")))
    found = {}
    for node in campaign.root.nodes("occasions"):
        read = reader.measured(node)
        found[node.text("name")] = candidates(read.sightings, read.scans, read.raw_scans)
    return campaign, found, tuple(reader.faults.faults)


def _documents(folder: Path) -> tuple[Document, Document, Document, Lab]:
    """The four files of a campaign, each checked against its schema; the faults of all come at once."""
    faults: list[Fault] = []

    def read(name: str, schema: str) -> Document:
        found = document.read(folder / name, name)
        check(found, schema)
        return found

    def tried(name: str, schema: str) -> Document | None:
        try:
            return read(name, schema)
        except Refused as refusal:
            faults.extend(refusal.faults)
            return None

    campaign = tried(CAMPAIGN, "campaign")
    own, shared = tried(GIRDER, "girder"), tried(GIRDER_TYPE, "girder-type")
    lab: Lab | None = None
    try:
        lab = lab_of(document.read(folder / LAB, LAB))
    except Refused as refusal:
        faults.extend(refusal.faults)
    if campaign is None or own is None or shared is None or lab is None:
        raise Refused(faults)
    return campaign, own, shared, lab


def _placed(faults: list[Fault], own: Document) -> list[Fault]:
    """Faults of the girder's geometry with the line of the girder file where their thing stands."""
    placed = []
    for fault in faults:
        path = tuple(str(fault.column).split(".", 1)) if fault.column else ()
        placed.append(own.fault(path, fault.given, fault.expected, fault.remedy))
    return placed


def _with_sensors(wire: Wire | None, sensors: dict[str, float]) -> Wire | None:
    if wire is None or not sensors:
        return wire
    x, y = (wire.z_start + sensors[a] if a in sensors else math.nan for a in "xy")
    return replace(
        wire,
        sensor_x_z=wire.sensor_x_z if math.isnan(x) else x,
        sensor_y_z=wire.sensor_y_z if math.isnan(y) else y,
    )


def _wire_told(wire: Wire | None, occasions: tuple[Occasion, ...], own: Document) -> list[Fault]:
    """Scans need a wire and the places of its sensors."""
    if not any(o.scans or o.raw_scans for o in occasions):
        return []
    if wire is None:
        return [
            own.fault((), "wire scans but no [wire]", "the facts of the wire", "add [wire] to the girder type file")
        ]
    if math.isnan(wire.sensor_x_z + wire.sensor_y_z):
        remedy = "add wire.sensors to the girder type file"
        return [own.fault((), "wire scans but no places of the sensors", "their distance from the support", remedy)]
    return []


def _reference(campaign: Document, occasions: tuple[Occasion, ...], faults: list[Fault]) -> str | None:
    name, names = campaign.root.text("reference"), [o.name for o in occasions]
    if not name:
        return None
    if name not in names:
        remedy = f"{did_you_mean(name, names)}mend the reference"
        faults.append(campaign.root.fault("reference", repr(name), f"one of {listed(names)}", remedy))
    return name


def _unsaid(campaign: Document, reference: str | None) -> list[Fault]:
    if reference is not None:
        return []
    remedy = 'shapes cannot be compared with it; name one by --set reference="..." when there is one'
    return [campaign.fault((), "no reference occasion", "the occasion to which shapes return", remedy)]
