"""Every number of the demo's result, unfolded: each sum makes its number again, and every chain ends in rows and settings.

Walked are all numbers of the result document, the entries beside the diagonal of its covariance matrices by a fixed
sample. Behind them every name that a line leads to is asked in turn; of the uncertainties' inner entries (which pair of which
cause's variables) a fixed sample is followed, for there are hundreds of thousands. What is sampled is counted below.
"""

from __future__ import annotations

import math
import re
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from zlib import crc32

import pytest

from monochord.campaign.found.result import Result
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.estimate import kind_of
from monochord.ground.faults import MonochordError
from monochord.ground.trace import Line, Place, Sum
from monochord.job import demo
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.job.why.components import entry_of
from monochord.job.why.explain import Explainer, explainer
from monochord.job.why.names import numbers, split
from monochord.job.why.rows import Folder
from monochord.report.page import page
from monochord.report.why.chain import Row
from monochord.simulate.demo import demo_campaign

#: Sums and formulas are made again to this part of their largest number: a hundred roundings of a double, and room.
ROUNDING = 1e-9
#: Formulas take differences of large numbers: of some radians (a direction less what it should read), of some metres, of
#: numbers about 1 (a probability, an element of a rotation). So far may their rounding reach, by unit.
FLOOR = {"rad": 1e-13, "m": 1e-13, "1": 1e-12, "": 1e-12}
#: One in so many entries beside the diagonal of the document's covariances is walked; the diagonals are walked whole.
BESIDE = 11
#: One in so many pairs of a cause's variables is followed.
PAIRS = 61


@dataclass
class Walk:
    """Everything that was asked, and what did not fit."""

    ask: Explainer
    folder: Folder
    sums: dict[str, Sum] = field(default_factory=dict)
    rows: dict[Place, tuple[Row, ...]] = field(default_factory=dict)
    passed_over: Counter[str] = field(default_factory=Counter)
    wrong: dict[str, list[str]] = field(default_factory=dict)

    def note(self, kind: str, name: str, words: str = "") -> None:
        self.wrong.setdefault(f"{kind}: {family(name)}", []).append(f"{name} {words}")

    def told(self) -> str:
        """Families with what is wrong, one line each with an example."""
        return "\n".join(f"{len(cases)} x {kind}, such as {cases[0]}" for kind, cases in sorted(self.wrong.items()))


def family(name: str) -> str:
    """A name without what tells one number of a kind from another."""
    return re.sub(r"\d+", "N", name)[:60]


def is_inner(name: str) -> bool:
    """An entry beside the diagonal of a covariance of the document, or a pair of two variables of a cause."""
    found = re.search(r"/(cov|cause)/(?:.*/)?(\d+)/(\d+)$", name)
    if found is None or found[2] == found[3]:
        return False
    keep = BESIDE if found[1] == "cov" else PAIRS
    return (7 * int(found[2]) + 3 * int(found[3])) % keep != 0


#: Names with a part, of which there are so many that only a fixed sample is followed: one in so many, by their checksum.
SAMPLED = {
    r"/(comparisons/\d+/(own_moves|axis_changes|shape)|occasions/[^/]+/targets|plans/\d+/(offsets|shape))": 9,
    r"/occasions/[^/]+/(stations|wire)": 4,
    r"/occasions/[^/]+/(survey#followed|cause/(reading|level|range scale))": 149,
}


def is_deep(name: str) -> bool:
    """A part that is not followed: all but a fixed sample of those that there are thousands of."""
    found = re.search(r"variable (\d+)|from (\d+) to", name)
    if found is not None and int(found[1] or found[2]) % 41 != 0:
        return True
    if "#" not in name:
        return False
    keep = next((one_in for pattern, one_in in SAMPLED.items() if re.match(pattern, name)), 1)
    return crc32(name.encode()) % keep != 0


