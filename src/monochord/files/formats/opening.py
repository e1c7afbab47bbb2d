"""A table opened by its format: in this process, or in a guarded child; whatever goes wrong is a fault with its file."""

from __future__ import annotations

from monochord.files.columns import Form
from monochord.files.formats.asked import Asked, Format
from monochord.files.formats.registry import BUILT_IN, find
from monochord.files.table import Table, cut
from monochord.ground.faults import Fault, Gatherer, Refused


def asked_of(form: Form) -> Asked:
    """What a form asks of a format: kinds and notations by the names that the laboratory gives its columns."""
    kinds: dict[str, str] = {}
    notations: dict[str, str] = {}
    for column in form.columns:
        kind = "text" if column.notation and column.meaning.kind == "number" else column.meaning.kind
        kinds |= dict.fromkeys(column.names, kind)
        if column.meaning.kind == "time":
            notations |= dict.fromkeys(column.names, column.notation)
        if column.unit_column:
            kinds.setdefault(column.unit_column, "text")
    return Asked(form.dialect, form.kept, kinds, notations)


def open_table(data: bytes, file: str, form: Form, faults: Gatherer) -> Table | None:
    """The table in the bytes of a file, opened as its form says; None when the faults say why not.

    data  the whole file;  file  as shown

    Raises Refused when the bytes cannot be such a file at all.
    """
    if form.kept.format == "text":
        return cut(data, file, form.dialect, faults)
    found, asked = find(form.kept.format), asked_of(form)
    if not data:
        raise Refused([Fault("an empty file", found.words, "copy the file again from where it was made", file)])
    if found.guarded:
        from monochord.files.formats.guard import guarded_table

        table = guarded_table(data, file, asked, faults)
    else:
        table = made_table(found, data, file, asked, faults)
    if table is not None and not table.encoding:
        table.encoding = found.name
    return table


def shown_lines(data: bytes, file: str, form: Form) -> list[str]:
    r"""What stands in each row of a file, as a person would see it: lines of a text, else the cells with their names.

    data  the whole file, which has been read before;  file  as shown

    >>> from monochord.files.table import Dialect
    >>> shown_lines(b"a,b\n1,2\n", "t.csv", Form("points", Dialect(), ()))
    ['a,b', '1,2']
    """
    if form.kept.format in ("text", "fixed width", "json lines"):
        return data.decode(form.dialect.encoding, errors="replace").splitlines()
    table = open_table(data, file, form, Gatherer())
    if table is None or not len(table.lines):
        return []
    shown = [""] * max(table.lines)
    for line, *cells in zip(table.lines, *table.columns, strict=True):
        shown[line - 1] = ", ".join(f"{name}: {cell}" for name, cell in zip(table.header, cells, strict=True) if cell)
    return shown


def made_table(found: Format, data: bytes, file: str, asked: Asked, faults: Gatherer) -> Table | None:
    """The table that a format makes; what a format from elsewhere does wrong becomes a fault that names it."""
    if found.table is None:
        remedy = "name another format in the lab description"
        raise Refused([Fault(f"format {found.name!r}", "a format that holds tables", remedy, file)])
    if found.name in BUILT_IN:
        return found.table(data, file, asked, faults)
    try:
        table = found.table(data, file, asked, faults)
    except Refused:
        raise
    except Exception as error:  # whatever a foreign format raises
        if found.guarded and isinstance(error, MemoryError):
            raise  # the child tells of its own limit
        raise Refused([_broken(found, f"{type(error).__name__}: {' '.join(str(error).split())[:200]}", file)]) from None
    if wrong := _misshapen(table, bool(faults.faults)):
        raise Refused([_broken(found, wrong, file)])
    return table


def _broken(found: Format, given: str, file: str) -> Fault:
    remedy = "report it to those who made the format, or name another one in the lab description"
    return Fault(f"format {found.name!r} failed on this file ({given})", "a table", remedy, file)


def _misshapen(table: object, told: bool) -> str:
    """What is wrong with what a foreign format gave, "" when nothing is."""
    if table is None:
        return "" if told else "it gave nothing and said no fault"
    if not isinstance(table, Table):
        return f"it gave a {type(table).__name__}"
    if len(table.columns) != len(table.header):
        return f"it gave {len(table.columns)} columns for {len(table.header)} names"
    if any(len(column) != len(table.lines) for column in table.columns):
        return "it gave columns of different lengths"
    if not all(isinstance(cell, str) for column in table.columns for cell in column[:1]):
        return "it gave cells that are no text"
    return ""
