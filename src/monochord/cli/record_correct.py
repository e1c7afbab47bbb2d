"""The command that corrects an entry."""

from __future__ import annotations

import click

from monochord.cli.record_options import at, by, seen


@click.command()
@click.argument("entry")
@click.argument("pairs", metavar="[KEY=VALUE]...", nargs=-1)
@click.option("--why", required=True, help="What was wrong with it.")
@click.option("--withdraw", is_flag=True, help="Take the entry back and state nothing in its place.")
@seen
@at
@by
def correct(
    entry: str, pairs: tuple[str, ...], *, why: str, withdraw: bool, seen: int | None, address: str, by: str
) -> None:
    """Correct ENTRY, given by its number or its id: a new entry with the other values takes its place, and both stay.

    An entry is corrected once, then its correction. Who comes second is told what the first wrote.

    \b
    Examples:
      monochord record correct 217 done_on=2031-06-02 --why "lifted after midnight"
      monochord record correct 217 --withdraw --why "entered for the wrong girder"
    """  # noqa: D301
    from monochord.job.record.correct_door import corrected

    if bool(pairs) == withdraw:
        raise click.UsageError("given both or neither of KEY=VALUE and --withdraw; expected one of the two")
    click.echo(corrected(address, entry, pairs, why=why, withdraw=withdraw, seen=seen, by=by))


COMMANDS = (correct,)
