"""What a page is made of: chapters of sections, and a section's words, boxes, pictures and tables."""

from __future__ import annotations

from dataclasses import dataclass

from monochord.report.svg import Picture
from monochord.report.tables.table import Table


@dataclass(frozen=True, slots=True)
class Box:
    """A few lines that must not be missed.

    tone  "first" (to be done before anything else) or "care" (to be kept in mind);  numbered  when their order counts
    """

    title: str
    lines: tuple[str, ...]
    tone: str
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """Words, boxes, pictures, then tables, under one heading; small pictures stand side by side.

    empty  said when there is none of them;  page_only  True when the paper leaves the section out
    """

    title: str
    pictures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    small: bool = False
    empty: str = ""
    words: tuple[str, ...] = ()
    boxes: tuple[Box, ...] = ()
    page_only: bool = False


@dataclass(frozen=True, slots=True)
class Chapter:
    """Sections under one heading, with a sentence on how to read them."""

    ident: str
    title: str
    lead: str
    sections: tuple[Section, ...]
