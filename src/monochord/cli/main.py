"""The door: commands, what they take, and how they end.

Only click is imported here; a command brings in the job when it runs, so that help is quick.
"""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path

import click

from monochord import __version__
from monochord.ground.faults import MonochordError, Refused

DEFECT, REFUSED, LACKING = 1, 3, 4

# The matrices of one girder are small: more threads only wait for each other. Whoever sets the number keeps it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Door(click.Group):
    """The group of commands; turns what goes wrong inside into one of the documented exit codes."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; faults are told one a line, and a defect names where its details stand."""
        try:
            return super().invoke(ctx)
        except Refused as refused:
            for fault in refused.faults:
                click.echo(str(fault), err=True)
            count = len(refused.faults)
            click.echo(f"refused: {count} fault{'s' if count != 1 else ''}; nothing was changed", err=True)
            ctx.exit(REFUSED)
        except MonochordError as error:
            click.echo(str(error), err=True)
            ctx.exit(REFUSED)
        except OSError as error:
            click.echo(
                f"given {error.filename or 'a file'}: {error.strerror or error}; check the path and its rights",
                err=True,
            )
            ctx.exit(REFUSED)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            place = Path("monochord-defect.txt").resolve()
            place.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
            click.echo(
                f"defect of the program: {type(error).__name__}: {error}; details are in {place}, please report it",
                err=True,
            )
            ctx.exit(DEFECT)


@click.group(cls=Door, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="%(prog)s %(version)s")
def main() -> None:
    r"""Magnetic axes of a girder, from the vibrating wire to the decision.

    \b
    A laboratory begins once, with a description of how its own files read:
      monochord begin FOLDER --lab LAB.toml --into CAMPAIGN
    and evaluates whenever something new was measured:
      monochord run CAMPAIGN
    To see the whole on an invented example:
      monochord demo

    Exit codes: 0 done, 1 defect of the program, 2 command given wrongly, 3 input refused,
    4 done, but the result lacks something essential.
    """


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--lab",
    required=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The lab description: how this laboratory's files read.",
)
@click.option(
    "--into", required=True, type=click.Path(path_type=Path), help="Folder of the campaign, made by this command."
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help='A fact that no file tells, such as temperature.4-back="20.31 degC"; repeat as needed.',
)
def begin(folder: Path, lab: Path, into: Path, settings: tuple[str, ...]) -> None:
    r"""Make a campaign from a laboratory's FOLDER.

    The measured files are copied untouched, with their checksums; the girder's facts are written as
    plain text with their units. Nothing is evaluated yet.

    \b
    Example:
      monochord begin ../girder-12 --lab our-lab.toml --into campaign-12
    """
    from monochord.job.begin import begin_campaign
    from monochord.job.context import real_context

    for note in begin_campaign(folder, lab, into, _pairs(settings), real_context()):
        click.echo(f"note: {note}")
    click.echo(f"The campaign stands in {into}. Next: monochord run {into}")


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--json",
    "json_out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the result document here instead of CAMPAIGN/found/result.json.",
)
@click.option("--page/--no-page", default=True, help="Write the page CAMPAIGN/found/report.html, or leave it.")
@click.option("--paper/--no-paper", default=True, help="Write the paper CAMPAIGN/found/report.pdf, or leave it.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
def run(campaign: Path, json_out: Path | None, page: bool, paper: bool, quiet: bool) -> None:
    r"""Evaluate all that is in CAMPAIGN: axes, offsets, targets, and what could not be found and why.

    \b
    Example:
      monochord run campaign-12 --json result.json
    """
    from monochord.job.context import real_context
    from monochord.job.run import run_campaign
    from monochord.report.summary import summary

    context = real_context() if quiet else real_context(lambda line: click.echo(line, err=True))
    done = run_campaign(campaign, context, json_out=json_out, with_page=page, with_paper=paper)
    if not quiet:
        click.echo(summary(done.result))
        for what, where in (("Result", done.document), ("Page", done.page), ("Paper", done.paper)):
            if where is not None:
                click.echo(f"{what}: {where}")
        click.echo(f"Record: {done.remembered}")
    if not any(f.wire or f.points for f in done.result.occasions):
        sys.exit(LACKING)


@main.command()
@click.option(
    "--seed", default=1, show_default=True, help="Seed of the invented campaign; the same seed gives the same data."
)
@click.option(
    "--into",
    default="demo-campaign",
    show_default=True,
    type=click.Path(path_type=Path),
    help="Folder for the example.",
)
def demo(seed: int, into: Path) -> None:
    """Invent a girder, measure it virtually, evaluate it, and name the report. All its data are invented."""
    from monochord.job.context import real_context
    from monochord.job.demo import run_demo
    from monochord.report.summary import summary

    done = run_demo(into, seed, real_context(lambda line: click.echo(line, err=True)))
    click.echo(summary(done.result))
    click.echo(f"Page: {done.page}   Paper: {done.paper}   Result: {done.document}")
    click.echo(f"All data invented, seed {seed}.")


def _pairs(settings: tuple[str, ...]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for text in settings:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise click.BadParameter(
                f'given {text!r}; expected NAME=VALUE, such as temperature.4-back="20.31 degC"', param_hint="--set"
            )
        pairs[name.strip()] = value.strip()
    return pairs


if __name__ == "__main__":
    main()
