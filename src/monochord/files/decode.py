"""Bytes to text: byte-order marks, UTF-16 by its pattern of zeros, declared code pages, and repairs.

Nothing is assumed in silence: what was decoded how, and what was repaired, comes back as notes; bytes
that do not fit are refused with their line.
"""

from __future__ import annotations

import codecs

from monochord.ground.faults import Fault, Refused

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes, file: str, encoding: str = "utf-8") -> tuple[str, list[Fault]]:
    r"""Text of a file with line ends as newlines and without byte-order marks, and notes on what was done.

    encoding  the declared one; a byte-order mark or a clear UTF-16 pattern goes before it

    Raises Refused when the file is empty, or its bytes do not fit, with the line.

    >>> decode(b"\xff\xfeA\x00\n\x00", "t.csv")[0]
    'A\n'
    """
    notes: list[Fault] = []
    if not data.strip():
        raise Refused([Fault("an empty file", "a table", "copy the file again from where it was made", file)])
    found = _found(data)
    used = found or encoding
    if found and found.startswith("utf-16") and encoding.replace("_", "-").lower()[:6] != "utf-16":
        notes.append(Fault(f"text in {found}", encoding, "read as what it is; declare it to silence this", file, 1))
    try:
        text = data.decode(used)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        remedy = "declare the encoding of these tables in the lab description, for example 'cp1252'"
        raise Refused([Fault(f"byte {data[error.start]:#04x}", f"text in {used}", remedy, file, line)]) from None
    except LookupError:
        raise Refused(
            [Fault(f"encoding {used!r}", "a known encoding", "mend it in the lab description", file)]
        ) from None
    if "\ufeff" in text:
        text = text.replace("\ufeff", "")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise Refused([Fault("a zero byte", "text", "the file is damaged or in another encoding", file, line)])
    if "\ufffd" in text:
        line = text[: text.index("\ufffd")].count("\n") + 1
        notes.append(Fault("a replacement sign (U+FFFD)", "readable text", "it was damaged before", file, line))
    return text, notes


def repaired(text: str) -> str:
    """Text that was decoded with the wrong code page once (``Â°C``), put right; else the text itself.

    >>> repaired("T [Â°C]"), repaired("Länge")
    ('T [°C]', 'Länge')
    """
    if "Â" not in text and "Ã" not in text and "Î¼" not in text:
        return text
    for page in ("cp1252", "latin-1"):
        try:
            return text.encode(page).decode("utf-8")
        except UnicodeError:
            continue
    return text


def _found(data: bytes) -> str | None:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name
    head = data[:400]
    if b"\0" in head:
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > 0.4 * len(head) / 2 and odd > 4 * even:
            return "utf-16-le"
        if even > 0.4 * len(head) / 2 and even > 4 * odd:
            return "utf-16-be"
    return None
