"""Cells on their own: numbers, clocks, names, and whole tables of sightings with the checks that follow them."""

from __future__ import annotations

import functools
import math
from collections import Counter
from datetime import datetime, timedelta
from importlib import resources
from random import Random

from evidence.fuzz import lines as plain
from evidence.fuzz import mutate, texts
from monochord.files import clock, document, names, numbers
from monochord.files.columns import Column
from monochord.files.lab import Lab, lab_of
from monochord.files.reading import read_rows
from monochord.files.repeated import once_each
from monochord.files.roles import Meaning
from monochord.files.sightings import check_names, sightings
from monochord.files.times import read_times
from monochord.ground.faults import Fault, Gatherer

#: Notation -> the same for the standard library.
NOTATIONS = {
    "YYYY-MM-DD hh:mm:ss": "%Y-%m-%d %H:%M:%S",
    "DD.MM.YYYY hh:mm": "%d.%m.%Y %H:%M",
    "DD/MM/YYYY hh:mm:ss": "%d/%m/%Y %H:%M:%S",
    "MM/DD/YYYY hh:mm AM": "%m/%d/%Y %I:%M %p",
    "DD MMM YYYY hh:mm": "%d %b %Y %H:%M",
    "YYYY-MM-DDThh:mm:sszzz": "%Y-%m-%dT%H:%M:%S+00:00",
    "DD.MM.YY hh:mm:ss": "%d.%m.%y %H:%M:%S",
    "spreadsheet days from 1900": "",
    "spreadsheet days from 1904": "",
    "seconds since 1970": "",
    "milliseconds since 1970": "",
    "MM.DD.YYYY hh:mm or DD.MM.YYYY hh:mm": "%d.%m.%Y %H:%M",
}
ZONES = ("", "", "UTC", "Europe/Berlin", "+05:30", "America/New_York", "Australia/Lord_Howe")


def cell(rng: Random) -> str:
    """One cell: a number, most often a damaged one."""
    spelled = (
        rng.choice(mutate.NUMBERS) if rng.random() < 0.3 else f"{rng.uniform(-1e4, 1e4):.{rng.randrange(7)}f}".encode()
    )
    for _ in range(rng.randrange(3)):
        spelled = rng.choice(
            (mutate.flipped, mutate.with_piece, mutate.with_other_mark, mutate.doubled, mutate.deleted)
        )(spelled, rng)
    return spelled.decode("utf-8", "replace")


def number(rng: Random) -> str:
    """A column of cells: each becomes the number that everybody reads in it, or is said to be none."""
    decimal = rng.choice(".,")
    grouping = rng.choice([mark for mark in ("", "", ".", ",", " ", "'") if mark != decimal])
    cells = [cell(rng) for _ in range(rng.randrange(1, 5))]
    values, odd = numbers.column(cells, numbers.Spelling(decimal, grouping), Counter())
    said = {o.index for o in odd}
    for i, (text, value) in enumerate(zip(cells, values.tolist(), strict=True)):
        wanted = plain.number_of(text, decimal, grouping)
        if math.isnan(value) != (i in said):
            return f"partial: {text!r} is {value} and nothing is said"
        if (wanted is None) != math.isnan(value) or (wanted is not None and value != wanted):
            return f"wrong: {value} for {text!r} with {decimal!r} and {grouping!r}, which is {wanted}"
    numbers.sexagesimal_column(cells, numbers.Spelling(decimal, grouping))
    return ""


def time(rng: Random) -> str:
    """A column of times: sound ones are the moments that they spell, damaged ones those or none."""
    notation = rng.choice(list(NOTATIONS))
    moments = [_moment(rng) for _ in range(rng.randrange(1, 12))]
    cells = [_spelled(m, notation) for m in moments]
    sound = rng.random() < 0.4
    if not sound:
        i = rng.randrange(len(cells))
        cells[i] = mutate.damaged(cells[i].encode(), rng).decode("utf-8", "replace")[:400]
    column = Column(
        "time",
        Meaning("time"),
        ("t",),
        notation=notation,
        zone=rng.choice(ZONES),
        midnight=rng.choice(("", "", "old day")),
    )
    read = read_times(cells, column, rng.choice(("ride", "sightings")), "t.csv", "t")
    list(read.placed("t.csv", range(2, len(cells) + 2), "t"))
    for row, value in enumerate(read.values.tolist()):
        if math.isnan(value) != (row in read.misfits) and not any(
            "both fit" in why for _, why in read.misfits.values()
        ):
            return f"partial: {cells[row]!r} is {value} and misfits are {read.misfits}"
    pattern = NOTATIONS[notation]
    if not (sound and pattern) or " or " in notation:
        return ""
    found, odd = clock.seconds(cells, notation)
    for moment, value, text in zip(moments, found, cells, strict=True):
        true = _seconds(datetime.strptime(text, pattern))
        if "YYYY" not in notation and moment.year < 2000:
            continue  # two digits of a year are those of this century
        if value != true:
            return f"wrong: {value} for {text!r} by {notation!r}, which is {true} (odd: {odd})"
    return ""


