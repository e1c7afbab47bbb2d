"""Tables for questions, told by the entries of the ledger; they can be built anew from it at any time.

A later statement about the same thing takes the place of the earlier one; a correction takes the place of what it
corrects, or takes it back. Of the runs that tell an occasion the latest made counts, whenever it was kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy import Connection, Table, delete, func, select

from monochord.store.bodies import WITHDRAWN
from monochord.store.entry import Entry
from monochord.store.tables_told import (
    CALIBRATION,
    GIRDER,
    INSTRUMENT,
    MAGNET,
    MEASURE,
    NONCONFORMANCE,
    OCCASION,
    PERSON,
    PLACED,
    SIGNED,
    STEP,
    TURNING,
    VERDICT,
)
from monochord.store.told_run import ENTRY
from monochord.store.told_runs import forget_run, tell_run

Body = Mapping[str, object]

#: The role under which a campaign lists the turns that were made on an occasion.
TURNS = "turns"
#: Kinds about a girder that show that it is there.
OF_GIRDERS = ("occasion", "step", "nonconformance", "turned")


def tell(connection: Connection, entry: Entry, ledger: Connection | None = None) -> None:
    """Write what one entry tells into the tables for questions; entries come in the order of their numbers.

    ledger  where entries and files are read, when it is not where the tables are
    """
    source = connection if ledger is None else ledger
    draft = entry.draft
    if draft.kind == "run":
        if draft.replaces:
            forget_run(connection, source, draft.replaces)
        if WITHDRAWN not in draft.body:
            tell_run(connection, source, entry)
        _rounds(connection, _text(draft.body, "girder"))
        return
    for table in TABLES_OF.get(draft.kind, ()) if draft.replaces else ():
        connection.execute(delete(table).where(table.c.entry == draft.replaces))
    teller = TELLERS.get(draft.kind)
    if teller is not None and WITHDRAWN not in draft.body:
        teller(connection, entry)
    if draft.replaces:
        _forget_names(connection, draft.replaces, draft.kind)
    if draft.kind in OF_GIRDERS and WITHDRAWN not in draft.body:
        _meet_girder(connection, draft.subject.partition("/")[2], draft.id)
    if draft.kind in ("occasion", "turned"):
        _rounds(connection, draft.subject.partition("/")[2])


def _meet_girder(connection: Connection, name: str, entry: str) -> None:
    """A girder of which something is stated is in the fleet, also before its campaign comes."""
    if connection.execute(select(GIRDER.c.name).where(GIRDER.c.name == name)).first() is None:
        connection.execute(GIRDER.insert().values(name=name, type="", judged="", entry=entry))


def _text(body: Body, key: str) -> str:
    value = body.get(key)
    return "" if value is None else str(value)


def _texts(body: Body, key: str) -> list[str]:
    value = body.get(key)
    return [str(item) for item in value] if isinstance(value, list) else []


def _forget_names(connection: Connection, replaced: str, kind: str) -> None:
    """Girders and occasions keep what runs told of them when they are corrected, unless their name was wrong or is taken back."""
    if kind == "girder":
        connection.execute(delete(GIRDER).where(GIRDER.c.entry == replaced))
    if kind == "occasion":
        for row in connection.execute(select(OCCASION).where(OCCASION.c.entry == replaced)).all():
            for table in (VERDICT, MEASURE):
                connection.execute(delete(table).where(table.c.girder == row.girder, table.c.occasion == row.name))
            connection.execute(delete(OCCASION).where(OCCASION.c.entry == replaced))


def _put(connection: Connection, table: Table, entry: Entry, **values: object) -> None:
    """Write a row; one under the same key makes room."""
    keys = [c.name for c in table.primary_key.columns]
    row = values | {"entry": entry.draft.id}
    connection.execute(delete(table).where(*(table.c[k] == row[k] for k in keys)))
    connection.execute(table.insert().values(**row))


def _girder(connection: Connection, entry: Entry) -> None:
    body = entry.draft.body
    known = connection.execute(select(GIRDER).where(GIRDER.c.name == _text(body, "name"))).first()
    kind = _text(body, "type") or (known.type if known else "")
    _put(connection, GIRDER, entry, name=_text(body, "name"), type=kind, judged=known.judged if known else "")


def _magnet(connection: Connection, entry: Entry) -> None:
    body = entry.draft.body
    _put(connection, MAGNET, entry, serial=_text(body, "serial"), kind=_text(body, "kind"))


def _placed(connection: Connection, entry: Entry) -> None:
    keys = ("serial", "girder", "position", "since", "until")
    _put(connection, PLACED, entry, **{k: _text(entry.draft.body, k) for k in keys})


def _instrument(connection: Connection, entry: Entry) -> None:
    _put(connection, INSTRUMENT, entry, **{k: _text(entry.draft.body, k) for k in ("name", "kind", "serial")})


def _calibration(connection: Connection, entry: Entry) -> None:
    keys = ("instrument", "made_on", "valid_until", "certificate")
    _put(connection, CALIBRATION, entry, **{k: _text(entry.draft.body, k) for k in keys})


def _person(connection: Connection, entry: Entry) -> None:
    body = entry.draft.body
    _put(connection, PERSON, entry, name=_text(body, "name"), roles="; ".join(_texts(body, "roles")))


def _step(connection: Connection, entry: Entry) -> None:
    keys = ("girder", "step", "done_on", "instrument", "words")
    values = {k: _text(entry.draft.body, k) for k in keys}
    _put(connection, STEP, entry, **values, made_by=entry.draft.made_by)


def _nonconformance(connection: Connection, entry: Entry) -> None:
    draft = entry.draft
    values = {k: _text(draft.body, k) for k in ("girder", "magnet", "words", "state", "decision")}
    about = "; ".join(_texts(draft.body, "about"))
    _put(connection, NONCONFORMANCE, entry, **values, about=about, made_at=draft.made_at, made_by=draft.made_by)


def _turned(connection: Connection, entry: Entry) -> None:
    body = entry.draft.body
    _put(connection, TURNING, entry, girder=_text(body, "girder"), occasion=_text(body, "occasion"))


def _signature(connection: Connection, entry: Entry) -> None:
    body = entry.draft.body
    about, person = _text(body, "about") or _text(body, "entry"), _text(body, "person") or entry.draft.made_by
    _put(connection, SIGNED, entry, about=about, person=person)


def _occasion(connection: Connection, entry: Entry) -> None:
    """An occasion keeps its first number and time through corrections; a run may tell its time better."""
    body, at = entry.draft.body, entry.draft.made_at
    girder, name = _text(body, "girder"), _text(body, "name")
    known = connection.execute(select(OCCASION).where(OCCASION.c.girder == girder, OCCASION.c.name == name)).first()
    place = _text(body, "place") or (known.place if known else "")
    if known:
        stays = {k: getattr(known, k) for k in ("first", "known_at", "at", "timed_by", "run", "judged")}
    else:
        stays = {"first": entry.number, "known_at": at, "at": at, "timed_by": ENTRY, "run": "", "judged": 0}
    _put(connection, OCCASION, entry, girder=girder, name=name, place=place, **stays)
    files = body.get("files")
    if isinstance(files, list) and any(isinstance(f, dict) and f.get("role") == TURNS for f in files):
        _put(connection, TURNING, entry, girder=girder, occasion=name)


def _rounds(connection: Connection, girder: str) -> None:
    """Count the rounds at the bolts of a girder, on the latest occasion of them."""
    name = "rounds_at_bolts"
    connection.execute(delete(MEASURE).where(MEASURE.c.girder == girder, MEASURE.c.quantity == name))
    turned = select(TURNING.c.occasion).where(TURNING.c.girder == girder).distinct()
    count = connection.execute(select(func.count()).select_from(turned.subquery())).scalar_one()
    here = OCCASION.c.girder == girder
    latest = select(OCCASION).where(here, OCCASION.c.name.in_(turned)).order_by(OCCASION.c.at.desc())
    last = connection.execute(latest.order_by(OCCASION.c.first.desc()).limit(1)).first()
    if not count or last is None:
        return
    kind = connection.execute(select(GIRDER.c.type).where(GIRDER.c.name == girder)).scalar() or ""
    row = {"girder": girder, "occasion": last.name, "quantity": name, "magnet": "", "type": kind, "since": ""}
    connection.execute(MEASURE.insert().values(**row, at=last.at, value=float(count), u=None, unit="1", run=last.run))


TELLERS: Mapping[str, Callable[[Connection, Entry], None]] = {
    "girder": _girder,
    "magnet": _magnet,
    "placed": _placed,
    "instrument": _instrument,
    "calibration": _calibration,
    "person": _person,
    "occasion": _occasion,
    "step": _step,
    "nonconformance": _nonconformance,
    "turned": _turned,
    "signature": _signature,
}
#: The tables in which an entry of a kind has rows under its id.
TABLES_OF: Mapping[str, tuple[Table, ...]] = {
    "magnet": (MAGNET,),
    "placed": (PLACED,),
    "instrument": (INSTRUMENT,),
    "calibration": (CALIBRATION,),
    "person": (PERSON,),
    "step": (STEP,),
    "nonconformance": (NONCONFORMANCE,),
    "turned": (TURNING,),
    "signature": (SIGNED,),
    "occasion": (TURNING,),
}
