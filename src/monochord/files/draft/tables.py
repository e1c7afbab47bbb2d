"""The tables of a description from kinds of files: columns, units, words, notations, signs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from monochord.files.draft import words
from monochord.files.draft.cells import notations
from monochord.files.draft.columns import LETTERS, Column, units_only
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.kinds import Kind
from monochord.files.draft.lines import Draft, Section
from monochord.files.roles import ROLES
from monochord.ground import units

#: Words of one language for what was felt at a foot: where some are seen, the others may come.
FELT = (
    {"lose": "loose", "berührt": "touching", "beruehrt": "touching", "fest": "tight", "geklemmt": "held"},
    {"libre": "loose", "touche": "touching", "serré": "tight", "bridé": "held"},
    {"suelto": "loose", "toca": "touching", "apretado": "tight", "sujeto": "held"},
    {"libero": "loose", "tocca": "touching", "stretto": "tight", "bloccato": "held"},
    {"loose": "loose", "touching": "touching", "tight": "tight", "held down": "held"},
    {"free": "loose", "just on": "touching", "firm": "tight", "clamped": "held"},
)
SIGNS = "signs"
ALONG = "along the axes"


@dataclass(slots=True)
class Work:
    """What is known beside the tables: units that the geometry settled, frame words by letter, and the open question of signs.

    units  (role, key) -> unit and why;  frame  letter -> direction, empty while open
    """

    draft: Draft
    units: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    frame: Mapping[str, str] = field(default_factory=dict)
    along: str = ""
    turned: set[str] = field(default_factory=set)


def table(work: Work, kind: Kind, pattern: str, shared: Mapping[str, object]) -> Section:
    """The section of one table and that of its columns; further keys of the role go into what comes back."""
    fit = kind.fit
    assert fit is not None
    head = work.draft.section(f"tables.{kind.role}")
    head.add("file", pattern, f"{len(kind.files)} file{'s' * (len(kind.files) > 1)}; {kind.why}")
    kept = kind.first.kept
    if kept.format != "text":
        head.add("format", kept.format, kind.first.shape.why["delimiter"])
        for word, inside in (("sheet", kept.sheet), ("inside", kept.inside)):
            if inside:
                head.add(word, inside, "one of several")
    own = {k: v for k, v in dialect(kind).items() if shared.get(k) != v}
    own |= {k: _NEUTRAL[k] for k in shared if k not in dialect(kind) and k in _NEUTRAL}
    if own:
        head.add("dialect", own, "; ".join(kind.first.shape.why.get(k, "") for k in own if k in kind.first.shape.why))
    section = work.draft.section(f"tables.{kind.role}.columns")
    places = _asked_places(work, kind, fit.places, fit.rivals, section)
    for key, place in places.items():
        _column(work, kind, section, key, place)
    for key in fit.lacking:
        if key not in places:
            _lacking(work, kind, section, key)
    unread = [
        c.header for i, c in enumerate(kind.columns)
        if i not in places.values() and not (units_only(c) and i - 1 in places.values())
    ]  # fmt: skip
    if unread:
        head.add("passed_over", unread, "no meaning found for them; they are not read")
    return head


_NEUTRAL: dict[str, object] = {"comment": "", "header_line": 1, "grouping": ""}


def dialect(kind: Kind) -> dict[str, object]:
    """The keys of a dialect that this kind of file needs."""
    shape, text, marks = kind.first.shape, kind.first.text, kind.first.marks
    found: dict[str, object] = {}
    if kind.first.kept.format == "text":
        found = {"delimiter": shape.delimiter, "decimal": marks.decimal, "encoding": text.encoding}
    if marks.grouping:
        found["grouping"] = marks.grouping
    if shape.comment:
        found["comment"] = shape.comment
    if shape.header_line != 1:
        found["header_line"] = shape.header_line
    if shape.unit_line:
        found["unit_line"] = shape.unit_line
    if shape.data_from != max(shape.header_line, shape.unit_line) + 1:
        found["data_from"] = shape.data_from
    if shape.widths:
        found["widths"] = list(shape.widths)
    totals = dict.fromkeys(t for f in kind.files for t in f.shape.totals)
    if totals:
        found["totals"] = list(totals)
    return found


def _asked_places(
    work: Work, kind: Kind, places: Mapping[str, int], rivals: Mapping[str, list[int]], section: Section
) -> dict[str, int]:
    """Columns by meaning after answers; a column that another fits as well is asked for."""
    headers = [c.header for c in kind.columns]
    out = {}
    for key, place in places.items():
        path = f"tables.{kind.role}.columns.{key}"
        if key in rivals or path in work.draft.answers:
            options = [place, *rivals.get(key, [])] if key in rivals else range(len(headers))
            told = work.draft.put(section, key, _which_column(kind, path, key, options)) if key in rivals else None
            told = told or _answered(work, path)
            if key in rivals:
                section.lines.pop()
            if told is None:
                section.add(key, None, f"which column is it: {', '.join(headers[i] for i in options)}?")
                continue
            out[key] = headers.index(told) if told in headers else place
            continue
        out[key] = place
    for path in work.draft.answers:
        head, _, key = path.rpartition(".")
        if head == f"tables.{kind.role}.columns" and key in ROLES[kind.role] and key not in out:
            told = _answered(work, path)
            if told in headers:
                out[key] = headers.index(told)
                work.draft.settled.append(Question(path, "which column"))
    return out


def _answered(work: Work, path: str) -> str | None:
    told = work.draft.answers.get(path)
    return told if isinstance(told, str) else None


def _which_column(kind: Kind, path: str, key: str, options: Sequence[int]) -> Question:
    choices = tuple(Choice(kind.columns[i].header, f"holds {', '.join(kind.columns[i].distinct[:3])}") for i in options)
    return Question(path, f"Which column of {kind.name} is the {key.replace('_', ' ')}?", choices)


def _lacking(work: Work, kind: Kind, section: Section, key: str) -> None:
    options = [i for i in range(len(kind.columns)) if kind.fit is None or i not in kind.fit.places.values()]
    path = f"tables.{kind.role}.columns.{key}"
    work.draft.put(section, key, _which_column(kind, path, key, options or range(len(kind.columns))))


def _column(work: Work, kind: Kind, section: Section, key: str, place: int) -> None:
    column = kind.columns[place]
    if kind.role == "ride" and key in words.DIRECTIONS.values():
        _ride(work, section, key, column)
        return
    meaning = ROLES[kind.role][key]
    if meaning.kind == "time":
        _time(work, kind, section, key, column)
        return
    if meaning.kind in ("word", "axis") or key in ("kind", "carrier"):
        _words(work, kind, section, key, column)
        return
    if meaning.kind != "number":
        section.add(key, column.header, _shown(column))
        return
    entry: dict[str, object] = {"column": column.header}
    told = f"tables.{kind.role}.columns.{key}.unit"
    following = kind.columns[place + 1] if place + 1 < len(kind.columns) else None
    unit, why = _unit(work, kind, key, column)
    if column.look == "a":
        entry["notation"], why = "degrees minutes seconds", "three parts in each cell"
    elif key == "strength" and not unit and following is not None and units_only(following):
        entry["unit_column"], why = following.header, f"units in the next column: {', '.join(following.distinct)}"
    elif unit and column.unit_from == "unit line":
        entry["unit_line"] = True
    elif unit:
        entry["unit"] = unit
    else:
        dimension = meaning.dimension
        known = tuple(Choice(u, f"then {_span(column)} {u}") for u in _units_of(dimension))
        answer = work.draft.ask(Question(told, f"In which unit is {column.header!r} of {kind.name}?", known))
        entry |= {"unit": answer} if answer else {}
        why = "as answered" if answer else f"OPEN {told}: its unit; it holds {_span(column)}"
    _signed(work, key, column, entry)
    section.add(key, entry, why)


def _signed(work: Work, key: str, column: Column, entry: dict[str, object]) -> None:
    """The sign of stages and displacements, which no file of a girder's lonely wire can prove."""
    if not key.startswith("stage_") and not key.endswith(("_in", "_quadrature", "_amplitude")):
        return
    sign = sign_of(work, column.header)
    if sign != "+":
        entry["sign"] = sign