def _moment(rng: Random) -> datetime:
    start = datetime(rng.choice((2026, 2026, 2000, 1970, 1999)), 1, 1)
    return start + timedelta(seconds=rng.choice((0, rng.randrange(366 * 86400), 297 * 86400 + rng.randrange(14400))))


def _seconds(moment: datetime) -> float:
    whole = moment.toordinal() * 86400.0
    return whole + moment.hour * 3600.0 + moment.minute * 60.0 + moment.second


def _spelled(moment: datetime, notation: str) -> str:
    if pattern := NOTATIONS[notation]:
        return moment.strftime(pattern)
    origin = (
        datetime(1904, 1, 1)
        if "1904" in notation
        else datetime(1899, 12, 30)
        if "1900" in notation
        else datetime(1970, 1, 1)
    )
    passed = (moment - origin).total_seconds()
    if passed < 0:
        passed = 0.0
    return f"{passed / 86400.0:.6f}" if "days" in notation else f"{passed * (1000 if 'milli' in notation else 1):.0f}"


def name(rng: Random) -> str:
    """Names compared in every way: clean once is clean, a name is like itself, and likeness has no direction."""
    pool = [
        *texts.NAMES,
        "F07",
        "FO7",
        "2-Jan",
        "1-2",
        "T1_2",
        "t1-2",
        "",
        " ",
        "٣",
        "²",
        "01.02.2026 00:00:00",
        "9" * 400,
    ]
    some = []
    for _ in range(rng.randrange(2, 6)):
        text = rng.choice(pool)
        if rng.random() < 0.6:
            text = mutate.damaged(text.encode(), rng).decode("utf-8", "replace")
        some.append(names.clean(text[:300]))
    first, second = some[0], some[1]
    if names.clean(first) != first:
        return f"wrong: cleaning {first!r} again gives {names.clean(first)!r}"
    if bool(names.alike(first, second)) != bool(names.alike(second, first)):
        return f"wrong: {first!r} is like {second!r} in one direction only"
    for miss in names.near_misses(some[:1], some[1:]):
        if not (miss.first in some and miss.second in some and miss.why):
            return f"wrong: {miss}"
    names.hint(first, some[1:])
    return ""


@functools.cache
def lab() -> Lab:
    """The description of the demo."""
    text = resources.files("monochord.job").joinpath("demo", "lab.toml").read_text("utf-8")
    return lab_of(document.parse(text, "lab.toml"))


@functools.cache
def _seen() -> tuple[str, ...]:
    from monochord.simulate.demo import demo_campaign

    found = [text for path, text in demo_campaign(1).texts.items() if path.endswith("sightings.tsv")]
    return tuple(found[0].splitlines(keepends=True))


def sighting(rng: Random) -> str:
    """A table of sightings, damaged: every row becomes a sighting, or something is said of it."""
    lines = list(_seen())
    start = rng.randrange(2, max(3, len(lines) - 12))
    data = mutate.damaged("".join([*lines[:2], *lines[start : start + 10]]).encode(), rng)
    faults, notes = Gatherer("s.tsv"), list[Fault]()
    form = lab().forms["sightings"]
    rows = read_rows(data, "s.tsv", form, faults, notes)
    if rows is None or faults.faults:
        return "" if faults.faults else "partial: no rows and no fault"
    before = len(notes)
    once = once_each(rows, form, faults, notes)
    found = sightings(once, lab(), faults, notes)
    left = sum("left out" in note.remedy for note in notes[before:])
    if len(found) + left < len(once):
        return f"partial: {len(found)} sightings and {left} notes of {len(once)} rows"
    check_names(found, {s.target for s in found[:3]} | {"F1"}, ("H*", "T*"), faults, notes)
    for told in (*faults.faults, *notes):
        if not (told.given and told.expected and told.remedy):
            return f"unsaid: {told!r}"
    return ""
