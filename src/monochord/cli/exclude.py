"""The command that sets a sighting or a scan aside with a reason."""

from __future__ import annotations

import click


@click.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.option("--sighting", metavar="FILE:LINE", help="The measured file inside CAMPAIGN and the line of the row.")
@click.option("--scan", metavar="OCCASION/MAGNET/PLANE[/NUMBER]", help="A wire scan; PLANE is x or y of the girder.")
@click.option("--take-back", type=int, metavar="N", help="Make what entry N set aside count again; the entry stays.")
@click.option("--list", "listing", is_flag=True, help="Tell the entries with their numbers and reasons.")
@click.option("--why", default="", metavar="TEXT", help="The reason, in a sentence; it is kept and told.")
@click.option("--by", default="", metavar="NAME", help="Who says so.")
def exclude(
    campaign: str,
    *,
    sighting: str | None,
    scan: str | None,
    take_back: int | None,
    listing: bool,
    why: str,
    by: str,
) -> None:
    """Set a sighting or a scan of CAMPAIGN aside: nothing is computed from it, and every result tells it with the reason.

    Measured files stay as they are; an entry is written into campaign.toml.

    \b
    Examples:
      monochord exclude campaign-12 --sighting measured/2-back/sightings.csv:17 --why "the reflector was knocked"
      monochord exclude campaign-12 --scan 2-back/Q1/x/3 --why "a crane passed" --by "A. Surveyor"
      monochord exclude campaign-12 --take-back 1 --why "it was another pointing"
      monochord exclude campaign-12 --list
    """  # noqa: D301
    from pathlib import Path

    from monochord.job import exclude as job
    from monochord.job.context import real_context

    chosen = [sighting is not None, scan is not None, take_back is not None, listing]
    if sum(chosen) != 1:
        raise click.UsageError("give one of --sighting, --scan, --take-back and --list")
    if not listing and not why.strip():
        raise click.UsageError("give the reason by --why: it is kept with the entry and told in every result")
    folder = Path(campaign)
    if listing:
        for line in job.list_lines(job.list_excluded(folder)):
            click.echo(line)
        return
    if take_back is not None:
        done = job.take_back(folder, real_context(), take_back, why, by=by)
        said = "Taken back"
    else:
        what, address = ("sighting", sighting) if sighting is not None else ("scan", scan)
        done = job.exclude(folder, real_context(), what, address or "", why, by=by)
        said = "Set aside"
    click.echo(f"{said}: {done.excluded.occasion}, {done.excluded.what} {done.excluded.name} (entry {done.number})")
    click.echo(f"{done.leaves[0].upper()}{done.leaves[1:]}. Next: monochord run {campaign}")
