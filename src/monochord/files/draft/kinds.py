"""The files of a folder grouped into kinds: one name, one shape, one spelling of numbers, and what kind of table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from monochord.files.draft.cells import kind
from monochord.files.draft.columns import Column, column_of
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.kept import format_of, tables, wave_words
from monochord.files.draft.lexicon import COLUMNS
from monochord.files.draft.roles import LEAD, Fitted, fitted
from monochord.files.draft.shape import Shape, shape
from monochord.files.draft.spelling import Marks, marks
from monochord.files.draft.text import Text, found_text
from monochord.files.formats.asked import Kept
from monochord.files.numbers import Spelling, column
from monochord.files.roles import ROLES
from monochord.ground.faults import Refused

#: Files that are no tables whatever they hold.
NO_TABLES = frozenset("md pdf png jpg jpeg svg json toml html htm py ini cfg yml yaml zip doc docx".split())  # noqa: SIM905

#: Containers of raw signals.
CONTAINERS = frozenset({"h5", "hdf5", "hdf", "he5"})


@dataclass(frozen=True, slots=True)
class Seen:
    """One table as it was seen: path of its file, text, shape, spelling, and how it is kept."""

    path: str
    text: Text
    shape: Shape
    marks: Marks
    kept: Kept = field(default_factory=Kept)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """Files of one name and one shape.

    files    in the order of their paths;  columns  with the cells of all of them
    fits     kinds of table that it could be, best first;  role  the one that it is, "" when open or none
    """

    name: str
    files: tuple[Seen, ...]
    columns: tuple[Column, ...]
    fits: tuple[Fitted, ...]
    role: str
    why: str

    @property
    def first(self) -> Seen:
        """Its first file."""
        return self.files[0]

    @property
    def fit(self) -> Fitted | None:
        """The kind of table that it is, with its columns."""
        return next((f for f in self.fits if f.role == self.role), None)


def see(files: Mapping[str, bytes], answers: Mapping[str, str]) -> tuple[list[Seen], list[str], list[Question]]:
    """Every file that holds a table; words about the others; questions about encoding, delimiter and decimal mark."""
    seen: list[Seen] = []
    others: list[str] = []
    questions: list[Question] = []
    for path, data in files.items():
        if path.rpartition(".")[2].casefold() in NO_TABLES:
            others.append(f"{path}: no table by its name; left aside")
            continue
        if path.casefold().endswith(".wav"):
            others.append(wave_words(data, path))
            continue
        if format_of(path):
            _kept(path, data, seen, others)
            continue
        try:
            text = found_text(data, path)
            if text.rivals:
                text = _settled_text(text, data, path, answers, questions)
        except Refused as refusal:
            others.append(f"{path}: {refusal.faults[0].given}; {refusal.faults[0].remedy}")
            continue
        found = shape(text.text)
        if found is not None and found.rivals:
            found = _settled_shape(found, text, path, answers, questions)
        if found is None:
            others.append(f"{path}: no table found (no delimiter gives rows of one width); left aside")
            continue
        cells = [c for of in found.columns if kind(of) == "n" for c in of]
        seen.append(Seen(path, text, found, marks(cells, found.delimiter)))
    return _with_marks(seen, answers, questions), others, questions


def _kept(path: str, data: bytes, seen: list[Seen], others: list[str]) -> None:
    """The tables of a file that is no text."""
    found = False
    try:
        for kept, cut in tables(data, path):
            found = True
            cells = [c for of in cut.columns if kind(of) == "n" for c in of]
            seen.append(Seen(path, Text("", "", f"kept as {kept.format}"), cut, marks(cells, ""), kept))
    except Refused as refusal:
        others.append(f"{path}: {refusal.faults[0].given}; {refusal.faults[0].remedy}")
        return
    if not found:
        others.append(f"{path}: no table found; left aside")


def _settled_text(text: Text, data: bytes, path: str, answers: Mapping[str, str], questions: list[Question]) -> Text:
    told = answers.get("dialect.encoding", "")
    if told in [c.value for c in text.rivals]:
        return found_text(data, path, told)
    _once(questions, Question("dialect.encoding", f"In which encoding was {path} written?", text.rivals))
    return text


def _settled_shape(
    found: Shape, text: Text, path: str, answers: Mapping[str, str], questions: list[Question]
) -> Shape | None:
    told = answers.get("dialect.delimiter", "")
    if told in [c.value for c in found.rivals]:
        cut = shape(text.text, told)
        return replace(cut, rivals=(), why={**cut.why, "delimiter": "as answered"}) if cut else None
    _once(questions, Question("dialect.delimiter", f"What stands between the cells of {path}?", found.rivals))
    return found


def _with_marks(seen: Sequence[Seen], answers: Mapping[str, str], questions: list[Question]) -> list[Seen]:
    """Files whose own numbers do not settle the marks follow the others of their sort, or are asked for."""
    settled: dict[tuple[str, str], dict[tuple[str, str], str]] = {}
    for s in seen:
        if s.marks.settled and not s.marks.rivals:
            settled.setdefault(_sort(s), {}).setdefault((s.marks.decimal, s.marks.grouping), s.path)
    out = []
    for s in seen:
        known = settled.get(_sort(s), {})
        if s.marks.settled and not s.marks.rivals:
            out.append(s)
        elif len({d for d, _ in known}) == 1 and _explains(s, *next(iter(known))):
            (decimal, grouping), path = next(iter(known.items()))
            out.append(replace(s, marks=Marks(decimal, grouping, f"as in {path}")))
        elif s.marks.rivals and answers.get("dialect.decimal") in [c.value for c in s.marks.rivals]:
            decimal = answers["dialect.decimal"]
            grouping = {",": ".", ".": ","}[decimal] if decimal != s.marks.decimal else s.marks.grouping
            out.append(replace(s, marks=Marks(decimal, grouping, "as answered")))
        else:
            if s.marks.rivals:
                asks = f"Which is the decimal mark in {s.path}?"
                _once(questions, Question("dialect.decimal", asks, s.marks.rivals))
            out.append(s)
    return out


def _sort(seen: Seen) -> tuple[str, str]:
    return f"{seen.kept.format} {seen.shape.delimiter}", seen.text.encoding


def _explains(seen: Seen, decimal: str, grouping: str) -> bool:
    """Whether a spelling makes numbers of all cells that look like some."""
    cells = [c.strip() for of in seen.shape.columns if kind(of) == "n" for c in of]
    return not any(odd.kind == "bad" for odd in column(cells, Spelling(decimal, grouping))[1])


def _once(questions: list[Question], question: Question) -> None:
    if question.key not in [q.key for q in questions]:
        questions.append(question)


def kinds(seen: Sequence[Seen], answers: Mapping[str, str]) -> tuple[list[Kind], list[Question]]:
    """Files of one name and one shape together, with the kind of table that each is; questions where two fit."""
    groups: dict[tuple[object, ...], list[Seen]] = {}
    for s in seen:
        groups.setdefault(
            (s.path.rpartition("/")[2], s.shape.header, s.shape.delimiter, s.shape.header_line, s.kept.sheet), []
        ).append(s)
    found: list[Kind] = []
    questions: list[Question] = []
    for (name, *_), members in groups.items():
        made = _kind(str(name), members, answers)
        found.append(made)
        wordy = not made.fits and all(c.look in ("w", "e") for c in made.columns)
        if not made.role and not wordy and answers.get(f"role.{made.name}") != "none":
            questions.append(_which(made))
    return found, questions


def _kind(name: str, members: Sequence[Seen], answers: Mapping[str, str]) -> Kind:
    first = members[0].shape
    columns = []
    for place, header in enumerate(first.header):
        cells = [c for m in members for c in m.shape.columns[place]]
        spelling = Spelling(members[0].marks.decimal, members[0].marks.grouping)
        columns.append(column_of(header, cells, spelling, first.units[place] if first.units else ""))
    fits = fitted(columns, name)
    told = answers.get(f"role.{name}", "")
    role, why = "", "nothing about it is that of a known kind of table"
    if told in COLUMNS:
        role, why = told, "as answered"
        fits = [f for f in fits if f.role == told] or [Fitted(told, 0.0, {}, {}, _needed(told))]
    elif fits:
        second = fits[1].score if len(fits) > 1 else 0.0
        named = [first.header[p] for p in fits[0].places.values()]
        if fits[0].score - second >= LEAD:
            role, why = fits[0].role, f"by {', '.join(named[:4])}{', ...' if len(named) > 4 else ''}"
        else:
            why = f"could be {fits[0].role} or {fits[1].role}"
    return Kind(name, tuple(members), tuple(columns), tuple(fits), role, why)


def _needed(role: str) -> tuple[str, ...]:
    return tuple(k for k, m in ROLES[role].items() if m.needed)


def _which(made: Kind) -> Question:
    leading = [f for f in made.fits if made.fits[0].score - f.score < LEAD]
    choices = [
        Choice(f.role, f"with {', '.join(f'{k} = {made.first.shape.header[p]}' for k, p in f.places.items())}")
        for f in leading
    ]
    more = [Choice(role) for role in COLUMNS if role not in [c.value for c in choices]] if len(leading) < 2 else []
    asks = f"What kind of table is {made.name} ({', '.join(made.first.shape.header[:6])})?"
    return Question(
        f"role.{made.name}", asks, (*choices, *more, Choice("none", "it is not read")), needed=bool(leading)
    )


def of_role(found: Iterable[Kind], role: str) -> list[Kind]:
    """The kinds that are this kind of table."""
    return [k for k in found if k.role == role]