def sign_of(work: Work, name: str) -> str:
    """The sign of a stage or sensor: "+" or "-" as answered; "?", which no loading takes, while the question of signs is open."""
    question = Question(
        SIGNS,
        "Do stages and sensors count positive along the laboratory's axes as their names say? A wrong sign mirrors every "
        "offset and no file can show it. If not, name what counts the other way, with commas between.",
        (Choice(ALONG),),
    )
    told = work.draft.answers.get(SIGNS)
    if told is None:
        work.draft.ask(question)
        return "?"
    work.draft.settled.append(question)
    turned = [] if told == ALONG else [t.strip() for t in str(told).split(",")]
    work.turned |= {name} & set(turned)
    return "-" if name in turned else "+"


def _unit(work: Work, kind: Kind, key: str, column: Column) -> tuple[str, str]:
    """The unit of a column and what tells it, ("", "") when nothing does."""
    path = f"tables.{kind.role}.columns.{key}.unit"
    told = work.draft.answers.get(path)
    if isinstance(told, str) and not column.name.unit:
        work.draft.settled.append(Question(path, "unit"))
        return told, "as answered"
    if (kind.role, key) in work.units:
        return work.units[kind.role, key]
    if column.name.unit:
        unit = column.name.unit
        turned = key == "thread_pitch" and "/turn" not in unit
        said = "the name says it" if column.unit_from == "name" else f"line {kind.first.shape.unit_line} says it"
        return (f"{unit}/turn" if turned else unit), f"{said}; {_shown(column)}"
    return _by_range(ROLES[kind.role][key].dimension, column)


