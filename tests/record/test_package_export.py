"""A package holds the whole record of a girder in forms that need nothing of ours."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import bagit
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_public_key

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.package import export_girder
from monochord.store.entry import Draft, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.making import make_record
from monochord.store.opening import Record
from monochord.store.package import writing
from monochord.store.package.names import Places, readable, same_place, wrong_in
from tests.record.signing_world import HAND, context, keep_run, people, signed

RUN = "a" * 32
#: What does not depend on the database is held on one of the two.
on_a_file = pytest.mark.parametrize("address", ["sqlite"], indirect=True)
FILES = {"measured/5-restored/wire.tsv": b"x\ty\n1\t2\n", "measured/5-restored/Feld Süd.tsv": b"\x00\xff\n"}


@pytest.fixture
def at() -> Context:
    return context()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A package of a girder that two people signed."""
    folder, at = tmp_path_factory.mktemp("made"), context()
    record = make_record(str(folder / "record.sqlite"))
    keys = people(record, at, folder)
    keep_run(record, "f" * 32, at, girder="G08", files={"measured/other.tsv": b"another girder\n"})
    keep_run(record, RUN, at, files=FILES)
    signed(record, at, keys["Ada Voß"], "engineer", rule="acceptance plan, section 4")
    signed(record, at, keys["Bo"], "approver")
    export_girder(record, "G07", folder / "package", at, HAND)
    record.engine.dispose()
    return folder / "package"


@pytest.fixture
def package(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "package"))


def stated(package: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (package / "data" / "entries.jsonl").read_text("utf-8").splitlines()]


def test_a_package_is_a_bag_of_the_standard(package: Path) -> None:
    bag = bagit.Bag(str(package))
    assert bag.validate()
    assert bag.version_info == (1, 0)
    assert sorted(bag.algorithms) == ["sha256", "sha512"]
    assert bag.info["External-Identifier"] == "girder/G07"
    for name in ("tagmanifest-sha256.txt", "manifest-sha512.txt"):
        program = name.partition("-")[2].removesuffix(".txt") + "sum"
        subprocess.run([program, "--check", "--quiet", "--strict", name], cwd=package, check=True)


