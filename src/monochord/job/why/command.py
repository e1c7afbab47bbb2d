"""Why a number of a campaign is what it is: evaluate, unfold, print, and write for people and machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.files.campaign_file import load_campaign
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.job.run import FOUND, write_whole
from monochord.job.why.explain import explainer
from monochord.job.why.shorthand import full_name
from monochord.job.why.unfold import chain
from monochord.report.document import document_text
from monochord.report.why.chain import Chain
from monochord.report.why.printed import printed_in
from monochord.report.why.text import why_text

#: So many sums are unfolded when nobody says how many.
MOST = 2000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is wanted of an answer: everything behind the numbers, how many sums at most, and files to write."""

    deep: bool = False
    most: int = MOST
    json: Path | None = None
    prov: Path | None = None
    page: Path | None = None


def why(folder: Path, texts: Sequence[str], wanted: Wanted, context: Context) -> str:
    """The answer as text, files written on the way; Refused when a name is unknown or means several numbers.

    texts  names, or words on the way to them; none for every verdict of the last occasion, with its uncertainty
    """
    result = evaluate(load_campaign(folder), context)
    found = unfolded(result, folder, texts, wanted)
    if wanted.json is not None or wanted.prov is not None:
        from monochord.report.why.document import chain_document, prov_document

        for path, make in ((wanted.json, chain_document), (wanted.prov, prov_document)):
            if path is not None:
                write_whole(path, document_text(make(found)))
    if wanted.page is not None:
        from monochord.report.why.page import why_page

        write_whole(wanted.page, why_page(found, result.sentence))
    return why_text(found, deep=wanted.deep)


def unfolded(result: Result, folder: Path, texts: Sequence[str], wanted: Wanted) -> Chain:
    """The chain behind the numbers that are meant; without further files and not deep only their own sums."""
    ask = explainer(result)
    names = [full_name(ask.known.document, text) for text in texts] or judged_last(result)
    files = (wanted.json, wanted.prov, wanted.page)
    all_of_it = wanted.deep or any(path is not None for path in files)
    made = chain(result, folder, names, most=max(wanted.most, len(names)) if all_of_it else len(names))
    report = folder / FOUND / "report.html"
    cells = printed_in(report.read_text(encoding="utf-8")) if report.is_file() else {}
    return replace(made, printed={name: cells[s.value] for name, s in made.sums.items() if s.value in cells})


def judged_last(result: Result) -> list[str]:
    """Names of every verdict's value and u on the last occasion that was judged."""
    document = explainer(result).known.document
    verdicts = document["verdicts"]
    if not isinstance(verdicts, dict) or not verdicts:
        return []
    from monochord.ground.trace import pointer

    last = list(verdicts)[-1]
    return [
        pointer("verdicts", last, magnet, quantity, key)
        for magnet, quantities in verdicts[last].items()
        for quantity, found in quantities.items()
        for key in ("offset", "u")
        if isinstance(found, dict) and found.get(key) is not None
    ]
