"""Check moves in laboratory A's folder: its real turns and scans, confirmed by a right description, contradicted by a wrong one."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from monochord.cli.main import main

LAB = (Path(__file__).parent / "a.toml").read_text(encoding="utf-8")
TABLE = """
[tables.check_moves]
file = "check_moves.csv"
[tables.check_moves.columns]
what = "what"
name = "name"
direction = { column = "way", words = { outward = "left", inward = "right" } }
size = { column = "size_mm", unit = "mm" }
turns = { column = "turns", unit = "turn" }
before = "from"
after = "to"
"""
#: The turns are those of bolts_turned.csv; the stages of scans 1 and 3 were moved in x and in y; nothing was shimmed.
MOVES = """what,name,way,size_mm,turns,from,to
bolt,H3,x,,0.07500,4-back,
bolt,V3L,y,,-0.06667,4-back,
magnet,Q1,outward,0.05,,4-back,
wire,the whole,{wire},,,1,{to}
"""


def signs(labs: Path, tmp_path: Path, moves: str, lab: str = LAB) -> tuple[int, list[str], Path]:
    """Exit code, lines and campaign of a laboratory's folder with these check moves."""
    folder, campaign = tmp_path / "folder", tmp_path / "campaign"
    shutil.copytree(labs / "a", folder)
    (folder / "5-restored" / "check_moves.csv").write_text(moves, encoding="utf-8")
    (tmp_path / "lab.toml").write_text(lab + TABLE, encoding="utf-8")
    run = CliRunner().invoke
    begun = run(main, ["begin", str(folder), "--lab", str(tmp_path / "lab.toml"), "--into", str(campaign)])
    if begun.exit_code:
        return begun.exit_code, begun.output.splitlines(), campaign
    told = run(main, ["signs", str(campaign)])
    return told.exit_code, told.output.splitlines(), campaign


def wire_shift(labs: Path) -> tuple[str, str]:
    """A scan whose mean stage position differs from that of the first, and the way it went in words."""
    rows = [line.split(",") for line in (labs / "a" / "5-restored" / "wire_scans.csv").read_text().splitlines()]
    head, rows = rows[0], rows[1:]
    scan, x, y = head.index("scan"), head.index("stage_x_mm"), head.index("stage_y_mm")
    means: dict[str, list[tuple[float, float]]] = {}
    for row in rows:
        means.setdefault(row[scan], []).append((float(row[x]), float(row[y])))
    centre = {k: (sum(a for a, _ in v) / len(v), sum(b for _, b in v) / len(v)) for k, v in means.items()}
    for name, (a, b) in centre.items():
        dx, dy = a - centre["1"][0], b - centre["1"][1]
        if abs(dx) > 0.02 and abs(dx) > 3 * abs(dy):
            return name, "outward" if dx > 0 else "inward"
    pytest.fail("no scan lies beside the first")


def test_a_right_description_is_confirmed(labs: Path, tmp_path: Path) -> None:
    to, way = wire_shift(labs)
    code, lines, campaign = signs(labs, tmp_path, MOVES.format(to=to, wire=way))
    assert code == 0
    assert "bolt H3, 0.075 turn x: confirmed: targets show +" in lines[0]
    # V3L was turned together with eleven others: its own 100 um times the girder's give are not to be seen
    assert "bolt V3L, -0.06667 turn y: cannot be told" in lines[1]
    assert "magnet Q1, 0.05 mm left: cannot be told" in lines[2]
    assert f"wire the whole, {'left' if way == 'outward' else 'right'}: confirmed" in lines[3]
    assert lines[-1] == "4 checks: 2 confirmed, 0 contradicted, 2 cannot be told"
    assert CliRunner().invoke(main, ["run", str(campaign), "--no-paper", "--quiet"]).exit_code in {0, 4}
    document = json.loads((campaign / "found" / "result.json").read_text(encoding="utf-8"))
    told = document["signs"]
    assert [s["outcome"] for s in told] == ["confirmed", "cannot be told", "cannot be told", "confirmed"]
    assert told[0]["line"] == 2
    # H3 made 112 um at its end; the two targets beside it are held against all others and show a part
    assert 30e-6 < told[0]["seen"] < 113e-6
    page = (campaign / "found" / "report.html").read_text(encoding="utf-8")
    assert "bolt H3, 0.075 turn x" in page


def test_a_wrong_sense_of_turns_is_contradicted_with_its_key(labs: Path, tmp_path: Path) -> None:
    wrong = LAB.replace('positive_turn = "along the direction"', 'positive_turn = "against the direction"')
    to, way = wire_shift(labs)
    code, lines, _ = signs(labs, tmp_path, MOVES.format(to=to, wire=way), wrong)
    line = next(i for i, text in enumerate(wrong.splitlines(), 1) if text.startswith("positive_turn"))
    assert code == 5
    assert "contradicted: targets show -" in lines[0]
    assert f"tables.bolts.positive_turn, tables.bolts.columns.right_handed in line {line}" in lines[0]
    assert "1 contradicted" in lines[-1]


def test_a_wrong_sign_of_a_stage_is_contradicted_with_its_key(labs: Path, tmp_path: Path) -> None:
    wrong = LAB.replace(
        'stage_x = { column = "stage_x_mm", unit = "mm"', 'stage_x = { column = "stage_x_mm", sign = "-", unit = "mm"'
    )
    assert wrong != LAB
    to, way = wire_shift(labs)
    code, lines, _ = signs(labs, tmp_path, MOVES.format(to=to, wire=way), wrong)
    assert code == 5
    assert "contradicted: stages show -" in lines[3]
    assert "turn round tables.wire_scans.columns.stage_x sign in line" in lines[3]


def test_unknown_names_and_directions_are_refused_in_place(labs: Path, tmp_path: Path) -> None:
    moves = "what,name,way,size_mm,turns,from,to\nbolt,V2X,y,,0.1,4-back,\nmagnet,Q1,sideways,0.05,,4-back,\n"
    code, lines, _ = signs(labs, tmp_path, moves)
    assert code == 3
    assert any("check_moves.csv, line 2, column name: given bolt 'V2X'" in line for line in lines)
    assert any("check_moves.csv, line 3, column way: given direction 'sideways'" in line for line in lines)


def test_the_hand_of_a_thread_is_needed_for_a_sense(labs: Path, tmp_path: Path) -> None:
    moves = "what,name,way,size_mm,turns,from,to\nbolt,H3,clockwise,,0.075,4-back,\nbolt,H3,x,,0.075,nowhere,\n"
    code, lines, _ = signs(labs, tmp_path, moves)
    assert code == 0
    assert "cannot be told: the hand of its thread is not told" in lines[0]
    assert "cannot be told: there is no occasion 'nowhere'" in lines[1]


def test_without_check_moves_the_command_says_how(tmp_path: Path) -> None:
    assert CliRunner().invoke(main, ["demo", "--into", str(tmp_path / "demo")]).exit_code == 0
    told = CliRunner().invoke(main, ["signs", str(tmp_path / "demo" / "campaign")])
    assert told.exit_code == 0
    assert "no check move is noted" in told.output
