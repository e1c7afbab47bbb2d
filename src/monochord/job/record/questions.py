"""What the record of a fleet is asked: states, margins, charts with their signals and trends, and where magnets were."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from itertools import groupby

import numpy as np
from sqlalchemy import Connection

from monochord.campaign.found.charts import Chart, Margin, Stay, Value
from monochord.store import asking
from monochord.store.entry import moment
from monochord.verdict.control import natural_limits, signals, trend

#: Seconds of a Julian year.
YEAR = 365.25 * 86400.0
#: So many values of a chart are asked when nothing else is said.
LAST = 400

Row = Mapping[str, object]


def margins(connection: Connection, *, girder: str = "", quantity: str = "", most: int = 100) -> tuple[Margin, ...]:
    """The smallest margins to tolerance of the latest verdicts, the smallest share of its limit first."""
    return tuple(map(margin_of, asking.margins(connection, girder=girder, quantity=quantity, most=most)))


def margin_of(row: Row) -> Margin:
    """A margin from its row."""
    value, margin = _number(row["value"]), _number(row["margin"])
    return Margin(
        str(row["girder"]), str(row["occasion"]), str(row["magnet"]), str(row["quantity"]),
        float("nan") if value is None else value, _number(row["u"]), _number(row["limit_value"]),
        float("nan") if margin is None else margin, _number(row["margin_share"]), str(row["verdict"]), str(row["run"]),
    )  # fmt: skip


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None


def charts(connection: Connection, *, quantity: str = "", girder: str = "", last: int = LAST) -> tuple[Chart, ...]:
    """Charts of single values: a quantity at one magnet of one type of girders, over the fleet or over one girder."""
    counts = {_key(row): row for row in asking.series(connection, quantity=quantity, girder=girder)}
    rows = asking.values(connection, last, quantity=quantity, girder=girder)
    return tuple(_chart(key, list(found)[-last:], counts[key]) for key, found in groupby(rows, _key) if key in counts)


def _key(row: Row) -> tuple[str, str, str]:
    return str(row["quantity"]), str(row["type"]), str(row["magnet"])


def _chart(key: tuple[str, str, str], rows: Sequence[Row], counted: Row) -> Chart:
    found = tuple(map(_value, rows))
    numbers = np.array([v.value for v in found], dtype=np.float64)
    limits = natural_limits(numbers)
    sloped = trend(years_of(v.at for v in found), numbers)
    unit, of = str(rows[-1]["unit"]), int(str(counted["count"]))
    return Chart(*key, unit, found, of, limits, signals(numbers, limits), sloped)


def _value(row: Row) -> Value:
    value = _number(row["value"])
    return Value(
        girder=str(row["girder"]),
        occasion=str(row["occasion"]),
        magnet=str(row["magnet"]),
        since=str(row["since"]),
        at=str(row["at"]),
        value=float("nan") if value is None else value,
        u=_number(row["u"]),
        run=str(row["run"]),
    )


def years_of(stamps: Iterable[str]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Moments as years since 2000, one year being 365.25 days.

    >>> years_of(["2001-01-01T00:00:00.000000Z"]).round(3).tolist()
    [1.002]
    """
    start = datetime(2000, 1, 1, tzinfo=UTC)
    return np.array([(moment(s) - start).total_seconds() / YEAR for s in stamps], dtype=np.float64)


def stays(connection: Connection, *, serials: Sequence[str] = (), girder: str = "") -> tuple[Stay, ...]:
    """Where magnets were; a stay without an end lasts until the magnet is placed anew."""
    rows = asking.stays(connection, serials=serials, girder=girder)
    return tuple(_stay(row, after) for row, after in zip(rows, [*rows[1:], None], strict=False))


def _stay(row: Row, after: Row | None) -> Stay:
    return Stay(
        serial=str(row["serial"]),
        kind=str(row["kind"] or ""),
        girder=str(row["girder"]),
        position=str(row["position"]),
        since=str(row["since"]),
        until=_until(row, after),
    )


def _until(row: Row, after: Row | None) -> str:
    told = str(row["until"])
    following = str(after["since"]) if after is not None and after["serial"] == row["serial"] else ""
    return min(filter(None, (told, following)), default="")
