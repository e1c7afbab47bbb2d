"""Workbooks made by hand from their parts, damaged in the words of a part or in the bytes of the package.

What stands in the cells is read from the parts again by a plain reader that knows nothing of openpyxl.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from random import Random
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from evidence.fuzz import mutate, texts
from evidence.fuzz.children import cheap
from evidence.fuzz.held import Row, against, form_of
from evidence.fuzz.tables import Came

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACK = "http://schemas.openxmlformats.org/package/2006"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_SHEET, _TEXTS = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"

#: Parts that are the same in every workbook.
_FIXED = {
    "[Content_Types].xml": f'{_HEAD}<Types xmlns="{_PACK}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    + "".join(
        f'<Override PartName="/xl/{part}.xml" ContentType="{_TYPE}.{kind}+xml"/>'
        for part, kind in (
            ("workbook", "sheet.main"),
            ("worksheets/sheet1", "worksheet"),
            ("styles", "styles"),
            ("sharedStrings", "sharedStrings"),
        )
    )
    + "</Types>",
    "_rels/.rels": f'{_HEAD}<Relationships xmlns="{_PACK}/relationships"><Relationship Id="rId1" '
    f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><workbookPr/><sheets>'
    '<sheet name="Data" sheetId="1" r:id="rId1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'{_HEAD}<Relationships xmlns="{_PACK}/relationships">'
    + "".join(
        f'<Relationship Id="rId{i}" Type="{_REL}/{kind}" Target="{part}.xml"/>'
        for i, (kind, part) in enumerate(
            (("worksheet", "worksheets/sheet1"), ("styles", "styles"), ("sharedStrings", "sharedStrings")), start=1
        )
    )
    + "</Relationships>",
    "xl/styles.xml": f'{_HEAD}<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill><patternFill/>'
    "</fill></fills>"
    '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/>'
    '<xf numFmtId="14"/></cellXfs></styleSheet>',
}


class _Made:
    """A workbook on its way."""

    def __init__(self, rng: Random) -> None:
        self.rng, self.shared = rng, list[str]()

    def parts(self) -> dict[str, str]:
        """Every part by its name."""
        rng = self.rng
        order = ["point", "x", "y", "note"]
        rng.shuffle(order)
        rows, number = [self._row(1, [self._text(t, i, 1) for i, t in enumerate(order)])], 1
        for k in range(rng.randrange(1, 6)):
            number += rng.choice((1, 1, 1, 1, 2))
            name = rng.choice(texts.NAMES) if rng.random() < 0.3 else f"P{k}"
            cells = {
                "point": self._text(name, order.index("point"), number),
                "x": self._number(order.index("x"), number),
                "y": self._number(order.index("y"), number) if rng.random() < 0.8 else "",
                "note": self._text("ok, a", order.index("note"), number) if rng.random() < 0.5 else "",
            }
            rows.append(self._row(number, [cells[key] for key in order]))
        size = f'<dimension ref="A1:{rng.choice(("D9", "A1", "B2"))}"/>' if rng.random() < 0.4 else ""
        sheet = f'{_HEAD}<worksheet xmlns="{_MAIN}">{size}<sheetData>{"".join(rows)}</sheetData></worksheet>'
        told = "".join(f"<si><t>{escape(text)}</t></si>" for text in self.shared)
        return {**_FIXED, _SHEET: sheet, _TEXTS: f'{_HEAD}<sst xmlns="{_MAIN}">{told}</sst>'}

    def _row(self, number: int, cells: list[str]) -> str:
        return f'<row r="{number}">{"".join(cells)}</row>'

    def _text(self, text: str, column: int, row: int) -> str:
        place = f"{'ABCD'[column]}{row}"
        if self.rng.random() < 0.3:
            return f'<c r="{place}" t="inlineStr"><is><t>{escape(text)}</t></is></c>'
        self.shared.append(text)
        return f'<c r="{place}" t="s"><v>{len(self.shared) - 1}</v></c>'

    def _number(self, column: int, row: int) -> str:
        rng = self.rng
        spelled = rng.choice(
            (f"{rng.uniform(-90.0, 90.0)!r}", f"{rng.randrange(1, 90)}", f"{rng.uniform(1.0, 9.0):.3e}")
        )
        formula = "<f>A1+1</f>" if rng.random() < 0.1 else ""
        return f'<c r="{"ABCD"[column]}{row}">{formula}<v>{spelled}</v></c>'


def packed(parts: dict[str, bytes], rng: Random) -> bytes:
    """The package of these parts."""
    stream = io.BytesIO()
    with zipfile.ZipFile(
        stream, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)), compresslevel=1
    ) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return stream.getvalue()


_WORDS = (
    b' r="B2"', b' r="ZZ9"', b' r="A0"', b' r=""', b' r="1"', b' r="99999999"', b' t="s"', b' t="n"', b' t="b"', b' t="e"',
    b' t="d"', b' t="str"', b' t="inlineStr"', b' s="1"', b' s="99"', b"<v></v>", b"<v/>", b"<v>-1</v>", b"<v>99</v>",
    b"<v>nan</v>",
    b"<v>1e999</v>", b"<v>#N/A</v>", b"<f>1</f>", b"<row>", b"</row>", b"<c>", b"<c/>", b"</c>", b"<!-- -->", b"<![CDATA[1]]>",
    b"&#0;", b"&#10;", b"&amp;", b"&a;", b"<is><t>x</t></is>", b' hidden="1"', b"<r><t>x</t></r>", b"<si/>", b"<si><t>Q</t></si>",
)  # fmt: skip


def reworded(data: bytes, rng: Random) -> bytes:
    """A part with a word of its kind put in at a border of its tags, taken out, doubled or replaced."""
    places = [m.span() for m in re.finditer(rb' \w+="[^"]*"|<[^>]*>|(?<=>)[^<]+(?=<)', data)]
    if not places:
        return data
    start, stop = rng.choice(places)
    how = rng.random()
    if how < 0.25:
        return data[:start] + data[stop:]
    if how < 0.4:
        return data[:stop] + data[start:]
    if how < 0.7:
        return data[:start] + rng.choice(_WORDS) + data[stop:]
    if how < 0.85:
        return data[:stop] + rng.choice(_WORDS) + data[stop:]
    other = rng.choice(places)
    return data[:start] + data[slice(*other)] + data[stop:]


def damaged(rng: Random) -> str:
    """A workbook, most of them damaged: refused, or every row as its parts hold it."""
    parts = {name: text.encode() for name, text in _Made(rng).parts().items()}
    how = rng.random()
    if how < 0.55:
        for _ in range(rng.choice((1, 1, 2, 4))):
            name = rng.choice((_SHEET, _SHEET, _SHEET, _TEXTS, *sorted(parts)))
            parts[name] = reworded(parts[name], rng) if rng.random() < 0.8 else mutate.damaged(parts[name], rng)
    elif how < 0.6:
        del parts[rng.choice(sorted(parts))]
    data = packed(parts, rng)
    if 0.6 <= how < 0.85:
        data = mutate.damaged(data, rng)
    with cheap(here=True):
        came = Came(data, form_of("xlsx"))
    return against(came, rows_of(data), sound=how >= 0.85)


def guarded(rng: Random) -> str:
    """The same with the product's own child, which takes its time."""
    parts = {name: text.encode() for name, text in _Made(rng).parts().items()}
    sound = rng.random() < 0.2
    if not sound:
        parts[_SHEET] = reworded(parts[_SHEET], rng)
    data = packed(parts, rng)
    return against(Came(data, form_of("xlsx")), rows_of(data), sound=sound)


