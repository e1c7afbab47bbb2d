"""Questions to the record of a fleet."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import click

from monochord.cli.record_options import at

girder = click.option("--girder", default="", metavar="NAME", help="Only this girder.")
quantity = click.option("--quantity", default="", metavar="NAME", help="Only this quantity, such as ride_own_move_x.")
most = click.option("--most", default=50, show_default=True, type=click.IntRange(1), help="Rows at most.")
last = click.option(
    "--last", default=400, show_default=True, type=click.IntRange(3), help="So many values of each chart, the latest."
)
page = click.option("--page", type=click.Path(dir_okay=False), metavar="FILE", help="Write the answer as a page here.")
json_out = click.option(
    "--json", "json_out", type=click.Path(dir_okay=False), metavar="FILE", help="Write all numbers here."
)

Command = Callable[..., None]


def outputs(command: Command) -> Command:
    """Options that every question has."""
    return at(page(json_out(command)))


def _answer(question: str, address: str, page: str | None, json_out: str | None, **asked: object) -> None:
    from pathlib import Path

    from monochord.job.record.fleet_door import Asked, answered

    files = (Path(path) if path else None for path in (page, json_out))
    for line in answered(address, question, Asked(**asked), *files):  # type: ignore[arg-type]  # options of the command
        click.echo(line)


def _today(ctx: click.Context, parameter: click.Parameter, given: str | None) -> date:
    """The day asked about; without one, the day by this machine's clock."""
    if given is None:
        return datetime.now(UTC).date()
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise click.BadParameter(f"given {given!r}; expected a day such as 2031-05-07") from None


day = click.option("--today", default=None, callback=_today, metavar="DAY", help="Ask about this day instead of today.")


@click.command()
@girder
@most
@day
@outputs
def state(*, address: str, page: str | None, json_out: str | None, girder: str, most: int, today: date) -> None:
    """Tell where every girder stands and what it waits for, the most urgent first.

    \b
    Example:
      monochord fleet state --at ring.sqlite --page fleet.html
    """  # noqa: D301
    _answer("state", address, page, json_out, girder=girder, most=most, today=today)


@click.command()
@girder
@quantity
@most
@outputs
def margins(*, address: str, page: str | None, json_out: str | None, girder: str, quantity: str, most: int) -> None:
    """Tell the smallest margins to tolerance of the latest verdicts.

    \b
    Example:
      monochord fleet margins --quantity own_move_x
    """  # noqa: D301
    _answer("margins", address, page, json_out, girder=girder, quantity=quantity, most=most)


@click.command()
@girder
@quantity
@last
@outputs
def charts(*, address: str, page: str | None, json_out: str | None, girder: str, quantity: str, last: int) -> None:
    """Draw control charts: own moves in the ride, rounds at the bolts, closure, instruments, stringings.

    \b
    Example:
      monochord fleet charts --quantity rounds_at_bolts --page bolts.html
    """  # noqa: D301
    _answer("charts", address, page, json_out, girder=girder, quantity=quantity, last=last)


@click.command()
@girder
@quantity
@last
@outputs
def outliers(*, address: str, page: str | None, json_out: str | None, girder: str, quantity: str, last: int) -> None:
    """List values that stand out: beyond the limits of their chart, or in runs that chance seldom gives.

    \b
    Example:
      monochord fleet outliers --quantity survey_variance_factor
    """  # noqa: D301
    _answer("outliers", address, page, json_out, girder=girder, quantity=quantity, last=last)


@click.command()
@girder
@quantity
@last
@outputs
def trends(*, address: str, page: str | None, json_out: str | None, girder: str, quantity: str, last: int) -> None:
    """Tell slopes in time with their uncertainty, and which of them chance does not explain.

    \b
    Example:
      monochord fleet trends --girder G07
    """  # noqa: D301
    _answer("trends", address, page, json_out, girder=girder, quantity=quantity, last=last)


@click.command()
@click.argument("serials", metavar="[SERIAL]...", nargs=-1)
@girder
@outputs
def magnets(*, address: str, page: str | None, json_out: str | None, serials: tuple[str, ...], girder: str) -> None:
    """Tell where magnets were, from when to when: those named, those that were on a girder, or all.

    \b
    Example:
      monochord fleet magnets Q-017
    """  # noqa: D301
    _answer("magnets", address, page, json_out, magnets=serials, girder=girder)


@click.command("page")
@click.argument("into", metavar="FILE", type=click.Path(dir_okay=False))
@girder
@most
@last
@day
@at
def whole(into: str, *, address: str, girder: str, most: int, last: int, today: date) -> None:
    """Write all answers to one page: states, margins, what stands out, trends, charts, magnets.

    \b
    Example:
      monochord fleet page fleet.html --at ring.sqlite
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.record.fleet_door import Asked, paged

    for line in paged(address, Asked(girder=girder, most=most, last=last, today=today), Path(into)):
        click.echo(line)


COMMANDS = (state, margins, charts, outliers, trends, magnets, whole)
