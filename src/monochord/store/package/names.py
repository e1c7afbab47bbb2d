"""Names of files in a package: such that they mean one file on every system, and none leads out of the package."""

from __future__ import annotations

import unicodedata

#: Longest part of a path, and longest path [bytes of UTF-8]; deepest path [parts].
LONGEST_PART, LONGEST, DEEPEST = 120, 400, 16
#: Letters that some system gives a meaning of its own; "%" is one of the manifests.
MEANT = frozenset('\\:*?"<>|%')
#: Names that are devices on some systems, whatever follows their first dot.
DEVICES = frozenset(
    {"con", "prn", "aux", "nul", *(f"com{i}" for i in range(1, 10)), *(f"lpt{i}" for i in range(1, 10))}
)


def wrong_in(path: str) -> str:
    """Why a path cannot stand in a package, "" when it can.

    >>> wrong_in("data/files/wire.tsv"), wrong_in("../wire.tsv"), wrong_in("/etc"), wrong_in("a/nul.txt")
    ('', 'it leads out of the package', 'it leads out of the package', 'a name that means a device on some systems')
    """
    parts = path.split("/")
    if path.startswith("/") or ".." in parts:
        return "it leads out of the package"
    if len(parts) > DEEPEST or len(path.encode("utf-8", "replace")) > LONGEST:
        return "a path that is too long"
    return next((words for part in parts if (words := wrong_in_part(part))), "")


def wrong_in_part(part: str) -> str:
    """Why a part of a path cannot stand, "" when it can."""
    checks = (
        (part in ("", "."), "a part without a name"),
        (any(_unseen(letter) for letter in part), "letters that cannot be seen"),
        (not MEANT.isdisjoint(part), "letters that mean something else on some systems"),
        (part != part.strip(" ") or part.endswith("."), "a blank or a dot at its end, which some systems drop"),
        (unicodedata.normalize("NFC", part) != part, "letters in another than their composed form"),
        (part.partition(".")[0].strip().lower() in DEVICES, "a name that means a device on some systems"),
        (len(part.encode("utf-8", "replace")) > LONGEST_PART, "a name that is too long"),
    )
    return next((words for wrong, words in checks if wrong), "")


def _unseen(letter: str) -> bool:
    return unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def same_place(path: str) -> str:
    """What two paths have in common that some systems take for one.

    >>> same_place("data/Wire.TSV") == same_place("data/wire.tsv")
    True
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def readable(path: str) -> str:
    """A path as it can stand in a package, as near to the given one as that allows.

    >>> readable("measured/5-back/wire.tsv"), readable("../C:/a b /nul.txt")
    ('measured/5-back/wire.tsv', 'C_/a b/_nul.txt')
    """
    parts = [p for p in path.replace("\\", "/").split("/") if p not in ("", ".", "..")]
    return "/".join(map(part_of, parts[-(DEEPEST - 4) :])) or "file"


def part_of(text: str) -> str:
    """A text as one part of a path.

    >>> part_of("Ada Voß/2"), part_of("...")
    ('Ada Voß_2', '_')
    """
    seen = "".join("_" if _unseen(c) or c in MEANT or c == "/" else c for c in unicodedata.normalize("NFC", text))
    short = unicodedata.normalize("NFC", _cut(seen, LONGEST_PART - 20)).strip(" ").rstrip(". ") or "_"
    return f"_{short}" if wrong_in_part(short) else short


def _cut(text: str, most: int) -> str:
    """The text in at most so many bytes; what follows the last dot is kept."""
    if len(text.encode("utf-8")) <= most:
        return text
    stem, dot, end = text.rpartition(".")
    tail = dot + end if dot and len(end) <= 10 else ""
    room = most - len(tail.encode("utf-8"))
    return (stem if tail else text).encode("utf-8")[:room].decode("utf-8", "ignore") + tail


class Places:
    """Gives every file a place of its own."""

    def __init__(self) -> None:
        self.taken: set[str] = set()

    def place(self, path: str, mark: str) -> str:
        """The path, or, where another file stands there or below it, the path with a mark in its last part."""
        folder, slash, name = path.rpartition("/")
        if len(path.encode("utf-8")) > LONGEST - 60:
            folder, slash = "", ""
        stem, dot, end = name.rpartition(".")
        marked = f"{stem}~{mark}{dot}{end}" if stem else f"{name}~{mark}"
        for candidate in (f"{folder}{slash}{name}", f"{folder}{slash}{marked}", f"{mark}/{marked}"):
            if self._free(candidate):
                break
        self._take(candidate)
        return candidate

    def _free(self, path: str) -> bool:
        """Neither a file nor a folder stands there, and no file where a folder is needed."""
        key = same_place(path)
        above = {"/".join(key.split("/")[:i]) for i in range(1, key.count("/") + 1)}
        return key not in self.taken and f"{key}/" not in self.taken and self.taken.isdisjoint(above)

    def _take(self, path: str) -> None:
        key = same_place(path)
        self.taken.add(key)
        self.taken |= {"/".join(key.split("/")[:i]) + "/" for i in range(1, key.count("/") + 1)}
