"""Bytes to text: byte-order marks, UTF-8 strictly, UTF-16 and UTF-32 by their zeros, declared code pages, and repairs.

Nothing is assumed in silence: what was decoded how, and what was repaired, comes back as notes; bytes
that do not fit are refused with their line.
"""

from __future__ import annotations

import codecs
import re

from monochord.files.characters import Cleaner, repaired
from monochord.ground.faults import Fault, Refused

__all__ = ["HEAD", "decode", "encoding_of", "repaired", "text_of"]

#: Bytes at the head of a file by which its encoding is told.
HEAD = 1 << 16

# The marks of UTF-32 begin with those of UTF-16.
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

_AS_TEXT = "save the table as text from the program that made it"
_OPEN = "take the table out of it, and copy that here"
#: What files that are no tables of text begin with, what they are, and what to do.
_OTHER_KINDS = {
    b"PK\x03\x04": ("a workbook or a ZIP archive", 'say format = "xlsx" for the table, or save it as text'),
    b"\xd0\xcf\x11\xe0": ("a workbook of the old kind (.xls)", "save it as .xlsx or as text"),
    b"\x89HDF\r\n": ("an HDF5 container", 'say format = "hdf5" for the table'),
    b"\x93NUMPY": ("an array of NumPy", 'say format = "numpy" for the table'),
    b"SQLite format 3\0": ("a database file", _AS_TEXT),
    b"%PDF-": ("a PDF document", _AS_TEXT),
    b"{\\rtf": ("a document of a word processor (RTF)", _AS_TEXT),
    b"\x1f\x8b": ("a compressed file (gzip)", _OPEN),
    b"BZh": ("a compressed file (bzip2)", _OPEN),
    b"7z\xbc\xaf": ("a compressed archive (7z)", _OPEN),
    b"<!doctype html": ("a web page (HTML)", f"{_AS_TEXT}; was it a message of a server?"),
    b"<html": ("a web page (HTML)", f"{_AS_TEXT}; was it a message of a server?"),
    b"<?xml": ("an XML document", _AS_TEXT),
}

#: Codecs that are no encodings of tables.
_NO_ENCODINGS = frozenset({"punycode", "idna", "unicode_escape", "raw_unicode_escape", "undefined", "mbcs", "oem"})

#: Code pages under which a word that is no UTF-8 is shown, so that a person sees which one it was.
_PAGES = ("cp1252", "cp1250", "cp437", "mac_roman")


def decode(data: bytes, file: str, encoding: str = "utf-8") -> tuple[str, list[Fault]]:
    r"""Text of a file with line ends as newlines and without byte-order marks, and notes on what was done.

    encoding  the declared one; a byte-order mark, strict UTF-8 and a clear pattern of zeros go before it

    Raises Refused when the file is empty, or its bytes do not fit, with the line.

    >>> decode(b"\xff\xfeA\x00\n\x00", "t.csv")[0]
    'A\n'
    """
    used, notes = encoding_of(data, file, encoding)
    cleaner = Cleaner(file)
    text = cleaner.clean(text_of(data, file, used, 1), 1, last=True)
    return text, [*notes, *cleaner.notes()]


def encoding_of(data: bytes, file: str, encoding: str) -> tuple[str, list[Fault]]:
    r"""Encoding of a file by its first bytes (or all of them), and a note when it is not the declared one.

    Raises Refused when there is nothing in it, or the declared encoding does not exist.

    >>> encoding_of("Träger;1\n".encode(), "t.csv", "cp1252")[0]
    'utf-8'
    """
    if not data.strip():
        raise Refused([Fault("an empty file", "a table", "copy the file again from where it was made", file)])
    _refuse_other_kinds(data, file)
    try:
        if encoding.casefold().replace("-", "_") in _NO_ENCODINGS:
            raise LookupError
        b"a".decode(encoding, "replace")
        declared = codecs.lookup(encoding).name
    except LookupError:
        expected, remedy = (
            "a known encoding, such as utf-8, cp1252, latin-1 or utf-16",
            "mend it in the lab description",
        )
        raise Refused([Fault(f"encoding {encoding!r}", expected, remedy, file)]) from None
    used = _found(data) or _strict(data, declared) or declared
    if used.startswith(declared) or declared.startswith(used):  # utf-16 is declared for both of its byte orders
        return used, []
    if data.startswith(codecs.BOM_UTF8):
        return used, []
    return used, [Fault(f"text in {used}", encoding, "read as what it is; declare it to silence this", file, 1)]


