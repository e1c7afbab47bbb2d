"""Tables that are kept otherwise than as text: sheets of workbooks, JSON lines, arrays; and what a WAV file tells.

Their cells are laid out as rows of text, so that names, units, totals and roles are found as in any other table; how
they are kept comes back beside it and goes into the description.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from monochord.files.draft.shape import Shape, shape
from monochord.files.formats.asked import Asked, Kept
from monochord.files.formats.guard import guarded_table
from monochord.files.formats.registry import find
from monochord.files.formats.zips import opened
from monochord.files.table import Dialect, Table
from monochord.ground.faults import Gatherer, Refused

#: Endings of names -> the format that a description calls for.
ENDINGS = {
    "xlsx": "xlsx",
    "xlsm": "xlsx",
    "jsonl": "json lines",
    "ndjson": "json lines",
    "npy": "numpy",
    "npz": "numpy",
}

_WORDS = {
    "xlsx": "a sheet of a workbook",
    "json lines": "one object a line, columns by their keys",
    "numpy": "an array, columns by its fields",
}


def format_of(path: str) -> str:
    """The format of a file by the ending of its name; "" for text and for what holds no tables.

    >>> format_of("1-bench/Tracker.XLSX"), format_of("tracker.csv")
    ('xlsx', '')
    """
    return ENDINGS.get(path.rpartition(".")[2].casefold(), "")


def tables(data: bytes, path: str) -> Iterator[tuple[Kept, Shape]]:
    r"""Every table that such a file holds, with how it is kept; Refused when it cannot be opened.

    data  the whole file;  path  as shown

    >>> [(kept.format, found.header) for kept, found in tables(b'{"p": "A", "x": 1.5}\n{"p": "B", "x": 2.5}\n', "t.jsonl")]
    [('json lines', ('p', 'x'))]
    """
    for kept in _places(data, path):
        faults = Gatherer(path)
        dialect = Dialect(header_line=0 if kept.format == "xlsx" else 1)
        asked = Asked(dialect, kept)
        found = find(kept.format)
        assert found.table is not None
        table = guarded_table(data, path, asked, faults) if found.guarded else found.table(data, path, asked, faults)
        if faults.faults:
            raise Refused(faults.faults)
        made = None if table is None else _sheet(table) if kept.format == "xlsx" else _rows(table)
        if made is not None:
            yield kept, replace(made, delimiter="", why=made.why | {"delimiter": _words(kept)})


def _words(kept: Kept) -> str:
    place = f" {kept.sheet or kept.inside!r}" if kept.sheet or kept.inside else ""
    return f"{_WORDS[kept.format]}{place}"


def _places(data: bytes, path: str) -> list[Kept]:
    """The sheets of a workbook, the arrays of an archive; the file itself where it holds one table."""
    kept = format_of(path)
    if kept == "xlsx":
        from monochord.files.formats.xlsx_package import book_of

        with opened(data, path, "a workbook saved as .xlsx") as archive:
            names = [s.name for s in book_of(archive, path).sheets]
        return [Kept(kept, sheet=name if len(names) > 1 else "") for name in names]
    if kept == "numpy" and not data.startswith(b"\x93NUMPY"):
        with opened(data, path, "a NumPy file (.npy or .npz)") as archive:
            names = [n.removesuffix(".npy") for n in archive.namelist()]
        return [Kept(kept, inside=name if len(names) > 1 else "") for name in names]
    return [Kept(kept)]


def _sheet(table: Table) -> Shape | None:
    """A sheet as text with one line for each of its rows, so that places of names and units are those of the sheet."""
    if not len(table.lines):
        return None
    lines = [""] * max(table.lines)
    for number, *cells in zip(table.lines, *table.columns, strict=True):
        lines[number - 1] = "\t".join(map(_plain, cells))
    return shape("\n".join(lines) + "\n", "tab")


def _rows(table: Table) -> Shape | None:
    """Rows whose names the format tells itself."""
    names = "\t".join(map(_plain, table.header))
    rows = ("\t".join(map(_plain, cells)) for cells in zip(*table.columns, strict=True))
    found = shape("\n".join([names, *rows]) + "\n", "tab")
    if found is None or found.header_line not in (0, 1):
        return None
    lines: Sequence[int] = table.lines
    header = found.header if found.header_line else table.header
    known = tuple(lines[n - 2] for n in found.lines if 2 <= n <= len(lines) + 1)
    return replace(found, header=header, lines=known, header_line=1, unit_line=0, data_from=2)


def _plain(cell: str) -> str:
    return " ".join(cell.split())


def wave_words(data: bytes, path: str) -> str:
    """What a WAV file tells of itself, and what the description needs besides; what is wrong with it when it is none."""
    from monochord.files.formats.wav import wave

    try:
        head = wave(data, path)
    except Refused as refusal:
        fault = refusal.faults[0]
        return f"{path}: {fault.given}; {fault.remedy}"
    count = head.bytes // head.frame if head.frame else 0
    told = f"{head.channels} channels of {head.bits} bits at {head.rate} Hz, {count / head.rate:.6g} s"
    return (
        f"{path}: raw signals as WAV, {told}; it does not say which scan and place it is of: write [waveforms] with "
        'format = "wav" and [waveforms.index], a table that tells it'
    )
