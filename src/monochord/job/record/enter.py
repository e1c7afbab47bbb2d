"""What people enter: whole lists at once, or one statement; every fault of a list is told before anything is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.files.entry_lists import Listed, read_list
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.job.context import Context
from monochord.job.record.take import Hand, fact_id
from monochord.report.words import counted, listed
from monochord.store import asking
from monochord.store.bodies import KINDS, LIST, NUMBER, WITHDRAWN, faults_of, subject_of
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.ledger import append, entry_with
from monochord.store.opening import Record

#: Kinds that people enter; runs, and occasions with their files, come from campaigns.
ENTERED = (
    "girder", "magnet", "placed", "instrument", "calibration", "person", "step", "nonconformance", "turned", "foot", "note",
)  # fmt: skip
#: Columns that every kind may have: the id of the entry that is corrected, and why it is taken back.
REPLACES = "replaces"
#: Key of a body -> what of the record it must name; kinds that make it known.
NAMED = {
    ("placed", "serial"): ("serial", "magnet"),
    ("calibration", "instrument"): ("instrument", "instrument"),
    ("step", "instrument"): ("instrument", "instrument"),
}
#: The key under which a kind names what it makes known.
MAKES = {"magnet": "serial", "instrument": "name"}


@dataclass(frozen=True, slots=True)
class Entered:
    """What was entered: new entries, how many were known already, and what to look at."""

    new: tuple[Entry, ...]
    known: int
    notes: tuple[str, ...]


def enter_list(record: Record, path: Path, kind: str, context: Context, hand: Hand) -> Entered:
    """Enter all rows of a list, or none: Refused with every fault, its line and its column."""
    rows = read_list(path, kind)
    return _enter(record, rows, str(path), context, hand)


def enter_one(
    record: Record,
    kind: str,
    cells: Mapping[str, str],
    context: Context,
    hand: Hand,
    *,
    subject: str = "",
    seen: int | None = None,
) -> Entered:
    """Enter one statement, given as texts; a note needs to be told its subject.

    seen  number of the last entry about the subject that the person has seen: Refused when there is a later one
    """
    return _enter(record, [Listed(kind, 0, dict(cells))], "", context, hand, subject=subject, seen=seen)


def _enter(
    record: Record,
    rows: list[Listed],
    name: str,
    context: Context,
    hand: Hand,
    *,
    subject: str = "",
    seen: int | None = None,
) -> Entered:
    faults = Gatherer(name)
    bodies = [body_of(row, faults) for row in rows]
    with record.reading() as connection:
        known = asking.known_names(connection)
        _names(rows, bodies, known, faults)
        faults.refuse_if_any()
        now = context.now()
        drafts = [_draft(row, body, stamp(now), hand, subject) for row, body in zip(rows, bodies, strict=True)]
        fresh = [d for d in drafts if entry_with(connection, d.id) is None]
    watched = {} if seen is None else {draft.subject: seen for draft in fresh}
    new = append(record, fresh, now, seen=watched)
    strange = sorted({str(b["girder"]) for b in bodies if b.get("girder")} - known["girder"])
    notes = (
        [f"nothing else is in the record yet of {counted(len(strange), 'girder')}: {listed(strange, 5)}"]
        if strange
        else []
    )
    return Entered(tuple(new), len(drafts) - len(fresh), tuple(notes))


def _place(row: Listed) -> int | None:
    return row.line or None


def body_of(row: Listed, faults: Gatherer) -> dict[str, object]:
    """The body of an entry from a row of texts; what does not fit is gathered."""
    if row.kind not in ENTERED:
        faults.add(f"the kind {row.kind!r}", f"one of {', '.join(ENTERED)}", "name one of these", line=_place(row))
        return {}
    forms = {key.name: key.form for key in KINDS[row.kind].keys}
    for column in row.cells:
        if column not in {*forms, REPLACES, WITHDRAWN} and not (row.kind == "note" and column == "subject"):
            expected = f"one of {', '.join([*forms, REPLACES, WITHDRAWN])}"
            faults.add(f"the key {column!r}", expected, "mend or remove it", line=_place(row), column=column)
    body = {k: read_value(forms.get(k, ""), v) for k, v in row.cells.items() if k not in {REPLACES, "subject"}}
    if row.kind == "nonconformance":
        body.setdefault("state", "open")
    for fault in faults_of(row.kind, body, correction=REPLACES in row.cells):
        faults.add(fault.given, fault.expected, fault.remedy, line=_place(row), column=fault.column)
    return body


def read_value(form: str, value: object) -> object:
    """A cell as its key needs it; what cannot be read stays as it is and is told as a fault."""
    if not isinstance(value, str):
        return value
    if form == LIST:
        return [part.strip() for part in value.replace("|", ";").split(";") if part.strip()]
    if form == NUMBER:
        try:
            return float(value)
        except ValueError:
            return value
    return value.strip()


def _names(
    rows: list[Listed], bodies: list[dict[str, object]], known: Mapping[str, set[str]], faults: Gatherer
) -> None:
    """Names that a row speaks of must be in the record or in the list; a list makes a name known once."""
    made: dict[tuple[str, str], int] = {}
    for row, body in zip(rows, bodies, strict=True):
        name = str(body.get(MAKES.get(row.kind, ""), ""))
        if name and (row.kind, name) in made:
            given = f"{name!r}, which stands on line {made[row.kind, name]} already"
            faults.add(given, "every one once", "remove one of the two", line=_place(row), column=MAKES[row.kind])
        elif name:
            made[row.kind, name] = row.line
    for row, body in zip(rows, bodies, strict=True):
        for (kind, key), (what, maker) in NAMED.items():
            value = str(body.get(key) or "")
            if row.kind == kind and value and value not in known[what] and (maker, value) not in made:
                expected = f"one that is in the record or in this list as {maker}"
                faults.add(repr(value), expected, f"mend it, or enter the {maker} too", line=_place(row), column=key)


def _draft(row: Listed, body: dict[str, object], now: str, hand: Hand, subject: str) -> Draft:
    replaces = str(row.cells[REPLACES]) if row.cells.get(REPLACES) else None
    about = subject or str(row.cells.get("subject", ""))
    if row.kind != "note":
        about = subject_of(row.kind, body)
    elif not about:
        raise Refused(
            [Fault("a note about nothing", "what it is about, such as girder/G07", "say so", "", _place(row))]
        )
    name = fact_id("entered", row.kind, about, body, replaces)
    return Draft(name, row.kind, about, now, hand.made_by, hand.device, body, replaces)


def entered_lines(found: Entered, what: str, number: int, digest: str) -> Iterable[str]:
    """What was entered, in lines."""
    kinds = [entry.draft.kind for entry in found.new]
    counts = ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)) or "nothing new"
    yield f"{what}: {counts}; {found.known} known already; the record holds {number} entries, its head is {digest[:16]}"
    if len(found.new) == 1:
        yield f"entry {found.new[0].number}, id {found.new[0].draft.id}"
    yield from (f"note: {note}" for note in found.notes)
