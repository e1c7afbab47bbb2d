"""Sign a result: who, in which role, by which rule, on which hash. The tool advises; people decide and say why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select

from monochord.files.signing import MAY_SIGN, ROLES
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.record.signed import Signing, judging_run, newest_run, roles_of, rule_of, signing_of_runs
from monochord.job.record.statement import Finding, finding_of
from monochord.job.record.take import Hand
from monochord.store import signing
from monochord.store.entry import START, Draft, Entry, canonical, stamp
from monochord.store.keys import private_key, public_of
from monochord.store.ledger import append
from monochord.store.opening import Record
from monochord.store.signing import FORM, Key, signature_body
from monochord.store.tables import ENTRY
from monochord.store.tables_told import PERSON

#: Kinds that are themselves about signing, or that nobody states.
NEVER = ("signature", "key", "imported")


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody wants to sign, and how.

    what  id of an entry, its beginning, or girder/NAME for the run that tells its latest verdicts
    rule  by which rule of the house, beside those of the result;  words  what the signer adds
    """

    what: str
    role: str
    rule: str = ""
    words: str = ""
    occasion: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """A signature as kept, how far its run is signed now, and what was signed although it speaks against it."""

    entry: Entry
    signing: Signing
    finding: Finding


def sign(record: Record, wish: Wish, key_file: Path, passphrase: str, *, context: Context, hand: Hand) -> Done:
    """Sign an entry with the key in a file.

    Raises Refused for a wrong passphrase, an unknown or withdrawn key, a role that the person does not have or the
    campaign does not let sign, a second signature of the same person, and, unless words answer it, for a result
    that does not say "conforms" throughout, lacks what it was made from, or was overtaken.
    """
    private = private_key(key_file, passphrase)
    with record.reading() as connection:
        key = _known(connection, public_of(private), str(key_file))
        entry, occasion = _meant(connection, wish)
        finding = finding_of(connection, entry, occasion)
        before = signing_of_runs(connection, {entry.draft.id: finding.occasion})[entry.draft.id]
        faults = [*_role_faults(connection, key, wish.role, entry), *_again(key, before, wish.role, entry)]
        faults += [] if wish.words.strip() else _concerns(finding)
        last = connection.execute(select(ENTRY.c.number, ENTRY.c.hash).order_by(ENTRY.c.number.desc()).limit(1)).first()
        here = select(ENTRY.c.number).where(ENTRY.c.subject == entry.draft.subject).order_by(ENTRY.c.number.desc())
        seen = int(connection.execute(here.limit(1)).scalar() or 0)
    if faults:
        raise Refused(faults)
    now = context.now()
    chain = {"number": last.number, "hash": last.hash} if last else {"number": 0, "hash": START}
    statement = _statement(entry, finding, key, wish, when=stamp(now), chain=chain)
    text = canonical(statement).encode("utf-8")
    if len(text) > signing.LONGEST:
        raise Refused(
            [Fault(f"a statement of {len(text)} bytes", f"at most {signing.LONGEST}", "say it in fewer words")]
        )
    body = signature_body(statement, private.sign(text), key.pem)
    draft = Draft(context.new_id(), signing.SIGNATURE, entry.draft.subject, stamp(now), key.person, hand.device, body)
    [kept] = append(record, [draft], now, seen={entry.draft.subject: seen})
    with record.reading() as connection:
        after = signing_of_runs(connection, {entry.draft.id: finding.occasion})[entry.draft.id]
    return Done(kept, after, finding)


def _statement(
    entry: Entry, finding: Finding, key: Key, wish: Wish, *, when: str, chain: Mapping[str, object]
) -> dict[str, object]:
    body = entry.draft.body
    document = body.get("document")
    return {
        "statement": FORM,
        "what": {
            "entry": entry.draft.id,
            "kind": entry.draft.kind,
            "subject": entry.draft.subject,
            "girder": body.get("girder", ""),
            "content": entry.content,
            "document": document if isinstance(document, str) else None,
            "occasion": finding.occasion,
            "verdicts": dict(finding.verdicts) if finding.verdicts is not None else None,
            "lacks": list(finding.lacks),
        },
        "who": {"name": key.person, "key": key.fingerprint},
        "role": wish.role,
        "when": when,
        "rule": {
            "words": list(finding.rules),
            "tolerances": [dict(t) for t in finding.tolerances],
            "units": "limits in metres and radians",
            "signing": dict(rule_of(entry)),
            "said": wish.rule,
        },
        "words": wish.words,
        "in_spite_of": list(finding.concerns),
        "on_chain": dict(chain),
    }


def _known(connection: Connection, pem: str, file: str) -> Key:
    key = next((k for k in signing.keys(connection).values() if k.pem == pem), None)
    if key is None:
        remedy = "make it known with `monochord record key add`"
        raise Refused([Fault("a key that the record does not know", "the key of a person in the record", remedy, file)])
    if key.ended:
        given = f"a key of {key.person} that entry {key.ended} withdrew ({key.why})"
        raise Refused([Fault(given, "a key that holds", "make a new one", file)])
    return key


def _meant(connection: Connection, wish: Wish) -> tuple[Entry, str]:
    name, occasion = wish.what, wish.occasion
    if name.startswith("girder/"):
        girder = name.removeprefix("girder/")
        run, judged = judging_run(connection, girder)
        name, occasion = (run, occasion or judged) if run else (newest_run(connection, girder), occasion)
    entry = signing.signed_entry(connection, name)
    if entry is None:
        remedy = "list them with `monochord record list`"
        expected = "an entry of the record by its id, its first six letters or more, or girder/NAME that has a run"
        raise Refused([Fault(repr(wish.what), expected, remedy)])
    if entry.draft.kind in NEVER:
        raise Refused([Fault(f"a {entry.draft.kind}", "a run or what a person stated", "name another entry")])
    return entry, occasion


def _role_faults(connection: Connection, key: Key, role: str, entry: Entry) -> list[Fault]:
    row = connection.execute(select(PERSON.c.roles).where(PERSON.c.name == key.person)).first()
    has = row.roles.split("; ") if row else []
    rule = rule_of(entry)
    may = roles_of(rule) if rule else list(MAY_SIGN)
    faults = []
    if role not in ROLES or role not in has:
        told = ", ".join(has) or "none"
        remedy = "state the roles of the person first, or sign in one that is held"
        faults.append(Fault(f"the role {role!r} for {key.person}", f"a role that {key.person} has: {told}", remedy))
    if entry.draft.kind == "run" and role not in may:
        whose = "the campaign lets sign" if rule else "sign where the campaign says nothing"
        faults.append(
            Fault(f"a signature as {role}", f"one of the roles that {whose}: {', '.join(may)}", "leave it to them")
        )
    return faults


def _again(key: Key, before: Signing, role: str, entry: Entry) -> list[Fault]:
    mine = [s for s in before.given if s.person == key.person]
    one_may = rule_of(entry).get("different_persons") is False and role not in {s.role for s in mine}
    if not mine or one_may:
        return []
    given = f"a second signature of {key.person}, who signed as {mine[0].role} on {mine[0].when[:10]}"
    return [Fault(given, "one signature of each person", "leave it to somebody else; the first one stays")]


def _concerns(finding: Finding) -> list[Fault]:
    remedy = "leave it unsigned, or say in --words why it may be signed nevertheless"
    return [Fault(words, "a result that needs no word", remedy) for words in finding.concerns]
