"""Characters that do not belong into a table: marks of joined files, zero bytes, page breaks, text decoded wrongly once.

What can only be meant in one way is put right and told; what cannot is refused with its line. A long file comes in
pieces: what was found is counted over all of them and told once for each kind.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from monochord.ground.faults import Fault, Refused

_CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]")
_LINE_ENDS = re.compile("\r+\n|\r")
_OTHER_ENDS = re.compile("[\x0b\x1e\x85\u2028\u2029]")
_PAGE_BREAK = re.compile("^\f+|\f+$", re.MULTILINE)

#: Bytes 80 to bf as code page 1252 shows them; the five that it lacks as the characters of their number.
_SHOWN = {byte: bytes([byte]).decode("cp1252", "replace").replace("\ufffd", chr(byte)) for byte in range(0x80, 0xC0)}
_BYTE = {shown: byte for byte, shown in _SHOWN.items()}
_NEXT = f"[{re.escape(''.join(_SHOWN.values()))}]"
# Only beginnings that stand for signs of units, accents, Greek letters, dashes and minus signs: others occur in words.
_DOUBLED = re.compile(f"[\u00c2\u00c3\u00ce\u00cf]{_NEXT}|\u00e2{_NEXT}{{2}}")


def repaired(text: str) -> str:
    """Text that was decoded with the wrong code page once or twice (``Â°C``), put right; else the text itself.

    >>> repaired("T [Â°C]"), repaired("Länge"), repaired("Â°")
    ('T [°C]', 'Länge', '°')
    """
    if text.isascii():
        return text
    for _ in range(3):
        mended = _DOUBLED.sub(_undoubled, text)
        if mended == text:
            break
        text = mended
    return text


def repaired_name(text: str) -> str:
    """A column's name or unit put right as :func:`repaired`, also after code page 437 or an old Macintosh's.

    >>> repaired_name("T [┬░C]"), repaired_name("¬µm")
    ('T [°C]', 'µm')
    """
    mended = repaired(text)
    if mended != text or text.isascii():
        return mended
    for page, leads in (("cp437", "┬├╬Γ"), ("cp850", "┬├╬Ô"), ("mac_roman", "¬√Œ\u201a")):
        if any(lead in text for lead in leads):
            try:
                return text.encode(page).decode("utf-8")
            except UnicodeError:
                continue
    return text


def _undoubled(found: re.Match[str]) -> str:
    raw = bytes(_BYTE.get(c, ord(c) & 0xFF) for c in found[0])
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return found[0]


@dataclass(slots=True)
class Cleaner:
    """Cleans the text of one file, piece by piece, and keeps what it found.

    found  (given, expected, remedy) -> line of the first, and how many
    """

    file: str
    found: dict[tuple[str, str, str], list[int]] = field(default_factory=dict)
    ended: bool = False

    def clean(self, text: str, line: int, *, last: bool) -> str:
        """The text with newlines as line ends and nothing in it that is no text.

        line  1-based number of the line with which the piece begins;  last  whether nothing follows

        Raises Refused with the line of a zero byte or a control character inside a row.
        """
        if "\r" in text:
            text = self._line_ends(text, line)
        if text.isascii() and not self.ended and not _CONTROLS.search(text):
            return text
        if not text.isascii():
            text = self._marks(text, line)
        if "\x1a" in text or self.ended:
            text = self._end_of_file(text, line)
        if "\f" in text:
            self._tell(("a page break", "rows only", "taken out"), line + _before(text, "\f"))
            text = _PAGE_BREAK.sub("", text)
        if last and line == 1 and "\n" not in text and (other := _OTHER_ENDS.search(text)):
            self._tell((f"line ends {_code(other[0])}", "ordinary line ends", "taken as line ends"), line)
            text = _OTHER_ENDS.sub("\n", text)
        if bad := _CONTROLS.search(text):
            self._refuse(text, bad.start(), line, last=last)
        return text

    def notes(self) -> list[Fault]:
        """What was found and put right, one note a kind, with the line of the first."""
        told = []
        for (given, expected, remedy), (line, count) in self.found.items():
            many = f", and {count - 1} more" if count > 1 else ""
            told.append(Fault(f"{given}{many}", expected, remedy, self.file, line))
        return told

    def _line_ends(self, text: str, line: int) -> str:
        if "\r\r\n" in text:
            self._tell(("line ends with two carriage returns", "one", "read as one"), line + _before(text, "\r\r\n"))
        plain = text.replace("\r\n", "\n")
        if "\r" not in plain:
            return plain
        if "\n" in plain and "\r" in plain.replace("\r\n", "\n"):
            mixed = re.search("\r(?![\r\n])", plain)
            if mixed:
                remedy = "each taken as the end of a line"
                at = line + plain.count("\n", 0, mixed.start())
                self._tell(("a lone carriage return", "one kind of line end", remedy), at)
        return _LINE_ENDS.sub("\n", plain)

    def _marks(self, text: str, line: int) -> str:
        if line == 1 and text.startswith("\u00ef\u00bb\u00bf"):
            self._tell(("a byte-order mark decoded wrongly once", "text", "taken out"), line)
            text = text[3:]
        if line == 1 and text.startswith("\ufeff"):
            text = text[1:]
        if "\ufeff" in text:
            remedy = "taken out: were files joined?"
            self._tell(("a byte-order mark inside the file", "none", remedy), line + _before(text, "\ufeff"))
            text = text.replace("\ufeff", "")
        if "\ufffd" in text:
            remedy = "it was damaged before"
            self._tell(("a replacement sign (U+FFFD)", "readable text", remedy), line + _before(text, "\ufffd"))
        if _DOUBLED.search(text):
            text = self._undouble(text, line)
        return text

    def _undouble(self, text: str, line: int) -> str:
        lines = text.split("\n")
        for place, old in enumerate(lines):
            new = repaired(old)
            if new != old:
                lines[place] = new
                first = next(m for m in _DOUBLED.finditer(old) if repaired(m[0]) != m[0])
                word = _word(old, first.start())
                told = (repr(word), repr(repaired(word)), "repaired: it was decoded wrongly once")
                self._tell(told, line + place)
        return "\n".join(lines)

    def _end_of_file(self, text: str, line: int) -> str:
        """A control-Z ends a file of old systems; behind it nothing may stand."""
        if self.ended:
            if text.strip("\x1a\x00 \t\n"):
                self._refuse_text("text after an end-of-file mark (control-Z)", line)
            return ""
        head, tail = text[: text.index("\x1a")], text[text.index("\x1a") :]
        if tail.strip("\x1a\x00 \t\n"):
            self._refuse_text("text after an end-of-file mark (control-Z)", line + head.count("\n"))
        self._tell(("an end-of-file mark (control-Z)", "text", "taken out"), line + head.count("\n"))
        self.ended = True
        return head

    def _refuse(self, text: str, place: int, line: int, *, last: bool) -> None:
        at = line + text.count("\n", 0, place)
        if text[place] != "\0":
            self._refuse_text(f"a control character {_code(text[place])}", at)
        rest = text[place:].strip("\0\n ")
        if rest or not last:
            given, remedy = "a zero byte", "the file is damaged or in another encoding"
        else:
            given = "zero bytes to the end of the file" if place else "nothing but zero bytes"
            remedy = "it was never written to its end; copy it again from where it was made"
        raise Refused([Fault(given, "text", remedy, self.file, at)])

    def _refuse_text(self, given: str, line: int) -> None:
        remedy = "the file is damaged, joined, or in another encoding than declared; mend the row or copy it again"
        raise Refused([Fault(given, "text", remedy, self.file, line)])

    def _tell(self, told: tuple[str, str, str], line: int) -> None:
        """Count one finding: given, expected, remedy, and its line."""
        self.found.setdefault(told, [line, 0])[1] += 1


def _before(text: str, sign: str) -> int:
    """Line ends before the first of these signs."""
    return text.count("\n", 0, text.index(sign))


def _word(text: str, place: int) -> str:
    """The word around a place of a line."""
    before, behind = re.split(r"[\s,;\"]", text[:place])[-1], re.split(r"[\s,;\"]", text[place:])[0]
    return before + behind


def _code(sign: str) -> str:
    return f"U+{ord(sign):04X}"
