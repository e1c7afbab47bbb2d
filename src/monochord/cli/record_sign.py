"""Commands about keys and signatures."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from monochord.cli.record_options import at, by

#: The variable that may hold a passphrase where nobody can be asked.
PASSPHRASE = "MONOCHORD_PASSPHRASE"
person = click.option("--person", required=True, metavar="NAME", help="Whose key it is.")


def _passphrase(*, new: bool) -> str:
    """The passphrase from the variable, else as typed, unseen; a new one is typed twice."""
    if PASSPHRASE in os.environ:
        return os.environ[PASSPHRASE]
    if not sys.stdin.isatty():
        raise click.UsageError(f"given nobody to ask for the passphrase; expected the variable {PASSPHRASE}; set it")
    return str(click.prompt("passphrase of the key", hide_input=True, confirmation_prompt=new))


@click.group()
def key() -> None:
    """Keys with which people sign: make them, make them known, withdraw them."""


@key.command("new")
@person
@click.option("--into", required=True, type=click.Path(), metavar="FILE", help="New file for the private key.")
@at
@by
def key_new(person: str, into: str, address: str, by: str) -> None:
    """Make a key (Ed25519) in a new FILE under a passphrase, and its public part an entry of the record.

    The passphrase is asked for, or taken from the variable MONOCHORD_PASSPHRASE. Keep the FILE to yourself; whoever
    has both signs in your name.

    \b
    Example:
      monochord record key new --person "Ada Voss" --into ada.pem
    """  # noqa: D301
    from monochord.job.record.door_sign import key_made

    click.echo(key_made(address, person, Path(into), _passphrase(new=True), by))


@key.command("add")
@person
@click.argument("public", type=click.Path(exists=True, dir_okay=False))
@at
@by
def key_add(person: str, public: str, address: str, by: str) -> None:
    """Make a PUBLIC key in a file (PEM), made elsewhere, known to the record.

    \b
    Example:
      monochord record key add ada-public.pem --person "Ada Voss"
    """  # noqa: D301
    from monochord.job.record.door_sign import key_added

    click.echo(key_added(address, person, Path(public), by))


@key.command("withdraw")
@click.argument("fingerprint")
@click.option("--words", required=True, help="Why.")
@at
@by
def key_withdraw(fingerprint: str, words: str, address: str, by: str) -> None:
    """Withdraw the key of this FINGERPRINT (its first eight letters or more). What it signed before stays good.

    \b
    Example:
      monochord record key withdraw 3fa91c20 --words "laptop lost"
    """  # noqa: D301
    from monochord.job.record.door_sign import key_withdrawn

    click.echo(key_withdrawn(address, fingerprint, words, by))


@key.command("list")
@at
def key_list(address: str) -> None:
    """List all keys with whose they are and whether they hold."""
    from monochord.job.record.door_sign import keys_listed

    for line in keys_listed(address):
        click.echo(line)


@click.command()
@click.argument("what")
@click.option(
    "--key", "key_file", required=True, type=click.Path(exists=True, dir_okay=False), help="Your private key."
)
@click.option("--role", required=True, help="In which role: crew, surveyor, engineer or approver.")
@click.option("--rule", default="", help="By which rule of the house, beside the rules that the result states.")
@click.option("--words", default="", help="What you add; needed where something speaks against signing.")
@click.option("--occasion", default="", help="Whose verdicts; without it, the last that was judged.")
@at
def sign(what: str, key_file: str, *, role: str, rule: str, words: str, occasion: str, address: str) -> None:
    """Sign WHAT: a run or another entry by its id or its first letters, or girder/NAME for its latest verdicts.

    What is signed: the entry with its hash, the document's hash, the counts of verdicts, the rules by which they were
    found, who, in which role, when, and the head of the record. Where a verdict does not say "conforms", or a newer
    result is there, nothing is signed without --words. The program advises; people decide.

    \b
    Example:
      monochord record sign girder/G07 --key ada.pem --role engineer --rule "acceptance plan, section 4"
    """  # noqa: D301
    from monochord.job.record.door_sign import signed

    for line in signed(address, (what, role, rule, words, occasion), Path(key_file), _passphrase(new=False)):
        click.echo(line)


@click.command()
@click.option("--about", "subject", required=True, metavar="SUBJECT", help="Such as girder/G07.")
@at
def signatures(subject: str, address: str) -> None:
    """Tell what about a subject is signed, by whom, and what came after.

    \b
    Example:
      monochord record signatures --about girder/G07
    """  # noqa: D301
    from monochord.job.record.door_sign import signatures_told

    for line in signatures_told(address, subject):
        click.echo(line)


COMMANDS = (key, sign, signatures)
