"""The command that replays check moves."""

from __future__ import annotations

import click


@click.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.pass_context
def signs(ctx: click.Context, campaign: str) -> None:
    """Hold the check moves noted in CAMPAIGN against the readings, and name every sign that they contradict.

    \b
    A check move is a small, known move made on purpose: the wire 0.5 mm to the left, a magnet shimmed up by 50 um,
    a bolt turned by a quarter. Exit code 5 when one is contradicted.

    \b
    Example:
      monochord signs campaign-12
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.context import real_context
    from monochord.job.signs import check_signs
    from monochord.report.summary_signs import signs_text

    found = check_signs(Path(campaign), real_context())
    click.echo(signs_text(found))
    if any(s.outcome == "contradicted" for s in found):
        ctx.exit(5)
