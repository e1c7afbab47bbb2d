"""Run a campaign from its folder, and write what was found beside it."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Fault, Refused
from monochord.job.code import code_digest
from monochord.job.context import Context
from monochord.job.doubts import missing
from monochord.job.evaluate import evaluate
from monochord.report.document import document_text, inputs_of, result_document
from monochord.store.journal import Entry, append

#: Folder inside a campaign where results are written, and the campaign's record.
FOUND = "found"
RECORD = "record.sqlite"


@dataclass(frozen=True, slots=True)
class Run:
    """One finished run: its result, where its document, its page and its paper stand, and what the record says of it."""

    result: Result
    document: Path
    page: Path | None
    paper: Path | None
    remembered: str

    @property
    def missing(self) -> list[str]:
        """What was measured and gave nothing at all: axes, or targets, of an occasion."""
        return missing(self.result.campaign, self.result.occasions)


def run_campaign(
    folder: Path, context: Context, *, json_out: Path | None = None, with_page: bool = True, with_paper: bool = True
) -> Run:
    """Load, evaluate, keep in the record and write: the document, and page and paper unless they are not wanted."""
    result = evaluate(load_campaign(folder), context)
    found = folder / FOUND
    found.mkdir(exist_ok=True)
    document = json_out or found / "result.json"
    text = document_text(result_document(result))
    write_whole(document, text)
    remembered = _remember(folder / RECORD, result, text)
    page_file: Path | None = None
    if with_page:
        from monochord.report.page import page  # templates load only when wanted

        page_file = found / "report.html"
        write_whole(page_file, page(result))
    paper_file: Path | None = None
    if with_paper:
        from monochord.report.pdf import pdf

        context.say("setting the report on paper")
        paper_file = found / "report.pdf"
        write_whole(paper_file, pdf(result))
    return Run(result, document, page_file, paper_file, remembered)


def _remember(record: Path, result: Result, text: str) -> str:
    """Keep the run in the record, and say whether an earlier run of the same inputs and code gave the same numbers."""
    origin = result.origin
    entry = Entry(origin.run, origin.made_at, origin.made_by, code_digest(), dict(inputs_of(result)), text)
    kept, earlier = append(record, entry)
    if earlier is None:
        return f"run {kept.number} is in the record {record}"
    if earlier.numbers == kept.numbers:
        return f"run {kept.number} is in the record {record}; its numbers are those of run {earlier.number} of {earlier.made_at}"
    return (
        f"run {kept.number} is in the record {record}; ITS NUMBERS DIFFER from run {earlier.number} of {earlier.made_at} "
        "although inputs and code are the same: report it"
    )


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that a reader sees the old one or the new one, never half of either; Refused when it cannot be written."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as stream:
            stream.write(content.encode("utf-8") if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())  # or the name could come before the bytes when the power fails
        os.replace(part, path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        given = f"a file that cannot be written ({error.strerror or error})"
        remedy = "see to room and rights, then do the same again: the old file is as it was"
        raise Refused([Fault(given, "room and the right to write", remedy, str(path))]) from error
