"""Entries of what people set aside, written by hand and spoiled: refused with file, line and key, never passed over."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from monochord.cli.main import main
from monochord.files.campaign_file import load_campaign
from tests.trial_bench import Bench

ENTRY = """
[[excluded]]
occasion = "2-aligned"
what = "sighting"
file = "measured/2-aligned/tracker.csv"
line = 3
why = "the reflector was knocked"
"""


def written(bench: Bench, text: str) -> int:
    """Put an entry at the end of a campaign's file; the line of its head."""
    path = bench.campaign / "campaign.toml"
    before = path.read_text("utf-8")
    path.write_text(before + text, encoding="utf-8")
    return before.count("\n") + 2


def run(campaign: Path) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["run", str(campaign), "--no-page", "--no-paper"], catch_exceptions=False)
    return done.exit_code, done.output


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ('why = "the reflector was knocked"\n', "", 0, "no key 'why'"),
        ("the reflector was knocked", " ", 5, "a reason in words"),
        ("line = 3", "line = 99999", 4, "given line 99999"),
        ("line = 3", "line = 1", 4, "given line 1"),
        ("line = 3", 'line = "3"', 4, "a whole number"),
        ("line = 3", "lines = 3", 4, "did you mean 'line'"),
        ('"sighting"', '"sigthing"', 2, "did you mean 'sighting'"),
        ('"sighting"', '"scan"', 3, "expected one of measured/2-aligned/wire_scans.csv"),
        ('"2-aligned"', '"2-algned"', 1, "did you mean '2-aligned'"),
        ('file = "measured/2-aligned/tracker.csv"\nline = 3', 'target = "G1L"', 0, "sightings"),
        ("tracker.csv", "tracker.txt", 3, "did you mean"),
    ],
)
def test_a_spoiled_entry_is_refused_at_its_line(bench: Bench, old: str, new: str, at: int, words: str) -> None:
    bench.begun()
    assert old in ENTRY
    head = written(bench, ENTRY.replace(old, new, 1))
    code, printed = run(bench.campaign)

    assert code == 3, printed
    assert f"campaign.toml, line {head + at}, column excluded" in printed, printed
    assert words in printed
    assert "Traceback" not in printed


def test_a_sighting_of_an_unknown_target_is_let_in_once_it_is_set_aside(bench: Bench) -> None:
    """A fault of what a row says goes with the row: the command finds it though the campaign is refused."""
    bench.begun()
    path = bench.campaign / "measured/2-aligned/tracker.csv"
    path.write_text(path.read_text("utf-8").replace("T1,G1L,", "T1,Zebra,", 1), encoding="utf-8")
    _renew(bench.campaign / "campaign.toml", "measured/2-aligned/tracker.csv")
    code, printed = run(bench.campaign)
    assert code == 3
    assert "tracker.csv, line 2: given target 'Zebra'" in printed

    address = "measured/2-aligned/tracker.csv:2"
    done = CliRunner().invoke(
        main, ["exclude", str(bench.campaign), "--sighting", address, "--why", "a slip of the pen"]
    )

    assert done.exit_code == 0, done.output
    assert load_campaign(bench.campaign).excluded[0].name.startswith("T1 to Zebra")
    assert run(bench.campaign)[0] in (0, 4)


def _renew(campaign: Path, name: str) -> None:
    """The checksum of a measured file as it is now."""
    from hashlib import sha256

    now = sha256((campaign.parent / name).read_bytes()).hexdigest()
    text = campaign.read_text("utf-8")
    at = text.index('sha256 = "', text.index(f'path = "{name}"')) + len('sha256 = "')
    campaign.write_text(text[:at] + now + text[at + 64 :], encoding="utf-8")


def test_every_sighting_aside_is_told_where_the_survey_is_missing(bench: Bench) -> None:
    bench.begun()
    path = bench.campaign / "measured/4-back/tracker.csv"
    lines = range(2, path.read_text("utf-8").count("\n") + 1)
    for line in lines:
        written(bench, ENTRY.replace("2-aligned", "4-back").replace("line = 3", f"line = {line}"))
    campaign = load_campaign(bench.campaign)
    back = next(o for o in campaign.occasions if o.name == "4-back")

    assert back.sightings == ()
    assert "every sighting was set aside by people" in back.lacks
    assert run(bench.campaign)[0] in (0, 4)
