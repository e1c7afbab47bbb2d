"""Names of things as text: one clean-up before comparing, and what makes two different names look like one.

Names are equal when they are equal after outer blanks are taken off and characters are put into one
Unicode form (NFC). Nothing else is evened out: case, separators, zeros and letters all count. What follows
only finds names that were probably meant to be equal, so that they can be told; it never pairs them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from monochord.campaign.given.pairing import NearMiss
from monochord.files.spreadsheet_names import made_by_spreadsheet
from monochord.files.words import did_you_mean, folded

#: Letters of other scripts that look like Latin ones, and letters that look like digits.
_CYRILLIC = str.maketrans(
    "\u0410\u0412\u0421\u0415\u041d\u0406\u041a\u041c\u041e\u0420\u0422\u0425\u0423\u0430"
    "\u0435\u0441\u043e\u0440\u0445\u0443\u0456",
    "ABCEHIKMOPTXYaecopxyi",
)
_GREEK = str.maketrans(
    "\u0391\u0392\u0395\u0396\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7\u03bd",
    "ABEZHIKMNOPTYXv",
)
_DIGITS = str.maketrans("OoIl|SBZG", "001115826")
_QUOTES = "\"'`\u00b4*"
_UMLAUTS = str.maketrans(
    {
        "ä": "ae",
        "ö": "oe",
        "ü": "ue",
        "Ä": "Ae",
        "Ö": "Oe",
        "Ü": "Ue",
        "ß": "ss",
        "ø": "oe",
        "Ø": "Oe",
        "æ": "ae",
        "å": "aa",
    }
)
_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")

#: Beyond so many pairs of unpaired names not every pair is looked at.
_MOST_PAIRS = 10_000


def clean(cell: str) -> str:
    """A name as it is compared: without outer blanks, in Unicode form NFC.

    >>> clean(" Q1\u00a0") == "Q1", clean("A\u030a") == "\u00c5"
    (True, True)
    """
    text = cell.strip()
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _seen(name: str) -> str:
    """A name without what nobody sees: joiners, marks of direction, runs of blanks."""
    shown = "".join(c for c in unicodedata.normalize("NFKC", name) if unicodedata.category(c) != "Cf")
    return " ".join(shown.split())


def _looks(name: str) -> str:
    return _seen(name).translate(_CYRILLIC).translate(_GREEK).translate(_DIGITS)


def _bare(name: str) -> str:
    """A name without accents, quotes and brackets."""
    apart = unicodedata.normalize("NFD", _seen(name))
    return "".join(
        c for c in apart if unicodedata.category(c) not in ("Mn", "Pi", "Pf", "Ps", "Pe") and c not in _QUOTES
    )


def _spelled_out(name: str) -> str:
    """A name with umlauts and the like written as keyboards without them do."""
    return _bare(_seen(name).translate(_UMLAUTS)).casefold()


_KEYS = (
    (_seen, "they differ only in blanks, unseen characters or the Unicode form"),
    (lambda n: _seen(n).casefold(), "they differ only in upper and lower case"),
    (lambda n: folded(_seen(n)), "they differ only in separators or case"),
    (lambda n: _looks(n).casefold(), "letters and digits that look alike (O and 0, I and 1, ...)"),
    (lambda n: folded(_looks(n)), "letters and digits that look alike, and separators or case"),
    (lambda n: folded(_bare(n)), "they differ only in accents, quotes, brackets, separators or case"),
    (lambda n: folded(_spelled_out(n)), "they differ only in how umlauts are spelled, separators or case"),
    (lambda n: _ZEROS.sub("", folded(_seen(n))), "they differ only in leading zeros, separators or case"),
)


def alike(first: str, second: str) -> str:
    """Why two different names look as if they were one; "" when they do not.

    >>> alike("F07", "FO7")
    'letters and digits that look alike (O and 0, I and 1, ...)'
    >>> alike("T1-2", "T1_2"), alike("Q12", "Q21")
    ('they differ only in separators or case', 'two neighbouring characters are exchanged')
    >>> alike("Q1", "Q2")
    ''
    """
    for key, why in _KEYS:
        if key(first) == key(second):
            return why
    if made := made_by_spreadsheet(first, second) or made_by_spreadsheet(second, first):
        return made
    return "two neighbouring characters are exchanged" if _transposed(first.casefold(), second.casefold()) else ""


def _transposed(first: str, second: str) -> bool:
    if len(first) != len(second):
        return False
    places = [i for i, (a, b) in enumerate(zip(first, second, strict=True)) if a != b]
    return (
        len(places) == 2
        and places[1] == places[0] + 1
        and first[places[0]] == second[places[1]]
        and first[places[1]] == second[places[0]]
    )


def near_misses(first: Iterable[str], second: Iterable[str]) -> tuple[NearMiss, ...]:
    """Names of two lists, none of them in both, that were probably meant to be equal.

    >>> near_misses(["F07", "G1"], ["FO7", "H9"])
    (NearMiss(first='F07', second='FO7', why='letters and digits that look alike (O and 0, I and 1, ...)'),)
    """
    ours, theirs = list(first), list(second)
    if len(ours) * len(theirs) > _MOST_PAIRS:
        return _by_keys(ours, theirs)
    return tuple(NearMiss(a, b, why) for b in theirs for a in ours if (why := alike(a, b)))


def _by_keys(ours: list[str], theirs: list[str]) -> tuple[NearMiss, ...]:
    """Long lists: what is equal in one of the keys, without looking at every pair."""
    found: dict[tuple[str, str], str] = {}
    for key, why in _KEYS:
        keyed: dict[str, list[str]] = {}
        for name in ours:
            keyed.setdefault(key(name), []).append(name)
        for name in theirs:
            for other in keyed.get(key(name), ()):
                found.setdefault((other, name), why)
    return tuple(NearMiss(a, b, why) for (a, b), why in found.items())


def hint(name: str, known: Iterable[str]) -> str:
    """What a remedy says about a name that is not known: what it looks like and why, or "".

    >>> hint("2-Jan", ["1-2", "1-3"])
    "did you mean '1-2'? it looks like a date that a spreadsheet made from '1-2'; "
    """
    names = list(known)
    found = near_misses(names, [name])
    if not found:
        return did_you_mean(name, names)
    spelled = " or ".join(repr(n.first) for n in found[:3])
    return f"did you mean {spelled}? {'; '.join(dict.fromkeys(n.why for n in found[:3]))}; "
