"""Set a sighting or a scan aside with a reason, and take it back: entries in the campaign's file, never in a measured one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from monochord.campaign.given.excluded import SCAN, SIGHTING, Excluded
from monochord.files.campaign_file import CAMPAIGN, readings_of
from monochord.files.document import Document
from monochord.files.excluded import FEWEST_LETTERS, Candidate
from monochord.files.excluded_text import bytes_as_before, told_of, with_entry, with_taken_back
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context

#: Keys that are written to name a reading, by what it is. All of them must fit, so that a changed file is noticed.
WRITTEN: Mapping[str, tuple[str, ...]] = {
    SIGHTING: ("file", "line", "station", "target", "round"),
    SCAN: ("file", "magnet", "plane", "mode", "scan", "number"),
}


@dataclass(frozen=True, slots=True)
class Excludable:
    """A sighting or scan that can be set aside.

    address  what the command is told: FILE:LINE, or OCCASION/MAGNET/PLANE/NUMBER;  name  in words
    entry    number of the entry by which it is set aside now, 0 when it counts
    """

    occasion: str
    what: str
    address: str
    name: str
    file: str
    line: int
    entry: int = 0


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the number of the entry, which reading, and what its exclusion leaves."""

    number: int
    excluded: Excluded
    leaves: str


@dataclass(frozen=True, eq=False, slots=True)
class _Read:
    """A campaign's file with everything that can be set aside, the entries that stand there, and faults of rows."""

    document: Document
    found: Mapping[str, Sequence[Candidate]]
    told: Mapping[int, Excluded]
    faults: tuple[Fault, ...]

    def entry_of(self, candidate: Candidate) -> int:
        """Number of the entry that sets a reading aside now, 0 when none does."""
        return next((i + 1 for i, e in self.told.items() if e.holds and e.reading is candidate.reading), 0)


def _read(folder: Path) -> _Read:
    document, found, faults = readings_of(folder)
    return _Read(document, found, told_of(document, found)[0], faults)


def list_excludable(folder: Path) -> list[Excludable]:
    """Every sighting and scan of a campaign with what names it; what is set aside now carries the number of its entry."""
    read = _read(folder)
    return [_shown(o, c, read.entry_of(c)) for o, among in read.found.items() for c in among]


def _shown(occasion: str, c: Candidate, entry: int) -> Excludable:
    file, line = str(c.keys["file"]), int(c.keys["line"])
    return Excludable(occasion, c.what, _address(occasion, c), c.name, file, line, entry)


def _address(occasion: str, c: Candidate) -> str:
    if c.what == SIGHTING:
        return f"{c.keys['file']}:{c.keys['line']}"
    return f"{occasion}/{c.keys['magnet']}/{c.keys['plane']}/{c.keys['number']}"


def list_excluded(folder: Path) -> list[Excluded]:
    """Every entry of a campaign's file in its order, those that were taken back too."""
    read = _read(folder)
    return [read.told[i] for i in sorted(read.told)]


def exclude(folder: Path, context: Context, what: str, address: str, why: str, *, by: str = "") -> Written:
    """Set one reading aside: its entry is written into the campaign's file, which is read back before it stands there.

    what     "sighting" or "scan";  address  FILE:LINE, or OCCASION/MAGNET/PLANE with /NUMBER where there are several
    why, by  the reason in words, and who

    Raises Refused, and leaves the file alone, when the address names no reading or several, when the reading is set aside
    already, and when the reason is none.
    """
    _reason(why)
    read = _read(folder)
    occasion, chosen = _chosen(folder, read, what, address)
    if already := read.entry_of(chosen):
        given, remedy = f"{chosen.name}, which entry {already} sets aside already", "nothing is left to do"
        raise Refused([Fault(given, "a reading that counts", remedy, CAMPAIGN)])
    entry: dict[str, object] = {"occasion": occasion, "what": what}
    entry |= {key: chosen.keys[key] for key in WRITTEN[what] if chosen.keys[key] != ""}
    entry |= {"why": why.strip()} | ({"by": by} if by else {}) | {"at": _now(context)}
    told = _put(folder, read, with_entry(read.document, entry))
    number = max(told) + 1
    return Written(number, told[number - 1], _leaves(read.found[occasion], chosen, told))


def take_back(folder: Path, context: Context, number: int, why: str, *, by: str = "") -> Written:
    """Make what an entry set aside count again: the entry stays, with the reason, who and when.

    number  of the entry, from 1;  why, by  the reason in words, and who

    Raises Refused, and leaves the file alone, when there is no such entry or it was taken back before.
    """
    _reason(why)
    read = _read(folder)
    old = read.told.get(number - 1)
    if old is None:
        remedy = "see `monochord exclude CAMPAIGN --list`"
        raise Refused([Fault(f"entry {number}", f"one of {len(read.told)} entries", remedy, CAMPAIGN)])
    if not old.holds:
        given = f"entry {number}, which was taken back already ({old.taken_back})"
        raise Refused([Fault(given, "an entry that holds", "set the reading aside anew", CAMPAIGN)])
    words = {"taken_back": why.strip()} | ({"taken_back_by": by} if by else {}) | {"taken_back_at": _now(context)}
    told = _put(folder, read, with_taken_back(read.document, number - 1, words))
    return Written(number, told[number - 1], "it counts again from the next run on")


