"""The command that holds a record against itself."""

from __future__ import annotations

import click

from monochord.cli.record_options import at


@click.command()
@at
@click.option("--head", default=None, metavar="NUMBER:HASH", help="A head noted elsewhere: shows a cut-off end.")
@click.pass_context
def verify(ctx: click.Context, address: str, head: str | None) -> None:
    """Hold the record against itself, and name every fault: row by row, file by file, guard by guard.

    Nothing is written. It prints the record's head: noted elsewhere, on paper or in a mail, it shows later that no
    entry is missing and none was written anew. Exit code 5 when something differs.

    \b
    Examples:
      monochord record verify --at ring.sqlite
      monochord record verify --at ring.sqlite --head 1204:9be1f0c2a7d35e41
    """  # noqa: D301
    from monochord.job.record.checked import checked

    sound = True
    for said in checked(address, head, lambda text: click.echo(text, err=True)):
        click.echo(said.words)
        sound = sound and said.sound
    if not sound:
        ctx.exit(5)


@click.command()
@at
def rebuild(address: str) -> None:
    """Tell the tables for questions anew from the ledger, when `verify` says that they differ; the ledger stays as it is.

    \b
    Example:
      monochord record rebuild --at ring.sqlite
    """  # noqa: D301
    from monochord.job.record.checked import rebuilt

    click.echo(rebuilt(address))


COMMANDS = (verify, rebuild)
