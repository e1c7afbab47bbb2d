"""The campaign's own files as data, ready to be written: girder, girder type, campaign."""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping

from monochord.files.amounts import spell
from monochord.files.document import Node
from monochord.files.lab import Lab
from monochord.files.layout import Found, Layout
from monochord.files.settings import Settings

Table = dict[str, object]


def girder_document(told: Settings) -> Table:
    """``girder.toml``: the girder's items, targets, bolts and wire ends, and what was set over the type's values."""
    tables = told.tables
    data: Table = {"schema": "monochord-girder/1", "name": told.girder}
    for key, value in told.overrides.items():
        data[key] = dict(value)
    entries = {"items": tables.items, "targets": tables.targets, "bolts": tables.bolts, "wire_ends": tables.wire_ends}
    data.update({key: value for key, value in entries.items() if value or key == "items"})
    return data


def type_document(lab: Lab) -> Table:
    """``girder-type.toml``: what girders share, from the description's facts."""
    girder, wire = lab.root.node("girder"), lab.root.node("wire")
    data: Table = {"schema": "monochord-girder-type/1", "name": girder.text("type") or lab.root.text("name")}
    targets = lab.root.node("tables").node("targets")
    if "good_to" in targets:
        data["targets_good_to"] = targets.text("good_to")
    if "field_profile" in lab.root:
        data["edge"] = lab.root.node("field_profile").text("edge")
    for key in ("beam", "bolt_kinds", "clamps"):
        if key in girder:
            data[key] = _plain(girder.node(key))
    if wire:
        data["wire"] = _wire(wire, lab)
    if "line" in lab.root:
        data["line"] = _plain(lab.root.node("line"))
    if "tolerances" in lab.root:
        data["tolerances"] = [_plain(node) for node in lab.root.nodes("tolerances")]
    if "signing" in lab.root:
        data["signing"] = _plain(lab.root.node("signing"))
    return data


def _plain(node: Node) -> Table:
    return dict(node.data)


def _wire(node: Node, lab: Lab) -> Table:
    """The wire with its sensors named by the girder's axes."""
    data = _plain(node)
    data.pop("sensors", None)
    sensors: Table = {}
    for letter in node.node("sensors"):
        sensors[lab.axes.house(letter)[0]] = spell(node.node("sensors").amount(letter, "length"), "mm")
    if sensors:
        data["sensors"] = sensors
    return data


def campaign_document(
    layout: Layout, lab: Lab, told: Settings, sums: Mapping[str, tuple[str, int]], *, now: str, measured: str
) -> Table:
    """``campaign.toml``: occasions with their files and checksums, the reference, and the settings."""

    def entry(file: Found) -> Table:
        checksum, size = sums[file.path]
        return {"role": file.role, "path": f"{measured}/{file.path}", "sha256": checksum, "bytes": size}

    data: Table = {"schema": "monochord-campaign/1", "girder": told.girder, "lab": "lab.toml"}
    if now:
        data["began"] = now
    if reference := told.reference or _reference(layout, lab):
        data["reference"] = reference
    data["settings"] = dict(told.given)
    if told.line:
        data["line"] = {**_line(lab), **told.line}
    if told.tolerances:
        data["tolerances"] = _tolerances(lab, told.tolerances)
    data["files"] = [entry(f) for f in layout.girder_files]
    data["occasions"] = []
    throughout = lab.root.node("throughout").text("temperature")
    occasions: list[Table] = []
    for found in layout.occasions:
        occasion: Table = {"name": found.name, "place": told.places.get(found.name, found.place)}
        if temperature := told.temperatures.get(found.name, throughout):
            occasion["temperature"] = temperature
        if stringing := told.stringings.get(found.name, found.stringing):
            occasion["stringing"] = stringing
        occasion["files"] = [entry(f) for f in found.files]
        occasions.append(occasion)
    data["occasions"] = occasions
    return data


def _line(lab: Lab) -> Table:
    return _plain(lab.root.node("line")) or {"line": "refitted", "weights": "equal"}


def _tolerances(lab: Lab, told: Mapping[str, Mapping[str, str]]) -> list[Table]:
    """The description's tolerances with what was set over those of its quantity; a set limit holds for every magnet."""
    declared = [_plain(n) for n in lab.root.nodes("tolerances")]
    kept = [t for t in declared if t["quantity"] not in told]
    for quantity, facts in told.items():
        own = [t for t in declared if t["quantity"] == quantity]
        if "limit" in facts:
            # how it is judged stays as described; for whom does not, since one limit was set for all
            shared = {k: v for t in own[:1] for k, v in t.items() if k != "magnets"}
            kept.append({**shared, "quantity": quantity, **facts})
        else:
            kept += [{**t, **facts} for t in own] or [{"quantity": quantity, **facts}]
    return kept


def _reference(layout: Layout, lab: Lab) -> str:
    """The last occasion of the described pattern that has a survey: a shape to return to."""
    pattern = lab.root.node("layout").text("reference")
    fitting = [o for o in layout.occasions if fnmatch.fnmatchcase(o.name, pattern)]
    surveyed = [o for o in fitting if any(f.role == "sightings" for f in o.files)]
    return (surveyed or fitting)[-1].name if fitting else ""