def text_of(data: bytes, file: str, used: str, line: int) -> str:
    """Bytes decoded strictly; Refused with the line of the first byte that does not fit.

    line  1-based number of the line with which the bytes begin

    >>> text_of("°C".encode("cp1252"), "t.csv", "cp1252", 1)
    '°C'
    """
    try:
        return data.decode(used)
    except UnicodeDecodeError as error:
        line += data[: error.start].count(b"\n")
        if "truncated" in error.reason or "unexpected end" in error.reason:
            remedy = "the file seems cut off; copy it again from where it was made"
            raise Refused([Fault("a character that is cut off", f"text in {used}", remedy, file, line)]) from None
        given, remedy = f"byte {data[error.start]:#04x}", _declare(data, error.start, used)
        raise Refused([Fault(given, f"text in {used}", remedy, file, line)]) from None
    except UnicodeError as error:
        raise Refused([Fault(str(error), f"text in {used}", "declare another encoding", file, line)]) from None


def _declare(data: bytes, place: int, used: str) -> str:
    """How the word around a byte reads under the code pages that people have."""
    start = max(data.rfind(mark, 0, place) for mark in (b"\n", b";", b",", b"\t", b'"')) + 1
    tail = re.search(rb"[\r\n;,\t\"]", data[place:])
    word = data[max(start, place - 20) : min(place + tail.start() if tail else len(data), place + 20)]
    readings: dict[str, str] = {}
    for page in _PAGES:
        if page != used:
            readings.setdefault(word.decode(page, "replace").strip(), page)
    shown = ", ".join(f"{page!r} reads {word!r}" for word, page in readings.items() if "\ufffd" not in word)
    return f"declare the encoding of these tables in the lab description: {shown}"


def _refuse_other_kinds(data: bytes, file: str) -> None:
    """Refuse what is no text at all by the signs with which files of its kind begin."""
    head = data[:200].lstrip().lower()
    for sign, (what, remedy) in _OTHER_KINDS.items():
        if data.startswith(sign) or (sign.startswith(b"<") and head.startswith(sign)):
            raise Refused([Fault(what, "a text table", remedy, file, 1)])


def _strict(data: bytes, declared: str) -> str | None:
    """UTF-8 when the bytes are that and more than ASCII, or when UTF-16 was declared for a file without any zero."""
    if declared == "utf-8":
        return None
    wide = declared.startswith(("utf-16", "utf-32"))
    if wide and b"\0" in data[:HEAD]:
        return None
    head = data[:HEAD]
    if head.isascii():
        return "utf-8" if wide else None
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=len(head) == len(data))
    except UnicodeDecodeError:
        return None
    return "utf-8"


def _found(data: bytes) -> str | None:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name
    head = data[:400]
    return _by_zeros(head) if b"\0" in head else None


def _by_zeros(head: bytes) -> str | None:
    """UTF-32 or UTF-16 by the places of the zeros that Latin letters leave."""
    zeros = [head[i::4].count(0) / max(1, len(head[i::4])) for i in range(4)]
    even, odd = (zeros[0] + zeros[2]) / 2.0, (zeros[1] + zeros[3]) / 2.0
    patterns = {
        "utf-32-le": len(head) >= 8 and min(zeros[1:]) > 0.7 and zeros[0] < 0.2,
        "utf-32-be": len(head) >= 8 and min(zeros[:3]) > 0.7 and zeros[3] < 0.2,
        "utf-16-le": odd > 0.4 and odd > 4.0 * even,
        "utf-16-be": even > 0.4 and even > 4.0 * odd,
    }
    return next((name for name, fits in patterns.items() if fits), None)
