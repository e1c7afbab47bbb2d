"""Questions to the tables: each one statement, whatever the number of girders, and each with an end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import Column, ColumnElement, Connection, Select, and_, exists, func, or_, select
from sqlalchemy.sql.base import ReadOnlyColumnCollection

from monochord.store.tables_told import (
    CALIBRATION,
    GIRDER,
    INSTRUMENT,
    MAGNET,
    MEASURE,
    NONCONFORMANCE,
    OCCASION,
    PLACED,
    RUN,
    STEP,
    VERDICT,
)

#: No answer has more rows than these.
END = 1_000_000

Row = Mapping[str, object]


def _rows(connection: Connection, wanted: Select[tuple[object, ...]], end: int = END) -> list[Row]:
    return [dict(row) for row in connection.execute(wanted.limit(end)).mappings()]


def girders(connection: Connection) -> list[Row]:
    """Every girder with its latest occasion and the run of the occasion that was judged last, by name."""
    of = OCCASION.alias("of")
    newest = (
        select(of.c.name)
        .where(of.c.girder == GIRDER.c.name)
        .order_by(of.c.at.desc(), of.c.first.desc(), of.c.name.desc())
        .limit(1)
        .scalar_subquery()
    )
    last, judged = OCCASION.alias("last"), OCCASION.alias("judging")
    joined = GIRDER.outerjoin(last, and_(last.c.girder == GIRDER.c.name, last.c.name == newest)).outerjoin(
        judged, and_(judged.c.girder == GIRDER.c.name, judged.c.name == GIRDER.c.judged)
    )
    wanted = select(
        GIRDER.c.name,
        GIRDER.c.type,
        GIRDER.c.judged,
        last.c.name.label("last"),
        last.c.place,
        last.c.at,
        last.c.run.label("last_run"),
        judged.c.at.label("judged_at"),
        judged.c.run,
        RUN.c.signatures,
    )
    joined = joined.outerjoin(RUN, RUN.c.id == judged.c.run)
    return _rows(connection, wanted.select_from(joined).order_by(GIRDER.c.name))


def _present() -> ColumnElement[bool]:
    """A verdict of the occasion on which its girder was judged last."""
    return and_(VERDICT.c.girder == GIRDER.c.name, VERDICT.c.occasion == GIRDER.c.judged)


def verdict_counts(connection: Connection) -> list[Row]:
    """Girder, verdict, count of the latest verdicts."""
    joined = GIRDER.join(VERDICT, _present())
    wanted = select(VERDICT.c.girder, VERDICT.c.verdict, func.count().label("count")).select_from(joined)
    return _rows(connection, wanted.group_by(VERDICT.c.girder, VERDICT.c.verdict))


#: What a margin is told with.
MARGIN = (
    VERDICT.c.girder, VERDICT.c.occasion, VERDICT.c.magnet, VERDICT.c.quantity, VERDICT.c.value, VERDICT.c.u,
    VERDICT.c.limit_value, VERDICT.c.margin, VERDICT.c.margin_share, VERDICT.c.verdict, VERDICT.c.run,
)  # fmt: skip


def worst_margins(connection: Connection) -> list[Row]:
    """The smallest of the latest margins of every girder, as a share of its limit."""
    order = (VERDICT.c.margin_share, VERDICT.c.magnet, VERDICT.c.quantity)
    rank = func.row_number().over(partition_by=VERDICT.c.girder, order_by=order).label("rank")
    ranked = select(*MARGIN, rank).select_from(GIRDER.join(VERDICT, _present()))
    inner = ranked.where(VERDICT.c.margin_share.is_not(None)).subquery()
    return _rows(connection, select(inner).where(inner.c.rank == 1))


def margins(connection: Connection, *, girder: str = "", quantity: str = "", most: int = 100) -> list[Row]:
    """The smallest of the latest margins of the fleet, or of one girder or quantity."""
    wanted = select(*MARGIN).select_from(GIRDER.join(VERDICT, _present()))
    wanted = wanted.where(VERDICT.c.margin_share.is_not(None))
    if girder:
        wanted = wanted.where(VERDICT.c.girder == girder)
    if quantity:
        wanted = wanted.where(VERDICT.c.quantity == quantity)
    order = (VERDICT.c.margin_share, VERDICT.c.girder, VERDICT.c.magnet, VERDICT.c.quantity)
    return _rows(connection, wanted.order_by(*order), most)


def count_margins(connection: Connection) -> int:
    """How many verdicts are the latest of their girder and have a margin."""
    wanted = select(func.count()).select_from(GIRDER.join(VERDICT, _present()))
    return int(connection.execute(wanted.where(VERDICT.c.margin_share.is_not(None))).scalar_one())


def unevaluated(connection: Connection) -> list[Row]:
    """Girder, count of its occasions that no run tells, and one of them."""
    wanted = select(OCCASION.c.girder, func.count().label("count"), func.max(OCCASION.c.name).label("one"))
    return _rows(connection, wanted.where(OCCASION.c.run == "").group_by(OCCASION.c.girder))


def open_nonconformances(connection: Connection) -> list[Row]:
    """Every non-conformance that is open, the oldest first."""
    wanted = select(NONCONFORMANCE).where(NONCONFORMANCE.c.state == "open")
    return _rows(connection, wanted.order_by(NONCONFORMANCE.c.made_at, NONCONFORMANCE.c.entry))


def later_steps(connection: Connection) -> list[Row]:
    """Steps done after the day of the latest verdicts of their girder, in their order."""
    judged = OCCASION.alias("judged_on")
    joined = STEP.join(GIRDER, STEP.c.girder == GIRDER.c.name).join(
        judged, and_(judged.c.girder == GIRDER.c.name, judged.c.name == GIRDER.c.judged)
    )
    wanted = select(STEP).select_from(joined).where(STEP.c.done_on > func.substr(judged.c.at, 1, 10))
    return _rows(connection, wanted.order_by(STEP.c.done_on, STEP.c.entry))


def uncalibrated_steps(connection: Connection) -> list[Row]:
    """Steps that name an instrument without a calibration valid on their day."""
    valid = exists().where(
        CALIBRATION.c.instrument == STEP.c.instrument,
        CALIBRATION.c.made_on <= STEP.c.done_on,
        or_(CALIBRATION.c.valid_until >= STEP.c.done_on, CALIBRATION.c.valid_until == ""),
    )
    return _rows(connection, select(STEP).where(STEP.c.instrument != "", ~valid).order_by(STEP.c.done_on, STEP.c.entry))


def instruments(connection: Connection) -> list[Row]:
    """Every instrument with its latest calibration."""
    order = (CALIBRATION.c.made_on.desc(), CALIBRATION.c.entry)
    rank = func.row_number().over(partition_by=CALIBRATION.c.instrument, order_by=order).label("rank")
    ranked = select(CALIBRATION, rank).subquery()
    joined = INSTRUMENT.outerjoin(ranked, and_(ranked.c.instrument == INSTRUMENT.c.name, ranked.c.rank == 1))
    columns = (INSTRUMENT.c.name, INSTRUMENT.c.kind, INSTRUMENT.c.serial)
    dates = (ranked.c.made_on, ranked.c.valid_until, ranked.c.certificate)
    return _rows(connection, select(*columns, *dates).select_from(joined).order_by(INSTRUMENT.c.name))


#: What makes a series: a quantity at a magnet of a type of girders.
SERIES = ("quantity", "type", "magnet")


def _series(quantity: str, girder: str) -> Select[tuple[object, ...]]:
    keys = [MEASURE.c[name] for name in SERIES]
    # nothing but the columns of the index, which alone is read then
    wanted = select(*keys, func.count().label("count")).group_by(*keys)
    return _only(wanted, MEASURE.c, quantity, girder)


def series(connection: Connection, *, quantity: str = "", girder: str = "") -> list[Row]:
    """Quantities at magnets of girder types of which there are values, and how many."""
    return _rows(connection, _series(quantity, girder).order_by(*(MEASURE.c[name] for name in SERIES)))


def values(connection: Connection, last: int, *, quantity: str = "", girder: str = "") -> list[Row]:
    """The last values of every series, in the order of series and of time; more where several share the earliest time.

    Each series is entered by its index at the time of its last value but so many, so that what came before is not read.
    """
    of, newer = _series(quantity, girder).subquery("of"), MEASURE.alias("newer")
    same = [newer.c[name] == of.c[name] for name in SERIES]
    cut = _only(select(newer.c.at), newer.c, "", girder).where(*same).order_by(newer.c.at.desc())
    earliest = func.coalesce(cut.offset(last - 1).limit(1).correlate(of).scalar_subquery(), "")
    joined = of.join(MEASURE, and_(*(MEASURE.c[name] == of.c[name] for name in SERIES), MEASURE.c.at >= earliest))
    order = [MEASURE.c[name] for name in (*SERIES, "at", "girder", "occasion")]
    return _rows(connection, _only(select(MEASURE).select_from(joined), MEASURE.c, "", girder).order_by(*order))


def _only(
    wanted: Select[tuple[object, ...]],
    columns: ReadOnlyColumnCollection[str, Column[object]],
    quantity: str,
    girder: str,
) -> Select[tuple[object, ...]]:
    if quantity:
        wanted = wanted.where(columns["quantity"] == quantity)
    return wanted.where(columns["girder"] == girder) if girder else wanted


def stays(connection: Connection, *, serials: Sequence[str] = (), girder: str = "") -> list[Row]:
    """Where magnets were, by magnet and in time order; all of the fleet, or those named, or those that were on a girder."""
    joined = PLACED.outerjoin(MAGNET, MAGNET.c.serial == PLACED.c.serial)
    wanted = select(PLACED, MAGNET.c.kind).select_from(joined)
    if serials:
        wanted = wanted.where(PLACED.c.serial.in_(serials))
    if girder:
        wanted = wanted.where(PLACED.c.serial.in_(select(PLACED.c.serial).where(PLACED.c.girder == girder)))
    return _rows(connection, wanted.order_by(PLACED.c.serial, PLACED.c.since, PLACED.c.entry))


def known_names(connection: Connection) -> dict[str, set[str]]:
    """What entries may speak of: serials of magnets, names of instruments and of girders."""
    columns = {"serial": MAGNET.c.serial, "instrument": INSTRUMENT.c.name, "girder": GIRDER.c.name}
    return {key: set(connection.scalars(select(column).limit(END))) for key, column in columns.items()}


def count_runs(connection: Connection) -> int:
    """How many runs are in the record."""
    return int(connection.execute(select(func.count()).select_from(RUN)).scalar_one())
