"""Lines of a description in the making: values with their evidence, and what is still open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from textwrap import wrap

from monochord.files.draft.findings import Question
from monochord.files.toml_writer import toml
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused

_WIDE = 120


@dataclass(frozen=True, slots=True)
class Line:
    """One line: key, value (None while it is open), the evidence or the question, and whether it is a question."""

    key: str
    value: object
    why: str = ""


@dataclass(slots=True)
class Section:
    """One table of the description; array marks an entry of a list of tables."""

    head: str
    lines: list[Line] = field(default_factory=list)
    array: bool = False
    optional: bool = False

    def add(self, key: str, value: object, why: str = "") -> None:
        """A line with its value and its evidence."""
        self.lines.append(Line(key, value, why))


@dataclass(slots=True)
class Draft:
    """A description in the making.

    answers    what was answered, by key;  used  those that had a question
    questions  that are still open;  settled  (key, question) of those that were answered
    """

    answers: Mapping[str, object]
    sections: list[Section] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    settled: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def section(self, head: str, *, array: bool = False, optional: bool = False) -> Section:
        """A new table of the description."""
        made = Section(head, array=array, optional=optional)
        self.sections.append(made)
        return made

    def ask(self, question: Question) -> str | None:
        """The answer, or None after the question was noted as open; Refused when the answer is none of the choices."""
        told = self.answers.get(question.key)
        if told is None:
            if question.key not in [q.key for q in self.questions]:
                self.questions.append(question)
            return None
        answer = str(told)
        values = [c.value for c in question.choices]
        if values and answer not in values:
            remedy = f"{did_you_mean(answer, values)}mend the answer"
            raise Refused([Fault(repr(answer), listed(values, 20), remedy, f"answer {question.key}")])
        self.settled.append(question)
        return answer

    def put(self, section: Section, key: str, question: Question) -> str | None:
        """A line for an answered question, or an open one for one that is not."""
        answer = self.ask(question)
        section.add(key, answer, "as answered" if answer is not None else open_words(question))
        return answer


def open_words(question: Question) -> str:
    """A question in one line."""
    if question.choices:
        told = "; ".join(f'"{c.value}"{f" ({c.why})" if c.why else ""}' for c in question.choices)
        return f"{question.asks} {told}"
    proposal = f" Commonly {question.proposal}." if question.proposal else ""
    unit = f" ({with_article(question.dimension)} with its unit)" if question.dimension else ""
    return f"{question.asks}{unit}{proposal}"


def with_article(words: str) -> str:
    """A noun with its article.

    >>> with_article("angle"), with_article("length")
    ('an angle', 'a length')
    """
    return f"{'an' if words[:1] in 'aeiou' else 'a'} {words}"


def written(draft: Draft, head: str) -> str:
    """The description as commented TOML: every line with its evidence; what is open as a remark in its place.

    >>> d = Draft({})
    >>> d.section("angles").add("vertical", "zenith", "the picture fits")
    >>> print(written(d, "A draft"), end="")
    # A draft
    <BLANKLINE>
    [angles]
    vertical = "zenith"  # the picture fits
    """
    out = [f"# {line}".rstrip() for line in head.splitlines()]
    for section in draft.sections:
        empty = section.optional and all(line.value is None for line in section.lines)
        if section.head:
            brackets = f"[[{section.head}]]" if section.array else f"[{section.head}]"
            out += ["", f"# {brackets}" if empty else brackets]
        elif section.lines:
            out.append("")
        for line in section.lines:
            out += _lines(line)
    return "\n".join(out) + "\n"


def _lines(line: Line) -> list[str]:
    why = " ".join(line.why.split())
    if line.value is None:
        pair = f"# {_pair(line.key, '')}" if line.key else ""
        return [*_wrapped(why), *([pair] if pair else [])]
    pair = _pair(line.key, line.value)
    if len(pair) + len(why) + 4 <= _WIDE:
        return [f"{pair}  # {why}" if why else pair]
    return [*_wrapped(why), pair]


def _wrapped(words: str) -> list[str]:
    return [f"# {part}" for part in wrap(words, _WIDE - 2, break_long_words=False, break_on_hyphens=False)]


def _pair(key: str, value: object) -> str:
    return toml({"t": {key: value}}).partition("[t]\n")[2].strip()
