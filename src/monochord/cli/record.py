"""Commands about the record of a fleet."""

from __future__ import annotations

import click

from monochord.cli import (
    record_correct,
    record_enter,
    record_keeping,
    record_package,
    record_queue,
    record_sign,
    record_verify,
)
from monochord.cli.record_options import at, by


@click.command()
@at
def make(address: str) -> None:
    """Make an empty record, or bring one of an earlier version up to this one.

    \b
    Examples:
      monochord record make --at ring.sqlite
      monochord record make --at postgresql://survey@server/ring
    """  # noqa: D301
    from monochord.job.record.door import made

    click.echo(made(address))


@click.command()
@click.argument("campaigns", nargs=-1, required=True, type=click.Path(exists=True))
@at
@by
def take(campaigns: tuple[str, ...], address: str, by: str) -> None:
    """Take CAMPAIGNS into the record: their files, girders, occasions and runs, each exactly once.

    Doing it again brings only what is new. What was broken off goes on. The journal of a campaign (record.sqlite) whose
    folder is lost may be named alone: its runs come with their documents.

    \b
    Example:
      monochord record take campaign-12 campaign-13 --at ring.sqlite
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.door import taken

    for campaign in campaigns:
        for line in taken(address, Path(campaign), by, lambda text: click.echo(text, err=True)):
            click.echo(line)


@click.command("list")
@at
@click.option("--kind", default=None, help="Only entries of this kind, such as run or occasion.")
@click.option("--about", "subject", default=None, help="Only entries about this subject, such as girder/G07.")
def listed(address: str, kind: str | None, subject: str | None) -> None:
    """List the entries of the record, oldest first.

    \b
    Example:
      monochord record list --about girder/G07
    """  # noqa: D301
    from monochord.job.record.door import entry_lines

    for line in entry_lines(address, kind, subject):
        click.echo(line)


COMMANDS = (
    make,
    take,
    listed,
    *record_enter.COMMANDS,
    *record_correct.COMMANDS,
    *record_keeping.COMMANDS,
    *record_package.COMMANDS,
    *record_queue.COMMANDS,
    *record_sign.COMMANDS,
    *record_verify.COMMANDS,
)
