"""Commands for queues: facts stated on a tablet without a network, and taken into the record later."""

from __future__ import annotations

import click

from monochord.cli.record_options import at, by

#: How a merge ends of which lines were refused, and all else was kept.
LINES_REFUSED = 3


@click.group(no_args_is_help=True)
def queue() -> None:
    """Facts stated where there is no network, kept in a file until it is merged into the record."""


@queue.command()
@click.argument("queue", type=click.Path(dir_okay=False))
@click.argument("kind")
@click.argument("pairs", metavar="KEY=VALUE...", nargs=-1, required=True)
@click.option("--about", default="", metavar="SUBJECT", help="What a note is about, such as girder/G07.")
@click.option("--device", default="", metavar="NAME", help="Name of this tablet; without it, the machine's own name.")
@click.option(
    "--first",
    default=1,
    type=click.IntRange(min=1),
    metavar="NUMBER",
    help="Running number with which a new queue begins, when the tablet had an earlier one.",
)
@by
def add(queue: str, kind: str, pairs: tuple[str, ...], *, about: str, device: str, first: int, by: str) -> None:
    """Add one fact of a KIND to the file QUEUE, made when it is new; kinds and keys are those of `monochord record enter`.

    Keep one queue for a tablet and let it grow: what was merged once is known and does not come twice.

    \b
    Examples:
      monochord record queue add tablet-2.jsonl turned girder=G07 occasion=tunnel-1 bolt=B3 turns=-0.25
      monochord record queue add tablet-2.jsonl foot girder=G07 occasion=tunnel-1 foot=F2 found=loose
      monochord record queue add tablet-2.jsonl note words="water under F2" --about girder/G07
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.queue_door import queued

    for line in queued(Path(queue), kind, pairs, about=about, by=by, device=device, first=first):
        click.echo(line)


@queue.command()
@click.argument("queue", type=click.Path(exists=True, dir_okay=False))
@click.option("--device", default="", metavar="NAME", help="Name of this tablet; without it, that of the last entry.")
def close(queue: str, device: str) -> None:
    """Close the file QUEUE before it is brought to the record: its clock and a checksum, so that half of it is seen.

    A queue may grow again after it was closed, and be closed again.

    \b
    Example:
      monochord record queue close tablet-2.jsonl
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.queue_door import closed

    click.echo(closed(Path(queue), device))


@click.command()
@click.argument("queues", metavar="QUEUE...", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False))
@click.option(
    "--clock-shown",
    default="",
    metavar="TIME",
    help="What the tablet's clock shows now, such as 09:30:15: tells how far it is from the record's clock.",
)
@at
@by
def merge(queues: tuple[str, ...], *, clock_shown: str, address: str, by: str) -> None:
    """Merge QUEUEs of tablets into the record: every entry once, however often and in whatever pieces they come.

    Lines that cannot be kept are told with line and column and written beside the queue; all else is kept.

    \b
    Example:
      monochord record merge tablet-2.jsonl --clock-shown 09:30:15 --at ring.sqlite
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.queue_door import merged

    if clock_shown and len(queues) > 1:
        raise click.UsageError("given --clock-shown for several queues; expected one tablet at a time")
    refused = False
    for path in queues:
        said = merged(address, Path(path), clock_shown, by, lambda text: click.echo(text, err=True))
        for line in said.lines:
            click.echo(line)
        for fault in said.faults:
            click.echo(fault, err=True)
        refused = refused or bool(said.faults)
    if refused:
        raise SystemExit(LINES_REFUSED)


COMMANDS = (queue, merge)
