"""A run writes what its document tells about each of its occasions, unless a run made later tells it already."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict

from sqlalchemy import Connection, and_, delete, select, update

from monochord.store.entry import Entry
from monochord.store.files import blocks_of
from monochord.store.tables import FILE
from monochord.store.tables_told import GIRDER, MEASURE, OCCASION, RUN, VERDICT
from monochord.store.told_run import ENTRY, Part, measures_of, number, occasions_of, part, times_of, verdicts_of

Row = Mapping[str, object]


def tell_run(connection: Connection, source: Connection, entry: Entry) -> None:
    """Write a run and what it tells of its occasions."""
    draft = entry.draft
    girder, sha256 = str(draft.body.get("girder", "")), str(draft.body.get("document", ""))
    document = document_of(source, sha256)
    row = {
        "id": draft.id,
        "number": entry.number,
        "girder": girder,
        "made_at": draft.made_at,
        "made_by": draft.made_by,
        "code": str(draft.body.get("code", "")),
        "document": sha256,
        "sentence": str(document.get("sentence", "")),
        "signatures": int(number(draft.body.get("signing"), "signatures") or 0),
    }
    connection.execute(delete(RUN).where(RUN.c.id == draft.id))
    connection.execute(RUN.insert().values(**row))
    _tell_document(connection, row, document)


def document_of(source: Connection, sha256: str) -> Part:
    """The result document kept under a sha256; empty when it is not kept or is none."""
    if source.execute(select(FILE.c.size).where(FILE.c.sha256 == sha256)).first() is None:
        return {}
    try:
        found = json.loads(b"".join(blocks_of(source, sha256)))
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _tell_document(connection: Connection, run: Row, document: Part) -> None:
    girder = str(run["girder"])
    known = _known(connection, girder)
    mine = (str(run["made_at"]), int(str(run["number"])))
    won = [name for name in occasions_of(document) if name not in known or known[name] < mine]
    if won:
        for table in (VERDICT, MEASURE):
            connection.execute(delete(table).where(table.c.girder == girder, table.c.occasion.in_(won)))
        judged = _write_verdicts(connection, run, document, frozenset(won))
        _write_occasions(connection, run, document, won, judged)
        _write_measures(connection, run, document, frozenset(won))
    _write_girder(connection, run, str(part(document, "girder").get("type", "")))


def _known(connection: Connection, girder: str) -> dict[str, tuple[str, int]]:
    """Occasion -> when and under which number the run was made that tells it now."""
    joined = OCCASION.join(RUN, OCCASION.c.run == RUN.c.id)
    wanted = select(OCCASION.c.name, RUN.c.made_at, RUN.c.number).select_from(joined)
    rows = connection.execute(wanted.where(OCCASION.c.girder == girder))
    return {row.name: (row.made_at, row.number) for row in rows}


def _write_verdicts(connection: Connection, run: Row, document: Part, won: frozenset[str]) -> frozenset[str]:
    same = {"girder": run["girder"], "run": run["id"]}
    rows = [asdict(v) | same for v in verdicts_of(document) if v.occasion in won]
    if rows:
        connection.execute(VERDICT.insert(), rows)
    return frozenset(str(row["occasion"]) for row in rows)


def _write_occasions(
    connection: Connection, run: Row, document: Part, won: Iterable[str], judged: frozenset[str]
) -> None:
    times = times_of(document)
    girder = str(run["girder"])
    there = {r.name: r for r in connection.execute(select(OCCASION).where(OCCASION.c.girder == girder))}
    for name in won:
        row = there.get(name)
        known_at = str(row.known_at if row else run["made_at"])
        at, timed_by = times.get(name, (known_at, ENTRY))
        told = {"run": run["id"], "at": at, "timed_by": timed_by, "judged": int(name in judged)}
        place = str(part(part(document, "occasions"), name).get("place") or "")
        if row:
            here = and_(OCCASION.c.girder == girder, OCCASION.c.name == name)
            connection.execute(update(OCCASION).where(here).values(place=place or row.place, **told))
        else:
            fresh = {"girder": girder, "name": name, "place": place, "first": run["number"], "known_at": known_at}
            connection.execute(OCCASION.insert().values(**fresh, entry="", **told))


def _write_measures(connection: Connection, run: Row, document: Part, won: frozenset[str]) -> None:
    girder = str(run["girder"])
    at = {
        r.name: r.at
        for r in connection.execute(select(OCCASION.c.name, OCCASION.c.at).where(OCCASION.c.girder == girder))
    }
    same = {"girder": girder, "run": run["id"], "type": str(part(document, "girder").get("type", ""))}
    rows = [asdict(m) | same | {"at": at[m.occasion]} for m in measures_of(document) if m.occasion in won]
    if rows:
        connection.execute(MEASURE.insert(), rows)


def _write_girder(connection: Connection, run: Row, kind: str) -> None:
    name = str(run["girder"])
    judged = last_judged(connection, name)
    known = connection.execute(select(GIRDER).where(GIRDER.c.name == name)).first()
    if known:
        values = {"type": kind or known.type, "judged": judged}
        connection.execute(update(GIRDER).where(GIRDER.c.name == name).values(**values))
    else:
        connection.execute(GIRDER.insert().values(name=name, type=kind, judged=judged, entry=run["id"]))


def last_judged(connection: Connection, girder: str) -> str:
    """The latest occasion of a girder that has verdicts, "" when there is none."""
    wanted = select(OCCASION.c.name).where(OCCASION.c.girder == girder, OCCASION.c.judged == 1)
    order = (OCCASION.c.at.desc(), OCCASION.c.first.desc(), OCCASION.c.name.desc())
    return str(connection.execute(wanted.order_by(*order).limit(1)).scalar() or "")


def forget_run(connection: Connection, source: Connection, replaced: str) -> None:
    """Take back what a run told; what it told better than other runs of the girder is told by those again."""
    run = connection.execute(select(RUN).where(RUN.c.id == replaced)).first()
    if run is None:
        return
    connection.execute(delete(RUN).where(RUN.c.id == replaced))
    for table in (VERDICT, MEASURE):
        connection.execute(delete(table).where(table.c.girder == run.girder, table.c.run == replaced))
    here = and_(OCCASION.c.girder == run.girder, OCCASION.c.run == replaced)
    connection.execute(delete(OCCASION).where(here, OCCASION.c.entry == ""))
    nothing = {"run": "", "at": OCCASION.c.known_at, "timed_by": ENTRY, "judged": 0}
    connection.execute(update(OCCASION).where(here).values(**nothing))
    others = select(RUN).where(RUN.c.girder == run.girder).order_by(RUN.c.made_at, RUN.c.number)
    for row in connection.execute(others).mappings().all():
        _tell_document(connection, dict(row), document_of(source, str(row["document"])))
    _write_girder(connection, {"girder": run.girder, "id": replaced}, "")
