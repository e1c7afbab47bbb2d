"""Our schema checker against a general validator: the same files accepted, the same files refused."""

from __future__ import annotations

import copy
import json
import shutil
import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monochord.files import document
from monochord.files.begin import begin
from monochord.files.document import Document
from monochord.files.schema_check import SCHEMAS, check, schema
from monochord.ground.faults import Refused

LABS = Path(__file__).resolve().parents[1] / "labs"
NAMES = ("lab", "campaign", "girder", "girder-type")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, object]]:
    """One good document of each kind."""
    root = tmp_path_factory.mktemp("schema")
    shutil.copytree(LABS / "a", root / "a")
    begin(
        root / "a", LABS / "a.toml", root / "c", {"tolerance.roll": "0.2 mrad", "line": "bench"}, "2026-03-12T08:00:00Z"
    )
    return {name: tomllib.loads((root / "c" / f"{name}.toml").read_text("utf-8")) for name in NAMES}


def ours(data: dict[str, object], name: str) -> bool:
    try:
        check(Document(name, "", data), name)
    except Refused:
        return False
    return True


@pytest.mark.parametrize("name", NAMES)
def test_the_schemas_are_schemas(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(json.loads((SCHEMAS / f"{name}.json").read_text("utf-8")))


@pytest.mark.parametrize("name", NAMES)
def test_good_files_pass_both(files: dict[str, dict[str, object]], name: str) -> None:
    assert ours(files[name], name)
    assert jsonschema.Draft202012Validator(schema(name)).is_valid(files[name])


def test_the_second_description_passes_both() -> None:
    data = tomllib.loads((LABS / "b.toml").read_text("utf-8"))
    assert ours(data, "lab")
    assert jsonschema.Draft202012Validator(schema("lab")).is_valid(data)


WRONG: list[object] = [7, True, 2.5, [], ["x"], {}, {"x": 1}, "no such word", [[1]]]


def spots(data: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Paths to everything inside."""
    if isinstance(data, dict):
        pairs: list[tuple[str | int, object]] = list(data.items())
    elif isinstance(data, list):
        pairs = list(enumerate(data))
    else:
        return [path]
    return [path, *(spot for key, value in pairs for spot in spots(value, (*path, key)))]


@pytest.mark.parametrize("name", NAMES)
@given(choice=st.data())
@settings(max_examples=60, deadline=None)
def test_spoiled_files_get_the_same_verdict(
    files: dict[str, dict[str, object]], name: str, choice: st.DataObject
) -> None:
    """One value replaced, removed or added. Amounts are left out: a general validator does not know units."""
    data = copy.deepcopy(files[name])
    path = choice.draw(st.sampled_from([s for s in spots(data) if s]))
    holder: object = data
    for key in path[:-1]:
        assert isinstance(holder, (dict, list))
        holder = holder[key]  # type: ignore[index]
    how = choice.draw(st.sampled_from(["replace", "remove", "add"]))
    assert isinstance(holder, (dict, list))
    if how == "replace":
        wrong = choice.draw(st.sampled_from(WRONG))
        if isinstance(wrong, str) and wrong == "no such word" and not is_word(path, name):
            wrong = 7
        holder[path[-1]] = wrong  # type: ignore[index]
    elif how == "remove":
        del holder[path[-1]]  # type: ignore[arg-type]
    elif isinstance(holder, dict):
        holder["unheard_of"] = "x"
    general = jsonschema.Draft202012Validator(schema(name)).is_valid(data)
    mine = ours(data, name)
    # a text added where any amount may stand is refused by us for its unit alone
    assert mine == general or (how == "add" and general)


def is_word(path: tuple[str | int, ...], name: str) -> bool:
    """Whether one of a few words must stand there, which a general validator knows as well."""
    words = ("schema", "quantity", "line", "weights", "role", "horizontal", "vertical", "means")
    return path[-1] in words or (name == "lab" and path[0] == "frame")


def test_faults_of_a_file_come_all_at_once_in_their_lines() -> None:
    text = (
        'schema = "monochord-girder-type/1"\nname = "t"\n\n[beam]\nlength = "4.6"\ndepth = 3\n\n'
        '[[tolerances]]\nquantity = "offset"\nlimit = "30 um"\n\n[[tolerances]]\nquantity = "offse"\nlimit = "1 um"\nx = 1\n'
    )
    with pytest.raises(Refused) as refusal:
        check(document.parse(text, "girder-type.toml"), "girder-type")
    placed = {(f.line, f.column) for f in refusal.value.faults}
    assert {
        (4, "beam"),
        (5, "beam.length"),
        (6, "beam.depth"),
        (13, "tolerances.quantity"),
        (15, "tolerances.x"),
    } == placed