def walked(ask: Explainer, folder: Folder) -> Walk:
    walk = Walk(ask, folder)
    waiting = deque(name for name, _ in numbers(ask.known.document))
    while waiting:
        name = waiting.popleft()
        if name in walk.sums:
            continue
        if is_inner(name) or is_deep(name):
            walk.passed_over[family(name)] += 1
            continue
        try:
            made = ask(name)
        except MonochordError as error:
            walk.note("not told", name, str(error))
            continue
        walk.sums[name] = made
        for line in made.lines:
            if line.of:
                waiting.append(line.of)
            if not line.of and not line.places:
                walk.note("ends nowhere", name, line.words)
            for place in line.places:
                _look(walk, name, place)
    return walk


def _look(walk: Walk, name: str, place: Place) -> None:
    if place in walk.rows:
        return
    try:
        walk.rows[place] = walk.folder.rows(place)
    except MonochordError as error:
        walk.note("no such place", name, str(error))


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's campaign, as the demo makes it."""
    folder = tmp_path_factory.mktemp("why")
    for path, text in demo_campaign(1).texts.items():
        (folder / "handed" / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / "handed" / path).write_text(text, encoding="utf-8")
    lab = folder / "lab.toml"
    lab.write_text(resources.files(demo).joinpath("lab.toml").read_text(encoding="utf-8"), encoding="utf-8")
    begin(folder / "handed", lab, folder / "campaign", {"girder": "Example 1"}, "2031-05-01T00:00:00+00:00")
    return folder / "campaign"


@pytest.fixture(scope="module")
def result(campaign: Path) -> Result:
    return evaluate(load_campaign(campaign), Context(lambda: datetime(2031, 6, 1, tzinfo=UTC), lambda: "one run"))


@pytest.fixture(scope="module")
def walk(campaign: Path, result: Result) -> Walk:
    return walked(explainer(result), Folder(campaign))


def test_every_chain_is_told_and_ends_in_places_that_are_there(walk: Walk) -> None:
    assert not walk.wrong, walk.told()


def test_every_number_of_the_document_is_told_as_the_document_has_it(walk: Walk) -> None:
    told = 0
    for name, value in numbers(walk.ask.known.document):
        if name in walk.sums:
            assert walk.sums[name].value == value, name
            told += 1
    passed = sum(1 for name, _ in numbers(walk.ask.known.document) if is_inner(name))

    assert told > 9000
    assert 0 < passed < 3500  # entries beside the diagonals of covariances, and only those
    assert told + passed == len(list(numbers(walk.ask.known.document)))


def test_every_sum_makes_its_number_again(walk: Walk) -> None:
    wrong = [f"{n}: {s.value!r} and again {s.again()!r}" for n, s in walk.sums.items() if not _again(s)]

    assert len(walk.sums) > 15_000
    assert not wrong, f"{len(wrong)} of {len(walk.sums)}: {wrong[:8]}"


def _again(made: Sum) -> bool:
    again = made.again()
    if made.formula is None:
        return math.isclose(again, made.value, rel_tol=0.0, abs_tol=ROUNDING * _largest(made, made.lines))
    alike = [line for line in made.lines if line.unit == made.unit and made.unit not in ("", "1")]
    floor = ROUNDING * _largest(made, alike) + FLOOR.get(made.unit, 0.0)
    return math.isclose(again, made.value, rel_tol=ROUNDING, abs_tol=floor)


def _largest(made: Sum, lines: Iterator[Line] | list[Line] | tuple[Line, ...]) -> float:
    return max([abs(made.value), *(abs(line.amount) for line in lines)])


#: Lines that bring what one cause of one survey does to a coordinate, and lead to that coordinate's covariance by all causes.
PART_OF_COVARIANCE = r"/survey/u_scale#rows/"


