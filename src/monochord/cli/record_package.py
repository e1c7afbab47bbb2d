"""Commands about packages: one girder's whole record for another installation, or for a shelf."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from monochord.cli.record_options import at, by

DIFFERS = 5
package = click.argument("folder", type=click.Path(exists=True, file_okay=False))


@click.command()
@click.argument("girder", metavar="girder/NAME")
@click.option("--into", required=True, type=click.Path(), metavar="FOLDER", help="New folder for the package.")
@at
@by
def export(girder: str, into: str, address: str, by: str) -> None:
    """Write the whole record of a girder as a package: a bag (RFC 8493) of open formats that explains itself.

    In it: entries with their hashes, measured files, results with tables, signatures that OpenSSL proves alone.

    \b
    Example:
      monochord record export girder/G07 --into g07-package
    """  # noqa: D301
    from monochord.job.record.package import exported

    for line in exported(address, girder, Path(into), by):
        click.echo(line)


@click.command("check-package")
@package
@click.option(
    "--key",
    "keys",
    multiple=True,
    type=click.Path(exists=True, dir_okay=False),
    metavar="PUBLIC.pem",
    help="A public key that you have from its owner; repeat as needed.",
)
def check_package(folder: str, keys: tuple[str, ...]) -> None:
    """Check the package in FOLDER: every byte and name, entries and their chain, and signatures.

    Signatures are proven with the keys given, else with those inside, and which is said. Ends with 3 where something
    is not as it was written, with 5 where a signature does not count or none is by a key that was given.

    \b
    Example:
      monochord record check-package g07-package --key ada-public.pem
    """  # noqa: D301
    from monochord.job.record.package import package_checked

    lines, good = package_checked(Path(folder), [Path(key) for key in keys])
    for line in lines:
        click.echo(line)
    if not good:
        sys.exit(DIFFERS)


@click.command("import")
@package
@at
@by
def import_(folder: str, address: str, by: str) -> None:
    """Check the package in FOLDER and take it into the record: all of it with its ids, or nothing.

    Doing it again changes nothing. Where something is stated otherwise here, that is told and nothing is taken.

    \b
    Example:
      monochord record import g07-package --at ring.sqlite
    """  # noqa: D301
    from monochord.job.context import real_context
    from monochord.job.record.package import imported

    context = real_context(lambda text: click.echo(text, err=True))
    for line in imported(address, Path(folder), by, context):
        click.echo(line)


COMMANDS = (export, check_package, import_)
