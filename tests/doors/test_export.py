"""monochord export: the last run of the record, or one by its number, for other programs."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from monochord.campaign.found.result import Result
from monochord.cli.main import main
from monochord.files.writers_read import document_from_hdf5
from monochord.report.document import document_text, result_document
from monochord.store.journal import Entry, append


@pytest.fixture
def campaign(tmp_path: Path, invented: Result) -> Path:
    """A folder with a record of two runs; the second, whose sentence differs, is the last."""
    folder = tmp_path / "campaign"
    folder.mkdir()
    for i, sentence in enumerate(("the first", invented.sentence)):
        text = document_text(result_document(replace(invented, sentence=sentence)))
        append(folder / "record.sqlite", Entry(f"{i:032d}", "2026-01-01T00:00:00+00:00", "test", "c", {}, text))
    return folder


def run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["export", *map(str, words)])
    return done.exit_code, done.output


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, strict=True))


def test_all_three_are_written_and_agree(campaign: Path, tmp_path: Path, invented: Result) -> None:
    code, told = run(campaign, "--into", tmp_path / "out")
    assert code == 0
    written = sorted(p.name for p in (tmp_path / "out").iterdir())
    assert [name for name in written if name in told] == written
    document = json.loads((tmp_path / "out/result.json").read_text("utf-8"))
    assert document["sentence"] == invented.sentence
    assert document_from_hdf5((tmp_path / "out/result.h5").read_bytes()) == document
    assert json.loads((tmp_path / "out/result.schema.json").read_text("utf-8"))["$id"] == "urn:monochord:result:1"


def test_tables_hold_the_very_numbers_of_the_document(campaign: Path, tmp_path: Path) -> None:
    assert run(campaign, "--into", tmp_path, "--as", "csv", "--as", "json")[0] == 0
    document = json.loads((tmp_path / "result.json").read_text("utf-8"))
    rows = table(tmp_path / "offsets.csv")
    assert rows
    for row in rows:
        offset = document["occasions"][row["occasion"]]["line"]["offsets"][row["magnet"]]
        for key in ("x", "y", "u_x", "u_y"):
            cell = row[f"{key} [m]"]
            assert (float(cell) if cell else None) == offset[key]
            assert cell or row["why_unknown"]
    judged = table(tmp_path / "verdicts.csv")
    count = sum(len(v) for occasion in document["verdicts"].values() for v in occasion.values())
    assert len(judged) == count > 0
    for row in judged:
        verdict = document["verdicts"][row["occasion"]][row["magnet"]][row["quantity"]]
        assert row["verdict"] == verdict["verdict"]
        assert (float(row["value"]) if row["value"] else None) == verdict["offset"]
        assert row["unit"] == ("rad" if row["quantity"].startswith(("slope", "roll")) else "m")
    moved = {(r["from"], r["to"], r["magnet"]): r for r in table(tmp_path / "own_moves.csv")}
    for change in document["comparisons"]:
        for magnet, six in change["own_moves"].items():
            row = moved[change["from"], change["to"], magnet]
            assert [row[f"d{q} [m]"] for q in "xyz"] == [
                "" if six[f"d{q}"] is None else repr(six[f"d{q}"]) for q in "xyz"
            ]
            assert float(row["u_dx [m]"]) == pytest.approx(six["cov"][0][0] ** 0.5, rel=1e-15)
    axes = table(tmp_path / "axes.csv")
    short = next(r for r in axes if not r["slope_y [rad]"])
    assert short["u_slope_y [rad]"] == ""
    assert "slope_y: scanned in one mode only" in short["why_unknown"]
    places = table(tmp_path / "targets.csv")
    first = document["occasions"][places[0]["occasion"]]["targets"][places[0]["target"]]
    assert [float(places[0][f"{q} [m]"]) for q in "xyz"] == first["xyz"]
    assert float(places[0]["cov_xz [m2]"]) == first["cov"][0][2]


def test_an_earlier_run_by_its_number(campaign: Path, tmp_path: Path) -> None:
    assert run(campaign, "--into", tmp_path, "--as", "json", "--run", 1)[0] == 0
    assert json.loads((tmp_path / "result.json").read_text("utf-8"))["sentence"] == "the first"


def test_nothing_is_replaced(campaign: Path, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out/result.json").write_text("mine")
    code, told = run(campaign, "--into", tmp_path / "out")
    assert code == 3
    assert "result.json: given a file that is already there" in told
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["result.json"]
    assert (tmp_path / "out/result.json").read_text() == "mine"


@pytest.mark.parametrize("words", [[], ["--run", "7"]])
def test_without_a_run_there_is_nothing_to_export(tmp_path: Path, campaign: Path, words: list[str]) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    code, told = run(campaign if words else empty, "--into", tmp_path / "out", *words)
    assert code == 3
    assert ("given run 7" if words else "given no record") in told
    assert not (tmp_path / "out").exists()
