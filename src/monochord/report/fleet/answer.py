"""An answer from the record: a sentence first, then pictures, then tables; on a terminal, on a page, and as numbers."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from monochord.report.chapter import Chapter, Section
from monochord.report.page import headline_and_rest, style, template, unbroken
from monochord.report.svg import Picture
from monochord.report.tables.table import Cell, Table

#: Questions whose first sentence stands at the head of a page of several.
LEADING = frozenset({"margins", "outliers", "trends"})
SCHEMA_NAME = "monochord-fleet/1"


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer.

    ident, title  of its chapter;  sentence  the answer in words;  how  on how it is to be read
    numbers  key -> frozen records, in SI
    """

    ident: str
    title: str
    sentence: str
    how: str
    pictures: tuple[Picture, ...]
    tables: tuple[Table, ...]
    numbers: Mapping[str, Sequence[object]]


def answer_lines(answer: Answer) -> list[str]:
    """An answer on a terminal."""
    lines = [answer.sentence]
    for table in answer.tables:
        lines += ["", *table_lines(table)]
    return lines


def table_lines(table: Table) -> list[str]:
    """A table as text: caption, aligned columns, note.

    >>> table_lines(Table("t", "Feet", ("foot", "load [kN]"), ((Cell("F1"), Cell("2.5", style="number")),)))
    ['Feet', 'foot  load [kN]', 'F1          2.5']
    """
    rows = [table.columns, *(tuple(f"{c.text} {c.word}".rstrip() for c in row) for row in table.rows)]
    if len(rows) == 1:
        return [f"{table.caption}: {table.empty}"]
    widths = [max(len(row[k]) for row in rows) for k in range(len(table.columns))]
    right = [table.rows[0][k].style.startswith("number") for k in range(len(table.columns))]
    lines = [
        "  ".join(c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)).rstrip()
        for row in rows
    ]
    return [table.caption, *lines, *([table.note] if table.note else [])]


def answers_page(answers: Sequence[Answer]) -> str:
    """Answers on one self-contained page, the first sentence as its head; the same answers give the same bytes."""
    headline, rest = headline_and_rest(answers[0].sentence)
    others = " ".join(headline_and_rest(a.sentence)[0] for a in answers[1:] if a.ident in LEADING)
    chapters = [_chapter(answer) for answer in answers]
    rest = " ".join(filter(None, (rest, others)))
    return template("fleet.html").render(
        headline=unbroken(headline), rest=unbroken(rest), chapters=chapters, style=style()
    )


def answer_html(answer: Answer) -> str:
    """An answer as HTML without head and body and without its sentence, to be set into a page below it."""
    return template("part.html").render(chapters=[_chapter(answer, said=False)])


def _chapter(answer: Answer, *, said: bool = True) -> Chapter:
    section = Section(answer.title, answer.pictures, answer.tables, words=(answer.sentence,) if said else ())
    return Chapter(answer.ident, answer.title, answer.how, (section,))


def answer_document(answer: Answer) -> str:
    """An answer for programs: strict JSON, SI."""
    parts = {key: [_plain(asdict(r)) for r in records] for key, records in answer.numbers.items()}  # type: ignore[call-overload]  # frozen records
    told = {"schema": SCHEMA_NAME, "question": answer.ident, "sentence": answer.sentence, **parts}
    return json.dumps(told, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def origin(run: str, occasion: str, since: str = "") -> Cell:
    """Where a number comes from: the occasion, since when it counts, and the run.

    >>> origin("20b87304d7f0", "40-arrival", "20-lined").text
    '20-lined to 40-arrival, run 20b87304'
    """
    span = f"{since} to {occasion}" if since else occasion
    return Cell(f"{span}, run {run[:8]}" if run else span)
