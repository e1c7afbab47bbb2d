"""What the clocks leave open about the order of entries, and entries that stand before what they refer to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set

from sqlalchemy import Connection, select

from monochord.job.record.clocks import Ahead, ahead_of, interval, span
from monochord.store.entry import Entry, moment
from monochord.store.ledger import entry_of, entry_with
from monochord.store.tables import ENTRY

#: So many earlier entries about a girder are looked at, the last ones.
LOOK_BACK = 200
#: How wrong a clock that nobody compared is taken to be [s] (common practice, no source: a wrong zone or a wrong day).
UNCOMPARED = 86400.0
#: Keys of a body that name the place where somebody worked.
PLACES = ("bolt", "foot")


def last_merge(connection: Connection, device: str, after: int = 0, *, first: bool = False) -> Entry | None:
    """The last entry that says what a device brought, or the first one after an entry's number."""
    wanted = select(ENTRY).where(ENTRY.c.subject == f"device/{device}"[:200], ENTRY.c.kind == "merged")
    order = ENTRY.c.number if first else ENTRY.c.number.desc()
    row = connection.execute(wanted.where(ENTRY.c.number > after).order_by(order).limit(1)).first()
    return entry_of(row) if row is not None else None


def clock_of(connection: Connection, entry: Entry) -> Ahead:
    """What is known of the clock by which an entry was made: its merge tells; the record's own clock needs no telling."""
    merged = last_merge(connection, entry.draft.device, entry.number, first=True)
    listed = merged.draft.body.get("entries") if merged else None
    if merged and isinstance(listed, list) and any(isinstance(p, list) and p[1:] == [entry.draft.id] for p in listed):
        return ahead_of(merged.draft.body.get("ahead"))
    return Ahead(0.0, 0.0) if entry.draft.made_at == entry.kept_at else Ahead()


def strange_order(
    connection: Connection, mine: Sequence[tuple[int, Entry]], ahead: Ahead, later: Set[str]
) -> Iterator[str]:
    """What is strange, or open, about the order of a device's new entries.

    mine   their lines and the entries;  ahead  what is known of their clock
    later  ids of entries of other devices in the same queue, whose turn comes
    """
    own = {entry.draft.id: entry for _, entry in mine}
    for line, entry in mine:
        for name in _referred(entry):
            other = own.get(name) or entry_with(connection, name)
            if other is not None:
                yield from _before_its_cause(connection, line, entry, other, ahead)
    for place in dict.fromkeys(_place(entry) for _, entry in mine):
        if place is not None:
            here = [(line, entry) for line, entry in mine if _place(entry) == place]
            yield from _open_order(connection, place, here, ahead, later)


def _referred(entry: Entry) -> Iterator[str]:
    if entry.draft.replaces:
        yield entry.draft.replaces
    about = entry.draft.body.get("about")
    if isinstance(about, list):
        yield from (name for name in about if isinstance(name, str))


def _before_its_cause(connection: Connection, line: int, entry: Entry, other: Entry, ahead: Ahead) -> Iterator[str]:
    made, before = entry.draft.made_at, other.draft.made_at
    which = f"line {line}, made at {made}, comes before entry {other.number} of {before}, to which it refers"
    if entry.draft.device == other.draft.device:
        if made < before:
            yield f"{which}, by the same clock: it was set back in between"
        return
    its = clock_of(connection, other)
    if interval(made, ahead, entry.kept_at)[1] < interval(before, its, other.kept_at)[0]:
        yield f"{which}, also when what is known of both clocks is allowed for"
    elif made < before and not (ahead.known and its.known):
        yield f"{which}: one of the clocks was wrong"


#: Subject, kind, and the name of the bolt or foot.
_Place = tuple[str, str, str]


def _place(entry: Entry) -> _Place | None:
    for key in PLACES:
        if isinstance(name := entry.draft.body.get(key), str):
            return entry.draft.subject, entry.draft.kind, f"{key} {name}"
    return None


def _open_order(
    connection: Connection, place: _Place, here: Sequence[tuple[int, Entry]], ahead: Ahead, later: Set[str]
) -> Iterator[str]:
    """The two entries of two devices about one place whose order is least decided, and how many pairs more."""
    about = select(ENTRY).where(ENTRY.c.subject == place[0], ENTRY.c.kind == place[1])
    rows = connection.execute(about.order_by(ENTRY.c.number.desc()).limit(LOOK_BACK + len(here))).all()
    own = {entry.draft.id for _, entry in here}
    others = [
        e for e in map(entry_of, rows) if e.draft.id not in own and e.draft.id not in later and _place(e) == place
    ]
    pairs = []
    for other in others:
        its = clock_of(connection, other)
        low, high = interval(other.draft.made_at, its, other.kept_at, UNCOMPARED)
        for line, entry in here:
            if entry.draft.device == other.draft.device:
                continue
            early, late = interval(entry.draft.made_at, ahead, entry.kept_at, UNCOMPARED)
            if early <= high and low <= late:
                apart = abs(moment(entry.draft.made_at).timestamp() - moment(other.draft.made_at).timestamp())
                pairs.append((apart, line, entry, other, its))
    if not pairs:
        return
    _, line, entry, other, its = min(pairs, key=lambda pair: (pair[0], pair[1], pair[3].number))
    one = f"line {line} of {entry.draft.device} ({entry.draft.made_at}, {_known(ahead)})"
    two = f"entry {other.number} of {other.draft.device} ({other.draft.made_at}, {_known(its)})"
    more = f"; {len(pairs) - 1} more pairs" if len(pairs) > 1 else ""
    same = entry.draft.body == other.draft.body
    twice = "; both state the same: perhaps one deed written down on two devices" if same else ""
    yield f"{place[2]} of {place[0]}: which came first cannot be decided, {one} or {two}{twice}{more}"


def _known(ahead: Ahead) -> str:
    if ahead.least is None or ahead.most is None:
        return "its clock was not compared"
    return f"its clock known to {span(ahead.most - ahead.least)}"
