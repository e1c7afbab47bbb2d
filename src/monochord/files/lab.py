"""The lab description: one laboratory's habits, written once, checked, and turned into forms to read by."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from monochord.files import clock, document, zones
from monochord.files.axes import Axes, axes_of
from monochord.files.columns import Column, Form
from monochord.files.document import Document, Node
from monochord.files.formats.described import kept_of, waveforms_unsaid
from monochord.files.numbers import MISSING
from monochord.files.packed_angles import PACKED
from monochord.files.roles import ROLES, Meaning
from monochord.files.schema_check import check
from monochord.files.table import SUMMARIES, Dialect
from monochord.files.waveform_index import INDEX, index_form
from monochord.files.words import did_you_mean, listed
from monochord.ground import units
from monochord.ground.faults import Fault, Refused

#: How a column's own name says its unit: in brackets, behind a comma, a slash or "in", or as its last word.
_SAID = tuple(
    map(
        re.compile,
        (
            r"[\[({<]\s*([^\])}>,;]+?)\s*(?:[,;][^\])}>]*)?[\])}>]\s*[:.]?\s*$",
            r"[,;/|]\s*([A-Za-z°µμ\"%]+\.?)\s*[:.]?$",
            r"\s(?:in|-|\u2013)\s+([A-Za-z°µμ]+)\s*[:.]?$",
            r"[_. ]([A-Za-z°µμ]{2,}|m)$",
        ),
    )
)
_SEXAGESIMAL = "degrees minutes seconds"


@dataclass(frozen=True, slots=True)
class Lab:
    """A checked lab description.

    root   the document's root, for facts that stand in it
    forms  role -> how its tables read;  files  role -> file pattern
    """

    root: Node
    axes: Axes
    forms: Mapping[str, Form]
    files: Mapping[str, str]

    @property
    def girder_folder(self) -> str:
        """Folder of the girder's own tables."""
        return self.root.node("layout").text("girder")

    def role_patterns(self, roles: tuple[str, ...]) -> dict[str, str]:
        """The file patterns of those of the roles that are described."""
        return {role: self.files[role] for role in roles if role in self.files}


def load_lab(path: Path, name: str | None = None) -> Lab:
    """A lab description from its file; Refused with every fault of it."""
    return lab_of(document.read(path, name))


def lab_of(described: Document) -> Lab:
    """A lab description from a parsed document; Refused with every fault of it."""
    check(described, "lab")
    root = described.root
    faults: list[Fault] = []
    forms: dict[str, Form] = {}
    files: dict[str, str] = {}
    axes: Axes | None = None
    try:
        axes = axes_of(root.node("frame"))
    except Refused as refusal:
        faults += refusal.faults
    shared = root.node("dialect")
    for role, node in root.node("tables").named():
        form = _form(role, node, shared, faults)
        forms[role], files[role] = form, node.text("file")
    if "waveforms" in root:
        files["waveforms"] = root.node("waveforms").text("file")
        faults += waveforms_unsaid(root.node("waveforms"))
    if "index" in root.node("waveforms"):
        index = root.node("waveforms").node("index")
        forms[INDEX] = index_form(root.node("waveforms"), _dialect(shared, index.node("dialect")), faults)
        files[INDEX] = index.text("file")
    faults += _unsaid(root, forms)
    if faults or axes is None:
        raise Refused(faults)
    return Lab(root, axes, forms, files)


