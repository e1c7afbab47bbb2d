"""The budget of one offset, in words: what brings its uncertainty, what would help, what would flip its verdict."""

from __future__ import annotations

from pathlib import Path

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.result import Result
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.report.facts import limit_of
from monochord.report.words import micrometres, number
from monochord.verdict.budget import Budget, Share, budget


def offset_budget(
    folder: Path, occasion: str, magnet: str, plane: str, context: Context
) -> tuple[Budget, float | None]:
    """Budget of the offset of one magnet in one plane on one occasion [m], and its limit [m], None when there is none."""
    result = evaluate(load_campaign(folder), context)
    line = _line(result, occasion)
    known = [name[:-2] for name in line.offsets.names[::2]]
    if magnet not in known:
        raise Refused([Fault(f"magnet {magnet!r}", f"one of {', '.join(known)}", "name a magnet with a known offset")])
    limit = limit_of(result.campaign.tolerances, "offset", magnet)
    return budget(line.offsets, f"{magnet}.{plane}", limit), limit


def _line(result: Result, occasion: str) -> CommonLine:
    lines = {f.name: f.line for f in result.occasions if f.line is not None}
    if occasion not in lines:
        expected = f"one of {', '.join(lines)}" if lines else "an occasion with axes"
        raise Refused([Fault(f"occasion {occasion!r}", expected, "name an occasion that has a common line")])
    return lines[occasion]


def budget_words(made: Budget, limit: float | None) -> list[str]:
    """The budget as lines of text: the value, its shares, the strongest measures, what would flip the verdict."""
    lines = [f"{made.name}: {micrometres(made.value, made.u)} (u, one standard deviation)", "", "What brings u:"]
    lines += [_share_words(share) for share in made.shares if share.part >= 0.001]
    helpful = [r for r in made.reliefs if r.gain >= 0.01][:3]
    lines += ["", "What would help most:"] if helpful else []
    lines += [f"  {r.measure}: u {_bare(r.u_after, 2)}, {number(100.0 * r.gain, 0)} % less" for r in helpful]
    if limit is not None and made.flips:
        first = made.flips[0]
        side = "out of" if abs(made.value) <= limit else "into"
        lines += [
            "",
            f"Limit {_bare(limit, 0)}: a bias of {number(first.times_u, 1)} u in the ",
        ]
        lines[-1] += f"{first.kind} would be the first to bring the value {side} the limit."
    return lines


def _share_words(share: Share) -> str:
    return f"  {share.kind:<22} {_bare(share.u, 2):>8}  {number(100.0 * share.part, 1):>5} % of the variance"


def _bare(length: float, decimals: int) -> str:
    """A length [m] that has no uncertainty of its own, in µm."""
    return f"{number(1e6 * length, decimals)} µm"
