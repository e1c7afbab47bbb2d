"""The report on paper: the same bytes each time, A4 with page numbers, and every number read back from its text."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monochord.campaign.found.result import OccasionFinding, Result, Temperature
from monochord.report.document import result_document
from monochord.report.pdf import date_of, pdf, report_of
from monochord.report.words import MINUS

Document = dict[str, Any]


def tool(name: str) -> str:
    """A reader of PDF files from outside; the test is skipped when it is not there, except in CI."""
    found = shutil.which(name)
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{name} must be installed in CI")
        pytest.skip(f"{name} is not installed")
    return found


@pytest.fixture(scope="module")
def made(invented: Result) -> bytes:
    return pdf(invented)


@pytest.fixture(scope="module")
def file(made: bytes, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pdf") / "report.pdf"
    path.write_bytes(made)
    return path


@pytest.fixture(scope="module")
def text(file: Path) -> str:
    """The text of all pages, laid out as printed, with plain blanks."""
    done = subprocess.run([tool("pdftotext"), "-layout", str(file), "-"], capture_output=True, check=True)
    return done.stdout.decode().replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture(scope="module")
def document(invented: Result) -> Document:
    return result_document(invented)


def rows_below(text: str, caption: str, names: list[str]) -> Iterator[tuple[str, str]]:
    """Rows of the table with that caption: first word and the rest; it ends with its note or the next table."""
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.strip() == caption)
    for line in lines[start + 2 :]:
        first, _, rest = line.strip().partition(" ")
        if first in names:
            yield first, rest
        elif line.strip() and "page" not in line and not line.strip().startswith(("bolt", "magnet")):
            return


def numbers(rest: str) -> list[float]:
    return [float(n.replace(MINUS, "-")) for n in re.findall(rf"(?<![\w.])[+{MINUS}]?\d+(?:\.\d+)?(?![\w.])", rest)]


def close(printed: float, exact: float, factor: float, decimals: int) -> bool:
    """Half a unit of the last printed digit, and the rounding of doubles."""
    return abs(printed - factor * exact) <= 0.5 * 10.0**-decimals + 1e-9


def test_the_same_result_gives_the_same_bytes(invented: Result, made: bytes) -> None:
    assert made.startswith(b"%PDF-1.")
    assert pdf(invented) == made


def test_the_date_is_that_of_the_run(file: Path) -> None:
    env = {**os.environ, "TZ": "UTC"}
    done = subprocess.run([tool("pdfinfo"), str(file)], capture_output=True, check=True, env=env)
    told = done.stdout.decode()

    assert "Tue Jul 14 09:30:00 2026" in told
    assert re.search(r"Page size: +595\.\d+ x 841\.\d+ pts \(A4\)", told)
    assert "Larch 7: All five magnets" in told
    assert date_of("2026-07-14T09:30:00Z") == [2026, 7, 14, 9, 30, 0]


def test_a_run_without_a_date_makes_a_file_without_one(invented: Result) -> None:
    undated = replace(invented, origin=replace(invented.origin, made_at="some day"))

    assert b"CreationDate" not in pdf(undated)


def test_every_page_has_its_number_and_the_advice(text: str) -> None:
    pages = text.rstrip("\f").split("\f")

    for i, page in enumerate(pages, 1):
        foot = page.rstrip().splitlines()[-1]
        assert f"page {i} of {len(pages)}" in foot
        assert "Local rules and licensed people decide" in foot


def test_the_sentence_stands_first_and_the_verdict_follows(invented: Result, text: str) -> None:
    told = " ".join(text.split())

    assert told.startswith(invented.sentence)
    assert told.index(invented.sentence) < told.index("Line limit, 3-restored") < told.index("What changed")


def test_verdicts_are_read_back(document: Document, text: str) -> None:
    families = {
        "line limit": ("x", "y", 1e6),
        "own-move limit": ("own_move_x", "own_move_y", 1e6),
        "roll limit": ("roll", "", 1e6),
    }
    checked = 0
    for occasion, magnets in document["verdicts"].items():
        for title, (*keys, factor) in families.items():
            expected = [(m, q[k]) for m, q in magnets.items() for k in keys if k in q]
            if not expected:
                continue
            told = list(rows_below(text, f"Verdicts, {occasion}, {title}", list(magnets)))
            assert [m for m, _ in told] == [m for m, _ in expected]
            for (_, rest), (_, part) in zip(told, expected, strict=True):
                assert part["verdict"] in rest
                if part["offset"] is None:
                    assert "not known" in rest
                    continue
                value, u, limit, guard = numbers(rest)[:4]
                decimals = 0 if title == "roll limit" else 1
                assert close(value, part["offset"], float(factor), decimals)
                assert close(u, part["u"], float(factor), decimals)
                assert close(limit, part["limit"], float(factor), 0)
                assert close(guard, part["guard"], float(factor), decimals)
                checked += 1
    assert checked == 33


def test_offsets_are_read_back(document: Document, text: str) -> None:
    for occasion in ("1-bench", "3-restored"):
        offsets = document["occasions"][occasion]["line"]["offsets"]
        told = list(rows_below(text, f"Offsets from the common line, {occasion}", list(offsets)))
        assert [m for m, _ in told] == list(offsets)
        for magnet, rest in told:
            _, x, u_x, y, u_y = numbers(rest)[:5]
            part = offsets[magnet]
            for printed, key in ((x, "x"), (u_x, "u_x"), (y, "y"), (u_y, "u_y")):
                assert close(printed, part[key], 1e6, 1)


def test_own_moves_are_read_back(document: Document, text: str) -> None:
    for part in document["comparisons"]:
        pair = f"{part['from']} to {part['to']}"
        told = list(rows_below(text, f"Own moves of the magnets at their axes, {pair}", list(part["own_moves"])))
        assert [m for m, _ in told] == list(part["own_moves"])
        for magnet, rest in told:
            alone, every = part["own_moves_from_targets"][magnet], part["own_moves"][magnet]
            printed = numbers(rest)
            assert len(printed) == 12
            for k, (move, q) in enumerate(((alone, 0), (every, 0), (alone, 1), (every, 1))):
                assert close(printed[2 * k], move[("dx", "dy")[q]], 1e6, 1)
                assert close(printed[2 * k + 1], move["cov"][q][q] ** 0.5, 1e6, 1)
            for place, end in zip(printed[8:], (*every["interval_95"]["dx"], *every["interval_95"]["dy"]), strict=True):
                assert close(place, end, 1e6, 1)


def test_turns_are_read_back(document: Document, text: str) -> None:
    for plan in document["plans"]:
        caption = f"Turns, {plan['at']}, towards the shape of {plan['reference']}"
        told = dict(rows_below(text, caption, list(plan["turns"])))
        assert list(told) == list(plan["turns"])
        for bolt, rest in told.items():
            turns, degrees, minutes, advance = numbers(rest)[:4]
            exact = plan["turns"][bolt]
            assert close(turns, exact, 1.0, 4)
            assert close(degrees, exact, 360.0, 0)
            assert close(minutes, exact, 60.0, 1)
            assert close(advance, exact, 1500.0, 0)  # 1.5 mm a turn
            assert ("leave" in rest) == (exact == 0.0)


def test_first_steps_and_cautions_are_on_paper(invented: Result, text: str) -> None:
    told = " ".join(text.split())

    assert "FIRST, before any turn" in told
    for i, step in enumerate(invented.plans[0].first, 1):
        assert f"{i}. {step}" in told
    assert "Energised magnets" in told
    assert "A plan of the past" in told


def test_drawings_hold_text_that_can_be_searched(text: str) -> None:
    told = " ".join(text.split())

    for words in (
        "2-arrived: feet and turns, seen from above",
        "bring to touch first",
        "1-bench to 3-restored, seen from above",
    ):
        assert words in told


def test_origin_and_files_are_on_paper(document: Document, text: str) -> None:
    for part in document["inputs"]:
        assert part["sha256"] in text
    assert "Origin of the numbers, in short" in text
    assert "run-0007" in text


def test_what_only_the_page_shows_is_named(text: str) -> None:
    told = " ".join(text.split())

    assert "More stands on the page of this result: scans and resonances with their fits." in told
    assert "Targets in the girder frame" not in told
    assert "Checks that did not pass" in told


def test_it_needs_no_font_and_no_file_of_the_machine(file: Path) -> None:
    done = subprocess.run([tool("pdffonts"), str(file)], capture_output=True, check=True)
    fonts = set(re.findall(r"^[A-Z]{6}\+(\w+)", done.stdout.decode(), re.MULTILINE))

    assert "LibertinusSerif" in fonts
    assert fonts <= {"LibertinusSerif", "DejaVuSansMono"}


def test_links_lead_nowhere_outside(made: bytes, invented: Result) -> None:
    assert b"/URI" not in made
    drawings = [p["drawing"] for c in report(invented) for s in c["sections"] for p in s["pictures"]]
    assert drawings
    for drawing in drawings:
        assert re.findall(r"https?://[^\"]+", drawing) == ["http://www.w3.org/2000/svg"]  # the name of the language


def report(result: Result) -> list[dict[str, Any]]:
    chapters: Any = report_of(result)["chapters"]
    return list(chapters)


def test_words_that_look_like_markup_are_printed_as_they_are(invented: Result, tmp_path: Path) -> None:
    evil = '#let x = 1; *bold* $x^2$ <b> & "q" \\ `raw` @ref'
    plan = replace(invented.plans[1], sentence=evil, at="3-restored")
    path = tmp_path / "evil.pdf"
    path.write_bytes(pdf(replace(invented, plans=(plan,), sentence=f"All is well. {evil}.")))
    done = subprocess.run([tool("pdftotext"), "-layout", str(path), "-"], capture_output=True, check=True)

    assert " ".join(done.stdout.decode().split()).count(evil) == 2


def test_a_result_without_any_finding_is_still_a_paper(invented: Result) -> None:
    bare = OccasionFinding("0-nothing", None, None, None, Temperature(None, None, "no sensor"), lacks={"wire": "later"})
    empty = replace(
        invented, occasions=(bare,), comparisons=(), plans=(), verdicts=(), sentence="Nothing was measured."
    )

    assert pdf(empty).startswith(b"%PDF-1.")
