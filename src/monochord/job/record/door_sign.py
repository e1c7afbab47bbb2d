"""What the doors ask about keys and signatures, with addresses and names as people give them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from monochord.job.context import real_context
from monochord.job.record.door import hand
from monochord.job.record.keyring import add_key_file, key_lines, make_key, withdraw_key
from monochord.job.record.sign import Wish, sign
from monochord.job.record.signed import signature_lines
from monochord.store.entry import Entry
from monochord.store.making import open_record


def _told(entry: Entry) -> str:
    body = entry.draft.body
    return f"entry {entry.number}: key {str(body['fingerprint'])[:16]} of {body['person']}"


def key_made(address: str, person: str, into: Path, passphrase: str, by: str) -> str:
    """Make a key, and say under which fingerprint it is known."""
    made = make_key(open_record(address), person, into, passphrase, context=real_context(), hand=hand(by or person))
    return f"{_told(made)}; its private part stands in {into}, keep it to yourself"


def key_added(address: str, person: str, public: Path, by: str) -> str:
    """Make a public key known, and say under which fingerprint."""
    return _told(add_key_file(open_record(address), person, public, real_context(), hand(by)))


def key_withdrawn(address: str, mark: str, words: str, by: str) -> str:
    """Withdraw a key, and say so."""
    return f"{_told(withdraw_key(open_record(address), mark, words, real_context(), hand(by)))} is withdrawn"


def keys_listed(address: str) -> list[str]:
    """All keys, a line each."""
    return key_lines(open_record(address)) or ["no key is known"]


def signed(address: str, wish: tuple[str, str, str, str, str], key_file: Path, passphrase: str) -> Iterator[str]:
    """Sign, and say what was signed and how far the run is signed now.

    wish  what, role, rule, words, occasion
    """
    done = sign(open_record(address), Wish(*wish), key_file, passphrase, context=real_context(), hand=hand(""))
    finding, person = done.finding, done.entry.draft.made_by
    of = f", {finding.occasion}" if finding.occasion else ""
    yield f"entry {done.entry.number}: {person} signed {done.signing.run[:12]}{of} as {wish[1]}; {done.signing.words}"
    if finding.verdicts is not None:
        yield "verdicts: " + ", ".join(f"{count} {word}" for word, count in finding.verdicts.items())
    for words in finding.concerns:
        yield f"signed in spite of: {words}"
    for words in finding.lacks:
        yield f"the result lacks {words}"


def signatures_told(address: str, subject: str) -> list[str]:
    """What about a subject is signed."""
    with open_record(address).reading() as connection:
        return signature_lines(connection, subject) or [f"nothing about {subject} can be signed yet"]
