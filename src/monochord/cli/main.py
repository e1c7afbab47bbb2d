"""The door: commands, what they take, and how they end.

Only click is imported here; a command brings in the job when it runs, so that help is quick.
"""

from __future__ import annotations

import os
import sys
from functools import partial

import click

from monochord import __version__
from monochord.cli.exclude import exclude
from monochord.cli.later import Later
from monochord.cli.serve import serve
from monochord.cli.signs import signs

DEFECT, REFUSED, LACKING, DIFFERS = 1, 3, 4, 5

# The matrices of one girder are small: more threads only wait for each other. Whoever sets the number keeps it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class Door(click.Group):
    """The group of commands; turns what goes wrong inside into one of the documented exit codes."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; faults are told one a line, and a defect names where its details stand."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            ctx.exit(_told(error))


def _told(error: Exception) -> int:
    """Tell what went wrong and give the exit code; what this needs loads only now, so that help stays quick."""
    from monochord.ground.faults import MonochordError, Refused

    if isinstance(error, Refused):
        for fault in error.faults:
            click.echo(str(fault), err=True)
        count = len(error.faults)
        click.echo(f"refused: {count} fault{'s' if count != 1 else ''}; nothing was changed", err=True)
        return REFUSED
    if isinstance(error, MonochordError):
        click.echo(str(error), err=True)
        return REFUSED
    if isinstance(error, OSError):
        why = error.strerror or str(error)
        click.echo(f"given {error.filename or 'a file'}: {why}; check the path and its rights", err=True)
        return REFUSED
    return _defect(error)


def _defect(error: Exception) -> int:
    import traceback
    from pathlib import Path

    place = Path("monochord-defect.txt").resolve()
    place.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
    said = f"{type(error).__name__}: {error}"
    click.echo(f"defect of the program: {said}; details are in {place}, please report it", err=True)
    return DEFECT


@click.group(cls=Door, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, message="%(prog)s %(version)s")
def main() -> None:
    """Magnetic axes of a girder, from the vibrating wire to the decision.

    \b
    A laboratory begins once, with a description of how its own files read:
      monochord begin FOLDER --lab LAB.toml --into CAMPAIGN
    and evaluates whenever something new was measured:
      monochord run CAMPAIGN
    To see the whole on an invented example:
      monochord demo

    Exit codes: 0 done, 1 defect of the program, 2 command given wrongly, 3 input refused,
    4 done, but the result lacks something essential, 5 done, but what was compared differs.
    """  # noqa: D301


@main.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False))
@click.option(
    "--lab",
    required=True,
    type=click.Path(exists=True, dir_okay=False),
    help="The lab description: how this laboratory's files read.",
)
@click.option("--into", required=True, type=click.Path(), help="Folder of the campaign, made by this command.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="NAME=VALUE",
    help='A fact that no file tells, such as temperature.4-back="20.31 degC"; repeat as needed.',
)
def begin(folder: str, lab: str, into: str, settings: tuple[str, ...]) -> None:
    """Make a campaign from a laboratory's FOLDER.

    The measured files are copied untouched, with their checksums; the girder's facts are written as
    plain text with their units. Nothing is evaluated yet.

    \b
    Example:
      monochord begin ../girder-12 --lab our-lab.toml --into campaign-12
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.begin import begin_campaign, import_lines
    from monochord.job.context import real_context

    context = real_context(lambda line: click.echo(line, err=True))
    for note in begin_campaign(Path(folder), Path(lab), Path(into), _pairs(settings), context):
        click.echo(f"note: {note}")
    for line in import_lines(Path(into)):
        click.echo(f"read: {line}")
    click.echo(f"The campaign stands in {into}. Next: monochord run {into}")


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.option(
    "--json",
    "json_out",
    type=click.Path(dir_okay=False),
    help="Write the result document here instead of CAMPAIGN/found/result.json.",
)
@click.option("--page/--no-page", default=True, help="Write the page CAMPAIGN/found/report.html, or leave it.")
@click.option("--paper/--no-paper", default=True, help="Write the paper CAMPAIGN/found/report.pdf, or leave it.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
def run(campaign: str, json_out: str | None, page: bool, paper: bool, quiet: bool) -> None:
    """Evaluate all that is in CAMPAIGN: axes, offsets, targets, and what could not be found and why.

    \b
    Example:
      monochord run campaign-12 --json result.json
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.context import real_context
    from monochord.job.run import run_campaign
    from monochord.report.summary import summary

    context = real_context() if quiet else real_context(lambda line: click.echo(line, err=True))
    done = run_campaign(
        Path(campaign), context, json_out=Path(json_out) if json_out else None, with_page=page, with_paper=paper
    )
    if not quiet:
        click.echo(summary(done.result))
        for what, where in (("Result", done.document), ("Page", done.page), ("Paper", done.paper)):
            if where is not None:
                click.echo(f"{what}: {where}")
        click.echo(f"Record: {done.remembered}")
    if done.missing or not any(f.wire or f.points for f in done.result.occasions):
        sys.exit(LACKING)


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.argument("occasion", required=False, default="")
@click.argument("magnet", required=False, default="")
@click.argument("quantity", required=False, default="")
def budget(campaign: str, occasion: str, magnet: str, quantity: str) -> None:
    """Tell what limits the numbers of CAMPAIGN: what brings their uncertainty, what would shrink it, what would turn a verdict.

    Without more, the latest occasion as a table; with OCCASION that one; with MAGNET each of its quantities in full, or
    the QUANTITY named: x, y, own_move_x, own_move_y, slope_x, slope_y or roll.

    \b
    Examples:
      monochord budget campaign-12
      monochord budget campaign-12 5-restored Q1 x
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.budgets import budget_text
    from monochord.job.context import real_context

    for line in budget_text(Path(campaign), real_context(), occasion, magnet, quantity):
        click.echo(line)


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.option("--run", "number", type=int, help="Number of the run in the record; the last one when left out.")
@click.option(
    "--record", type=click.Path(exists=True, dir_okay=False), help="A record that stands elsewhere than in CAMPAIGN."
)
def replay(campaign: str, number: int | None, record: str | None) -> None:
    """Redo a run of the record here and compare every number with what was found then, to its stated digits.

    \b
    Example:
      monochord replay campaign-12 --run 3
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.context import real_context
    from monochord.job.replay import replay_run, replay_words

    found = replay_run(Path(campaign), real_context(), run=number, record=Path(record) if record else None)
    for line in replay_words(found):
        click.echo(line)
    if not found.identical:
        sys.exit(DIFFERS)


@main.command()
@click.argument("campaigns", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False))
@click.option("--page", "page_out", type=click.Path(dir_okay=False), help="Write a page with charts and tables here.")
@click.option("--json", "json_out", type=click.Path(dir_okay=False), help="Write all numbers here.")
@click.option(
    "--scale-into",
    type=click.Path(exists=True, file_okay=False),
    metavar="CAMPAIGN",
    help="Write the factor, when one is proposed, into this campaign; its next run enlarges what decides and says so.",
)
def closure(campaigns: tuple[str, ...], page_out: str | None, json_out: str | None, scale_into: str | None) -> None:
    """Hold wire and survey against each other over the last runs of CAMPAIGNS, or of all campaigns below a folder.

    Tells whether the uncertainties are right over many girders, which girder and which magnet stands out, and, when
    more than ten girders are in and they do not close, by which factor the uncertainties are too small. Nothing is
    enlarged unless --scale-into says so.

    \b
    Example:
      monochord closure all-campaigns --page closure.html
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.fleet import closure_of_fleet, scale_into_campaign, write_fleet
    from monochord.report.fleet.words import fleet_lines

    fleet = closure_of_fleet([Path(c) for c in campaigns])
    for line in fleet_lines(fleet.found, fleet.without):
        click.echo(line)
    write_fleet(fleet, page=Path(page_out) if page_out else None, json_out=Path(json_out) if json_out else None)
    for what, where in (("Page", page_out), ("Numbers", json_out)):
        if where is not None:
            click.echo(f"{what}: {where}")
    if scale_into is not None:
        scale = scale_into_campaign(Path(scale_into), fleet.found)
        click.echo(f"Written into {scale_into}: {scale.words}. Next: monochord run {scale_into}")
    if not fleet.found.girders:
        sys.exit(LACKING)


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.argument("names", metavar="[NAME]...", nargs=-1)
@click.option("--deep", is_flag=True, help="Unfold everything behind the numbers, down to rows of files and settings.")
@click.option("--most", default=2000, show_default=True, help="Unfold at most so many sums, the nearest first.")
@click.option("--json", "json_out", type=click.Path(dir_okay=False), help="Write what was unfolded as JSON.")
@click.option("--prov", type=click.Path(dir_okay=False), help="Write what was unfolded as W3C PROV-JSON.")
@click.option(
    "--page", type=click.Path(dir_okay=False), help="Write what was unfolded as one page that opens line by line."
)
def why(
    campaign: str,
    names: tuple[str, ...],
    *,
    deep: bool,
    most: int,
    json_out: str | None,
    prov: str | None,
    page: str | None,
) -> None:
    """Tell why a number is what it is: a sum whose lines lead on, down to the rows that were read.

    NAME is the place of a number in the result document (a JSON Pointer), or words that stand on the way to one
    number. Without a NAME: every verdict of the last occasion that was judged.

    \b
    Examples:
      monochord why campaign-12 "5-restored Q1 x"
      monochord why campaign-12 /occasions/5-restored/axes/Q1/x --deep
      monochord why campaign-12 --page why.html
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.context import real_context
    from monochord.job.why.command import Wanted
    from monochord.job.why.command import why as told

    files = (Path(path) if path else None for path in (json_out, prov, page))
    click.echo(told(Path(campaign), names, Wanted(deep, most, *files), real_context()))


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.argument("occasion", required=False, default="")
@click.option("--runs", default=1000, show_default=True, help="Runs of the chain at most; one takes about 0.1 s.")
@click.option("--digits", type=click.Choice(["1", "2"]), default="1", show_default=True, help="Digits of u to hold to.")
@click.option("--seed", default=1, show_default=True, help="The same seed gives the same draws.")
def check(campaign: str, occasion: str, runs: int, digits: str, seed: int) -> None:
    """Hold the linear uncertainties of an occasion's offsets to draws of the whole chain over its raw readings.

    Every reading is drawn by its noise and every shared cause by its spread, and the chain is run on them. Ends with 5
    where the linear law does not hold. Ctrl-C ends the runs and tells what there is.

    \b
    Example:
      monochord check campaign-12 5-restored --runs 2000
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.check import check_campaign
    from monochord.job.context import real_context

    context = real_context(lambda line: click.echo(line, err=True))
    holds, lines = check_campaign(Path(campaign), context, occasion=occasion, runs=runs, digits=int(digits), seed=seed)
    for line in lines:
        click.echo(line)
    if not holds:
        sys.exit(DIFFERS)


@main.command()
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.option("--into", required=True, type=click.Path(file_okay=False), help="Folder for the files; none is replaced.")
@click.option(
    "--as",
    "kinds",
    multiple=True,
    type=click.Choice(["csv", "json", "hdf5"]),
    help="What to write; repeat as needed, all three when left out.",
)
@click.option("--run", "number", type=int, help="Number of the run in the record; the last one when left out.")
def export(campaign: str, into: str, kinds: tuple[str, ...], number: int | None) -> None:
    """Write the results of a run of CAMPAIGN for other programs: every digit, units in the heads.

    csv: tables of axes, offsets, targets, own moves, verdicts, moves and turns. json: the result document with its
    schema. hdf5: everything, with covariances and units.

    \b
    Example:
      monochord export campaign-12 --into results --as csv
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.export import KINDS, export_campaign

    then, written = export_campaign(Path(campaign), Path(into), tuple(dict.fromkeys(kinds)) or KINDS, number)
    click.echo(f"Run {then.number} of {then.made_at}:")
    for path in written:
        click.echo(f"  {path}")


@main.command()
@click.argument("where", metavar="FOLDER_OR_FILE", type=click.Path(exists=True))
@click.option("--into", type=click.Path(dir_okay=False), metavar="LAB.toml", help="Write the description here.")
@click.option("--answer", "told", multiple=True, metavar="KEY=VALUE", help="An answer to a question; repeat as needed.")
@click.option(
    "--answers",
    "sheet",
    type=click.Path(exists=True, dir_okay=False),
    metavar="FACTS.toml",
    help="Answers in a file, written like a part of a description.",
)
@click.option("--yes", is_flag=True, help="Ask nothing at a terminal: take what is proven, list what is open.")
def draft(where: str, into: str | None, told: tuple[str, ...], sheet: str | None, yes: bool) -> None:
    """Draft a lab description from an unknown laboratory's FOLDER_OR_FILE: what it seems to hold, and why.

    What the files leave open is asked, at a terminal one by one, else listed with its choices; nothing is chosen
    where a mix-up would pass unseen. The description is proven by reading the files back with it. Ends with 4
    while something is open that the description needs.

    \b
    Examples:
      monochord draft ../girder-12
      monochord draft ../girder-12 --into our-lab.toml --answers our-facts.toml
    """  # noqa: D301
    from pathlib import Path

    from monochord.job.draft import answers_from, asked, draft_description, outcome, put

    answers = (answers_from(Path(sheet)) if sheet else {}) | _pairs(told, "--answer", "strength.means=derivative")
    hear = partial(click.prompt, "answer", default="", show_default=False)
    at_terminal = sys.stdin.isatty() and not yes
    ask = (lambda q: asked(q, click.echo, hear)) if at_terminal else None
    drafted = draft_description(Path(where), answers, ask, click.echo)
    for line in outcome(drafted):
        click.echo(line)
    if into is not None:
        put(drafted, Path(into))
        click.echo(f"The draft stands in {into}.")
    if drafted.proof.open:
        sys.exit(LACKING)


@main.command()
@click.option(
    "--seed", default=1, show_default=True, help="Seed of the invented campaign; the same seed gives the same data."
)
@click.option(
    "--into",
    default="demo-campaign",
    show_default=True,
    type=click.Path(),
    help="Folder for the example.",
)
def demo(seed: int, into: str) -> None:
    """Invent a girder, measure it virtually, evaluate it, and name the report. All its data are invented."""
    from pathlib import Path

    from monochord.job.context import real_context
    from monochord.job.demo import run_demo
    from monochord.report.summary import summary

    done = run_demo(Path(into), seed, real_context(lambda line: click.echo(line, err=True)))
    click.echo(summary(done.result))
    click.echo(f"Page: {done.page}   Paper: {done.paper}   Result: {done.document}")
    click.echo(f"All data invented, seed {seed}.")


main.add_command(serve)
main.add_command(signs)
main.add_command(exclude)
main.add_command(
    Later(
        "record",
        "monochord.cli.record",
        "Keep campaigns, people's entries and signatures for decades, and ask the fleet.",
    )
)

main.add_command(
    Later(
        "fleet",
        "monochord.cli.fleet",
        "Ask the record of a fleet: what waits for what, margins, charts, outliers, trends.",
    )
)

_LIKE = 'temperature.4-back="20.31 degC"'


def _pairs(settings: tuple[str, ...], option: str = "--set", like: str = _LIKE) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for text in settings:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise click.BadParameter(f"given {text!r}; expected NAME=VALUE, such as {like}", param_hint=option)
        pairs[name.strip()] = value.strip()
    return pairs


if __name__ == "__main__":
    main()
