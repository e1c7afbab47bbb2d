"""Entries of what people set aside, matched by hand with a handful of sightings and scans."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import WireScan
from monochord.files.document import parse
from monochord.files.excluded import Candidate, candidates, entries, taken_out
from monochord.files.excluded_text import with_entry, with_taken_back
from monochord.ground.faults import Fault, Refused

ROUNDS = [
    Sighting("T1", "A", 0.1, 1.5, 2.0, 1, "survey.csv", 2),
    Sighting("T1", "B", 0.2, 1.5, 2.1, 1, "survey.csv", 3),
    Sighting("T1", "A", 0.1, 1.5, 2.0, 2, "survey.csv", 4),
    Sighting("T2", "A", 0.3, 1.6, 2.2, 1, "more.csv", 2),
]


def scan(name: str, magnet: str, moved: str, mode: int, rows: tuple[int, ...]) -> WireScan:
    still, wire = np.zeros(len(rows)), np.zeros(len(rows), np.complex128)
    return WireScan(name, magnet, moved, 90.0, mode, 50.0, 0.01, still, still, wire, wire, still, "wire.csv", rows)


SCANS = [
    scan("1", "Q1", "x", 2, (2, 3)),
    scan("2", "Q1", "y", 2, (4, 5)),
    scan("3", "Q1", "x", 2, (6, 7)),
    scan("4", "Q1", "x", 4, (8, 9)),
    scan("5", "Q2", "x", 2, (10, 11)),
]


@pytest.fixture
def among() -> list[Candidate]:
    return candidates(ROUNDS, SCANS, [])


def entry(keys: str, what: str = "sighting", why: str = "it was knocked") -> str:
    return f'[[excluded]]\noccasion = "bench"\nwhat = "{what}"\n{keys}\nwhy = "{why}"\n'


def taken(text: str, among: list[Candidate]) -> tuple[list[str], list[Fault], list[str]]:
    """Names of what is taken out, faults, and the names as the entries tell them."""
    nodes, faults = entries(parse(text, "campaign.toml").root, ["bench"])
    told, out = taken_out(nodes, among, faults)
    return [c.name for c in among if id(c.reading) in out], faults, [told[i].name for i in sorted(told)]


@pytest.mark.parametrize(
    ("keys", "what", "name"),
    [
        ('file = "survey.csv"\nline = 3', "sighting", "T1 to B, round 1"),
        ('station = "T1"\ntarget = "A"\nround = 2', "sighting", "T1 to A, round 2"),
        ('station = "T2"\ntarget = "A"', "sighting", "T2 to A, round 1"),
        ('magnet = "Q2"\nplane = "x"', "scan", "Q2 x, mode 2, number 1 (scan 5)"),
        ('magnet = "Q1"\nplane = "x"\nmode = 4', "scan", "Q1 x, mode 4, number 3 (scan 4)"),
        ('magnet = "Q1"\nplane = "x"\nnumber = 2', "scan", "Q1 x, mode 2, number 2 (scan 3)"),
        ('scan = "2"', "scan", "Q1 y, mode 2, number 1 (scan 2)"),
        ('file = "wire.csv"\nline = 7', "scan", "Q1 x, mode 2, number 2 (scan 3)"),
    ],
)
def test_one_reading_is_named(keys: str, what: str, name: str, among: list[Candidate]) -> None:
    assert taken(entry(keys, what), among) == ([name], [], [name])


@pytest.mark.parametrize(
    ("keys", "what", "line", "column", "given"),
    [
        ('station = "T1"\ntarget = "A"', "sighting", 1, "excluded", "names 2 sightings"),
        ('magnet = "Q1"\nplane = "x"\nmode = 2', "scan", 1, "excluded", "names 2 scans"),
        ('file = "survey.csv"\nline = 5', "sighting", 5, "excluded.line", "line 5"),
        ('file = "survy.csv"\nline = 3', "sighting", 4, "excluded.file", "'survy.csv'"),
        ('station = "T2"\ntarget = "B"', "sighting", 5, "excluded.target", "'B'"),
        ('file = "survey.csv"\nline = 3\ntarget = "A"', "sighting", 6, "excluded.target", "'A'"),
        ('magnet = "Q1"\nplane = "y"\nnumber = 2', "scan", 6, "excluded.number", "number 2"),
        ('magnet = "Q1"\nplane = "y"\nround = 2', "scan", 6, "excluded.round", "round of a scan"),
        ("", "sighting", 1, "excluded", "without a name"),
    ],
)
def test_what_names_nothing_or_two_things_is_told_at_its_line(
    keys: str, what: str, *, line: int, column: str, given: str, among: list[Candidate]
) -> None:
    _, (fault, *others), _ = taken(entry(keys, what), among)

    assert (fault.file, fault.line, fault.column) == ("campaign.toml", line, column)
    assert given in fault.given
    assert others == []


@pytest.mark.parametrize("why", ["", "  ", "?", "- -"])
def test_a_reason_needs_words(why: str, among: list[Candidate]) -> None:
    _, faults, _ = taken(entry('scan = "2"', "scan", why), among)

    assert [(f.line, f.column, f.expected) for f in faults] == [(5, "excluded.why", "a reason in words")]


def test_the_same_reading_twice_is_a_fault_of_the_second(among: list[Candidate]) -> None:
    text = entry('station = "T2"\ntarget = "A"') + entry('file = "more.csv"\nline = 2')
    _, faults, _ = taken(text, among)

    assert [(f.line, f.column) for f in faults] == [(7, "excluded")]
    assert "which another entry sets aside" in faults[0].given


def test_what_was_taken_back_counts_and_may_name_what_is_gone(among: list[Candidate]) -> None:
    text = (
        entry('scan = "2"', "scan") + 'taken_back = "no crane"\n'
        + entry('scan = "77"', "scan") + 'taken_back = "no crane"\n'
        + entry('scan = "2"', "scan")
    )  # fmt: skip
    out, faults, told = taken(text, among)

    assert faults == []
    assert out == ["Q1 y, mode 2, number 1 (scan 2)"]
    assert told[1] == "scan 77"


def test_an_occasion_that_is_not_there_is_told(among: list[Candidate]) -> None:
    text = entry('scan = "2"', "scan").replace("bench", "bnch")
    _, faults = entries(parse(text, "campaign.toml").root, ["bench"])

    assert [(f.line, f.column, f.given) for f in faults] == [(2, "excluded.occasion", "'bnch'")]
    assert "did you mean 'bench'" in faults[0].remedy


CAMPAIGN = """# a remark
schema = "monochord-campaign/1"
girder = "G" # another
lab = "lab.toml"
occasions = []
"""


def test_an_entry_goes_behind_everything_else() -> None:
    new = {"occasion": "bench", "what": "scan", "scan": "2", "why": 'the "crane" passed'}
    written = with_entry(parse(CAMPAIGN, "campaign.toml"), new)

    assert written.text.startswith(CAMPAIGN)
    assert written.data["excluded"] == [new]


def test_a_taking_back_goes_to_its_entry_alone() -> None:
    text = CAMPAIGN + entry('scan = "2"', "scan") + "\n# between\n" + entry('scan = "3"', "scan")
    written = with_taken_back(parse(text, "campaign.toml"), 0, {"taken_back": "no crane"})
    lines = written.text.split("\n")

    assert [line for line in lines if line not in text.split("\n")] == ['taken_back = "no crane"']
    first, second = written.root.nodes("excluded")
    assert (first.text("taken_back"), second.text("taken_back")) == ("no crane", "")


def test_entries_on_one_line_are_refused_as_they_cannot_be_added_to() -> None:
    inline = 'excluded = [{ occasion = "bench", what = "scan", scan = "2", why = "a crane" }]\n'
    text = CAMPAIGN.replace("occasions", f"{inline}occasions")
    with pytest.raises(Refused) as adding:
        with_entry(parse(text, "campaign.toml"), {"occasion": "bench", "what": "scan", "scan": "3", "why": "a crane"})
    with pytest.raises(Refused) as taking:
        with_taken_back(parse(text, "campaign.toml"), 0, {"taken_back": "no crane"})

    assert [(f.line, f.expected) for e in (adding, taking) for f in e.value.faults] == [(5, "tables [[excluded]]")] * 2
