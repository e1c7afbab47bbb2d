"""Mix-ups planted into the descriptions of both laboratories and of the demo: found by name, and none in clean data.

Each plant makes the description wrong in one word. What the pictures say is read from the refusal that a person gets.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import monochord.job.demo
from monochord.files.begin import begin
from monochord.ground.faults import Fault, Refused
from monochord.simulate.demo import demo_campaign

HERE = Path(__file__).parent
DESCRIPTIONS = {
    "a": HERE / "a.toml",
    "b": HERE / "b.toml",
    "demo": Path(monochord.job.demo.__file__).parent / "lab.toml",
}
OTHER = "counter-clockwise"


@pytest.fixture(scope="session")
def folders(labs: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The three laboratories' folders without the wire, which has nothing to say here."""
    place = tmp_path_factory.mktemp("folders")
    for name in "ab":
        shutil.copytree(labs / name, place / name, ignore=shutil.ignore_patterns("wire.h5", "wire_scans.csv", "*.json"))
    for path, text in demo_campaign(3).texts.items():
        if not path.endswith(("wire.tsv", "resonance.tsv")):
            (place / "demo" / path).parent.mkdir(parents=True, exist_ok=True)
            (place / "demo" / path).write_text(text, encoding="utf-8")
    return {path.name: path for path in place.iterdir()}


def told(folder: Path, name: str, edits: dict[str, str], into: Path) -> tuple[list[Fault], list[Fault]]:
    """Faults and notes of a campaign begun with a description in which patterns were replaced."""
    text = DESCRIPTIONS[name].read_text(encoding="utf-8")
    for pattern, new in edits.items():
        text, count = re.subn(pattern, new, text)
        assert count, pattern
    (into / "lab.toml").write_text(text, encoding="utf-8")
    try:
        return [], begin(folder, into / "lab.toml", into / "campaign", {})
    except Refused as refused:
        return list(refused.faults), []


def pictures(faults: list[Fault]) -> list[Fault]:
    return [f for f in faults if f.given.startswith("a picture of")]


@pytest.mark.parametrize("name", ["a", "b", "demo"])
def test_clean_data_have_no_mix_up(name: str, folders: dict[str, Path], tmp_path: Path) -> None:
    faults, notes = told(folders[name], name, {}, tmp_path)
    assert faults == []
    assert [n for n in notes if "picture" in n.given or "plane" in n.given or "round" in n.given] == []


def unit(column: str, to: str) -> dict[str, str]:
    """The unit of one column of the sightings replaced, against what the column's own name says."""
    return {rf'({column} = {{ column = "[^"]*", )unit = "[^"]*"': rf'\1despite_name = true, unit = "{to}"'}


def exchanged(first: str, second: str) -> dict[str, str]:
    """Two columns of the targets' places read the wrong way round."""
    lines = r'{} = {{ column = ("[^"]*"), unit = "mm" }}\n'
    between = r"((?:[xyz] = [^\n]*\n)?)"
    head = r"(\[tables\.targets\.columns\]\n(?:[^\n]*\n){2}(?:[xyz] = [^\n]*\n)?)"
    # the columns x, y, z stand in this order, so at most one line lies before and one between
    found = head + lines.format(first) + between + lines.format(second)
    one, two = f'{first} = {{ column = \\4, unit = "mm" }}\n', f'{second} = {{ column = \\2, unit = "mm" }}\n'
    return {found: rf"\1{one}\3{two}"}


CIRCLE = "the sense of the horizontal circle is the other one (angles.horizontal)"
PLANTS: list[tuple[str, dict[str, str], set[str]]] = [
    ("a", {'"counter-clockwise"': '"clockwise"'}, {CIRCLE, "nominal x counts the other way"}),
    ("b", {'"clockwise"': f'"{OTHER}"'}, {CIRCLE, "nominal y counts the other way"}),
    ("demo", {'"clockwise"': f'"{OTHER}"'}, {CIRCLE, "nominal x counts the other way"}),
    ("a", {'vertical = "zenith"': 'vertical = "elevation"'}, {"the vertical angle is an elevation"}),
    ("b", {'vertical = "zenith"': 'vertical = "elevation"'}, {"the vertical angle is an elevation"}),
    ("demo", {'vertical = "elevation"': 'vertical = "zenith"'}, {"the vertical angle is an elevation"}),
    ("a", unit("horizontal", "gon") | unit("vertical", "gon"), {"angles in degrees read as gon"}),
    ("a", unit("horizontal", "gon"), {"horizontal angles in degrees read as gon"}),
    ("a", unit("vertical", "gon"), {"vertical angles in degrees read as gon"}),
    ("demo", unit("horizontal", "gon") | unit("vertical", "gon"), {"angles in degrees read as gon"}),
    ("b", unit("vertical", "deg"), {"vertical angles in gon read as degrees"}),
    ("a", unit("distance", "cm"), {"distances: millimetres read as centimetres"}),
    ("a", unit("distance", "in"), {"distances: millimetres read as inches"}),
    ("demo", unit("distance", "in"), {"distances: millimetres read as inches"}),
    ("b", unit("distance", "ft"), {"distances: metres read as feet"}),
    ("a", exchanged("x", "y"), {"nominal x and y in two exchanged columns"}),
    ("b", exchanged("y", "z"), {"nominal y and z in two exchanged columns"}),
    ("demo", exchanged("x", "y"), {"nominal x and y in two exchanged columns"}),
    (
        "a",
        {r"(\[tables\.targets\.columns\](?:\n[^\n]*){3}\ny = \{)": r'\1 sign = "-",'},
        {"nominal y counts the other way", "nadir"},
    ),
]


@pytest.mark.parametrize(("name", "edits", "reasons"), PLANTS, ids=[f"{n}: {min(r)}" for n, _, r in PLANTS])
def test_a_planted_mix_up_is_found_by_name(
    name: str, edits: dict[str, str], reasons: set[str], folders: dict[str, Path], tmp_path: Path
) -> None:
    """Every station tells just what was planted, and how far the misfit falls."""
    faults, _ = told(folders[name], name, edits, tmp_path)
    found = pictures(faults)
    assert len(found) >= 6
    for fault in found:
        said = re.split(r", or (?=[\d.e+-]+ [um]m if )", fault.remedy.removeprefix("it would fit to "))
        assert len(said) == len(reasons), fault.remedy
        assert all(sum(reason in one for one in said) == 1 for reason in reasons), fault.remedy
        assert fault.line is not None
        assert re.search(r"in line \d+ of the lab description", fault.remedy)
        # nominal places are good to 0.5 mm: what the right word leaves is of that size, before it was hundreds
        left = re.match(r"([\d.e+-]+) (um|mm)", said[0])
        assert left is not None
        assert float(left[1]) * (1.0 if left[2] == "mm" else 1e-3) < 0.6