def _by_range(dimension: str, column: Column) -> tuple[str, str]:
    """The unit in which alone the numbers are what they can be."""
    low, high = column.span
    if dimension == "temperature" and 5.0 < low <= high < 45.0:
        return "degC", f"{low:g} to {high:g} is a room's temperature in degC only"
    if dimension == "frequency" and 3.0 < low <= high < 3000.0:
        return "Hz", f"{low:g} to {high:g}: a wire sings so in Hz only"
    if dimension == "turns" and column.most < 20.0:
        return "turn", f"{low:g} to {high:g}, in a column called {column.header!r}"
    return "", ""


def _units_of(dimension: str) -> list[str]:
    return [name for name, (known, _, _) in units.UNITS.items() if known == dimension]


def _span(column: Column) -> str:
    low, high = column.span
    return f"{low:.6g} to {high:.6g}"


def _shown(column: Column) -> str:
    if column.look == "n":
        return _span(column)
    shown = column.distinct[:3]
    return ", ".join(shown) + (", ..." if len(column.distinct) > 3 else "")


def _time(work: Work, kind: Kind, section: Section, key: str, column: Column) -> None:
    fitting = notations(column.cells)
    entry: dict[str, object] = {"column": column.header}
    if len(fitting) == 1:
        section.add(key, {**entry, "notation": fitting[0]}, f"fits all, such as {column.distinct[0]}")
        return
    path = f"tables.{kind.role}.columns.{key}.notation"
    known = tuple(Choice(n, f"for {column.distinct[0]}") for n in fitting)
    told = work.draft.ask(Question(path, f"How are the times of {column.header!r} in {kind.name} written?", known))
    entry |= {"notation": told} if told else {}
    section.add(key, entry, "as answered" if told else f"OPEN {path}: day and month cannot be told apart")


def _words(work: Work, kind: Kind, section: Section, key: str, column: Column) -> None:
    meaning = ROLES[kind.role][key]
    table = {
        "kind": words.KINDS, "carrier": words.CARRIERS, "state": words.STATES, "one_sided": words.YES_NO,
        "right_handed": words.YES_NO, "direction": words.DIRECTIONS, "moved": words.DIRECTIONS,
    }.get(key, {})  # fmt: skip
    mapped: dict[str, object] = {}
    for cell in column.distinct:
        ours = table.get(words.plain(cell))
        if ours is not None and ours != cell:
            mapped[cell] = ours
        elif ours is None and meaning.kind == "word" and cell not in meaning.words:
            path = f"tables.{kind.role}.columns.{key}.words.{cell}"
            asks = f"What does {cell!r} in column {column.header!r} of {kind.name} mean?"
            told = work.draft.ask(Question(path, asks, tuple(Choice(w) for w in meaning.words)))
            mapped[cell] = told or "?"
    if key == "state":
        seen = {words.plain(c) for c in column.distinct}
        further = [language for language in FELT if seen & {words.plain(w) for w in language}]
        mapped |= {w: ours for w, ours in (further[0] if further else {}).items() if w != ours and w not in mapped}
    why = f"holds {_shown(column)}"
    section.add(key, {"column": column.header, "words": mapped} if mapped else column.header, why)


def _ride(work: Work, section: Section, direction: str, column: Column) -> None:
    """A column that is named by a direction: the letter of the laboratory's axis that runs along it."""
    opposite = {"left": "right", "up": "down", "along beam": "against beam"}
    opposite |= {v: k for k, v in opposite.items()}
    for letter in LETTERS:
        if work.frame.get(letter) in (direction, opposite[direction]):
            sign = {} if work.frame[letter] == direction else {"sign": "-"}
            entry = {"column": column.header, "unit": column.name.unit or "g", **sign}
            section.add(letter, entry, f"its name says {direction}")
            return
    section.add(
        "", None, f"{column.header!r} says {direction}: which axis that is follows from the frame, which is open"
    )