def test_every_line_carries_the_number_that_it_leads_to(walk: Walk) -> None:
    """But for lines that count, which bring 1 each, and for one cause's part in a covariance that is told as a whole."""
    followed, counted, parts, wrong = 0, 0, 0, []
    for name, made in walk.sums.items():
        if made.value == len(made.lines) and all(line.amount == 1.0 for line in made.lines):
            counted += 1
            continue
        rounding = 1e-14 * max(
            (abs(line.amount) for line in made.lines if line.unit == made.lines[0].unit), default=0.0
        )
        for line in made.lines:
            if re.search(PART_OF_COVARIANCE, name):
                parts += 1
            elif line.of in walk.sums:
                followed += 1
                given, there = line.amount if line.given is None else line.given, walk.sums[line.of].value
                if not math.isclose(given, there, rel_tol=ROUNDING, abs_tol=max(rounding, 1e-30)):
                    wrong.append(f"{name} -> {line.of}: {given!r}, there {there!r}")

    assert followed > 30_000
    assert 0 < counted < 2000
    assert parts < 5000
    kinds = Counter(family(w) for w in wrong)
    assert not wrong, f"{len(wrong)} of {followed}: {kinds.most_common(12)} {wrong[:6]}"


def test_factors_make_their_amounts(walk: Walk) -> None:
    lines = [line for made in walk.sums.values() for line in made.lines if line.factor is not None]
    wrong = [
        line for line in lines
        if line.given is None or not math.isclose(line.amount, (line.factor or 0.0) * line.given, rel_tol=1e-12)
    ]  # fmt: skip

    assert len(lines) > 10_000
    assert not wrong, wrong[:5]


def test_nothing_rests_on_itself(walk: Walk) -> None:
    done: set[str] = set()
    for root in walk.sums:
        path: dict[str, None] = {}
        stack = [(root, False)]
        while stack:
            name, left = stack.pop()
            if left:
                done.add(name)
                path.pop(name)
                continue
            assert name not in path, f"{name} rests on itself"
            if name in done or name not in walk.sums:
                continue
            path[name] = None
            stack.append((name, True))
            stack += [(line.of, False) for line in walk.sums[name].lines if line.of and line.of not in done]


FAMILIES = {
    "centres": r"/occasions/[^/]+/axes/[^/]+/[xy]$",
    "corrections": r"/occasions/[^/]+/axes/[^/]+/corrections/",
    "offsets": r"/occasions/[^/]+/line/offsets/[^/]+/[xy]$",
    "line": r"/occasions/[^/]+/line/(start|slope|leverage)/",
    "carried axes": r"#carried$",
    "covariances": r"/cov/\d+/\d+$",
    "shares by cause": r"/causes/\d+/u_[xy]$",
    "spreads of causes": r"/cause/[^#]+/\d+/\d+$",
    "targets": r"/occasions/[^/]+/targets/[^/]+/xyz/",
    "stations": r"/occasions/[^/]+/stations/",
    "survey": r"/occasions/[^/]+/survey/",
    "wire": r"/occasions/[^/]+/wire/",
    "temperatures": r"/occasions/[^/]+/temperature/",
    "feet": r"/occasions/[^/]+/feet/",
    "comparisons": r"/comparisons/\d+/(rigid|scale|shape|own_moves|closure)",
    "shifts": r"/comparisons/\d+/shifts/",
    "plans": r"/plans/\d+/(turns|loads|offsets|shape)",
    "verdicts": r"/verdicts/[^/]+/[^/]+/[^/]+/probability$",
    "moves": r"/moves/",
    "tolerances": r"/tolerances/",
    "budgets": r"/budgets/",
}


@pytest.mark.parametrize("kind", FAMILIES)
def test_every_family_is_among_what_was_walked(walk: Walk, kind: str) -> None:
    assert any(re.search(FAMILIES[kind], name) for name in walk.sums)


#: Numbers that stand in a file as they are told: every line of theirs must be found there.
AS_THEY_STAND = (
    r"/(occasions/[^/]+/(temperature|feet)/|occasions/[^/]+/axes/[^/]+/z$|tolerances/\d+/limit$|.*/leverage/)"
)


def test_numbers_that_were_given_stand_at_their_places(walk: Walk) -> None:
    checked = 0
    for name, made in walk.sums.items():
        for line in made.lines if re.match(AS_THEY_STAND, name) else ():
            for row in (row for place in line.places for row in walk.rows[place]):
                if row.column.endswith("weights"):
                    continue  # a word stands there: "equal"
                told = line.amount if line.given is None else line.given
                assert any(math.isclose(told, h, rel_tol=1e-9, abs_tol=1e-15) for h in _readings(row)), (
                    name,
                    line,
                    row,
                )
                checked += 1

    assert checked > 100


