"""The command line as a person uses it: what is printed, what is written, how it ends."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from monochord.report.schema import document_faults
from monochord.simulate.demo import demo_campaign

ROOT = Path(__file__).resolve().parents[2]
DEMO_LAB = ROOT / "src" / "monochord" / "job" / "demo" / "lab.toml"


def monochord(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "monochord.cli.main", *arguments], cwd=cwd, capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="session")
def handed_over(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's files as a laboratory would hand them over."""
    folder = tmp_path_factory.mktemp("handed") / "girder"
    for name, text in demo_campaign(3).texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[subprocess.CompletedProcess[str], Path]:
    """The built-in example, run once as a person runs it."""
    folder = tmp_path_factory.mktemp("demo")
    return monochord("demo", "--into", "example", cwd=folder), folder / "example"


def test_help_teaches_the_two_commands(tmp_path: Path) -> None:
    told = monochord("--help", cwd=tmp_path)
    assert told.returncode == 0
    assert "monochord begin FOLDER --lab LAB.toml --into CAMPAIGN" in told.stdout
    assert "Exit codes: 0 done, 1 defect of the program, 2 command given wrongly, 3 input refused" in " ".join(
        told.stdout.split()
    )
    for command in ("begin", "run", "budget", "check", "closure", "replay", "demo"):
        assert monochord(command, "--help", cwd=tmp_path).returncode == 0


def test_help_loads_no_numbers_library(tmp_path: Path) -> None:
    code = "import sys; from monochord.cli.main import main; main(['--help'], standalone_mode=False); print(sorted(sys.modules))"
    told = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    loaded = told.stdout.rsplit("[", 1)[1]
    assert "'click'" in loaded
    assert not any(f"'{name}'" in loaded for name in ("numpy", "scipy", "h5py", "jinja2", "matplotlib"))


def test_demo_names_its_report_and_says_that_its_data_are_invented(
    demo: tuple[subprocess.CompletedProcess[str], Path],
) -> None:
    done, folder = demo
    assert done.returncode == 0, done.stderr
    assert "report.html" in done.stdout
    assert "All data invented, seed 1." in done.stdout
    assert len(done.stdout.splitlines()) <= 30
    document = json.loads((folder / "campaign" / "found" / "result.json").read_text(encoding="utf-8"))
    assert document_faults(document) == ()
    assert document["sentence"]
    assert (
        (folder / "campaign" / "found" / "report.html")
        .read_text(encoding="utf-8")
        .lower()
        .startswith("<!doctype html>")
    )


def test_demo_touches_no_folder_that_is_not_its_own(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("years of work")
    refused = monochord("demo", "--into", "mine", cwd=tmp_path)
    assert refused.returncode == 3
    assert "--into" in refused.stderr
    assert (tmp_path / "mine" / "thesis.txt").read_text() == "years of work"


def test_begin_then_run_and_json_goes_where_it_is_asked(handed_over: Path, tmp_path: Path) -> None:
    begun = monochord(
        "begin", str(handed_over), "--lab", str(DEMO_LAB), "--into", "campaign", "--set", "girder=G-7", cwd=tmp_path
    )
    assert begun.returncode == 0, begun.stderr
    assert "monochord run campaign" in begun.stdout
    ran = monochord("run", "campaign", "--json", "out/result.json", "--quiet", "--no-page", "--no-paper", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    document = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))
    assert document["girder"]["name"] == "G-7"
    assert set(document["occasions"]) == {"10-placed", "20-lined", "30-road", "40-arrival", "50-settled"}


def test_a_setting_without_a_value_is_a_wrong_command(handed_over: Path, tmp_path: Path) -> None:
    wrong = monochord("begin", str(handed_over), "--lab", str(DEMO_LAB), "--into", "c", "--set", "girder", cwd=tmp_path)
    assert wrong.returncode == 2
    assert "NAME=VALUE" in wrong.stderr
    assert not (tmp_path / "c").exists()


def test_a_damaged_table_is_refused_with_its_place_and_no_traceback(handed_over: Path, tmp_path: Path) -> None:
    folder = tmp_path / "girder"
    shutil.copytree(handed_over, folder)
    table = next((folder / "given").glob("elements*"))
    lines = table.read_text(encoding="utf-8").splitlines()
    lines[3] = lines[3].replace(lines[3].split("\t")[3], "about 12", 1)
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    refused = monochord("begin", str(folder), "--lab", str(DEMO_LAB), "--into", "campaign", cwd=tmp_path)
    assert refused.returncode == 3
    assert "Traceback" not in refused.stderr
    assert "elements" in refused.stderr
    assert "line 4" in refused.stderr
    assert "about 12" in refused.stderr


def test_a_file_that_changed_since_begin_is_named(handed_over: Path, tmp_path: Path) -> None:
    monochord("begin", str(handed_over), "--lab", str(DEMO_LAB), "--into", "campaign", cwd=tmp_path)
    kept = next((tmp_path / "campaign").rglob("*40-arrival*/*ight*"), None) or next(
        p for p in (tmp_path / "campaign").rglob("*.tsv") if "40-arrival" in str(p)
    )
    kept.chmod(0o644)
    kept.write_text(kept.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    refused = monochord("run", "campaign", cwd=tmp_path)
    assert refused.returncode == 3
    assert kept.name in refused.stderr


def test_a_folder_that_is_no_campaign_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    refused = monochord("run", "empty", cwd=tmp_path)
    assert refused.returncode == 3
    assert "campaign.toml" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_the_budget_of_an_offset_adds_up_and_an_unknown_magnet_is_refused(
    demo: tuple[subprocess.CompletedProcess[str], Path],
) -> None:
    _, folder = demo
    campaign = str(folder / "campaign")
    told = monochord("budget", campaign, "50-settled", "Quad1", "x", cwd=folder)
    assert told.returncode == 0, told.stderr
    shares = [line for line in told.stdout.splitlines() if line.startswith("  ") and line.endswith("of the variance")]
    parts = [float(line.split("%")[0].split()[-1]) for line in shares]
    assert sum(parts) == pytest.approx(100.0, abs=0.1 * len(parts))  # per cent, each printed to 0.1
    assert "What would help most" in told.stdout
    assert told.stdout.startswith("What limits it: ")
    whole = monochord("budget", campaign, cwd=folder)
    assert whole.stdout.startswith("What limits this girder, 50-settled: "), whole.stderr
    assert sum(line.startswith("Quad1 ") for line in whole.stdout.splitlines()) == 4  # x, y, and own moves in x and y
    wrong = monochord("budget", campaign, "50-settled", "Quad9", "x", cwd=folder)
    assert wrong.returncode == 3
    assert "Quad1" in wrong.stderr
