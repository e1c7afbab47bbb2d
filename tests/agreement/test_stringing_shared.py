"""Two occasions scanned with one wire share its departure from a straight line, and say so from the files to the change."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.estimate import Estimate, kind_of
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign
from monochord.simulate.demo import demo_campaign
from monochord.verdict.line import common_line
from monochord.wire.axes import find_axes

SIMULATED = simulate_campaign(1)
MADE = SIMULATED.campaign
BY_NAME = {o.name: o for o in MADE.occasions}


def line(occasion: str, stringing: str | None) -> CommonLine:
    """The common line of one simulated occasion in the wire's own frame."""
    given = BY_NAME[occasion]
    assert MADE.wire is not None
    found = find_axes(occasion, given.scans, given.sweeps, MADE.wire, MADE.girder.magnets, stringing=stringing)
    return common_line(found.axes, MADE.line_rule, MADE.girder.magnets)


def departures(occasion: str) -> NDArray[np.float64]:
    """What the simulator knows of the string's departure at the magnets of one occasion (n, 2) [m]."""
    told = cast(dict[str, Any], SIMULATED.truth["occasions"])[occasion]["wire"]["stringing"]
    return np.array(list(told.values()), float)


def stringings(estimate: Estimate) -> list[str]:
    """Its causes that are a stringing and that move it at all."""
    return [c for c, f in estimate.factors.items() if kind_of(c) == "stringing" and np.abs(f.cov).max() > 1e-20]


def test_the_simulator_tells_which_occasions_had_one_wire() -> None:
    one, other, later = (BY_NAME[n] for n in ("10-placed", "20-lined", "50-settled"))

    assert one.stringing == other.stringing != later.stringing
    assert all((one.stringing, later.stringing))
    first, second, third = (departures(o.name) for o in (one, other, later))
    np.testing.assert_allclose(first, second, atol=1e-10)  # the magnets were moved on it by a tenth of a millimetre
    assert np.abs(third - first).max() > 1e-7
    assert not any(o.stringing for o in MADE.occasions if not o.scans)


def test_one_stringing_cancels_in_the_change_of_offsets() -> None:
    one, other = (line(name, "bench string").offsets for name in ("10-placed", "20-lined"))
    apart_one, apart_other = (line(name, None).offsets for name in ("10-placed", "20-lined"))
    same, fresh = other - one, apart_other - apart_one

    np.testing.assert_array_equal(same.value, fresh.value)
    np.testing.assert_allclose(one.u, apart_one.u, rtol=1e-12)  # each occasion by itself is known no better
    assert stringings(same) == []
    assert sorted(stringings(fresh)) == ["stringing:10-placed", "stringing:20-lined"]
    # what is gone is the variance of the two stringings, no more and no less
    gone = sum((fresh.factors[c].cov for c in stringings(fresh)), np.zeros_like(fresh.cov))
    np.testing.assert_allclose(fresh.cov - same.cov, gone, atol=1e-9 * gone.max())


@pytest.fixture(scope="module")
def handed_over(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's folder as its laboratory would hand it over."""
    root = tmp_path_factory.mktemp("strung")
    for name, text in demo_campaign(1).texts.items():
        file = root / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, "utf-8", newline="\n")
    return root


def begun(folder: Path, into: Path, settings: dict[str, str]) -> Campaign:
    description = resources.files("monochord.job").joinpath("demo", "lab.toml")
    with resources.as_file(description) as lab:
        begin(folder, lab, into, {"girder": "demo-1", **settings}, "2031-05-30T12:00:00+00:00")
    return load_campaign(into)


def test_the_description_and_a_setting_tell_it_too(handed_over: Path, tmp_path: Path) -> None:
    told = begun(handed_over, tmp_path / "told", {})
    assert {o.name: o.stringing for o in told.occasions} == {n: o.stringing for n, o in BY_NAME.items()}

    again = begun(handed_over, tmp_path / "set", {"stringing.50-settled": "bench string"})
    assert {o.name: o.stringing for o in again.occasions}["50-settled"] == "bench string"


def test_the_job_carries_it_into_the_comparison() -> None:
    context = Context(now=lambda: datetime(2031, 5, 30, tzinfo=UTC), new_id=lambda: "run")

    def change(stringing: str) -> Estimate:
        occasions = tuple(replace(o, stringing=stringing if o.scans else "") for o in MADE.occasions)
        found = evaluate(replace(MADE, occasions=occasions), context).comparisons
        return next(c.axis_changes for c in found if (c.start, c.end) == ("20-lined", "50-settled"))

    same, fresh = change("one wire for all"), change("")
    assert stringings(same) == []
    assert sorted(stringings(fresh)) == ["stringing:20-lined", "stringing:50-settled"]
    assert (same.u < fresh.u).all()
