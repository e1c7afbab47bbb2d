"""Commands with which people enter lists and single statements."""

from __future__ import annotations

import click

from monochord.cli.record_options import at, by, seen


@click.command()
@click.argument("path", metavar="FILE", type=click.Path(exists=True, dir_okay=False))
@click.option(
    "--as", "kind", default="", metavar="KIND", help="What the rows of a table are, such as magnet or placed."
)
@at
@by
def enter(path: str, kind: str, address: str, by: str) -> None:
    """Enter a list from FILE, all of it or nothing: a table whose heads are keys, or TOML with rows such as [[magnet]].

    Kinds and their keys (days as 2031-05-07; in brackets what may be left out):

    \b
      magnet          serial, kind
      placed          serial, girder, position, since [until]
      instrument      name, kind [serial]
      calibration     instrument, made_on, valid_until [certificate]
      person          name, roles (with ; between them)
      step            girder, step, done_on [words, instrument]
      nonconformance  girder, words [magnet, about, state, decision]
      turned          girder, occasion, bolt, turns
      foot            girder, occasion, foot, found (loose, touching, tight or held down) [words]
      girder          name [type]
      note            subject, words
    In every kind: replaces, the id of an entry that is corrected; withdrawn, why it is taken back.

    \b
    Examples:
      monochord record enter magnets.csv --as magnet
      monochord record enter our-instruments.toml
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.enter_door import entered

    for line in entered(address, Path(path), kind, by):
        click.echo(line)


@click.command()
@click.argument("kind")
@click.argument("pairs", metavar="KEY=VALUE...", nargs=-1, required=True)
@click.option("--about", default="", metavar="SUBJECT", help="What a note is about, such as girder/G07.")
@seen
@at
@by
def add(kind: str, pairs: tuple[str, ...], *, about: str, seen: int | None, address: str, by: str) -> None:
    """Add one fact of a KIND; the kinds and keys are those of `monochord record enter`.

    \b
    Examples:
      monochord record add step girder=G07 step=lifted done_on=2031-06-01
      monochord record add nonconformance girder=G07 magnet=Q1 words="clamp torn"
      monochord record add note words="dust on the nest" --about girder/G07
    """  # noqa: D301
    from monochord.job.record.enter_door import stated

    for line in stated(address, kind, pairs, about=about, by=by, seen=seen):
        click.echo(line)


COMMANDS = (enter, add)