def test_the_files_are_there_as_they_were_under_their_own_names(package: Path) -> None:
    for path, content in FILES.items():
        assert (package / "data" / "files" / path).read_bytes() == content
    assert not list((package / "data" / "files").rglob("other.tsv"))
    with (package / "data" / "files.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for row in rows:
        content = (package / "data" / row["place in this package"]).read_bytes()
        assert (hashlib.sha256(content).hexdigest(), len(content)) == (row["sha256"], int(row["bytes"]))


def test_the_entries_are_those_of_the_girder_and_of_the_people_who_signed(package: Path) -> None:
    entries = stated(package)
    kinds = [e["entry"]["kind"] for e in entries]
    assert kinds == ["person", "key", "person", "key", "run", "signature", "signature"]  # not Cy, who did nothing
    for e in entries:
        names = ("id", "kind", "subject", "made_at", "made_by", "device", "replaces", "body")
        text = json.dumps([e["entry"][n] for n in names], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert hashlib.sha256(text.encode()).hexdigest() == e["content"]
        c = e["chain"]
        link = json.dumps([c["previous"], c["number"], c["kept_at"], e["content"]], separators=(",", ":"))
        assert hashlib.sha256(link.encode()).hexdigest() == c["hash"]


def test_results_stand_as_documents_and_as_tables_with_units(package: Path) -> None:
    [folder] = [p for p in (package / "data" / "results").iterdir() if p.is_dir()]
    assert json.loads((folder / "result.json").read_text("utf-8"))["girder"]["name"] == "G07"
    head = (folder / "verdicts.csv").read_text("utf-8").splitlines()[0]
    assert "[" in head
    schema = json.loads((package / "data" / "results" / "result.schema.json").read_text("utf-8"))
    assert schema["$schema"]


@pytest.mark.skipif(
    shutil.which("openssl") is None and not os.environ.get("CI"), reason="openssl is not installed here"
)
def test_openssl_alone_proves_a_signature_by_the_command_of_the_readme(package: Path) -> None:
    [command] = [line for line in (package / "README.txt").read_text("utf-8").splitlines() if "pkeyutl" in line]
    assert command.strip() == (
        "openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in statement.json -sigfile signature.bin"
    )
    folders = sorted((package / "data" / "signatures").iterdir())
    assert len(folders) == 2
    for folder in folders:
        said = subprocess.run(command.split(), cwd=folder, capture_output=True, text=True, check=True)
        assert "Signature Verified Successfully" in said.stdout
    statement = folders[0] / "statement.json"
    statement.write_bytes(statement.read_bytes().replace(b'"does not conform":0', b'"does not conform":1'))
    assert subprocess.run(command.split(), cwd=folders[0], capture_output=True, check=False).returncode != 0


def test_a_signature_is_proven_and_led_back_to_the_result_without_anything_of_ours(package: Path) -> None:
    [ada, _] = sorted((package / "data" / "signatures").iterdir())
    key = load_pem_public_key((ada / "key.pem").read_bytes())
    assert isinstance(key, Ed25519PublicKey)
    signed_text = (ada / "statement.json").read_bytes()
    key.verify((ada / "signature.bin").read_bytes(), signed_text)
    what = json.loads(signed_text)["what"]
    [run] = [e for e in stated(package) if e["entry"]["id"] == what["entry"]]
    assert run["content"] == what["content"]
    [result] = (package / "data" / "results").glob("*/result.json")
    assert hashlib.sha256(result.read_bytes()).hexdigest() == what["document"]
    words = [
        v["verdict"]
        for m in json.loads(result.read_text("utf-8"))["verdicts"]["5-restored"].values()
        for v in m.values()
    ]
    assert what["verdicts"]["conforms"] == words.count("conforms") == 2


@on_a_file
def test_an_export_that_breaks_off_leaves_nothing(
    record: Record, at: Context, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep_run(record, RUN, at, files=FILES)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing, "_results", full)
    with pytest.raises(OSError, match="No space"):
        export_girder(record, "G07", tmp_path / "package", at, HAND)
    assert not [p for p in tmp_path.iterdir() if p.name.startswith("package")]


@on_a_file
def test_what_a_killed_export_left_is_named_and_no_package(record: Record, at: Context, tmp_path: Path) -> None:
    keep_run(record, RUN, at, files=FILES)
    left = tmp_path / "package.part-77"
    left.mkdir()
    with pytest.raises(Refused, match=r"package\.part-77: given what a broken-off export left"):
        export_girder(record, "G07", tmp_path / "package", at, HAND)
    left.rmdir()
    export_girder(record, "G07", tmp_path / "package", at, HAND)
    with pytest.raises(Refused, match="there already"):
        export_girder(record, "G07", tmp_path / "package", at, HAND)
    with pytest.raises(Refused, match="given the girder 'G99'"):
        export_girder(record, "G99", tmp_path / "other", at, HAND)
    assert not (tmp_path / "other").exists()


@on_a_file
def test_paths_that_would_lead_out_or_meet_each_other_get_places_of_their_own(
    record: Record, at: Context, tmp_path: Path
) -> None:
    paths = [
        "../../etc/wire.tsv",
        "/etc/wire.tsv",
        "Wire.tsv",
        "wire.tsv",
        "wire.tsv/under",
        "C:\\new\\nul.txt",
        "a%0Ab",
    ]
    paths += ["Grün.tsv", "Gru\u0308n.tsv", f"{'x' * 300}/{'y' * 300}.tsv", "/".join("deep" * 30), "end. ", "a\nb"]
    keep_run(record, RUN, at, files={path: f"{i}\n".encode() for i, path in enumerate(paths)})
    export_girder(record, "G07", tmp_path / "package", at, HAND)
    with (tmp_path / "package" / "data" / "files.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["path where it was read"]: row["place in this package"] for row in csv.DictReader(stream)}
    places = [rows[path] for path in paths]
    assert len({same_place(place) for place in places}) == len(paths)
    assert not [place for place in places if wrong_in(f"data/{place}")]
    for i, place in enumerate(places):
        assert (tmp_path / "package" / "data" / place).read_bytes() == f"{i}\n".encode()


@on_a_file
def test_a_file_that_is_not_kept_is_told(record: Record, at: Context, tmp_path: Path) -> None:
    run = keep_run(record, RUN, at)
    body = {**run.draft.body, "inputs": [{"path": "lost.tsv", "sha256": "9" * 64}]}
    append(record, [Draft("b" * 32, "run", "girder/G07", stamp(at.now()), "m", "d", body)], at.now())
    written = export_girder(record, "G07", tmp_path / "package", at, HAND)
    assert written.missing == ("lost.tsv (999999999999)",)


def test_a_magnet_takes_its_whole_story_along(record: Record, at: Context, tmp_path: Path) -> None:
    keep_run(record, RUN, at)
    photo = keep_bytes(record, b"a picture")
    bodies: list[tuple[str, str, dict[str, object]]] = [
        ("magnet", "magnet/Q-17", {"serial": "Q-17", "kind": "quadrupole"}),
        ("placed", "magnet/Q-17", {"serial": "Q-17", "girder": "G03", "position": "Q1", "since": "2029-01-02"}),
        ("placed", "magnet/Q-17", {"serial": "Q-17", "girder": "G07", "position": "Q2", "since": "2031-01-02"}),
        ("magnet", "magnet/Q-18", {"serial": "Q-18", "kind": "quadrupole"}),
        ("instrument", "instrument/T1", {"name": "T1", "kind": "torque wrench"}),
        ("step", "girder/G07", {"girder": "G07", "step": "bolted", "done_on": "2031-05-01", "instrument": "T1"}),
        ("note", "girder/G07", {"words": "scratched", "picture": {"path": "scratch.jpg", "sha256": photo}}),
    ]
    drafts = [Draft(f"{i}", k, s, stamp(at.now()), "Di", "office", b) for i, (k, s, b) in enumerate(bodies)]
    append(record, drafts, at.now())
    export_girder(record, "G07", tmp_path / "package", at, HAND)
    subjects = [e["entry"]["subject"] for e in stated(tmp_path / "package")]
    assert subjects.count("magnet/Q-17") == 3
    assert "instrument/T1" in subjects
    assert "magnet/Q-18" not in subjects
    assert (tmp_path / "package" / "data" / "files" / "scratch.jpg").read_bytes() == b"a picture"


def test_places_keep_folders_and_files_apart() -> None:
    places = Places()
    assert places.place("a/b", "1") == "a/b"
    assert places.place("a", "2") == "a~2"
    assert places.place("A/B", "3") == "A/B~3"
    assert places.place("a/b/c.txt", "4") == "4/c~4.txt"
    assert readable("") == "file"
