"""Run a campaign from its folder, and write what was found beside it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.files.campaign_file import load_campaign
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.report.document import document_text, result_document

#: Folder inside a campaign where results are written.
FOUND = "found"


@dataclass(frozen=True, slots=True)
class Run:
    """One finished run: its result and where its document and its page stand."""

    result: Result
    document: Path
    page: Path | None


def run_campaign(folder: Path, context: Context, *, json_out: Path | None = None, with_page: bool = True) -> Run:
    """Load, evaluate and write: the result document, and the page unless it is not wanted."""
    result = evaluate(load_campaign(folder), context)
    found = folder / FOUND
    found.mkdir(exist_ok=True)
    document = json_out or found / "result.json"
    write_whole(document, document_text(result_document(result)))
    page_file: Path | None = None
    if with_page:
        from monochord.report.page import page  # templates load only when wanted

        page_file = found / "report.html"
        write_whole(page_file, page(result))
    return Run(result, document, page_file)


def write_whole(path: Path, text: str) -> None:
    """Write a file so that a reader sees the old one or the new one, never half of either."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)