# -- the plain reader --------------------------------------------------------------------------------------------------


class _Odd(Exception):
    """Something of which a plain reader cannot say what it means."""


def rows_of(data: bytes) -> dict[int, Row] | None:
    """Rows below the names of the first sheet; None when the parts cannot be read at all, rows unsure where they are odd."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            sheet = ElementTree.fromstring(archive.read(_SHEET))
            shared = (
                [_words(si) for si in ElementTree.fromstring(archive.read(_TEXTS)).iter(f"{{{_MAIN}}}si")]
                if (_TEXTS in archive.namelist())
                else []
            )
    except Exception:  # whatever a damaged package raises
        return None
    found, unsure = dict[int, dict[str, object]](), set[int]()
    for number, place, value in _cells(sheet, shared):
        row = found.setdefault(number, {})
        if place in row or isinstance(value, _Odd) or not place:
            unsure.add(number)
        row[place] = value
    head = found.pop(1, {})
    names = {str(value).strip(): place for place, value in head.items()}
    if 1 in unsure or len(names) < len(head):
        unsure |= set(found)
    rows = {}
    for number, cells in found.items():
        values = [cells.get(names.get(key, "?")) for key in ("point", "x", "y")]
        if number < 1 or not any(str(v).strip() for p, v in cells.items() if v is not None and p in names.values()):
            continue
        x, y = (v if isinstance(v, float) else None for v in values[1:])
        name = values[0] if isinstance(values[0], str) else None
        odd = number in unsure or any(isinstance(v, str) and v.strip() for v in values[1:])
        rows[number] = Row(name, x, y, sure=not odd)
    return rows


def _words(item: ElementTree.Element) -> str | _Odd:
    """The text of an item: its one text, or those of its runs."""
    inside = [t for part in item for t in (part if part.tag == f"{{{_MAIN}}}r" else [part])]
    runs = len(item) == len(item.findall(f"{{{_MAIN}}}r"))
    if any(t.tag != f"{{{_MAIN}}}t" or len(t) for t in inside) or (len(item) != 1 and not runs):
        return _Odd()
    if any(len(part) != 1 for part in item if runs):
        return _Odd()
    return "".join(t.text or "" for t in inside)


def _cells(sheet: ElementTree.Element, shared: list[str | _Odd]) -> Iterator[tuple[int, str, object]]:
    """Row, letter of the column, and value of every cell; rows and cells without a number follow those before them."""
    before = 0
    for row in sheet.iter(f"{{{_MAIN}}}row"):
        told = row.get("r", "")
        number = int(told) if re.fullmatch("[0-9]{1,7}", told) else before + 1
        odd = number <= before or (bool(told) and not re.fullmatch("[1-9][0-9]{0,6}", told))
        before = number
        for cell in row.iter(f"{{{_MAIN}}}c"):
            place = re.fullmatch("([A-Z]{1,3})([0-9]+)", cell.get("r", ""))
            value = _value(cell, shared)
            if odd or place is None or int(place[2]) != number:
                value = _Odd()
            yield number, place[1] if place else "", value


def _value(cell: ElementTree.Element, shared: list[str | _Odd]) -> object:
    kind, style = cell.get("t", "n"), cell.get("s", "0")
    values = [v.text or "" for v in cell.iter(f"{{{_MAIN}}}v")]
    texts_inside = list(cell.iter(f"{{{_MAIN}}}is"))
    formulas = list(cell.iter(f"{{{_MAIN}}}f"))
    if (
        style != "0"
        or len(values) > 1
        or len(texts_inside) > 1
        or len(formulas) > 1
        or kind not in ("n", "s", "inlineStr")
    ):
        return _Odd()
    if kind == "inlineStr":
        return _words(texts_inside[0]) if texts_inside and not values else _Odd()
    if texts_inside:
        return _Odd()
    text = values[0].strip() if values else ""
    if kind == "s":
        return shared[int(text)] if re.fullmatch("[0-9]{1,6}", text) and int(text) < len(shared) else _Odd()
    if not text:
        return _Odd() if formulas else None
    return float(text) if re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]{1,2})?", text) else _Odd()
