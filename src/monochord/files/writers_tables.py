"""The result document as plain tables, one row a magnet, target, bolt or verdict, with units in the heads.

All numbers are SI in the girder frame, every digit kept. What is not known is empty, and the reason stands in the last
column of the row.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

Cell = str | float | int | bool | None
Part = Mapping[str, object]
Heads = tuple[tuple[str, str], ...]

_PLACE: Heads = (("x", "m"), ("y", "m"))
_SLOPES: Heads = (("slope_x", "rad"), ("slope_y", "rad"))
_SIX: Heads = (("dx", "m"), ("dy", "m"), ("dz", "m"), ("rx", "rad"), ("ry", "rad"), ("rz", "rad"))
_UNKNOWN = ("why_unknown", "")


@dataclass(frozen=True, slots=True)
class ResultTable:
    """One table: its name, (name, unit) of its columns, and its rows.

    >>> ResultTable("t", (("x", "m"), ("magnet", "")), ()).heads
    ['x [m]', 'magnet']
    """

    name: str
    columns: Heads
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def heads(self) -> list[str]:
        """Names of the columns with their units."""
        return [f"{name} [{unit}]" if unit else name for name, unit in self.columns]


def result_tables(document: Part) -> tuple[ResultTable, ...]:
    """Axes, offsets, targets, own moves, verdicts, moves and turns of a result document.

    document  the parsed result document

    >>> [t.name for t in result_tables({})]
    ['axes', 'offsets', 'targets', 'own_moves', 'verdicts', 'moves', 'turns']
    """
    with_u = _with_u(_PLACE)
    six = _with_u(_SIX)
    seven = (*_with_u((*_PLACE, *_SLOPES)), ("roll", "rad"), ("u_roll", "rad"))
    remanence = (("z", "m"), ("x_with_remanence", "m"), ("y_with_remanence", "m"))
    xyz = (*_PLACE, ("z", "m"))
    cov = tuple((f"cov_{a}{b}", "m2") for a, b in ("xx", "xy", "xz", "yy", "yz", "zz"))
    who = (("occasion", ""), ("magnet", ""))
    spans = (("from", ""), ("to", ""), ("magnet", ""))
    judged: Heads = (
        *who, ("quantity", ""), ("value", ""), ("u", ""), ("lower", ""), ("upper", ""), ("guard", ""), ("unit", ""),
        ("probability", "1"), ("verdict", ""), ("rule", ""), ("limits_by", ""), _UNKNOWN,
    )  # fmt: skip
    return (
        _table("axes", (*who, ("frame", ""), *seven, *remanence, _UNKNOWN), _axes(document)),
        _table("offsets", (*who, *with_u, _UNKNOWN), _offsets(document)),
        _table(
            "targets", (("occasion", ""), ("target", ""), ("carrier", ""), *xyz, *cov, _UNKNOWN), _targets(document)
        ),
        _table("own_moves", (*spans, *six, ("found", ""), ("evidence", ""), ("words", ""), _UNKNOWN), _own(document)),
        _table("verdicts", judged, _verdicts(document)),
        _table("moves", (*who, *with_u, ("words", ""), _UNKNOWN), _moves(document)),
        _table("turns", (("occasion", ""), ("bolt", ""), ("turns", "turn"), ("sense", "")), _turns(document)),
    )


def _with_u(columns: Heads) -> Heads:
    return (*columns, *((f"u_{name}", unit) for name, unit in columns))


def _table(name: str, columns: Heads, rows: Iterator[dict[str, Cell]]) -> ResultTable:
    return ResultTable(name, columns, tuple(tuple(row.get(column) for column, _ in columns) for row in rows))


def _axes(document: Part) -> Iterator[dict[str, Cell]]:
    for occasion, found in _parts(document, "occasions"):
        for magnet, axis in _parts(found, "axes"):
            numbers = [*"xyz", "slope_x", "slope_y", "roll", "u_roll", "x_with_remanence", "y_with_remanence"]
            row = {"occasion": occasion, "magnet": magnet, "frame": _cell(axis.get("frame")), _UNKNOWN[0]: _why(axis)}
            yield row | {k: _cell(axis.get(k)) for k in numbers} | _from_cov(axis, _strings(axis, "labels"))


def _offsets(document: Part) -> Iterator[dict[str, Cell]]:
    for occasion, found in _parts(document, "occasions"):
        line = found.get("line")
        for magnet, offset in _parts(line if isinstance(line, Mapping) else {}, "offsets"):
            yield _row(offset, occasion=occasion, magnet=magnet)


def _targets(document: Part) -> Iterator[dict[str, Cell]]:
    for occasion, found in _parts(document, "occasions"):
        for target, told in _parts(found, "targets"):
            row = _row(told, occasion=occasion, target=target)
            place, cov = told.get("xyz"), told.get("cov")
            if isinstance(place, list):
                row |= dict(zip("xyz", map(_cell, place), strict=False))
            if isinstance(cov, list):
                pairs = [(i, j) for i in range(len(cov)) for j in range(i, len(cov))]
                row |= {f"cov_{'xyz'[i]}{'xyz'[j]}": _cell(cov[i][j]) for i, j in pairs}
            yield row


def _own(document: Part) -> Iterator[dict[str, Cell]]:
    for change in _list(document, "comparisons"):
        for magnet, move in _parts(change, "own_moves"):
            row = _row(move, magnet=magnet)
            row |= {"from": _cell(change.get("from")), "to": _cell(change.get("to"))}
            yield row | _from_cov(move, [name for name, _ in _SIX])


def _verdicts(document: Part) -> Iterator[dict[str, Cell]]:
    for occasion, found in _parts(document, "verdicts"):
        for magnet in found:
            for quantity, verdict in _parts(found, magnet):
                row = _row(verdict, occasion=occasion, magnet=magnet, quantity=quantity)
                turned = "slope" in quantity or quantity.startswith("roll")
                yield row | {"value": _cell(verdict.get("offset")), "unit": "rad" if turned else "m"}


def _moves(document: Part) -> Iterator[dict[str, Cell]]:
    for occasion, found in _parts(document, "moves"):
        for magnet, move in ((m, found[m]) for m in found):
            if isinstance(move, Mapping):
                yield _row(move, occasion=occasion, magnet=magnet)


def _turns(document: Part) -> Iterator[dict[str, Cell]]:
    for plan in _list(document, "plans"):
        senses = plan.get("sense")
        turns = plan.get("turns")
        for bolt, turn in (turns if isinstance(turns, Mapping) else {}).items():
            sense = senses.get(bolt) if isinstance(senses, Mapping) else None
            yield {"occasion": _cell(plan.get("at")), "bolt": bolt, "turns": _cell(turn), "sense": _cell(sense)}


def _row(part: Part, **names: str) -> dict[str, Cell]:
    """The scalars of a part with what names it, and why what lacks is not known."""
    plain: dict[str, Cell] = {k: _cell(v) for k, v in part.items() if not isinstance(v, (Mapping, list))}
    return plain | names | {_UNKNOWN[0]: _why(part)}


def _from_cov(part: Part, labels: Sequence[str]) -> dict[str, Cell]:
    """Standard uncertainties from the diagonal of a covariance."""
    cov = part.get("cov")
    if not isinstance(cov, list):
        return {}
    variances = {label: cov[i][i] for i, label in enumerate(labels[: len(cov)])}
    return {f"u_{k}": math.sqrt(v) for k, v in variances.items() if isinstance(v, (int, float)) and v >= 0.0}


def _why(part: Part) -> str | None:
    reasons = part.get("reasons")
    if not isinstance(reasons, Mapping):
        return None
    return "; ".join(f"{key}: {why}" for key, why in reasons.items()) or None


def _cell(value: object) -> Cell:
    return value if isinstance(value, (str, float, int, bool)) else None


def _parts(part: Part, key: str) -> Iterator[tuple[str, Part]]:
    inside = part.get(key)
    for name, value in (inside if isinstance(inside, Mapping) else {}).items():
        if isinstance(value, Mapping):
            yield str(name), cast(Part, value)


def _list(part: Part, key: str) -> Iterator[Part]:
    inside = part.get(key)
    yield from (item for item in (inside if isinstance(inside, list) else []) if isinstance(item, Mapping))


def _strings(part: Part, key: str) -> list[str]:
    inside = part.get(key)
    return [str(item) for item in inside] if isinstance(inside, list) else []
