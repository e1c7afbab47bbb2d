"""Check a package as a whole: bytes and names, entries and their chain, files, and signatures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store import signing
from monochord.store.entry import Entry
from monochord.store.keys import fingerprint
from monochord.store.package import index
from monochord.store.package.bag import Sums
from monochord.store.package.gather import Kept
from monochord.store.package.lines import ENTRIES, entries_in, line_of
from monochord.store.package.walk import some
from monochord.store.package.whole import REMEDY, whole
from monochord.store.package.writing import signature_files, signature_folder

#: So many signatures may a package hold.
MOST = 2000


@dataclass(frozen=True, slots=True)
class Proven:
    """A signature of a package: who signed what, by which key it was proven, and why it does not count, "" when it does.

    given  whether that key is one that the checker brought, and not one that came with the package
    """

    person: str
    role: str
    when: str
    about: str
    key: str
    given: bool
    trouble: str


@dataclass(frozen=True, slots=True)
class Checked:
    """A package that is whole: its facts, sha256 of its tag manifest, its files by place, and its signatures."""

    facts: index.Facts
    manifest: str
    files: Mapping[str, Kept]
    missing: tuple[str, ...]
    signatures: tuple[Proven, ...]


@dataclass(slots=True)
class _Seen:
    """What is kept of the entries while they go by."""

    count: int = 0
    last: Entry | None = None
    girder: bool = False
    signatures: list[Entry] = field(default_factory=list)
    keys: dict[str, signing.Key] = field(default_factory=dict)
    named: list[tuple[str, str]] = field(default_factory=list)


def check_package(folder: Path, trusted: Iterable[str] = ()) -> Checked:
    """Check everything; Refused with the name of whatever is not as it was written.

    trusted  public keys (PEM) that the checker has from elsewhere
    """
    payload, manifest = whole(folder)
    _needed(payload)
    facts = index.facts_in(folder)
    seen = _look_through(folder, facts.girder)
    files: dict[str, Kept] = {}
    missing = []
    listed: set[str] = set()
    for kept in index.files_in(folder):
        listed.add(kept.sha256)
        if kept.place:
            files.setdefault(kept.place, kept)
        else:
            missing.append(f"{kept.path} ({kept.sha256[:12]})")
    faults = index.misplaced(payload, files) + _facts_faults(facts, seen)
    faults += [
        Fault(f"a run without its document {digest[:12]}", "a document that is listed", REMEDY, f"data/{index.FILES}")
        for digest, _ in seen.named
        if digest not in listed
    ]
    faults += _signature_faults(folder, payload, seen)
    if faults:
        raise Refused(some(faults))
    return Checked(facts, manifest, files, tuple(missing), _proven(folder, seen, trusted))


def _needed(payload: Mapping[str, Sums]) -> None:
    needed = [f"data/{name}" for name in (ENTRIES, index.FILES, index.FACTS)]
    if lacking := [path for path in needed if path not in payload]:
        expected = "the record of a girder; another bag is no package of Monochord"
        raise Refused([Fault("no such file", expected, REMEDY, path) for path in lacking])


def _look_through(folder: Path, girder: str) -> _Seen:
    seen = _Seen()
    marks: dict[str, str] = {}
    for entry in entries_in(folder):
        draft = entry.draft
        seen.count += 1
        seen.last = entry
        seen.girder = seen.girder or draft.subject == f"girder/{girder}"
        if draft.kind in (signing.SIGNATURE, signing.KEY) and len(line_of(entry)) > 2 * signing.LONGEST:
            given = f"a {draft.kind} that is too long (entry {draft.id[:12]})"
            raise Refused([Fault(given, f"at most {signing.LONGEST} bytes", REMEDY, f"data/{ENTRIES}")])
        if len(seen.signatures) > MOST or len(seen.keys) > MOST:
            raise Refused(
                [Fault(f"more than {MOST} signatures or keys", "those of one girder", REMEDY, f"data/{ENTRIES}")]
            )
        if draft.kind == signing.SIGNATURE:
            seen.signatures.append(entry)
        elif draft.kind == signing.KEY:
            signing.learn(seen.keys, marks, entry)
        elif draft.kind == "run" and isinstance(draft.body.get("document"), str):
            seen.named.append((str(draft.body["document"])[:64], draft.id))
    return seen


def _facts_faults(facts: index.Facts, seen: _Seen) -> list[Fault]:
    last = seen.last
    after = last is not None and (
        last.number > facts.number or (last.number == facts.number and last.hash != facts.head)
    )
    checks = (
        (seen.count != facts.entries, f"{facts.entries} entries in words, {seen.count} as lines"),
        (not seen.girder, f"no entry about the girder {facts.girder!r}"),
        (after, "a head of the record that does not fit the last entry"),
    )
    return [
        Fault(words, "facts that fit the entries", REMEDY, f"data/{index.FACTS}") for wrong, words in checks if wrong
    ]


def _signature_faults(folder: Path, payload: Mapping[str, Sums], seen: _Seen) -> list[Fault]:
    """Files of signatures that are not what the entries hold."""
    wanted = {
        f"data/signatures/{signature_folder(entry)}/{name}": content
        for entry in seen.signatures
        for name, content in signature_files(entry, seen.keys).items()
    }
    there = {path for path in payload if path.startswith("data/signatures/")}
    faults = [Fault("no such file", "the file of a signature", REMEDY, path) for path in sorted(wanted.keys() - there)]
    faults += [
        Fault("a file that no signature has", "statement.json, signature.bin and key.pem of each", REMEDY, path)
        for path in sorted(there - wanted.keys())
    ]
    for path in sorted(there & wanted.keys()):
        if payload[path].size > signing.LONGEST or (folder / path).read_bytes() != wanted[path]:
            faults.append(Fault("something else than its entry holds", "what was signed", REMEDY, path))
    return faults


def _proven(folder: Path, seen: _Seen, trusted: Iterable[str]) -> tuple[Proven, ...]:
    given = {fingerprint(pem): pem for pem in trusted}
    about = {str(entry.draft.body.get("about")) for entry in seen.signatures}
    signed = {e.draft.id: e for e in entries_in(folder) if e.draft.id in about} if about else {}
    return tuple(_proof(entry, given, seen.keys, signed) for entry in seen.signatures)


def _proof(
    entry: Entry, given: Mapping[str, str], inside: Mapping[str, signing.Key], signed: Mapping[str, Entry]
) -> Proven:
    body = entry.draft.body
    mark, what = str(body.get("key", "")), signed.get(str(body.get("about")))
    known = inside.get(mark)
    if mark in given and (known is None or known.person == body.get("person")):
        late = known is not None and known.ended and known.ended < entry.number
        trouble = "it came in after its key was withdrawn" if late else signing.wrong_in(body, given[mark], what)
    else:
        trouble = signing.trouble_of(entry, known, what)
    when = str(signing.statement_of(body).get("when", ""))
    return Proven(
        str(body.get("person", "")),
        str(body.get("role", "")),
        when,
        str(body.get("about", "")),
        mark,
        mark in given,
        trouble,
    )