def test_every_measured_file_is_met_and_its_readings_are_told_as_they_stand(walk: Walk) -> None:
    """A line may name the row that it rests on and tell what the row says of something else; but each file is read somewhere."""
    met: Counter[str] = Counter()
    held: Counter[str] = Counter()
    for made in walk.sums.values():
        for line in made.lines:
            rows = [row for place in line.places for row in walk.rows[place] if not row.program]
            told = line.amount if line.given is None else line.given
            for row in rows:
                met[row.file] += 1
                held[row.file] += any(math.isclose(told, h, rel_tol=1e-9, abs_tol=1e-15) for h in _readings(row))
    files = {s.path for s in walk.ask.known.result.campaign.inputs if "sightings" in s.path or "wire.tsv" in s.path}

    assert files <= set(met), files - set(met)
    for file in (*files, "girder.toml", "girder-type.toml", "lab.toml"):
        assert held[file] > 0, f"{file}: met {met[file]} times, never told as it stands"


def _readings(row: Row) -> Iterator[float]:
    """The numbers of a row as they are used: as they stand, turned round, as amplitude times cosine or sine of a phase."""
    values = list(row.numbers.values())
    for v in values:
        yield from (v, -v, math.pi / 2.0 - v, v % (2.0 * math.pi), -v % (2.0 * math.pi), math.sqrt(2.0) * v)
    for key, amplitude in row.numbers.items():
        phase = row.numbers.get(key.replace("_amplitude", "_phase")) if key.endswith("_amplitude") else None
        if phase is not None:
            for part in (math.cos(phase), math.sin(phase)):
                yield from (s * f * amplitude * part for s in (1.0, -1.0) for f in (1.0, math.sqrt(2.0)))


def test_every_number_of_the_page_is_told(walk: Walk, result: Result) -> None:
    values = [float(v) for v in re.findall(r'<data value="([^"]*)"', page(result))]
    told = {s.value for s in walk.sums.values()} | {line.amount for s in walk.sums.values() for line in s.lines}
    beside = [walk.ask(name) for name in behind_the_page(walk.ask) if _is_told(walk.ask, name)]
    told |= {made.value for made in beside}
    assert all(_again(made) for made in beside)
    near = sorted(told | {-v for v in told})
    left = [v for v in dict.fromkeys(values) if not _near(near, v)]

    assert len(values) > 2500
    assert not left, f"{len(left)} of {len(set(values))}: {left[:12]}"


def behind_the_page(ask: Explainer) -> Iterator[str]:
    """What the page shows beside the document, by the names under which it is told."""
    for name, _ in numbers(ask.known.document):
        if re.search(r"/(xyz/\d|own_moves\w*/[^/]+/[dr][xyz]|axes/[^/]+/(x|y|slope_x|slope_y))$", name):
            yield f"{name}#u"
        if re.search(r"/own_moves/[^/]+/d[xy]$", name) and ask.known.number(*split(name)[0]):
            yield f"{name}#seen as offset"
        if name.endswith("/curable_share"):
            yield f"{name}#not curable"
        if re.match(r"/plans/\d+/turns/", name):
            yield f"{name}#advance"
        if re.search(r"/stations/[^/]+/sightings$", name):
            yield from (f"{name.removesuffix('/sightings')}#in the girder frame {k}" for k in range(3))
        if re.search(r"/line/offsets/[^/]+/[xy]$", name):
            entry = entry_of(ask.known, split(name)[0])
            assert entry is not None
            yield from (f"{name}#u of kind {kind}" for kind in {kind_of(c) for c in entry.estimate.factors})


def _is_told(ask: Explainer, name: str) -> bool:
    """Not for every name there is something: an occasion without a line sees no own move as an offset."""
    try:
        ask(name)
    except MonochordError:
        return False
    return True


def _near(told: list[float], value: float) -> bool:
    from bisect import bisect

    at = bisect(told, value)
    return any(math.isclose(value, t, rel_tol=1e-9, abs_tol=0.0) for t in told[max(at - 1, 0) : at + 1])