def _now(context: Context) -> str:
    return context.now().isoformat(timespec="seconds")


def _reason(why: str) -> None:
    if sum(c.isalpha() for c in why) < FEWEST_LETTERS:
        raise Refused([Fault(repr(why), "a reason in words", "say why in a sentence", column="--why")])


def _put(folder: Path, read: _Read, written: Document) -> Mapping[int, Excluded]:
    """Write the file when all its entries name what they should; gives them."""
    from monochord.job.run import write_whole  # what else stands there takes long to load

    told, faults = told_of(written, read.found)
    if faults:
        raise Refused([*faults, *read.faults])
    path = folder / CAMPAIGN
    write_whole(path, bytes_as_before(path, written.text))
    return told


def _chosen(folder: Path, read: _Read, what: str, address: str) -> tuple[str, Candidate]:
    """The one reading of an address, and its occasion."""
    all_of = [(o, c) for o, among in read.found.items() for c in among if c.what == what]
    wanted = _spelled(folder, address) if what == SIGHTING else {address}
    fits = [(o, c) for o, c in all_of if _address(o, c) in wanted]
    if not fits and what == SIGHTING:  # the end of the path will do where it is the end of one alone
        fits = [(o, c) for o, c in all_of if _address(o, c).endswith("/" + address)]
    elif not fits:  # without its number
        fits = [(o, c) for o, c in all_of if _address(o, c).rpartition("/")[0] == address]
    if len(fits) == 1:
        return fits[0]
    if fits:
        given = f"{address}, which names {len(fits)} {what}s"
        remedy = "; ".join(f"{_address(o, c)}: {c.name}" for o, c in fits[:12])
        raise Refused([*read.faults, Fault(given, "one of them", f"say {remedy}")])
    known = list(dict.fromkeys(_address(o, c).rpartition(":" if what == SIGHTING else "/")[0] for o, c in all_of))
    head = address.rpartition(":" if what == SIGHTING else "/")[0] or address
    hint = did_you_mean(head, known) if head not in known else ""
    expected = "FILE:LINE of a sighting" if what == SIGHTING else "OCCASION/MAGNET/PLANE/NUMBER of a scan"
    remedy = f"{hint}take one of {listed(known, 8)}" if known else f"no {what} was read in this campaign"
    raise Refused([*read.faults, Fault(repr(address), expected, remedy)])


def _spelled(folder: Path, address: str) -> set[str]:
    """An address of a sighting as it was given, and as the campaign writes the path of its file."""
    file, _, line = address.rpartition(":")
    path = Path(file).resolve()
    inside = path.is_relative_to(folder.resolve())
    return {address} | ({f"{path.relative_to(folder.resolve()).as_posix()}:{line}"} if inside else set())


def _leaves(among: Sequence[Candidate], chosen: Candidate, told: Mapping[int, Excluded]) -> str:
    """What is left beside a reading that was set aside, in words."""
    out = {id(e.reading) for e in told.values() if e.holds}
    left = [c for c in among if c.what == chosen.what and id(c.reading) not in out]

    def alike(*keys: str) -> int:
        return sum(all(c.keys[k] == chosen.keys[k] for k in keys) for c in left)

    keys = chosen.keys
    if chosen.what == SIGHTING:
        return (
            f"it leaves {len(left)} sightings of the occasion, {alike('target')} of {keys['target']} "
            f"and {alike('station')} from {keys['station']}"
        )
    return (
        f"it leaves {len(left)} scans of the occasion, {alike('magnet', 'plane')} of {keys['magnet']} along "
        f"{keys['plane']}, {alike('magnet', 'plane', 'mode')} of them in mode {keys['mode']}"
    )


def list_lines(told: Sequence[Excluded]) -> list[str]:
    """The entries of a campaign for people, one a line, with the number by which they are taken back.

    >>> list_lines([Excluded("2-back", "sighting", "T1 to B4, round 2", "knocked", "A. Surveyor")])
    ['1  2-back, sighting T1 to B4, round 2: knocked (A. Surveyor)']
    """
    return [f"{n}  {_line(e)}" for n, e in enumerate(told, 1)] or ["Nobody set a sighting or a scan aside."]


def _line(e: Excluded) -> str:
    place = f" ({e.place})" if e.place else ""
    line = f"{e.occasion}, {e.what} {e.name}{place}: {e.why}{_who(e.by, e.at)}"
    return line if e.holds else f"{line}; counts again: {e.taken_back}{_who(e.taken_back_by, e.taken_back_at)}"


def _who(by: str, at: str) -> str:
    said = ", ".join(part for part in (by, at) if part)
    return f" ({said})" if said else ""