def _unsaid(root: Node, forms: Mapping[str, Form]) -> list[Fault]:
    """Facts without default that the described tables make necessary."""
    wants = {
        "angles": ("sightings" in forms, "the sense of the horizontal circle and what the vertical angle is"),
        "instrument": ("sightings" in forms, "what is known of the tracker"),
        "signals": (
            bool({"wire_scans", "wire_sweeps"} & set(forms)),
            "peak or rms, and the time convention, of the wire tables",
        ),
        "strength": (
            any(c.key == "strength" for c in forms["magnets"].columns) if "magnets" in forms else False,
            "whether the strength is a derivative or a coefficient, and at which current",
        ),
        "wire": (
            bool({"wire_scans", "wire_sweeps", "wire_ends"} & set(forms)) or "waveforms" in root,
            "the facts of the wire",
        ),
    }
    found = []
    for key, (wanted, what) in wants.items():
        if wanted and key not in root:
            found.append(root.fault("", f"no table [{key}]", what, f"add [{key}] to the lab description"))
    temperatures = root.node("tables").node("temperatures")
    if "time" in temperatures.node("columns") and "within" not in temperatures:
        remedy = 'add within = "5 min" or what suits: farther away in time no reading is given to an observation'
        found.append(temperatures.fault("", "times of temperatures without within", "a length of time", remedy))
    wire = root.node("wire")
    sensors = root.node("waveforms").node("sensors")
    placed = all("from_upstream" in node for _, node in sensors.named()) and bool(sensors)
    if wire and not placed and len(wire.node("sensors")) != 2:
        remedy = "add [wire.sensors] with one key per axis along which a sensor looks"
        found.append(
            wire.fault("", "no places of the two sensors", "their distances from the upstream support", remedy)
        )
    for node in (wire.node("sensors"), sensors, root.node("waveforms").node("stages")):
        for key in node:
            if key not in ("x", "y", "z"):
                found.append(node.fault(key, f"axis {key!r}", "x, y or z, the laboratory's own axes", "mend the key"))
    return found


def _form(role: str, node: Node, shared: Node, faults: list[Fault]) -> Form:
    meanings = ROLES[role]
    columns = []
    described = node.node("columns")
    for key in described:
        if key not in meanings:
            remedy = f"{did_you_mean(key, meanings)}mend the key"
            faults.append(described.fault(key, f"column {key!r}", f"one of {listed(list(meanings), 40)}", remedy))
            continue
        columns.append(_column(key, meanings[key], described, faults))
    for key, meaning in meanings.items():
        if meaning.needed and key not in described:
            faults.append(described.fault("", f"no column for {key!r}", "one", f"add {key} = ... to {role}"))
    dialect = _dialect(shared, node.node("dialect"))
    if dialect.delimiter == dialect.decimal:
        given = f"delimiter and decimal mark both {dialect.decimal!r}"
        faults.append(node.fault("dialect", given, "two different marks", "mend the dialect"))
    if "fixed" in (dialect.delimiter, *node.text("format").split()) and not dialect.widths:
        faults.append(node.fault("dialect", "fixed widths without widths", "widths = [4, 10, ...]", "add them"))
    passed, good = frozenset(_composed(node.texts("passed_over"))), frozenset(node.texts("good_status"))
    if "status" in described and not good:
        remedy = 'say which words are good, such as good_status = ["ok"]; rows with any other are left out'
        faults.append(described.fault("status", "a status without good_status", "the good words", remedy))
    marked = [replace(c, markers=c.markers + _plain_numbers(node, "markers")) for c in columns]
    return Form(role, dialect, tuple(marked), passed, good, node.text("repeated"), kept_of(node, faults))


def _column(key: str, meaning: Meaning, described: Node, faults: list[Fault]) -> Column:
    if isinstance(described.data[key], str):
        if meaning.kind in ("number", "time"):
            wanted = "{ column, notation }" if meaning.kind == "time" else "{ column, unit }"
            given = f"column {key!r} without its {'notation' if meaning.kind == 'time' else 'unit'}"
            faults.append(described.fault(key, given, wanted, "say it; it is never guessed"))
        return Column(key, meaning, _composed(described.texts(key)))
    node = described.node(key)
    names, notation = _composed(node.texts("column")), node.text("notation")
    unit = _unit(node, meaning, faults)
    if meaning.kind == "number" and unit is None and not notation and not {"unit_column", "unit_line"} & set(node):
        faults.append(node.fault("", f"column {key!r} without its unit", "unit = ...", "say it; it is never guessed"))
    if unit is not None and not node.yes("despite_name"):
        _contradiction(node, names, unit, faults)
    if meaning.kind == "time" and unit is None:
        _clock(node, notation, faults)
    elif notation:
        if notation not in (_SEXAGESIMAL, PACKED) or meaning.dimension != "angle":
            known = f"{_SEXAGESIMAL!r} or {PACKED!r}, of an angle"
            faults.append(node.fault("notation", repr(notation), known, "mend it"))
        unit = units.unit("deg")
    words = {k: v for k, v in node.node("words").data.items() if isinstance(v, str)}
    for word, ours in words.items():
        if meaning.words and ours not in meaning.words:
            remedy = f"{did_you_mean(ours, meaning.words)}mend the word"
            faults.append(node.fault("words", f"{word!r} for {ours!r}", f"one of {listed(meaning.words)}", remedy))
    sign = -1.0 if node.text("sign", "+") == "-" else 1.0
    return Column(
        key,
        meaning,
        names,
        unit,
        node.text("unit_column"),
        node.yes("unit_line"),
        sign,
        words,
        _plain_numbers(node, "markers"),
        notation,
        node.text("zone"),
        node.text("repeated_hour"),
        node.text("midnight"),
        _plain_numbers(node, "genuine"),
        node.yes("despite_name"),
    )


