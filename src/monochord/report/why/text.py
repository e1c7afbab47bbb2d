"""A number unfolded, as lines of text for the command line."""

from __future__ import annotations

import shlex
from collections.abc import Iterator

from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.report.why.chain import Chain, Row
from monochord.report.why.numbers import argument, factored, printed_sum, rooted, shown, variances
from monochord.report.words import counted, number

#: So many characters of a row are printed.
LONGEST = 100


def why_text(chain: Chain, *, deep: bool = False) -> str:
    """The sums of a chain as text: those that were asked for, or with ``deep`` every one behind them."""
    lines = list(_head(chain))
    for root in chain.roots:
        if root not in chain.sums:
            continue
        met = [made for _, made in chain.walk(root)] if deep else [chain.sums[root]]
        for made in met:
            lines += ["", *sum_lines(chain, made)]
    lines += ["", *_foot(chain, deep)]
    return "\n".join(lines)


def _head(chain: Chain) -> Iterator[str]:
    maker = chain.maker
    yield (
        f"Girder {chain.girder}, run {maker.run} of {maker.made_at}"
        if chain.girder
        else f"Run {maker.run} of {maker.made_at}"
    )
    yield f"{maker.made_by}, code sha256 {maker.code}"
    for file, digest in chain.files.items():
        yield f"{file}  sha256 {digest}"


def _foot(chain: Chain, deep: bool) -> Iterator[str]:
    yield (
        "Lines are rounded to the digits shown, so many that they add up as printed; the last line is the number to the digit "
        "that the report prints, with all its digits behind it."
    )
    waiting = {line.of for made in chain.sums.values() for line in made.lines if line.of} - set(chain.sums)
    if deep and waiting:
        yield f"{counted(len(waiting), 'further sum')} not unfolded here; raise --most to see them."
    elif waiting:
        yield "Ask on by any name behind ->, or unfold everything with --deep."


def sum_lines(chain: Chain, made: Sum) -> list[str]:
    """One sum: its name, what was done, its lines with what each rests on, and the number."""
    how = shown(made, chain.printed.get(made.name, ""))
    amounts = [how.line(line.amount) if made.formula is None else argument(line) for line in made.lines]
    if made.formula is root_of_sum:
        amounts = variances(made)
    foot = how.value(made.value)
    summed = number(float(printed_sum((ln.amount for ln in made.lines), how.factor, how.lines)), how.lines, sign=True)
    width = max(len(a) for a in (*amounts, foot, summed if made.formula is None else ""))
    unit = f" {how.unit}" if how.unit else ""
    lines = [made.name, f"  {made.how}"]
    for line, amount in zip(made.lines, amounts, strict=True):
        own = unit if made.formula is None else ""
        times = rooted(line, made) or factored(line)
        lines.append(f"  {amount:>{width}}{own}  {line.words}{f'  = {times}' if times else ''}")
        lines += [f"  {'':>{width}}    {text}" for text in leads(chain, line)]
    lines.append(f"  {'-' * width}")
    if made.formula is None and len(made.lines) > 1:
        lines.append(f"  {summed:>{width}}{unit}  sum of the lines as printed")
    exact = f"{made.value!r}{f' {made.unit}' if made.unit not in ('', '1') else ''}"
    lines.append(f"  {foot:>{width}}{unit}  the number ({exact})")
    return lines


def leads(chain: Chain, line: Line) -> list[str]:
    """What a line rests on: a name to ask, and rows as they stand."""
    found = [f"-> {shlex.quote(line.of)}"] if line.of else []
    for place in line.places:
        found += [row_text(row) for row in chain.rows.get(place, ())]
    return found


def row_text(row: Row) -> str:
    r"""A row with its file, line and column, and its text as it stands.

    >>> row_text(Row("measured/a.tsv", 4, "t_degC", "top1\t20.026"))
    'measured/a.tsv, line 4, column t_degC: top1  20.026'
    """
    text = " ".join(row.text.replace("\t", "  ").split("\n"))
    cut = text if len(text) <= LONGEST else f"{text[:LONGEST]}..."
    where = f"program {row.file}" if row.program else row.file
    key = "key" if row.cell or row.program or row.file.endswith(".toml") else "column"
    named = f", {key} {row.column}" if row.column else ""
    return f"{where}, line {row.line}{named}: {cut}"
