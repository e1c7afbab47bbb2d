"""Tables about the state: temperature and wire, feet, gates, what is missing, notes, origin."""

from __future__ import annotations

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.report.document import inputs_of, settings_of
from monochord.report.document_occasion import NOT_FELT, lacks_of
from monochord.report.facts import Known, finite, given_of
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, plain, reasons_note, rows_of, words
from monochord.report.words import counted

PASSED = "passed"


def conditions_table(result: Result) -> Table:
    """Temperature of the girder, and frequency and sag of the wire, on every occasion."""
    found = result.occasions
    wires = [o.wire for o in found]
    missing = [(f"{o.name} temperature", o.temperature.reason or "no temperature was noted") for o in found
               if finite(o.temperature.mean) is None or finite(o.temperature.top_minus_bottom) is None]  # fmt: skip
    no_wire = [(f"{o.name} wire", o.lacks.get("wire", "no wire")) for o in found if o.wire is None]
    return Table(
        ident("table-conditions"),
        "Temperature and wire on every occasion",
        (
            "occasion", "place", "mean [°C]", "top minus bottom [K]", "fundamental x [Hz]", "fundamental y [Hz]",
            "sag at mid-span [µm]", "turn of the sensor pair [mrad]",
        ),
        rows_of(
            [words(o.name) for o in found],
            [words(g.place if (g := given_of(result, o.name)) else "") for o in found],
            [plain(o.temperature.mean, 2) for o in found],
            [plain(o.temperature.top_minus_bottom, 3, sign=True) for o in found],
            [plain(w.f1_x if w else None, 3) for w in wires],
            [plain(w.f1_y if w else None, 3) for w in wires],
            column([Known(finite(w.sag), finite(w.u_sag)) if w else Known(None, None) for w in wires], 1e6, sign=False),
            column(
                [Known(finite(w.sensor_turn), finite(w.u_sensor_turn)) if w else Known(None, None) for w in wires], 1e3
            ),
        ),
        note=reasons_note([*missing, *no_wire]),
    )  # fmt: skip


def feet_table(result: Result, found: OccasionFinding) -> Table:
    """Contact and load at every bolt, as the crew found them."""
    given = given_of(result, found.name)
    felt = {foot.bolt: foot for foot in given.feet} if given else {}
    names = list(dict.fromkeys([*(bolt.name for bolt in result.campaign.girder.bolts), *felt]))
    here = [n for n in names if n in felt]
    loads = [Known(finite(felt[n].load), finite(felt[n].u_load)) for n in here]
    unfelt = [(n, NOT_FELT) for n in names if n not in felt] if felt else []
    unloaded = [(f"load at {n}", "not measured") for n, load in zip(here, loads, strict=True) if load.value is None]
    return Table(
        ident("table-feet", found.name),
        f"Feet, {found.name}",
        ("bolt", "contact", "load [kN]"),
        rows_of(
            [words(n) for n in here],
            [words(felt[n].state or "not known") for n in here],
            column(loads, 1e-3, sign=False),
        ),
        note=reasons_note([*unfelt, *unloaded]),
        empty="Nobody noted the feet on this occasion.",
    )


def gates_table(result: Result) -> Table:
    """Every check of every finding and what it said."""
    return Table(
        ident("table-gates"),
        "All checks",
        ("occasion", "of", "check", "outcome", "what was found"),
        tuple(row for found in result.occasions for row in _gates(found)),
        empty="No check was made.",
        long=True,
    )


def failed_table(result: Result) -> Table:
    """The checks that did not pass."""
    rows = [row for found in result.occasions for row in _gates(found)]
    failed = [row for row in rows if row[3].text != PASSED]
    return Table(
        ident("table-failed"),
        "Checks that did not pass",
        ("occasion", "of", "check", "outcome", "what was found"),
        tuple(failed),
        note=f"{len(rows) - len(failed)} of {counted(len(rows), 'check')} passed." if failed else "",
        empty=f"All of {counted(len(rows), 'check')} passed." if rows else "No check was made.",
    )


def _gates(found: OccasionFinding) -> list[tuple[Cell, ...]]:
    sources: list[tuple[str, tuple[Gate, ...]]] = []
    if found.wire:
        sources += [("wire", found.wire.gates), *((axis.magnet, axis.gates) for axis in found.wire.axes)]
    if found.points:
        sources.append(("survey", found.points.gates))
    return [
        (
            words(found.name),
            words(of),
            words(gate.name),
            words(PASSED if gate.ok else "did not pass"),
            words(gate.message),
        )
        for of, gates in sources
        for gate in gates
    ]


def lacks_table(result: Result) -> Table:
    """What is missing on the occasions and why."""
    rows = [(words(o.name), words(what), words(why)) for o in result.occasions for what, why in lacks_of(result, o)]
    return Table(
        ident("table-lacks"),
        "What is missing, and why",
        ("occasion", "what", "why"),
        tuple(rows),
        empty="Nothing that the evaluation asked for is missing.",
    )


def notes_table(result: Result) -> Table:
    """What did not fit in the files and did not stop the work."""
    faults = [*result.campaign.notes, *result.notes]
    return Table(
        ident("table-notes"),
        "What did not fit and did not stop the work",
        ("where", "given", "expected", "what to do"),
        tuple((words(f.place or "no file"), words(f.given), words(f.expected), words(f.remedy)) for f in faults),
        empty="Every file fitted its description.",
    )


def inputs_table(result: Result) -> Table:
    """Every file that was read, with its digest."""
    return Table(
        ident("table-inputs"),
        "Files that were read",
        ("file", "sha256"),
        tuple((words(path), Cell(digest, style="digest")) for path, digest in inputs_of(result)),
        empty="No file was read.",
    )


def settings_table(result: Result) -> Table:
    """Settings of campaign and run."""
    return Table(
        ident("table-settings"),
        "Settings",
        ("setting", "value"),
        tuple((words(name), words(value)) for name, value in settings_of(result).items()),
        empty="No setting differs from the lab description.",
    )
