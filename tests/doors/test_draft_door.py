"""The draft as a person uses it: listed without a terminal, asked at one, never replacing a file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from monochord.files.draft.findings import Question
from monochord.ground.faults import Refused
from monochord.job.draft import answers_from, draft_description, put
from tests.doors.test_cli import monochord
from tests.draft_world import Habit, nominal, sightings


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A laboratory of two tables."""
    made = tmp_path / "lab"
    for path, text in {"given/targets.csv": nominal(Habit()), "1-bench/obs.csv": sightings(Habit())}.items():
        (made / path).parent.mkdir(parents=True)
        (made / path).write_text(text, "utf-8")
    return made


def test_without_a_terminal_questions_are_listed_with_their_answers(folder: Path, tmp_path: Path) -> None:
    told = monochord("draft", str(folder), cwd=tmp_path)

    assert told.returncode == 4
    assert '--answer frame="x left, y up, z along beam"' in told.stdout
    assert "1-bench/obs.csv: sightings" in told.stdout
    assert "The description is not loaded yet" in told.stdout


def test_a_file_is_written_and_never_replaced(folder: Path, tmp_path: Path) -> None:
    into = tmp_path / "lab.toml"
    first = monochord(
        "draft", str(folder), "--into", str(into), "--answer", "tables.targets.good_to=0.5 mm", cwd=tmp_path
    )
    before = into.read_bytes()
    again = monochord("draft", str(folder), "--into", str(into), cwd=tmp_path)

    assert first.returncode == 4
    assert tomllib.loads(before.decode())["tables"]["targets"]["good_to"] == "0.5 mm"
    assert again.returncode == 3
    assert "there already" in again.stderr
    assert into.read_bytes() == before


def test_an_answer_without_its_value_is_a_wrong_command(folder: Path, tmp_path: Path) -> None:
    told = monochord("draft", str(folder), "--answer", "frame", cwd=tmp_path)

    assert told.returncode == 2
    assert "--answer" in told.stderr


def test_a_wrong_answer_is_refused_with_what_is_taken(folder: Path, tmp_path: Path) -> None:
    told = monochord("draft", str(folder), "--answer", "frame=x up, y up, z up", cwd=tmp_path)

    assert told.returncode == 3
    assert "x left, y up, z along beam" in told.stderr


def test_a_person_answers_some_and_leaves_the_rest_open(folder: Path) -> None:
    asked: list[str] = []

    def person(question: Question) -> str | None:
        asked.append(question.key)
        return question.choices[0].value if question.key == "frame" else None

    drafted = draft_description(folder, {}, person)

    assert asked[0] == "frame"
    assert len(asked) == len(set(asked)), "nothing is asked twice"
    assert drafted.draft.answers["frame"] == "x left, y up, z along beam"
    assert "tables.targets.good_to" in [q.key for q in drafted.draft.questions]


def test_a_sheet_of_answers_is_written_like_a_description(tmp_path: Path) -> None:
    sheet = tmp_path / "facts.toml"
    sheet.write_text('[wire]\nlength = "5 m"\n[[tolerances]]\nquantity = "offset"\nlimit = "30 um"\n', "utf-8")

    assert answers_from(sheet) == {"wire.length": "5 m", "tolerances": [{"quantity": "offset", "limit": "30 um"}]}
    sheet.write_text("[wire\n", "utf-8")
    with pytest.raises(Refused, match=r"facts\.toml"):
        answers_from(sheet)


def test_files_of_no_sort_are_told_and_do_no_harm(tmp_path: Path) -> None:
    odd = tmp_path / "odd"
    odd.mkdir()
    (odd / "empty.csv").write_bytes(b"")
    (odd / "zeros.dat").write_bytes(b"\0\1\2\3" * 50)
    (odd / "broken.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + b"x" * 100)
    (odd / "prose.txt").write_text("nothing here, but words.\nAnd more of them.\n", "utf-8")
    told = monochord("draft", str(odd), cwd=tmp_path)

    assert told.returncode == 4
    assert all(name in told.stdout for name in ("empty.csv", "zeros.dat", "broken.h5", "prose.txt"))
    with pytest.raises(Refused):
        put(draft_description(odd, {}), odd / "prose.txt")
