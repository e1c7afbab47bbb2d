"""Descriptions of laboratories and files of campaigns, damaged: refused with every fault in its place, or read."""

from __future__ import annotations

import functools
import tempfile
import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from random import Random

from evidence.fuzz import mutate
from monochord.files import document
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.files.document import Document
from monochord.files.girder_file import girder_facts
from monochord.files.lab import lab_of
from monochord.files.schema_check import check
from monochord.ground.faults import Refused

#: Values that stand where others are expected.
VALUES = (
    b"1", b"-1", b"1.5", b'""', b'"x"', b"true", b"[]", b"{}", b"[[1]]", b"1e400", b"nan", b"inf", b"9" * 5000, b"2026-03-02",
    b"07:30:00", b'"1/0 turn"', b'"1e999 mm"', b'"-0 mm"', b'"5 furlong"', b'"5 mm mm"', b'"5 mm/mm"', b'["a", 1]', b"0x7f",
    b'"nan mm"', b'"\\u0000"', b'"../.."', b'"UTC+99"', b'"YYYY"', b'"***"', b'"[a"', b"[" * 3000 + b"]" * 3000,
    b"-9223372036854775808",
)  # fmt: skip


@functools.cache
def _described() -> bytes:
    return resources.files("monochord.job").joinpath("demo", "lab.toml").read_bytes()


@functools.cache
def campaign_files() -> Mapping[str, bytes]:
    """Documents of a campaign that the demo's files begin; those of the first occasion only, so that loading is quick."""
    from monochord.simulate.demo import demo_campaign

    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        for path, text in demo_campaign(1).texts.items():
            (root / "data" / path).parent.mkdir(parents=True, exist_ok=True)
            (root / "data" / path).write_text(text, "utf-8", newline="\n")
        (root / "lab.toml").write_bytes(_described())
        begin(root / "data", root / "lab.toml", root / "campaign", {"girder": "G1"})
        return {p.name: p.read_bytes() for p in (root / "campaign").glob("*.toml")}


def changed(data: bytes, rng: Random) -> bytes:
    """Damage, or a value where another is expected, a key renamed, a line elsewhere."""
    if rng.random() < 0.4:
        return mutate.damaged(data, rng)
    lines = data.split(b"\n")
    for _ in range(rng.choice((1, 1, 2, 4))):
        i = rng.randrange(len(lines))
        key, equals, _ = lines[i].partition(b" = ")
        how = rng.random()
        if equals and how < 0.6:
            lines[i] = key + equals + rng.choice(VALUES)
        elif equals and how < 0.8:
            lines[i] = rng.choice((b"zzz", b"x", b'""', b'"a.b"', b"a.b.c", key + key)) + lines[i][len(key) :]
        else:
            lines.insert(rng.randrange(len(lines)), lines.pop(i))
    return b"\n".join(lines)


def _document(data: bytes, name: str, place: Path) -> Document:
    path = place / name
    path.write_bytes(data)
    return document.read(path, name)


def _placed(refusal: Refused, data: bytes) -> str:
    """Faults must lie in the file's lines and say what is to be done."""
    lines = data.count(b"\n") + 1
    for fault in refusal.faults:
        if not (fault.given and fault.expected and fault.remedy):
            return f"unsaid: {fault!r}"
        if fault.line is not None and not 1 <= fault.line <= lines:
            return f"wrong: line {fault.line} of {lines}: {fault}"
    return "" if refusal.faults else "unsaid: a refusal without a fault"


def description(rng: Random) -> str:
    """A description of a laboratory, damaged."""
    data = changed(_described(), rng)
    with tempfile.TemporaryDirectory(dir=_memory()) as place:
        try:
            lab_of(_document(data, "lab.toml", Path(place)))
        except Refused as refusal:
            return _placed(refusal, data)
    return _parsed(data)


def campaign(rng: Random) -> str:
    """One of the documents of a campaign, damaged, and the girder and the campaign read from them."""
    files = dict(campaign_files())
    name = rng.choice(sorted(files))
    files[name] = data = changed(files[name], rng)
    schemas = {"campaign.toml": "campaign", "girder.toml": "girder", "girder-type.toml": "girder-type"}
    with tempfile.TemporaryDirectory(dir=_memory()) as folder:
        place = Path(folder)
        for other, text in files.items():
            (place / other).write_bytes(text)
        try:
            if name in schemas:
                read = {n: document.read(place / n, n) for n in schemas}
                check(read[name], schemas[name])
                girder_facts(read["girder.toml"], read["girder-type.toml"], read["campaign.toml"])
            if name not in schemas or rng.random() < 0.2:
                load_campaign(place)
        except Refused as refusal:
            return _placed(refusal, max(files.values(), key=lambda text: text.count(b"\n")))
    return _parsed(data)


def _parsed(data: bytes) -> str:
    """A document that was taken is one for the standard parser too."""
    try:
        tomllib.loads(data.decode("utf-8-sig").replace("\r\r\n", "\n"))  # two carriage returns do no harm
    except (ValueError, RecursionError) as error:
        return f"wrong: taken, and is no TOML: {error}"
    return ""


def _memory() -> str | None:
    """A folder in memory where there is one, for files that live for milliseconds."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None
