"""In which encoding a file was written, and how that was seen."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from monochord.files.decode import decode
from monochord.files.draft.findings import Choice
from monochord.files.draft.lexicon import KNOWN
from monochord.files.draft.words import plain
from monochord.ground.faults import Fault, Refused

#: Signs beyond ASCII that tables of this trade hold; others speak against a code page.
USUAL = frozenset("äöüÄÖÜßáàâéèêëíìîïóòôúùûçñÁÀÂÉÈÊÍÓÚÇÑ°µ²³±×·Ωσ«»¿¡−€\u2013")

#: A capital beyond ASCII behind a small letter: no language writes so, a wrong code page does.
_CAPITAL_INSIDE = re.compile(r"[a-zà-ÿ][À-ÖØ-Þ]")

PAGES = ("cp1252", "cp850", "mac_roman")


@dataclass(frozen=True, slots=True)
class Text:
    """The text of a file, the encoding found with its evidence, and the code pages that fit as well."""

    text: str
    encoding: str
    why: str
    rivals: tuple[Choice, ...] = ()


def found_text(data: bytes, file: str, declared: str = "") -> Text:
    r"""The text of a file whose encoding nobody told; Refused when it is empty or no text.

    declared  an answer that was given; it goes before what only seems so

    >>> found_text(b"T [\xb0C]\n20\n", "t.csv").encoding
    'cp1252'
    >>> found_text(b"T [\xf8C]\n20\n", "t.csv").encoding
    'cp850'
    """
    if declared:
        return Text(decode(data, file, declared)[0], declared, "as answered")
    try:
        text, notes = decode(data, file)
    except Refused:
        if not data.strip() or b"\0" in data:
            raise
        return _by_page(data, file)
    told = next((n.given.removeprefix("text in ") for n in notes if n.given.startswith("text in utf-16")), "")
    if told:
        mark = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        return Text(text, told, "by its byte-order mark" if mark else "every second byte is zero")
    if data.startswith(codecs.BOM_UTF8):
        return Text(text, "utf-8", "by its byte-order mark")
    return Text(text, "utf-8", "plain ASCII" if text.isascii() else "every byte fits UTF-8")


def _by_page(data: bytes, file: str) -> Text:
    """A file of single bytes: the page under which every odd byte is a sign that such tables hold."""
    fitting: list[tuple[str, str, str]] = []
    for page in PAGES:
        try:
            text, _ = decode(data, file, page)
        except Refused:
            continue
        odd = "".join(sorted({c for c in text if not c.isascii()}))
        if set(odd) <= USUAL and not _CAPITAL_INSIDE.search(text):
            fitting.append((page, text, odd))
    if not fitting:
        remedy = "declare the encoding: --answer dialect.encoding=..."
        raise Refused([Fault("bytes of no usual encoding", "UTF-8, UTF-16 or a code page", remedy, file)])
    known = [len(_known(text, odd)) for _, text, odd in fitting]
    best = known.index(max(known))
    page, text, odd = fitting[best]
    if len(fitting) == 1 or (known[best] and known.count(known[best]) == 1):
        told = f" and the words {', '.join(_known(text, odd)[:3])}" if known[best] else ""
        return Text(text, page, f"no UTF-8; as {page} it holds {odd}{told}")
    return Text(text, page, "no UTF-8", tuple(Choice(p, f"then it holds {o}") for p, _, o in fitting))


def _known(text: str, odd: str) -> list[str]:
    """Words of the trade in a text that hold a sign beyond ASCII."""
    words = dict.fromkeys(re.findall(r"\w+", text[:20000]))
    return [w for w in words if set(w) & set(odd) and plain(w) in KNOWN]
