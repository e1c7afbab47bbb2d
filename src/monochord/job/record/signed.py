"""How far a run is signed: who signed it, what its campaign asks for, and what came after."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from sqlalchemy import Connection, select

from monochord.store.entry import Entry
from monochord.store.ledger import entries, entry_of
from monochord.store.signing import TOGETHER, Signature, signatures
from monochord.store.tables import ENTRY
from monochord.store.tables_told import GIRDER, OCCASION, RUN


@dataclass(frozen=True, slots=True)
class Signing:
    """Where the signing of one run, or of another entry, stands.

    run      id of the entry;  occasion  which of its occasions, "" for all
    asked    how many signatures its campaign asks for, 0 for none;  count  how many of them are given
    given    good signatures;  doubtful  those that do not count, with their trouble
    """

    run: str
    occasion: str
    asked: int
    count: int
    given: tuple[Signature, ...]
    doubtful: tuple[Signature, ...]

    @property
    def done(self) -> bool:
        """Whether nothing is missing: what is asked for is there, or, where nothing is asked for, anything is."""
        return self.count >= self.asked if self.asked else bool(self.given)

    @property
    def words(self) -> str:
        """The state in words."""
        by = ", ".join(f"{s.person} as {s.role}" for s in self.given)
        behind = f" by {by}" if by else ""
        if self.asked:
            return f"signed {self.count} of {self.asked}{behind}"
        return f"signed{behind}; its campaign asks for no signature" if by else "not signed; its campaign asks for none"


def signing_of_runs(connection: Connection, wanted: Mapping[str, str]) -> dict[str, Signing]:
    """Run -> how far it is signed, for any number of runs in a fixed number of queries for each 500 of them.

    wanted  run -> the occasion whose verdicts were signed, "" for any
    """
    runs = {e.draft.id: e for e in _entries(connection, list(wanted))}
    about: dict[str, list[Signature]] = {}
    for signature in signatures(connection, list(wanted)):
        about.setdefault(signature.about, []).append(signature)
    return {name: _signing(runs.get(name), name, wanted[name], about.get(name, [])) for name in wanted}


def _entries(connection: Connection, ids: Sequence[str]) -> Iterable[Entry]:
    for i in range(0, len(ids), TOGETHER):
        yield from map(entry_of, connection.execute(select(ENTRY).where(ENTRY.c.id.in_(ids[i : i + TOGETHER]))).all())


def _signing(entry: Entry | None, name: str, occasion: str, found: Sequence[Signature]) -> Signing:
    here = [s for s in found if not occasion or s.occasion == occasion]
    good = tuple(s for s in here if not s.trouble)
    rule = rule_of(entry)
    asked = _number(rule.get("signatures"))
    return Signing(name, occasion, asked, _count(good, rule, asked), good, tuple(s for s in here if s.trouble))


def rule_of(entry: Entry | None) -> Mapping[str, object]:
    """Who signs a run, as its campaign says; empty where it says nothing."""
    rule = entry.draft.body.get("signing") if entry else None
    return rule if isinstance(rule, dict) else {}


def roles_of(rule: Mapping[str, object]) -> list[str]:
    """The roles that a rule lets sign."""
    roles = rule.get("roles")
    return [str(role) for role in roles] if isinstance(roles, list) else []


def _number(value: object) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) else 0


def _count(good: Sequence[Signature], rule: Mapping[str, object], asked: int) -> int:
    """The most signatures of those asked for that keep the rule together."""
    may = [s for s in good if s.role in roles_of(rule)]

    def together(some: Sequence[Signature]) -> bool:
        persons, roles = {s.person for s in some}, {s.role for s in some}
        if rule.get("different_persons", True) and len(persons) < len(some):
            return False
        return not rule.get("different_roles") or len(roles) == len(some)

    fits = (n for n in range(min(asked, len(may)), 0, -1) if any(together(c) for c in combinations(may, n)))
    return next(fits, 0)


def newest_run(connection: Connection, girder: str) -> str:
    """Id of the run that was made last about a girder, "" when there is none."""
    order = (RUN.c.made_at.desc(), RUN.c.number.desc())
    return str(
        connection.execute(select(RUN.c.id).where(RUN.c.girder == girder).order_by(*order).limit(1)).scalar() or ""
    )


def judging_run(connection: Connection, girder: str) -> tuple[str, str]:
    """The run that tells a girder's latest verdicts and the occasion they are of; "" where there is none."""
    joined = select(OCCASION.c.run, OCCASION.c.name).join(
        GIRDER, (GIRDER.c.name == OCCASION.c.girder) & (GIRDER.c.judged == OCCASION.c.name)
    )
    row = connection.execute(joined.where(GIRDER.c.name == girder)).first()
    return (row.run, row.name) if row else ("", "")


def since(connection: Connection, entry: Entry) -> list[str]:
    """What became of a result after it was kept: a correction, or a newer run."""
    found = []
    later = connection.execute(
        select(ENTRY.c.number, ENTRY.c.made_by).where(ENTRY.c.replaces == entry.draft.id)
    ).first()
    if later is not None:
        found.append(f"it was corrected by entry {later.number} of {later.made_by}")
    if entry.draft.kind == "run":
        newest = newest_run(connection, str(entry.draft.body.get("girder", "")))
        if newest not in ("", entry.draft.id):
            found.append(_newer(next(iter(_entries(connection, [newest]))), entry))
    return found


def _newer(newest: Entry, entry: Entry) -> str:
    same = newest.draft.body.get("numbers") == entry.draft.body.get("numbers")
    how = "with the same numbers" if same else "with other numbers"
    return f"run {newest.draft.id[:12]} of {newest.draft.made_at[:10]} is newer, {how}"


def signature_lines(connection: Connection, subject: str) -> list[str]:
    """Every run about a subject with its signatures, and every other entry that was signed; what came after is said."""
    found: list[str] = []
    about = [e for e in entries(connection, subject=subject) if e.draft.kind not in ("signature", "imported")]
    states = signing_of_runs(connection, {e.draft.id: "" for e in about})
    for entry in about:
        state = states[entry.draft.id]
        if entry.draft.kind == "run" or state.given or state.doubtful:
            found += _state_lines(connection, entry, state)
    return found


def _state_lines(connection: Connection, entry: Entry, state: Signing) -> list[str]:
    found = [f"{entry.draft.kind} {entry.draft.id[:12]} of {entry.draft.made_at[:10]}: {state.words}"]
    for s in (*state.given, *state.doubtful):
        of = f", {s.occasion}" if s.occasion else ""
        words = s.statement.get("words")
        said = f': "{words}"' if words else ""
        trouble = f"; DOES NOT COUNT: {s.trouble}" if s.trouble else ""
        notes = "".join(f"; {note}" for note in s.notes)
        found.append(f"  {s.person} as {s.role} on {s.when[:19]}{of}{said}{notes}{trouble}")
    if state.given:
        found += [
            f"  since then: {words}; the signature stays with what was signed" for words in since(connection, entry)
        ]
    return found