def _composed(names: tuple[str, ...]) -> tuple[str, ...]:
    """Names in the Unicode form in which heads of tables are read."""
    return tuple(unicodedata.normalize("NFC", name) for name in names)


def _plain_numbers(node: Node, key: str) -> tuple[float, ...]:
    listing = node.data.get(key, [])
    return tuple(float(m) for m in listing if isinstance(m, (int, float))) if isinstance(listing, list) else ()


def _clock(node: Node, notation: str, faults: list[Fault]) -> None:
    """The notation and the zone of a time."""
    for key, looked_at in (("notation", clock.checked), ("zone", zones.zone)):
        try:
            if key in node or key == "notation":
                looked_at(notation if key == "notation" else node.text(key))
        except Refused as refusal:
            f = refusal.faults[0]
            faults.append(node.fault(key, f.given, f.expected, f.remedy))


def _unit(node: Node, meaning: Meaning, faults: list[Fault]) -> units.Unit | None:
    if "unit" not in node:
        return None
    try:
        return units.unit(node.text("unit"), dimension="time" if meaning.kind == "time" else meaning.dimension or None)
    except Refused as refusal:
        f = refusal.faults[0]
        faults.append(node.fault("unit", f.given, f.expected, f.remedy))
        return None


def _contradiction(node: Node, names: tuple[str, ...], unit: units.Unit, faults: list[Fault]) -> None:
    """A column whose own name says another unit, of the same kind or in square brackets of another."""
    for name in names:
        said = _said(name)
        if said is None:
            continue
        if unit.name.startswith((f"{said.name}/", f"{said.name} ")):
            continue  # a pitch in mm for mm/turn, a temperature in K for absolute K
        if said.name != unit.name and (said.dimension == unit.dimension or name.rstrip().endswith("]")):
            given = f"unit {unit.name!r} for column {name!r}"
            remedy = (
                "the column's own name says another unit; mend one of them, "
                "or say despite_name = true when the name is known to be wrong"
            )
            faults.append(node.fault("unit", given, f"{said.name!r}", remedy))


def _said(name: str) -> units.Unit | None:
    """The unit that a column's name says; "in" as a last word may be a word of its own and is none."""
    for rule in _SAID:
        found = rule.search(name)
        if found is None or (found[1] == "in" and rule is _SAID[-1]):
            continue
        for spelled in dict.fromkeys(
            (found[1], found[1].rstrip("."), found[1].casefold(), found[1].casefold().rstrip("s"))
        ):
            try:
                return units.unit(spelled)
            except Refused:
                continue
    return None


def _dialect(shared: Node, own: Node) -> Dialect:
    both = Node(own.document, own.path, {**shared.data, **own.data})
    widths = both.data.get("widths", [])
    return Dialect(
        both.text("delimiter", ","),
        both.text("decimal", "."),
        both.text("grouping"),
        both.text("encoding", "utf-8"),
        both.text("comment"),
        both.whole("header_line", 1),
        both.whole("unit_line"),
        both.whole("data_from"),
        MISSING | {w.casefold() for w in both.texts("missing")},
        SUMMARIES | {w.casefold() for w in both.texts("totals")},
        tuple(w for w in widths if isinstance(w, int)) if isinstance(widths, list) else (),
    )
