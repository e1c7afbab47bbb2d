"""Closure over a fleet: what is told, what counts, and that nothing is enlarged unless somebody says so, and then visibly."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from scipy.special import chdtrc, chdtri

from monochord.cli.main import main
from monochord.files.begin import begin
from monochord.job.context import real_context
from monochord.job.run import run_campaign
from monochord.report.page import page
from monochord.report.schema import document_faults
from monochord.report.summary import summary
from monochord.simulate.demo import demo_campaign
from monochord.store.journal import Entry, append

DEMO_LAB = Path(__file__).resolve().parents[2] / "src" / "monochord" / "job" / "demo" / "lab.toml"
UM = 1e-6
#: What multiplying and taking roots of doubles leaves.
ROUNDING = 1e-9


def ask(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["closure", *map(str, arguments)])


def invented(square: float | None, name: str, measured: str) -> str:
    """A document with one closure of eight degrees of freedom, or with the reason for none."""
    change: dict[str, Any] = {"from": "bench", "to": "tunnel"}
    if square is None:
        change |= {"closure": None, "reasons": {"closure": "no second wire"}}
    else:
        offsets = {m: {"x": k * UM, "y": None, "u_x": 2 * UM, "u_y": None} for k, m in enumerate(("Q1", "S1", "Q2"))}
        closure = {"chi_square": square, "dof": 8, "probability": float(chdtrc(8, square))}
        change |= {"closure": closure | {"offsets": offsets, "ok": True, "words": ""}}
    document = {"girder": {"name": name, "type": "five"}, "run": {"id": name}, "comparisons": [change]}
    return json.dumps(document | {"inputs": [{"path": "measured/a.csv", "sha256": measured}]})


def put(folder: Path, square: float | None, *, name: str = "", measured: str = "", at: str = "2031-05-05") -> None:
    folder.mkdir(parents=True, exist_ok=True)
    known = measured or folder.name
    run = f"{folder.name} {square} {at}"
    text = invented(square, name or folder.name, known)
    append(folder / "record.sqlite", Entry(run, at, "test", "c", {"measured/a.csv": known}, text))


def fleet(folder: Path, count: int, scale: float) -> Path:
    """Girders whose square sums are the middles of equal parts of their law, times a scale."""
    for k in range(count):
        put(folder / f"g{k:02d}", scale * float(chdtri(8, 1.0 - (k + 0.5) / count)), at=f"2031-05-{k + 1:02d}")
    return folder


def test_a_right_budget_is_told_with_page_and_numbers(tmp_path: Path) -> None:
    told = ask(fleet(tmp_path / "all", 14, 1.0), "--page", tmp_path / "p.html", "--json", tmp_path / "n.json")
    assert told.exit_code == 0, told.output
    assert told.output.startswith("Wire and survey close over 14 girders: pooled square sum ")
    assert "enlarged" not in told.output
    numbers = json.loads((tmp_path / "n.json").read_text(encoding="utf-8"))
    assert numbers["pooled"]["dof"] == 14 * 8
    assert numbers["pooled"]["chi_square"] == pytest.approx(sum(g["chi_square"] for g in numbers["girders"]))
    assert numbers["scale"]["proposed"] is None
    written = (tmp_path / "p.html").read_text(encoding="utf-8")
    assert written.count("<svg") == 2
    assert "<h1>Wire and survey close over 14 girders" in written
    assert not re.findall(r"(?:src|href)=\"(?!#)", written)


def test_only_what_tells_a_closure_of_its_own_counts(tmp_path: Path) -> None:
    put(tmp_path / "a", 8.0)
    put(tmp_path / "b", 9.0, measured="a")
    put(tmp_path / "c", None)
    told = ask(tmp_path)
    assert told.exit_code == 0
    assert "over 1 girder:" in told.output
    assert re.search(r"b: it read the same measured files as .*a, which counts", told.output)
    assert "c: no second wire" in told.output


def test_the_last_run_counts_and_the_first_puts_girders_in_order(tmp_path: Path) -> None:
    put(tmp_path / "late", 8.0, at="2031-06-01")
    put(tmp_path / "early", 30.0, at="2031-05-01")
    put(tmp_path / "early", 7.0, at="2031-07-01")
    ask(tmp_path / "late", tmp_path / "early", "--json", tmp_path / "n.json")
    numbers = json.loads((tmp_path / "n.json").read_text(encoding="utf-8"))
    assert [(g["girder"], g["chi_square"]) for g in numbers["girders"]] == [("early", 7.0), ("late", 8.0)]


def test_a_folder_without_campaigns_is_refused_and_one_without_closures_lacks_the_essential(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert ask(tmp_path / "empty").exit_code == 3
    put(tmp_path / "c", None)
    told = ask(tmp_path / "c")
    assert told.exit_code == 4
    assert "No campaign tells a closure" in told.output


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two campaigns as they are begun and run."""
    folder = tmp_path_factory.mktemp("made")
    for seed in (3, 4):
        for name, text in demo_campaign(seed).texts.items():
            path = folder / f"handed-{seed}" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        begin(folder / f"handed-{seed}", DEMO_LAB, folder / f"campaign-{seed}", {"girder": f"G-{seed}"}, "2031-05-05")
        run_campaign(folder / f"campaign-{seed}", real_context(), with_page=False, with_paper=False)
    return folder


@pytest.fixture
def campaign(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made / "campaign-3", tmp_path / "campaign"))


def document(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "found" / "result.json").read_text(encoding="utf-8"))
    return found


