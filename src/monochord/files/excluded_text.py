"""Entries of what people set aside, written into the text of a campaign's file; all that stands there already stays as it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from pathlib import Path

from monochord.campaign.given.excluded import Excluded
from monochord.files.document import Document, parse
from monochord.files.excluded import EXCLUDED, Candidate, entries, taken_out
from monochord.files.places import key_lines
from monochord.files.schema_check import check
from monochord.files.toml_writer import toml
from monochord.ground.faults import Fault, Refused


def with_entry(campaign: Document, entry: Mapping[str, object]) -> Document:
    """The campaign's file with one more entry at its end, read back; Refused when that would not be what is meant."""
    text = campaign.text.rstrip("\n") + "\n" + toml({EXCLUDED: [entry]})
    wanted = deepcopy(dict(campaign.data))
    told = wanted.setdefault(EXCLUDED, [])
    if isinstance(told, list):
        told.append(dict(entry))
    return _read_back(campaign, [text], wanted)


def with_taken_back(campaign: Document, index: int, words: Mapping[str, str]) -> Document:
    """The campaign's file with the words of a taking back at the entry of this index, counted from 0; read back."""
    lines = {path: line for path, line in key_lines(campaign.text).items() if path[:2] == (EXCLUDED, index)}
    wanted = deepcopy(dict(campaign.data))
    told = wanted[EXCLUDED]
    if isinstance(told, list):
        told[index] |= dict(words)
    texts = campaign.text.split("\n")
    more = toml(words).rstrip("\n").split("\n")
    # behind its last key; where that runs on over lines, behind its head
    places = (max(lines.values(), default=0), min(lines.values(), default=0))
    return _read_back(campaign, ["\n".join([*texts[:at], *more, *texts[at:]]) for at in places if at], wanted)


def _read_back(campaign: Document, texts: Sequence[str], wanted: Mapping[str, object]) -> Document:
    """The first text that reads as what is wanted and fits its schema."""
    for text in texts:
        try:
            written = parse(text, campaign.name)
        except Refused:
            continue
        if written.data == wanted:
            check(written, "campaign")
            return written
    given = f"{EXCLUDED!r} in a form that cannot be added to"
    raise Refused([campaign.fault((EXCLUDED,), given, f"tables [[{EXCLUDED}]]", f"write them as [[{EXCLUDED}]]")])


def told_of(campaign: Document, found: Mapping[str, Sequence[Candidate]]) -> tuple[dict[int, Excluded], list[Fault]]:
    """All entries of a campaign's file by their index from 0, and what is wrong with them.

    found  occasion -> everything of it that can be set aside
    """
    nodes, faults = entries(campaign.root, found)
    told: dict[int, Excluded] = {}
    for occasion, among in found.items():
        told |= taken_out([n for n in nodes if n.text("occasion") == occasion], among, faults)[0]
    return told, faults


def bytes_as_before(path: Path, text: str) -> bytes:
    """The text as bytes, its lines ended as those of the file that stands there."""
    return text.replace("\n", "\r\n").encode("utf-8") if b"\r\n" in path.read_bytes() else text.encode("utf-8")
