"""People's keys: made, made known to the record, and withdrawn."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.record.take import Hand, fact_id
from monochord.store import signing
from monochord.store.bodies import WITHDRAWN
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.keys import fingerprint, new_key, public_key_file
from monochord.store.ledger import append
from monochord.store.opening import Record


def make_key(record: Record, person: str, into: Path, passphrase: str, *, context: Context, hand: Hand) -> Entry:
    """Make a key for a person in a new file, and make its public part known to the record."""
    pem = new_key(into, passphrase)
    try:
        return add_key(record, person, pem, context, hand)
    except Exception:
        with suppress(OSError):
            into.unlink()  # a key that nobody knows of would only be in the way
        raise


def add_key(record: Record, person: str, pem: str, context: Context, hand: Hand) -> Entry:
    """Make a person's public key known to the record; a key is one person's, and doing it again changes nothing."""
    if not person.strip():
        raise Refused([Fault("no name", "the name of the person whose key it is", "give --person")])
    mark, now = fingerprint(pem), context.now()
    body = {"person": person, "public_key": pem, "fingerprint": mark, "algorithm": "Ed25519"}
    draft = Draft(fact_id("key", mark), signing.KEY, f"person/{person}", stamp(now), hand.made_by, hand.device, body)
    return append(record, [draft], now)[0]


def add_key_file(record: Record, person: str, path: Path, context: Context, hand: Hand) -> Entry:
    """Make the public key in a file known to the record."""
    return add_key(record, person, public_key_file(path), context, hand)


def withdraw_key(record: Record, mark: str, words: str, context: Context, hand: Hand) -> Entry:
    """End a key: what it signed before stays good, what comes in later does not count.

    mark  the beginning of its fingerprint, eight letters or more
    """
    with record.reading() as connection:
        known = signing.keys(connection)
    found = [key for name, key in known.items() if name.startswith(mark)] if len(mark) >= 8 else []
    if len(found) != 1:
        remedy = "list them with `monochord record key list`"
        raise Refused([Fault(f"the key {mark!r}", "eight or more first letters of one fingerprint", remedy)])
    [key] = found
    if key.ended:
        raise Refused([Fault(f"a key that entry {key.ended} withdrew", "a key that holds", "nothing is left to do")])
    if not words.strip():
        raise Refused([Fault("no reason", "why the key is withdrawn", "give --words")])
    now = context.now()
    body = {WITHDRAWN: words, "person": key.person, "fingerprint": key.fingerprint}
    draft = Draft(
        context.new_id(), signing.KEY, f"person/{key.person}", stamp(now), hand.made_by, hand.device, body, key.entry
    )
    return append(record, [draft], now)[0]


def key_lines(record: Record) -> list[str]:
    """Every key, a line each."""
    with record.reading() as connection:
        known = signing.keys(connection)
    return [f"{k.fingerprint[:16]}  {k.person:24s} {_state(k)}" for k in known.values()]


def _state(key: signing.Key) -> str:
    return f"withdrawn by entry {key.ended}: {key.why}" if key.ended else f"holds since entry {key.number}"
