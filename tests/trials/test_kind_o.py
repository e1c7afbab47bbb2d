"""Verdicts and reports: what is judged and what is printed say the same, digit by digit, in every door."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from monochord.report.pdf import pdf
from monochord.report.summary import summary
from monochord.report.words import MINUS, decimals_apart, limit_number, number, rounded
from tests.trial_bench import Bench

# -- one rule of rounding ---------------------------------------------------------------------------------

HALVES = [(0.125, 2, "0.13"), (0.135, 2, "0.14"), (0.145, 2, "0.15"), (2.5, 0, "3"), (3.5, 0, "4"), (0.05, 1, "0.1")]


@pytest.mark.parametrize(("value", "decimals", "printed"), HALVES)
def test_halves_go_away_from_zero_on_the_decimal_value(value: float, decimals: int, printed: str) -> None:
    assert number(value, decimals) == printed
    assert number(-value, decimals) == MINUS + printed
    # the same number that came by a conversion from SI
    assert number(value * 1e-6 * 1e6, decimals) == printed
    assert number((value / 1e6) / 1e-6, decimals) == printed


@pytest.mark.parametrize(
    ("limit", "printed"), [(30.0, "+30"), (7.5, "+7.5"), (30.25, "+30.25"), (0.1, "+0.1"), (12.345, "+12.345")]
)
def test_a_limit_is_printed_with_all_its_decimals(limit: float, printed: str) -> None:
    assert limit_number(limit) == printed
    assert limit_number(limit * 1e-6 * 1e6) == printed


def test_a_value_beside_its_limit_gets_one_digit_more() -> None:
    assert decimals_apart(3, [(0.10049, 0.100)]) == 4
    assert number(0.10049, 4) == "0.1005"
    assert decimals_apart(1, [(-30.04, 30.0)]) == 2
    assert decimals_apart(1, [(30.0, 30.0), (None, 30.0), (float("nan"), 30.0)]) == 1
    assert str(rounded(30.04, 1)) == "30.0"


# -- the printed number beside its limit ------------------------------------------------------------------


def beyond(bench: Bench, part: float) -> tuple[Bench, float]:
    """The excerpt judged by simple acceptance, with a limit that its largest offset misses by a part of itself."""
    bench.begun()
    document, _ = bench.ran()
    found = document["verdicts"]["2-aligned"]
    largest = max(abs(v["offset"]) for q in found.values() for k, v in q.items() if k in ("x", "y"))
    limit = largest * (1.0 - part)
    other = Bench(bench.root / "beyond")
    other.root.mkdir()
    shutil.copytree(bench.data, other.data)
    text = bench.lab.read_text().replace(
        'limit = "30 um"', f'limit = "{limit * 1e6:.9f} um"\nrule = "simple acceptance"'
    )
    other.lab.write_text(text)
    other.begun()
    return other, limit


@pytest.mark.parametrize("part", [1e-3, 1e-4, 1e-5])
def test_a_value_just_beyond_its_limit_is_printed_beyond_it(bench: Bench, part: float) -> None:
    other, limit = beyond(bench, part)
    document, _ = other.ran()
    told = [
        (magnet, key, v)
        for magnet, quantities in document["verdicts"]["2-aligned"].items()
        for key, v in quantities.items()
        if v["verdict"] == "does not conform"
    ]
    assert len(told) == 1
    (magnet, key, verdict) = told[0]
    assert abs(verdict["offset"]) > limit
    html = (other.campaign / "found/report.html").read_text("utf-8")
    rows = [r for r in re.findall(r"<tr.*?</tr>", html, re.S) if "does not conform" in r and magnet in r]
    printed = [re.sub(r"<[^>]*>", " ", r).replace(MINUS, "-") for r in rows]
    seen = [re.findall(r"[-+]?\d+\.\d+", r.split(magnet, 1)[1])[:2] for r in printed if key in r or "2-aligned" in r]
    assert seen
    for numbers in seen:
        assert abs(float(numbers[0])) > 1e6 * limit, printed


# -- unknown is the third verdict -------------------------------------------------------------------------


def test_an_axis_that_was_not_found_is_neither_passed_nor_failed(bench: Bench) -> None:
    """All scans of Q2 are taken away: its verdict is that nothing can be decided, with the reason, on every door."""
    path = bench.data / "2-aligned/wire_scans.csv"
    path.write_text("\n".join(line for line in path.read_text().splitlines() if ",Q2," not in line) + "\n")
    bench.begun()
    document, screen = bench.ran()
    found = document["verdicts"]["2-aligned"]["Q2"]
    assert {v["verdict"] for v in found.values()} == {"cannot be decided"}
    assert all(v["offset"] is None for v in found.values())
    assert "cannot be decided" in screen
    assert "NaN" not in (bench.campaign / "found/result.json").read_text("utf-8")


# -- paper ------------------------------------------------------------------------------------------------


def test_minus_and_signs_are_read_back_from_paper(bench: Bench, tmp_path: Path) -> None:
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext is not installed")
    from monochord.job.context import real_context
    from monochord.job.run import run_campaign

    bench.begun()
    run = run_campaign(bench.campaign, real_context(), with_page=False, with_paper=True)
    assert run.paper is not None
    done = subprocess.run([tool, "-layout", str(run.paper), "-"], capture_output=True, check=True)
    text = done.stdout.decode().replace("\N{NO-BREAK SPACE}", " ")
    printed = re.search(rf"[{MINUS}-]\d+\.\d+ ± \d+\.\d+", summary(run.result))
    assert printed is not None
    assert printed[0] in text
    assert "µm" in text
    assert "±" in text
    assert pdf(run.result) == run.paper.read_bytes()


def test_the_rule_of_rounding_stands_beside_the_verdicts(bench: Bench) -> None:
    bench.begun()
    document, screen = bench.ran()
    assert document["verdicts"]
    assert "rounded on their decimal value, a half away from zero" in screen
