"""Draft a lab description from unknown files: what was recognised, what must be asked, the text, and its proof."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.files.checksum import content
from monochord.files.container import Contents, contents, inspect
from monochord.files.draft.columns import Column, units_only
from monochord.files.draft.compose import Looked, composed
from monochord.files.draft.findings import Question
from monochord.files.draft.kinds import CONTAINERS, Kind, kinds, see
from monochord.files.draft.lines import Draft, with_article, written
from monochord.files.draft.readback import Proof, read_back
from monochord.files.lab import load_lab
from monochord.files.words import natural
from monochord.ground.faults import Fault, Refused

#: Asks a person one question; gives the answer, or None to leave it open.
Ask = Callable[[Question], str | None]

#: Files that are larger are no tables of a girder [bytes].
MOST_BYTES = 200_000_000

_HEAD = """A draft of a lab description, made from the files of {where}.
Behind every value stands what speaks for it. A line that begins with "#" and holds an empty value is a question:
answer it by writing the value and taking the "#" away; a "?" is one too. Until then the description is not loaded."""


@dataclass(frozen=True, slots=True)
class Drafted:
    """What came of a folder: the kinds of files, words about others, the draft, its text, and the proof."""

    looked: Looked
    draft: Draft
    text: str
    proof: Proof


def draft_description(
    where: Path, answers: Mapping[str, object], ask: Ask | None = None, show: Callable[[str], object] | None = None
) -> Drafted:
    """A lab description from an unknown folder, or from one file.

    answers  by key, as they stand in a description
    ask      for a person at a terminal; asked one after another, since one answer may settle others
    show     tells what was recognised before anything is asked
    """
    files = dict(_files(where))
    name = where.resolve().name
    known, left = dict(answers), set[str]()
    looked = _look(where, files, known)
    if show is not None:
        for line in recognised(looked):
            show(line)
    while True:
        looked = _look(where, files, known)
        made, _ = composed(looked, known, name)
        open_ = [q for q in made.questions if q.key not in left and (q.kind == "choice" or q.needed)]
        if ask is None or not open_:
            break
        answer = ask(open_[0])
        if answer is None:
            left.add(open_[0].key)
        else:
            known[open_[0].key] = answer
    text = written(made, _HEAD.format(where=name))
    tables = {f.path: files[f.path] for k in looked.kinds for f in k.files}
    return Drafted(looked, made, text, read_back(text, "the draft", tables))


def asked(question: Question, say: Callable[[str], object], hear: Callable[[], str]) -> str | None:
    """Put one question to a person: a number for a choice, words for anything else, nothing to leave it open.

    >>> from monochord.files.draft.findings import Choice
    >>> q = Question("signals.currents", "Peak or rms?", (Choice("peak"), Choice("rms")))
    >>> asked(q, lambda line: None, lambda: "2")
    'rms'
    """
    wanted = f" ({with_article(question.dimension)} with its unit)" if question.dimension else ""
    common = f" Commonly {question.proposal}." if question.proposal else ""
    say(f"{question.key}: {question.asks}{wanted}{common}")
    for number, choice in enumerate(question.choices, start=1):
        say(f"  {number}  {choice.value}{f'  ({choice.why})' if choice.why else ''}")
    answer = hear().strip()
    if answer.isdecimal() and 1 <= int(answer) <= len(question.choices):
        return question.choices[int(answer) - 1].value
    return answer or None


def answers_from(path: Path) -> dict[str, object]:
    """Answers of a file: a part of a description, with the keys that a description has."""
    try:
        data = tomllib.loads(content(path).decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Refused([Fault(str(error), "a TOML document", "mend the file of answers", str(path))]) from None
    return dict(_flat("", data))


_WHOLE = ("girder.bolt_kinds", "girder.clamps", "tolerances", "line.weight_of")


def _flat(head: str, data: Mapping[str, object]) -> Iterator[tuple[str, object]]:
    for key, value in data.items():
        path = f"{head}.{key}" if head else key
        if isinstance(value, Mapping) and path not in _WHOLE:
            yield from _flat(path, value)
        else:
            yield path, value


def put(drafted: Drafted, into: Path) -> None:
    """Write the description; a file that is there already is never replaced."""
    try:
        with into.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(drafted.text)
    except FileExistsError:
        remedy = "name another file with --into, or move this one away"
        raise Refused([Fault("a file that is there already", "a new file", remedy, str(into))]) from None
    if not drafted.proof.open:
        load_lab(into)


def _files(where: Path) -> Iterator[tuple[str, bytes]]:
    paths = (
        [where]
        if where.is_file()
        else sorted((p for p in where.rglob("*") if p.is_file()), key=lambda p: natural(str(p)))
    )
    for path in paths:
        shown = path.name if where.is_file() else path.relative_to(where).as_posix()
        if not any(part.startswith(".") for part in shown.split("/")) and path.stat().st_size <= MOST_BYTES:
            yield shown, b"" if _container(shown) else content(path)


def _container(path: str) -> bool:
    return path.rpartition(".")[2].casefold() in CONTAINERS


def _look(where: Path, files: Mapping[str, bytes], answers: Mapping[str, object]) -> Looked:
    words = {k: v for k, v in answers.items() if isinstance(v, str)}
    seen, others, questions = see({p: d for p, d in files.items() if not _container(p)}, words)
    found, which = kinds(seen, words)
    inside: dict[str, Contents] = {}
    for path in filter(_container, files):
        place = where if where.is_file() else where / path
        try:
            inspect(place, path)
            inside[path] = contents(place, path)
        except Refused as refusal:
            others += [str(f) for f in refusal.faults]
    return Looked(tuple(found), inside, tuple(others), (*questions, *which))


def recognised(looked: Looked) -> Iterator[str]:
    """What was recognised, file by file, with its evidence and the first rows as understood."""
    for kind in looked.kinds:
        yield from _of_kind(kind)
    for path, inside in looked.containers.items():
        blocks = sum(len(g.blocks) for g in inside.groups)
        yield f"{path}: a container of raw signals with {len(inside.groups)} groups and {blocks} blocks"
    yield from looked.others


def outcome(drafted: Drafted) -> Iterator[str]:
    """What is open, with choices and their evidence, and what reading back gave."""
    for note in drafted.draft.notes:
        yield f"note: {note}"
    yield from _open(drafted)
    yield from _proof(drafted.proof)


def _of_kind(kind: Kind) -> Iterator[str]:
    shape, text, marks = kind.first.shape, kind.first.text, kind.first.marks
    yield f"{', '.join(f.path for f in kind.files)}: {kind.role or 'not known'} ({kind.why})"
    if text.encoding:
        yield f"  encoding {text.encoding}: {text.why}"
        yield f"  delimiter {shape.delimiter!r}: {shape.why['delimiter']}"
    else:
        yield f"  format {kind.first.kept.format!r}: {shape.why['delimiter']}"
    yield f"  decimal {marks.decimal!r}{f', grouping {marks.grouping!r}' if marks.grouping else ''}: {marks.why}"
    names = f"names in line {shape.header_line}" if shape.header_line else "no names"
    units = f", units in line {shape.unit_line}" if shape.unit_line else ""
    yield f"  {names}{units}, data from line {shape.data_from}{f', remarks begin with {shape.comment!r}' if shape.comment else ''}"
    for f in kind.files:
        for line, what in f.shape.apart[:5]:
            yield f"  {f.path}, line {line} is no data: {what}"
    meanings = {p: k for k, p in kind.fit.places.items()} if kind.fit else {}
    for place, column in enumerate(kind.columns):
        unit = f" in {column.name.unit} (by its {column.unit_from})" if column.name.unit else ""
        low, high = column.span
        span = f"{low:.6g} to {high:.6g}" if column.look == "n" else ", ".join(column.distinct[:3])
        nothing = (
            "units of the column before it" if place - 1 in meanings and units_only(column) else "no meaning found"
        )
        yield f"  column {column.header!r}: {meanings.get(place, nothing)}{unit}, {span}"
    for row, line in list(enumerate(shape.lines))[:2]:
        cells = [f"{k} {_understood(kind.columns[p], row)}" for p, k in sorted(meanings.items())]
        if cells:
            yield f"  line {line} as understood: {', '.join(cells)}"


def _understood(column: Column, row: int) -> str:
    cell = column.cells[row].strip()
    if column.look not in ("n", "a"):
        return repr(cell)
    value = column.values[row]
    return f"{value:.12g} {column.name.unit}".strip() if value == value else "nothing"  # noqa: PLR0124  v == v is not NaN


def _open(drafted: Drafted) -> Iterator[str]:
    questions = drafted.draft.questions
    asked = [q for q in questions if q.kind == "choice"]
    facts = [q for q in questions if q.kind == "fact"]
    if asked:
        yield f"{len(asked)} question{'s' * (len(asked) > 1)} that the files leave open; answer with --answer KEY=VALUE:"
    for q in asked:
        yield f"  {q.key}: {q.asks}"
        for c in q.choices:
            yield f'    --answer {q.key}="{c.value}"{f"  ({c.why})" if c.why else ""}'
    if facts:
        yield f"{len(facts)} facts that no file tells; answer them too, or write them into the description:"
    for q in facts:
        wanted = f" ({with_article(q.dimension)} with its unit)" if q.dimension else ""
        common = f"; commonly {q.proposal}" if q.proposal else ""
        yield f"  {q.key}{'' if q.needed else ' (may be left out)'}: {q.asks}{wanted}{common}"


def _proof(proof: Proof) -> Iterator[str]:
    if proof.open:
        yield f"The description is not loaded yet: {len(proof.open)} things are open."
        for fault in proof.open:
            yield f"  {fault}"
        return
    yield "Read back by the description:"
    for read in proof.read:
        yield f"  {read.path}: {read.role}, {read.rows} rows read, {read.refused} refused"
        for row in read.first:
            yield f"    {row}"
        for fault in read.faults[:3]:
            yield f"    {fault}"
    for line in proof.geometry:
        yield f"  {line}"
