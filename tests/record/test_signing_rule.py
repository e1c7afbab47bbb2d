"""Who signs a run is told by its campaign's files, and goes with the run into the record."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from monochord.files import document
from monochord.files.schema_check import check
from monochord.ground.faults import Refused
from monochord.job.record.take import take_campaign
from monochord.store import journal
from monochord.store.opening import Record
from tests.record.signing_world import HAND, context

TYPE = 'schema = "monochord-girder-type/1"\nname = "long"\n'
CAMPAIGN = 'schema = "monochord-campaign/1"\ngirder = "G07"\nlab = "lab.toml"\noccasions = []\n'
on_a_file = pytest.mark.parametrize("address", ["sqlite"], indirect=True)


def taken(record: Record, folder: Path, **texts: str) -> dict[str, object]:
    """The body of a run whose campaign files hold these texts."""
    folder.mkdir()
    inputs = {}
    for name, text in texts.items():
        path = folder / f"{name.replace('_', '-')}.toml"
        path.write_text(text, "utf-8")
        inputs[path.name] = hashlib.sha256(path.read_bytes()).hexdigest()
    told = {"inputs": [{"path": path, "sha256": digest} for path, digest in inputs.items()]}
    run = journal.Entry(folder.name, "2031-05-07T08:00:00+00:00", "monochord", "0" * 64, inputs, json.dumps(told))
    journal.append(folder / "record.sqlite", run)
    new = take_campaign(record, folder, context(), HAND).new
    return dict(new[-1].draft.body)


@on_a_file
def test_the_first_file_with_a_rule_counts_as_a_whole(record: Record, tmp_path: Path) -> None:
    shared = TYPE + '[signing]\nsignatures = 2\nroles = ["approver", "surveyor"]\ndifferent_roles = true\n'
    found = taken(record, tmp_path / "a", campaign=CAMPAIGN, girder_type=shared)
    assert found["signing"] == {
        "signatures": 2,
        "roles": ["approver", "surveyor"],
        "different_persons": True,
        "different_roles": True,
    }
    own = taken(record, tmp_path / "b", campaign=CAMPAIGN + "[signing]\nsignatures = 1\n", girder_type=shared)
    assert own["signing"] == {
        "signatures": 1,
        "roles": ["engineer", "approver"],
        "different_persons": True,
        "different_roles": False,
    }
    assert "signing" not in taken(record, tmp_path / "c", campaign=CAMPAIGN, girder_type=TYPE)


@pytest.mark.parametrize(
    ("rule", "place"),
    [
        ("signatures = 3", "line 4"),
        ('signatures = 1\nroles = ["reader"]', "line 5"),
        ("signatures = 1\nroles = []", "line 5"),
        ('roles = ["engineer"]', "signatures"),
        ("signatures = 1\ndifferent_persons = 1", "line 5"),
        ("signatures = 1\nsecond = 1", "line 5"),
    ],
)
def test_a_rule_that_cannot_be_is_refused_with_its_line(rule: str, place: str) -> None:
    with pytest.raises(Refused, match=place):
        check(document.parse(f"{TYPE}[signing]\n{rule}\n", "girder-type.toml"), "girder-type")
