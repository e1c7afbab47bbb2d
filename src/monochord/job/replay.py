"""Redo a run of the record here, and hold every number to what was found then, to its stated digits.

What may differ is told apart: the inputs, which make it another run; and code, settings, libraries, machine, which
explain a difference and, where the numbers agree, are told as a note.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from monochord.files.campaign_file import load_campaign
from monochord.files.checksum import sha256
from monochord.ground.faults import Fault, Refused
from monochord.job.code import code_digest
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.job.run import RECORD
from monochord.report.document import document_text, result_document
from monochord.report.stated import agreed
from monochord.store.journal import Kept, differences, document_of, numbers_digest, runs

#: Parts of a document that are compared one by one and not with the numbers.
APART = ("inputs", "settings")
#: So many characters of a checksum are printed.
SHORT = 12
Document = dict[str, object]


@dataclass(frozen=True, slots=True)
class Replay:
    """A run redone.

    then      the run as the record has it;  compared  how many numbers both documents have
    inputs    files that are missing, changed or new, in words;  different  numbers and words beyond the stated digits
    reasons   what else is not as it was: code, settings, libraries, machine
    """

    then: Kept
    compared: int
    inputs: tuple[str, ...]
    different: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def identical(self) -> bool:
        """Whether the same inputs gave the same stated digits."""
        return not self.inputs and not self.different


def replay_run(folder: Path, context: Context, *, run: int | None = None, record: Path | None = None) -> Replay:
    """Evaluate a campaign again with the settings of a run of its record, the last one when none is named.

    record  a record that stands elsewhere than in the campaign's folder

    Raises Refused when there is no such record or run, or when the run's own document does not fit its checksum.
    """
    then, text = _kept(record or folder / RECORD, run)
    document = _parsed(text)
    settings = {key: str(value) for key, value in _part(document, "settings").items()}
    reasons = [*_code(then, context), *_versions(_part(document, "versions"), context.versions())]
    inputs = list(_inputs(folder, _digests(document)))
    try:
        campaign = load_campaign(folder)
        reasons += _settings(settings, campaign.settings)
        again = result_document(evaluate(replace(campaign, settings=settings), context))
    except Refused as refusal:
        told = tuple(f"cannot be evaluated here: {fault}" for fault in refusal.faults)
        return Replay(then, 0, tuple(inputs), told, tuple(reasons))
    now = _parsed(document_text(again))
    known = _digests(document)
    inputs += [f"{path}: read now, not read then" for path in sorted(set(_digests(now)) - set(known))]
    before, after = ({k: v for k, v in d.items() if k not in APART} for d in (document, now))
    met, count = agreed(before, after)
    found = differences(json.dumps(before), json.dumps(met), most=count + len(text))
    return Replay(then, count, tuple(inputs), tuple(found), tuple(reasons))


def _kept(path: Path, run: int | None) -> tuple[Kept, str]:
    if not path.is_file():
        remedy = "run the campaign first, or name its record with --record"
        raise Refused([Fault("no record", "the record of a campaign's runs", remedy, str(path))])
    kept = {found.number: found for found in runs(path)}
    number = run if run is not None else max(kept, default=0)
    if number not in kept:
        expected = f"one of the runs 1 to {max(kept)}" if kept else "a record that holds a run"
        raise Refused([Fault(f"run {number}", expected, "name a run that is in the record", str(path))])
    text = document_of(path, number)
    if numbers_digest(text) != kept[number].numbers:
        remedy = "the record was altered by other means: take it from a copy"
        raise Refused([Fault(f"run {number} with other numbers than its checksum", "its own", remedy, str(path))])
    return kept[number], text


def _parsed(text: str) -> Document:
    document: Document = json.loads(text)
    return document


def _part(document: Document, name: str) -> Mapping[str, object]:
    part = document.get(name)
    return part if isinstance(part, dict) else {}


def _digests(document: Document) -> dict[str, str]:
    """Path -> checksum of every file that a run read."""
    listed = document.get("inputs")
    entries = [e for e in listed if isinstance(e, dict)] if isinstance(listed, list) else []
    return {str(e["path"]): str(e["sha256"]) for e in entries}


def _inputs(folder: Path, known: Mapping[str, str]) -> Iterator[str]:
    for path, digest in known.items():
        if not (folder / path).is_file():
            yield f"{path}: missing"
        elif (now := sha256(folder / path)) != digest:
            yield f"{path}: changed (sha256 {digest[:SHORT]} then, {now[:SHORT]} now)"


def _code(then: Kept, context: Context) -> Iterator[str]:
    if (now := code_digest()) != then.code:
        yield f"code: {then.made_by}, {then.code[:SHORT]} then, {context.made_by}, {now[:SHORT]} now"


def _settings(then: Mapping[str, str], now: Mapping[str, str]) -> Iterator[str]:
    """Settings that the campaign has now and had not then; the run is redone with those of then."""
    for key in sorted({*then, *now}):
        if then.get(key) != now.get(key):
            yield f"setting {key}: {then.get(key, 'not set')} then, {now.get(key, 'not set')} now (redone as then)"


def _versions(then: Mapping[str, object], now: Mapping[str, str]) -> Iterator[str]:
    lacking = [key for key in now if key not in then]
    if lacking and len(lacking) == len(now):
        yield "libraries and machine: not told then"
        return
    for key in now:
        if str(then.get(key, "not told")) != now[key]:
            yield f"{key.replace('_', ' of ')}: {then.get(key, 'not told')} then, {now[key]} now"


def replay_words(found: Replay, *, most: int = 20) -> list[str]:
    """What a replay found, as lines: the answer first, then what differs, then what may explain it."""
    when = f"run {found.then.number} of {found.then.made_at}"
    if found.identical:
        lines = [f"identical to the stated digits: {found.compared} numbers compared with {when}"]
        return [*lines, *_headed("not as it was, and without effect:", found.reasons, most)]
    lines = [f"differs from {when}: {_counted(found)}"]
    lines += _headed("inputs that differ:", found.inputs, most)
    lines += _headed("beyond the stated digits:", found.different, most)
    lines += _headed("not as it was:", found.reasons, most)
    if not (found.inputs or found.reasons):
        lines.append("inputs, code, settings, libraries and machine are as they were: report it")
    return lines


def _counted(found: Replay) -> str:
    parts = [f"{len(found.inputs)} inputs differ"] if found.inputs else []
    if not found.compared:
        return ", ".join([*parts, "the run could not be redone"])
    return ", ".join([*parts, f"{len(found.different)} entries differ, {found.compared} numbers compared"])


def _headed(head: str, lines: tuple[str, ...], most: int) -> list[str]:
    rest = [f"  and {len(lines) - most} more"] if len(lines) > most else []
    return [head, *(f"  {line}" for line in lines[:most]), *rest] if lines else []
