"""Shifts of magnets between two occasions: each value, each test against chance, each question against a margin."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.shift import OWN_MOVE, Shifts
from monochord.ground.statistics import family_wise
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.joint import Joint, Judge
from monochord.job.why.known import Known
from monochord.verdict.shifts import e_n, judge_shift
from monochord.verdict.shifts_equivalence import planar_moved_less_than
from monochord.verdict.shifts_table import K

#: Tests of a shift vector -> what they are.
TESTS: dict[str, tuple[str, str, Judge]] = {
    "chi_square": (
        "1", "square of the shift in units of its own uncertainty, correlations counted", lambda e, _: judge_shift(e).square
    ),
    "dof": ("1", "how many independent components it has", lambda e, _: float(judge_shift(e).rank)),
    "probability": (
        "1", "probability that chance alone gives as much or more", lambda e, _: judge_shift(e).probability
    ),
    "moved_more": (
        "1", "probability that the true shift (x, y) is longer than the margin",
        lambda e, m: planar_moved_less_than(e, m[0]).moved_more,
    ),
    "answerable": (
        "m", "the smallest margin for which the answer would be yes",
        lambda e, m: planar_moved_less_than(e, m[0]).answerable,
    ),
}  # fmt: skip


def of_shift(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a table of shifts; None for any other number."""
    if part or len(keys) < 5 or keys[0] != "comparisons" or keys[2] != "shifts":
        return None
    for found in known.result.comparisons[int(keys[1])].shifts:
        if keys[3] == ("own_moves" if found.of == OWN_MOVE else "axes"):
            return _told(known, keys, found)
    return None


def _told(known: Known, keys: Sequence[str], found: Shifts) -> Sum | None:
    value, name = known.number(*keys), pointer(*keys)
    match tuple(keys[4:]):
        case ("level",):
            places = (_at("verdict.shifts_table.shifts"),)
            line = Line("chance that any magnet at all is found by chance", value, unit="1", places=places)
            return Sum(name, "1", value, (line,), "the level of the whole family, fixed beforehand")
        case ("level_each",):
            count = sum(s.found is not None for s in found.each)
            lines = (
                Line("level of the family", found.level, name.removesuffix("_each"), unit="1"),
                Line("magnets that were tested", float(max(count, 1)), unit="1", places=(_at("items"),)),
            )
            return Sum(name, "1", value, lines, "1 - (1 - level)^(1/n)", lambda a: family_wise(a[0], round(a[1])))
        case ("together", which):
            magnets = [s.magnet for s in found.each if s.found is not None]
            return _tested(known, keys, which, [_value(keys, found, m, p) for m in magnets for p in "xy"])
        case ("magnets", magnet, which):
            return _of_magnet(known, keys, found, (magnet, which))
    return None


def _of_magnet(known: Known, keys: Sequence[str], found: Shifts, of: tuple[str, str]) -> Sum | None:
    magnet, which = of
    value, name = known.number(*keys), pointer(*keys)
    base = name.removesuffix(f"/{which}")
    if which in ("x", "y"):
        line = Line(f"{found.of} of {magnet}, {which}", value, _value(keys, found, magnet, which), unit="m")
        return Sum(name, "m", value, (line,), "the shift that is tested")
    if which in ("u_x", "u_y"):
        of_u = f"{_value(keys, found, magnet, which[-1])}#u"
        line = Line(f"standard uncertainty of the shift in {which[-1]}", value, of_u, unit="m")
        return Sum(name, "m", value, (line,), "as the shift's causes give it")
    if which in ("e_n_x", "e_n_y"):
        plane = which[-1]
        lines = (
            Line("shift", known.number(*keys[:-1], plane), f"{base}/{plane}", unit="m"),
            Line("its standard uncertainty", known.number(*keys[:-1], f"u_{plane}"), f"{base}/u_{plane}", unit="m"),
            Line("coverage factor", K, unit="1", places=(_at("verdict.shifts_table.K"),)),
        )
        return Sum(
            name, "1", value, lines, "shift over its expanded uncertainty", lambda a: e_n(a[0], a[2] * a[1], 0.0, 0.0)
        )
    if which == "margin":
        return _margin(known, name, magnet, value)
    return _tested(known, keys, which, [_value(keys, found, magnet, p) for p in "xy"])


def _tested(known: Known, keys: Sequence[str], which: str, components: list[str]) -> Sum | None:
    if which not in TESTS or not components:
        return None
    unit, how, judge = TESTS[which]
    more: tuple[Line, ...] = ()
    if which in ("moved_more", "answerable"):
        margin = known.number(*keys[:-1], "margin")
        more = (Line("margin", margin, pointer(*keys[:-1], "margin"), unit="m"),)
    return Joint(known, tuple(components), more, judge).told(pointer(*keys), unit, known.number(*keys), how)


def _margin(known: Known, name: str, magnet: str, value: float) -> Sum:
    for i, t in enumerate(known.result.campaign.tolerances):
        if t.quantity == "shift" and t.limit == value and (not t.magnets or magnet in t.magnets):
            line = Line("declared tolerance of the shift", value, pointer("tolerances", i, "limit"), unit="m")
            return Sum(name, "m", value, (line,), "the tightest that is declared for the magnet")
    line = Line("margin where none is declared", value, unit="m", places=(_at("job.shifts.MARGIN"),))
    return Sum(name, "m", value, (line,), "no tolerance of the shift is declared")


def _value(keys: Sequence[str], found: Shifts, magnet: str, plane: str) -> str:
    """Name of the value that a shift is."""
    where = ("own_moves", magnet, f"d{plane}") if found.of == OWN_MOVE else ("axis_changes", magnet, plane)
    return pointer(*keys[:2], *where)


def _at(key: str) -> Place:
    return Place("", 0, key)
