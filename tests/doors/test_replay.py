"""A run of the record redone: on another kernel, with other threads, from a copy, and with each thing that may differ."""

from __future__ import annotations

import os
import platform
import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monochord.campaign.found.result import Result
from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.ground.estimate import Estimate
from monochord.ground.faults import Refused
from monochord.job import replay as room
from monochord.job.context import Context, real_context
from monochord.job.evaluate import evaluate
from monochord.job.replay import replay_run, replay_words
from monochord.job.run import run_campaign
from monochord.simulate.demo import demo_campaign

DEMO_LAB = Path(__file__).resolve().parents[2] / "src" / "monochord" / "job" / "demo" / "lab.toml"


@pytest.fixture(scope="session")
def evaluated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A campaign with two runs in its record."""
    folder = tmp_path_factory.mktemp("evaluated")
    for name, text in demo_campaign(3).texts.items():
        path = folder / "handed" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    context = real_context()
    settings = {"girder": "G-7", "run.operator": "first shift"}
    begin(folder / "handed", DEMO_LAB, folder / "campaign", settings, "2031-05-05T00:00:00+00:00")
    for _ in range(2):
        run_campaign(folder / "campaign", context, with_page=False, with_paper=False)
    return folder / "campaign"


@pytest.fixture
def copied(evaluated: Path, tmp_path: Path) -> Path:
    """The campaign carried to another place."""
    return Path(shutil.copytree(evaluated, tmp_path / "elsewhere" / "campaign"))


def monochord(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "monochord.cli.main", *arguments],
        cwd=cwd, env=os.environ | environment, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_copied_campaign_gives_its_numbers_again(copied: Path) -> None:
    told = monochord("replay", "campaign", cwd=copied.parent)
    assert told.returncode == 0, told.stdout + told.stderr
    first = told.stdout.splitlines()[0]
    assert first.startswith("identical to the stated digits: ")
    assert int(first.split()[5]) > 5000
    assert "with run 2 of" in first
    assert len(told.stdout.splitlines()) == 1


@pytest.mark.skipif(platform.machine().lower() not in ("x86_64", "amd64"), reason="kernels of this name are of x86-64")
def test_another_machine_s_kernels_and_threads_give_the_stated_digits(evaluated: Path) -> None:
    """Nehalem is a kernel without fused multiplication that every x86-64 processor can run."""
    told = monochord(
        "replay", str(evaluated), "--run", "1", cwd=evaluated, OPENBLAS_CORETYPE="Nehalem", OPENBLAS_NUM_THREADS="2"
    )
    if "kernel Nehalem" not in told.stdout:
        pytest.skip("this matrix library does not let its kernel be chosen")
    assert told.returncode == 0, told.stdout
    assert "identical to the stated digits" in told.stdout
    assert "without effect" in told.stdout
    assert "2 threads now" in told.stdout


def test_one_changed_byte_is_told_by_its_path(copied: Path) -> None:
    path = next(p for p in (copied / "measured").rglob("wire.tsv") if "50-settled" in str(p))
    raw = bytearray(path.read_bytes())
    raw[-2] ^= 1
    path.chmod(0o644)
    path.write_bytes(bytes(raw))
    told = monochord("replay", str(copied), cwd=copied)
    assert told.returncode == 5
    assert f"{path.relative_to(copied).as_posix()}: changed (sha256 " in told.stdout
    assert "Traceback" not in told.stderr
    path.unlink()
    assert f"{path.relative_to(copied).as_posix()}: missing" in monochord("replay", str(copied), cwd=copied).stdout


def test_another_setting_is_told_and_the_run_redone_with_the_one_of_then(copied: Path) -> None:
    facts = copied / "campaign.toml"
    facts.write_text(facts.read_text(encoding="utf-8").replace("first shift", "second shift"), encoding="utf-8")
    found = replay_run(copied, real_context())
    assert not found.identical
    assert [line.split(":")[0] for line in found.inputs] == ["campaign.toml"]
    assert found.different == ()
    assert "setting run.operator: first shift then, second shift now (redone as then)" in found.reasons


def test_other_code_with_the_same_numbers_is_a_note_and_no_difference(
    evaluated: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "code_digest", lambda: "0" * 64)
    found = replay_run(evaluated, replace(real_context(), made_by="monochord 9"))
    assert found.identical
    [reason] = [r for r in found.reasons if r.startswith("code:")]
    assert reason.endswith("monochord 9, 000000000000 now")
    assert "not as it was, and without effect:" in replay_words(found)


def pushed(part: float) -> object:
    """An evaluation whose first offset of the last occasion is pushed by a part of its standard uncertainty."""

    def evaluated(campaign: Campaign, context: Context) -> Result:
        result = evaluate(campaign, context)
        last = result.occasions[-1]
        assert last.line is not None
        offsets = last.line.offsets
        value = offsets.value + part * offsets.u * np.eye(len(offsets.value))[0]
        line = replace(last.line, offsets=Estimate(value, offsets.labels, offsets.factors, offsets.dof))
        return replace(result, occasions=(*result.occasions[:-1], replace(last, line=line)))

    return evaluated


def test_a_number_beyond_its_stated_digits_is_told_and_one_within_is_not(
    evaluated: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "evaluate", pushed(0.009))
    assert replay_run(evaluated, real_context()).identical
    monkeypatch.setattr(room, "evaluate", pushed(0.011))
    found = replay_run(evaluated, real_context())
    assert [line.split(":")[0] for line in found.different] == ["occasions.50-settled.line.offsets.Quad1.x"]
    assert replay_words(found)[-1].endswith("report it")


def test_a_record_from_elsewhere_and_libraries_of_then(copied: Path, tmp_path: Path) -> None:
    record = Path(shutil.move(copied / "record.sqlite", tmp_path / "sent.sqlite"))
    lacking = monochord("replay", str(copied), cwd=tmp_path)
    assert lacking.returncode == 3
    assert "--record" in lacking.stderr
    assert not (copied / "record.sqlite").exists()
    other = replace(real_context(), versions=lambda: {**real_context().versions(), "numpy": "1.0"})
    found = replay_run(copied, other, record=record)
    assert found.identical
    assert any(r.startswith("numpy: ") and r.endswith(" then, 1.0 now") for r in found.reasons)


def test_a_run_that_is_not_there_and_one_that_was_altered_are_refused(copied: Path) -> None:
    with pytest.raises(Refused, match="runs 1 to 2"):
        replay_run(copied, real_context(), run=7)
    connection = sqlite3.connect(copied / "record.sqlite")
    connection.execute("DROP TRIGGER run_stays")
    connection.execute("UPDATE run SET document = replace(document, '50-settled', '50-set')")
    connection.commit()
    connection.close()
    with pytest.raises(Refused, match="checksum"):
        replay_run(copied, real_context())


def test_what_computed_is_told_without_names_of_hosts_and_paths() -> None:
    told = real_context().versions()
    assert set(told) == {"python", "numpy", "scipy", "blas_numpy", "blas_scipy", "machine", "system"}
    assert told["numpy"] == np.__version__
    assert not [value for value in told.values() if "/" in value or "\\" in value or platform.node() in value]
