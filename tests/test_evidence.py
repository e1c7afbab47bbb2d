"""The long studies: short forms of all of them, and honesty about which stored figures are of this code."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from evidence.register import STUDIES
from evidence.run import PAGE, page
from evidence.studies import line_coverage
from evidence.study import RESULTS, ROOT, Figure, Study, sources_sha256, state
from monochord.ground.estimate import Estimate


def named(study: Study) -> str:
    return study.name


@pytest.mark.parametrize("study", STUDIES, ids=named)
def test_short_form_of_each_study_stays_in_its_bands(study: Study) -> None:
    figures = study.run(study.seed + 1, study.short_size)

    assert figures
    assert not {name: figure for name, figure in figures.items() if not figure.inside}


@pytest.mark.parametrize("study", STUDIES, ids=named)
def test_each_study_has_a_long_form_that_judges_sources_that_exist(study: Study) -> None:
    assert study.size > study.short_size
    assert [name for name in study.sources if name.startswith("src/")]
    assert not [name for name in study.sources if not (ROOT / name).is_file()]


@pytest.mark.parametrize(
    "study", [s for s in STUDIES if state(s) != "never run"], ids=named
)  # the page tells the others
def test_stored_figures_lie_in_their_bands(study: Study) -> None:
    kept = json.loads(study.result.read_text(encoding="utf-8"))

    assert not {name: f for name, f in kept["figures"].items() if not Figure(**f).inside}


def test_line_coverage_sees_a_shared_cause_that_is_taken_for_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """The study can fail: a sag that does not cancel between occasions makes the change's intervals too wide."""
    right = line_coverage.offsets

    def wrong(values: line_coverage.Array, occasion: str) -> Estimate:
        estimate = right(values, occasion)
        factors = {f"{cause}:{occasion}" if cause == "sag" else cause: f for cause, f in estimate.factors.items()}
        return Estimate(estimate.value, estimate.labels, factors)

    monkeypatch.setattr(line_coverage, "offsets", wrong)
    figures = line_coverage.run(1, 2000)

    assert figures["offsets inside their 95 % interval"].inside
    assert not figures["changes inside their 95 % interval"].inside


def test_the_page_calls_no_stale_figure_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), (
        "a study's figures are of other code than this: `make evidence` measures again, `make evidence-status` marks them stale"
    )


def test_no_result_is_left_without_its_study() -> None:
    assert {path.stem for path in RESULTS.glob("*.json")} <= {study.name for study in STUDIES}


def test_a_change_of_a_judged_source_makes_the_figure_stale(tmp_path: Path) -> None:
    study = STUDIES[0]
    for name in study.sources:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    assert sources_sha256(study.sources, tmp_path) == sources_sha256(study.sources)

    changed = tmp_path / study.sources[0]
    changed.write_bytes(changed.read_bytes() + b"\n")

    assert sources_sha256(study.sources, tmp_path) != sources_sha256(study.sources)
    assert state(study, tmp_path) == "stale"
