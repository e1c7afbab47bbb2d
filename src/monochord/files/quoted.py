"""Where the last whole row of a piece of text ends: at a line end, and never inside a quoted cell.

A quote counts where a cell begins with it and nowhere else: one that stands in a remark or inside a cell, as the sign
for inches does, opens nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from monochord.files.table import DELIMITERS, Dialect

_END = r"(?:\r*+\n|\r)"
_LINE = rf"[^\r\n]*+{_END}"


@dataclass(slots=True)
class Records:
    """The rows of one file in pieces; the lines above its names are no rows, and quotes in them mean nothing.

    dialect  of the table
    """

    dialect: Dialect
    above: int = field(init=False)

    def __post_init__(self) -> None:
        self.above = max(self.dialect.header_line - 1, 0)

    def end(self, piece: str | bytes, encoding: str = "utf-8") -> int:
        r"""Where the last whole row of a piece ends.

        piece     begins with a row and ends with a line end;  encoding  of bytes

        >>> Records(Dialect(";")).end('A;1" wide\nB;"two\n'), Records(Dialect(";")).end(b'A;"two\nlines";1\n')
        (10, 16)
        """
        if self.dialect.delimiter in ("spaces", "fixed"):
            return len(piece)  # there a cell ends with its line
        if not self.above and ('"' not in piece if isinstance(piece, str) else b'"' not in piece):
            return len(piece)
        rows = rf"((?:{_LINE}){{0,{self.above}}}+)(?:{self._row()})*+"
        if isinstance(piece, str):
            found = re.match(rows, piece)
            end, above = (found.end(), found[1]) if found else (0, "")
        else:
            seen = re.match(rows.encode(encoding, "replace"), piece)
            end, above = (seen.end(), seen[1].decode("latin-1")) if seen else (0, "")
        self.above -= len(re.findall(_LINE, above))
        return end

    def _row(self) -> str:
        mark = re.escape(DELIMITERS.get(self.dialect.delimiter, self.dialect.delimiter))
        rest = rf"[^{mark}\r\n]*+"
        cell = rf'(?:"[^"]*+(?:""[^"]*+)*+"{rest}|(?!"){rest})'
        comment = rf"{re.escape(self.dialect.comment)}{_LINE}|" if self.dialect.comment else ""
        return rf"{comment}{cell}(?:{mark}{cell})*+{_END}"
