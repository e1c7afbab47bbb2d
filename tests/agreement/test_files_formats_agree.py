"""A table gives the same campaign, bit for bit, in whatever format it is kept, and so the same numbers at the end."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.job.context import Context
from monochord.job.run import run_campaign
from tests.formats_world import FORMATS, ROLE_OF, write

SEED = 3

#: Where a value stood, and when the folder was made, differ between formats; nothing else may.
APART = {"file", "line", "rows", "inputs", "notes", "pairings", "sources", "imports", "described"}

#: How words of the result name the row of a table.
PLACE = re.compile(r"measured/[^ ,;\"]+(,? (line|row)s? [\d, ]+)?")


def campaign(root: Path) -> Path:
    begin(root / "handed-over", root / "lab.toml", root / "campaign", {"girder": "demo"})
    return root / "campaign"


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return campaign(write(tmp_path_factory.mktemp("text"), SEED, {}))


def same(one: object, other: object, place: str = "campaign") -> list[str]:
    """Places at which two campaigns differ; numbers must be equal to the last bit."""
    if type(one) is not type(other):
        return [f"{place}: {type(one).__name__}, {type(other).__name__}"]
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return [] if one.tobytes() == other.tobytes() and one.shape == other.shape else [place]
    parts, others = inside(one), inside(other)
    if parts is None or others is None:
        equal = one.hex() == other.hex() if isinstance(one, float) and isinstance(other, float) else one == other
        return [] if equal else [f"{place}: {one!r}, {other!r}"]
    told = [] if list(parts) == list(others) else [f"{place}: {list(parts)}, {list(others)}"]
    return told + [d for k in parts if k in others for d in same(parts[k], others[k], f"{place}.{k}")]


def inside(thing: object) -> Mapping[object, object] | None:
    """The parts of a noun, a mapping or a sequence; None of anything else."""
    if is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in APART}
    if isinstance(thing, Mapping):
        return thing
    return dict(enumerate(thing)) if isinstance(thing, (list, tuple)) else None


def test_a_difference_in_one_bit_is_seen(text: Path) -> None:
    first = load_campaign(text)
    value = first.occasions[0].scans[0].stage_x
    changed = value.copy()
    changed[0] = np.nextafter(changed[0], 1.0)
    assert same(value, changed) == ["campaign"]
    assert same(first, first) == []


@pytest.mark.parametrize("name", list(FORMATS))
def test_every_table_reads_the_same_in_every_format(text: Path, tmp_path: Path, name: str) -> None:
    made = campaign(write(tmp_path, SEED, dict.fromkeys(ROLE_OF, name)))
    other = load_campaign(made)
    assert isinstance(other, Campaign)
    assert same(load_campaign(text), other) == []
    assert {Path(s.path).suffix for s in other.inputs} == {".toml", f".{FORMATS[name][0]}"}


def test_a_campaign_of_many_formats_gives_the_numbers_of_text(text: Path, tmp_path: Path) -> None:
    names = list(FORMATS)
    chosen = {stem: names[i % len(names)] for i, stem in enumerate(ROLE_OF)}
    mixed = campaign(write(tmp_path, SEED, chosen))
    context = Context(now=lambda: datetime(2031, 6, 1, tzinfo=UTC), new_id=lambda: "0" * 32)
    documents = [
        json.loads(run_campaign(c, context, with_page=False, with_paper=False).document.read_text("utf-8"))
        for c in (text, mixed)
    ]
    documents = [json.loads(PLACE.sub("(the row)", json.dumps(d))) for d in documents]
    for key in ("occasions", "comparisons", "plans", "verdicts", "moves", "budgets", "tolerances", "sentence"):
        assert documents[0][key] == documents[1][key], key
