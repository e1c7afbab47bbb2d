"""Commands that copy the record: a backup, and a record from one."""

from __future__ import annotations

import click

from monochord.cli.record_options import at


@click.command()
@click.argument("file", type=click.Path(dir_okay=False))
@at
def backup(file: str, address: str) -> None:
    """Copy the record into a new FILE of SQLite while others go on writing.

    The copy holds the record as it stood at one moment. It is hashed and counted before it gets its name, so that a
    backup that was broken off is not there. Note the head that is printed: it tells this backup from every other.

    \b
    Examples:
      monochord record backup /mnt/stick/ring-2031-05-07.sqlite --at ring.sqlite
      monochord record backup ring-2031-05-07.sqlite --at postgresql://survey@server/ring
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.keeping import backed_up

    click.echo(backed_up(address, Path(file), lambda line: click.echo(line, err=True)))


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False))
@click.option("--to", "address", required=True, metavar="ADDRESS", help="An empty place, in the form of --at.")
def restore(file: str, address: str) -> None:
    """Make a record from the backup FILE in an empty place, of SQLite or of PostgreSQL.

    The backup stays as it is; one that an earlier version made is brought to this version on the way.

    \b
    Example:
      monochord record restore ring-2031-05-07.sqlite --to ring-again.sqlite
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.keeping import restored

    click.echo(restored(Path(file), address, lambda line: click.echo(line, err=True)))


COMMANDS = (backup, restore)