def test_a_pair_as_it_was_run(made: Path, tmp_path: Path) -> None:
    told = ask(made, "--json", tmp_path / "n.json")
    assert told.exit_code == 0, told.output
    numbers = json.loads((tmp_path / "n.json").read_text(encoding="utf-8"))
    closures = [
        next(c["closure"] for c in document(made / f"campaign-{seed}")["comparisons"] if c["closure"])
        for seed in (3, 4)
    ]
    assert [g["girder"] for g in numbers["girders"]] == ["G-3", "G-4"]
    assert [g["chi_square"] for g in numbers["girders"]] == [c["chi_square"] for c in closures]
    assert numbers["girders"][0]["offsets"] == closures[0]["offsets"]


def test_nothing_is_written_unless_it_is_asked_for(campaign: Path, tmp_path: Path) -> None:
    before = (campaign / "campaign.toml").read_bytes()
    told = ask(fleet(tmp_path / "all", 12, 2.25))
    assert "may be enlarged by 1.4" in told.output
    assert "none is, unless you say so" in told.output
    assert (campaign / "campaign.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("count", "scale", "why"), [(10, 2.25, "11 girders or more"), (14, 1.0, "leave the budget as it is"), (40, 0.2, "never shrunk")]
)  # fmt: skip
def test_no_factor_from_few_girders_nor_from_a_budget_that_holds(
    campaign: Path, tmp_path: Path, count: int, scale: float, why: str
) -> None:
    before = (campaign / "campaign.toml").read_bytes()
    told = ask(fleet(tmp_path / "all", count, scale), "--scale-into", campaign)
    assert told.exit_code == 3
    assert why in told.output
    assert (campaign / "campaign.toml").read_bytes() == before


def test_a_factor_is_written_once_and_leaves_the_rest_of_the_file_alone(campaign: Path, tmp_path: Path) -> None:
    before = (campaign / "campaign.toml").read_text(encoding="utf-8")
    assert ask(fleet(tmp_path / "one", 12, 2.25), "--scale-into", campaign).exit_code == 0
    assert ask(fleet(tmp_path / "two", 20, 4.0), "--scale-into", campaign).exit_code == 0
    after = (campaign / "campaign.toml").read_text(encoding="utf-8")
    rest, table = after.split("[budget_scale]")
    assert rest.rstrip() == before.rstrip()
    assert 'why = "the closure of 20 girders failed"' in table
    assert "girders = 20\n" in table


def test_enlarged_uncertainties_decide_and_say_so_everywhere(made: Path, campaign: Path, tmp_path: Path) -> None:
    told = ask(fleet(tmp_path / "all", 14, 2.25), "--scale-into", campaign)
    words = told.output.rsplit("Written into ", 1)[1].split(": ", 1)[1].split(". Next")[0]
    factor = float(words.split()[3].rstrip(","))
    assert words == f"uncertainties enlarged by {factor:g}, since the closure of 14 girders failed"
    done = run_campaign(campaign, real_context(), with_page=False, with_paper=False)
    plain, wide = document(made / "campaign-3"), document(campaign)
    assert document_faults(wide) == ()
    assert plain["budget_scale"] is None
    assert plain["reasons"]["budget_scale"]
    assert "enlarged" not in json.dumps({k: v for k, v in plain.items() if k != "reasons"})
    assert wide["budget_scale"]["factor"] == factor
    assert wide["budget_scale"]["words"] == words

    compared = 0
    for occasion, magnets in wide["verdicts"].items():
        for magnet, quantities in magnets.items():
            for quantity, verdict in quantities.items():
                before = plain["verdicts"][occasion][magnet][quantity]
                assert verdict["offset"] == before["offset"]
                if verdict["u"] is not None:
                    assert verdict["u"] == pytest.approx(factor * before["u"], rel=ROUNDING)
                assert verdict["rule"] == f"{before['rule']}; {words}"
                compared += 1
    assert compared > 20
    for one, other in zip(plain["plans"], wide["plans"], strict=True):
        for key in ("offsets_before", "offsets_after"):
            for magnet, offset in one[key].items():
                assert other[key][magnet]["u_x"] == pytest.approx(factor * offset["u_x"], rel=ROUNDING)
    for one, other in zip(plain["comparisons"], wide["comparisons"], strict=True):
        assert one["closure"] == other["closure"]  # the next closure judges the budget, not the factor
        assert one["axis_changes"] == other["axis_changes"]
    assert f"; {words}" not in wide["sentence"]
    assert wide["sentence"].startswith(f"Girder G-3, {words}; ")
    assert words in " ".join(summary(done.result).split())
    assert page(done.result).replace("\N{NO-BREAK SPACE}", " ").count(words) > 3


@pytest.mark.parametrize(
    ("factor", "girders", "named"), [("0.8", 20, "factor"), ("1.3", 5, "girders"), ("inf", 20, "factor")]
)
def test_a_factor_below_one_or_from_few_girders_is_refused_in_its_line(
    campaign: Path, factor: str, girders: int, named: str
) -> None:
    facts = campaign / "campaign.toml"
    table = f'\n[budget_scale]\nfactor = {factor}\ngirders = {girders}\nfrom = "hand"\nwhy = "we think so"\n'
    facts.write_text(facts.read_text(encoding="utf-8") + table, encoding="utf-8")
    told = CliRunner().invoke(main, ["run", str(campaign), "--quiet", "--no-page", "--no-paper"])
    assert told.exit_code == 3
    assert f"budget_scale.{named}" in told.output
    assert "line" in told.output
