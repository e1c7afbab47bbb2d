"""Every source that code or a test names by author and year stands with its whole reference in docs/sources.md."""

from __future__ import annotations

import calendar
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "sources.md").read_text(encoding="utf-8")

#: "Baarda 1968", "Bates and Watts (1981)", "JCGM 100:2008"
AUTHOR = re.compile(
    r"\b([A-Z][A-Za-zé]*[a-zé])(?:(?: and| &) [A-Z][A-Za-z]+| et al\.?| and others)?,? \(?((?:18|19|20)\d\d)\b"
)
STANDARD = re.compile(r"\b(?:JCGM \d{3}(?::\d{4})?|ISO \d{3,5}(?:-\d+)?)")
NOT_AUTHORS = {*calendar.month_name, *calendar.month_abbr, "Copyright", "Since", "In", "Of", "Note"}

KNOWN = {"read", "read in part", "abstract", "memory", "derived"}


def cited(text: str) -> set[str]:
    """What a text cites, as "Author year" or the number of a standard."""
    people = {f"{name} {year}" for name, year in AUTHOR.findall(text) if name not in NOT_AUTHORS}
    return people | {found.split(":")[0] for found in STANDARD.findall(text)}


def referenced(citation: str) -> bool:
    """Whether a row of the page has this author and year, or this standard."""
    author, _, year = citation.partition(" ")
    return any(author in row and year in row for row in PAGE.splitlines() if row.startswith("|"))


def test_every_citation_has_its_reference() -> None:
    files = [path for folder in ("src", "tests", "evidence") for path in (ROOT / folder).rglob("*.py")]
    lacking = [
        f"{path.relative_to(ROOT)}: {citation}"
        for path in files
        if path != Path(__file__)
        for citation in sorted(cited(path.read_text(encoding="utf-8")))
        if not referenced(citation)
    ]

    assert files
    assert not lacking, "\n".join(lacking)


def test_every_reference_says_how_it_is_known() -> None:
    rows = [row for row in PAGE.splitlines() if row.startswith("|") and "---" not in row and "known from" not in row]

    assert rows
    assert not [row for row in rows if row.rstrip("| ").rsplit("| ", 1)[-1] not in KNOWN]


def test_the_search_finds_citations() -> None:
    text = "Source: Baarda 1968; Bates and Watts (1981), MacKay 1992, JCGM 100:2008, ISO 10360-10; in June 2024; Nobody 1999"

    assert cited(text) == {"Baarda 1968", "Bates 1981", "MacKay 1992", "JCGM 100", "ISO 10360-10", "Nobody 1999"}
    assert not referenced("Nobody 1999")
