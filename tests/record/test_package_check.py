"""Whatever is changed in a package is found and named; a hostile one is refused before anything is made of it."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.record.keyring import add_key, withdraw_key
from monochord.job.record.package import export_girder, package_checked
from monochord.store import signing
from monochord.store.entry import Draft, canonical, chained, content_of, stamp
from monochord.store.keys import new_key
from monochord.store.ledger import append
from monochord.store.making import make_record
from monochord.store.package.bag import MANIFESTS, TAG_MANIFESTS, TAGS, Sums, manifest, oxum, sums_of
from monochord.store.package.checking import check_package
from monochord.store.package.walk import files_in
from tests.record.signing_world import HAND, PASSPHRASE, context, keep_run, people, signed

RUN = "a" * 32


@pytest.fixture(scope="module")
def origin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a package and the public key of Ada."""
    folder = tmp_path_factory.mktemp("origin")
    at, record = context(), make_record(str(folder / "record.sqlite"))
    keys = people(record, at, folder)
    files = {"measured/wire.tsv": b"x\ty\n1\t2\n", "measured/feet.tsv": b"f\n"}
    keep_run(record, RUN, at, files=files)
    signed(record, at, keys["Ada Voß"], "engineer")
    export_girder(record, "G07", folder / "package", at, HAND)
    with record.reading() as connection:
        [ada] = [k for k in signing.keys(connection).values() if k.person == "Ada Voß"]
    (folder / "ada.public.pem").write_text(ada.pem)
    record.engine.dispose()
    return folder


@pytest.fixture
def package(origin: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(origin / "package", tmp_path / "package"))


def refusal(package: Path) -> str:
    with pytest.raises(Refused) as found:
        check_package(package)
    return "\n".join(str(fault) for fault in found.value.faults)


def seal(package: Path) -> None:
    """Write all manifests anew, as somebody would who wants a change to pass."""
    paths = sorted(p for p in package.rglob("*") if p.is_file())
    sums: dict[str, Sums] = {p.relative_to(package).as_posix(): sums_of(p.read_bytes()) for p in paths}
    payload = {path: s for path, s in sums.items() if path.startswith("data/")}
    info = (package / "bag-info.txt").read_text("utf-8").splitlines()
    kept = [line for line in info if not line.startswith("Payload-Oxum")]
    (package / "bag-info.txt").write_text("\n".join([*kept, f"Payload-Oxum: {oxum(payload.values())}"]) + "\n", "utf-8")
    for which, name in enumerate(MANIFESTS):
        (package / name).write_bytes(manifest(payload, which))
    tags = {name: sums_of((package / name).read_bytes()) for name in TAGS}
    for which, name in enumerate(TAG_MANIFESTS):
        (package / name).write_bytes(manifest(tags, which))


def rewrite(package: Path, change: Callable[[list[dict[str, Any]]], None], *, rehash: bool = True) -> None:
    """Change the entries, with all hashes made anew, and seal the package."""
    path = package / "data" / "entries.jsonl"
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    change(lines)
    last = None
    for line in lines if rehash else []:
        e, c = line["entry"], line["chain"]
        line["content"] = content_of(Draft(**e))
        if last is not None and c["number"] == last["number"] + 1:
            c["previous"] = last["hash"]
        c["hash"] = chained(c["previous"], c["number"], c["kept_at"], line["content"])
        last = c
    path.write_text("".join(canonical(line) + "\n" for line in lines), "utf-8")
    facts = json.loads((package / "data" / "package.json").read_text("utf-8"))
    facts |= {"entries": len(lines), "number": lines[-1]["chain"]["number"], "head": lines[-1]["chain"]["hash"]}
    (package / "data" / "package.json").write_text(canonical(facts) + "\n", "utf-8")
    seal(package)


def test_a_package_as_written_is_whole_also_when_sealed_anew(package: Path) -> None:
    found = check_package(package)
    assert [(s.person, s.given, s.trouble) for s in found.signatures] == [("Ada Voß", False, "")]
    before = {p: p.read_bytes() for p in package.rglob("*") if p.is_file()}
    seal(package)
    assert {p: p.read_bytes() for p in package.rglob("*") if p.is_file()} == before


def test_a_flipped_byte_in_any_file_is_found_and_the_file_named(package: Path) -> None:
    for path in sorted(p for p in package.rglob("*") if p.is_file()):
        content, name = path.read_bytes(), path.relative_to(package).as_posix()
        for place in {0, len(content) // 2, len(content) - 1}:
            path.write_bytes(content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :])
            assert name in refusal(package)
        path.write_bytes(content + b"\n")
        assert name in refusal(package)
        path.write_bytes(content[:-1])
        assert name in refusal(package)
        path.write_bytes(content)
    check_package(package)


def test_a_flipped_bit_in_any_name_is_found_and_the_name_told(package: Path) -> None:
    for path in sorted(package.rglob("*"), key=lambda p: len(p.parts), reverse=True):
        name = path.name.encode("utf-8")
        for place in range(0, len(name), 5):
            other = name[:place] + bytes([name[place] ^ 1]) + name[place + 1 :]
            if b"/" in other or b"\0" in other:
                continue
            moved = path.parent / os.fsdecode(other)
            path.rename(moved)
            told = refusal(package)
            assert path.name in told or moved.name in told
            moved.rename(path)
    check_package(package)


def test_a_file_more_or_less_is_named(package: Path) -> None:
    for name in ("data/files/more.txt", "more.txt", "data/signatures/x/more.txt"):
        (package / name).parent.mkdir(exist_ok=True)
        (package / name).write_text("more")
        assert name in refusal(package)
        (package / name).unlink()
    (package / "data" / "signatures" / "x").rmdir()
    (package / "data" / "empty").mkdir()
    assert "data/empty: given an empty folder" in refusal(package)
    (package / "data" / "empty").rmdir()
    for path in [p for p in package.rglob("*") if p.is_file()]:
        content = path.read_bytes()
        path.unlink()
        assert path.relative_to(package).as_posix() in refusal(package)
        path.write_bytes(content)
    check_package(package)


def test_links_and_what_is_no_file_are_refused_and_not_followed(package: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.txt").write_text("secret")
    wire = package / "data" / "files" / "measured" / "wire.tsv"
    content = wire.read_bytes()
    wire.unlink()
    wire.symlink_to(outside / "secret.txt")
    assert "data/files/measured/wire.tsv: given a link to elsewhere" in refusal(package)
    wire.unlink()
    os.mkfifo(wire)
    assert "data/files/measured/wire.tsv: given neither a file nor a folder" in refusal(package)
    wire.unlink()
    wire.write_bytes(content)
    (package / "data" / "files" / "deeper").symlink_to(outside, target_is_directory=True)
    assert "data/files/deeper: given a link to elsewhere" in refusal(package)
    (tmp_path / "linked").symlink_to(package, target_is_directory=True)
    assert "given no folder" in refusal(tmp_path / "linked")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Wire.TSV", "a name that some systems take for"),
        ("Gru\u0308n.tsv", "another than their composed form"),
        ("nul.tsv", "a name that means a device"),
        ("a%0Ab.tsv", "letters that mean something else"),
        ("back\\slash", "letters that mean something else"),
        ("line\nbreak", "letters that cannot be seen"),
        ("\u202egnp.exe", "letters that cannot be seen"),
        ("blank ", "a blank or a dot at its end"),
        ("x" * 200, "a name that is too long"),
        ("/".join(["d" * 100] * 5), "a path that is too long"),
        ("/".join("d" * 20), "too"),
    ],
)
def test_names_that_mean_other_things_elsewhere_are_refused(package: Path, name: str, told: str) -> None:
    path = package / "data" / "files" / "measured" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("x")
    seal(package)
    assert told in refusal(package)


def test_a_name_that_is_no_text_is_refused(package: Path) -> None:
    path = os.path.join(os.fsencode(package), b"data/files/\xff\xfe.tsv")
    with open(path, "wb") as stream:
        stream.write(b"x")
    assert "letters that cannot be seen" in refusal(package)


def test_too_many_files_are_refused_before_they_are_read(package: Path) -> None:
    with pytest.raises(Refused, match="more than 10 files and folders"):
        files_in(package, most=10)


def test_more_than_a_girder_can_have_is_refused(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, told in (
        ("lines.MOST", "more than 2 entries"),
        ("lines.LONGEST", "data/entries.jsonl, line 1"),
        ("index.MOST", "more than 2 rows"),
        ("whole.MOST", "more than 2 lines"),
        ("checking.signing.LONGEST", "that is too long"),
        ("checking.MOST", "more than"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(f"monochord.store.package.{name}", -1 if name == "checking.MOST" else 2)
            assert told in refusal(package)
    check_package(package)


@pytest.mark.parametrize("place", ["../../../etc/passwd", "/etc/passwd", "files/../../../x", ""])
def test_places_that_lead_out_are_refused(package: Path, place: str) -> None:
    path = package / "data" / "files.csv"
    path.write_bytes(path.read_bytes().replace(b",files/measured/wire.tsv,", f",{place},".encode(), 1))
    seal(package)
    assert "data/files" in refusal(package)
    for name in MANIFESTS:
        text = (package / name).read_bytes().replace(b"  data/README", b"  ../README")
        (package / name).write_bytes(text.replace(b"  data/files/measured/wire.tsv", f"  data/{place}".encode()))
    assert "manifest-sha256.txt" in refusal(package)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (b"[" * 200_000 + b"\n", "a line of another form"),
        (b'{"entry":1}\n', "a line of another form"),
        (b"\xff\n", "decode"),
        (b"nothing\n", "Expecting value"),
        (b'{"chain":NaN}\n', "NaN for a number"),
        (b"9" * 10_000 + b"\n", "digits"),
    ],
)
def test_lines_that_are_no_entries_are_named(package: Path, line: bytes, told: str) -> None:
    path = package / "data" / "entries.jsonl"
    path.write_bytes(path.read_bytes() + line)
    seal(package)
    found = refusal(package)
    assert "data/entries.jsonl, line 5" in found
    assert told in found


def test_an_entry_that_was_changed_is_found_though_all_manifests_fit(package: Path) -> None:
    def later(lines: list[dict[str, Any]]) -> None:
        lines[2]["entry"]["made_at"] = "2032-01-01T00:00:00.000000Z"

    rewrite(package, later, rehash=False)
    assert "data/entries.jsonl, line 3: given a content that does not have its hash" in refusal(package)


def test_a_link_of_the_chain_that_was_changed_is_found(package: Path) -> None:
    def other(lines: list[dict[str, Any]]) -> None:
        lines[1]["chain"]["kept_at"] = lines[2]["chain"]["kept_at"]

    rewrite(package, other, rehash=False)
    assert "line 2: given a link of the chain that does not have its hash" in refusal(package)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda lines: lines.reverse(), "an entry out of order"),
        (lambda lines: lines[2]["entry"].update(replaces="9" * 32), "a correction of what is not in the package"),
        (lambda lines: lines[2]["entry"].update(id=lines[1]["entry"]["id"]), "an entry that stands twice"),
        (lambda lines: lines[2]["entry"].update(made_at="yesterday"), "does not match format"),
        (lambda lines: lines[2]["entry"].update(subject="x" * 300), "a text of at most 200 letters"),
        (lambda lines: lines[2]["entry"].update(made_by="a\0b"), "a text of at most 200 letters"),
        (lambda lines: lines[2]["chain"].update(number=1 << 70), "another form"),
        (lambda lines: lines[2]["entry"]["body"].update(document="9" * 64), "a run without its document"),
        (lambda lines: lines.__delitem__(slice(2, None)), "no entry about the girder"),
    ],
)
def test_entries_that_cannot_be_are_found_though_every_hash_fits(
    package: Path, change: Callable[[list[dict[str, Any]]], None], told: str
) -> None:
    rewrite(package, change)
    assert told in refusal(package)


def test_a_result_that_was_changed_with_all_hashes_made_anew_loses_its_signature(package: Path) -> None:
    [result] = (package / "data" / "results").glob("*/result.json")
    old = result.read_bytes()
    new = old.replace(b"1.5e-06", b"1.4e-06")
    digests = [hashlib.sha256(content).hexdigest() for content in (old, new)]
    result.write_bytes(new)
    path = package / "data" / "files.csv"
    path.write_bytes(path.read_bytes().replace(digests[0].encode(), digests[1].encode()))

    def other(lines: list[dict[str, Any]]) -> None:
        [run] = [line for line in lines if line["entry"]["kind"] == "run"]
        run["entry"]["body"]["document"] = digests[1]

    rewrite(package, other)
    [told] = check_package(package).signatures
    assert told.trouble == "it was made over another document than the entry names"
    assert not package_checked(package, [])[1]


def test_a_statement_that_was_changed_is_found_in_its_file_and_in_its_entry(package: Path) -> None:
    [folder] = (package / "data" / "signatures").iterdir()
    statement = folder / "statement.json"
    statement.write_bytes(statement.read_bytes().replace(b'"conforms":2', b'"conforms":3'))
    seal(package)
    assert "statement.json: given something else than its entry holds" in refusal(package)

    def other(lines: list[dict[str, Any]]) -> None:
        lines[3]["entry"]["body"]["statement"] = statement.read_text("utf-8")

    rewrite(package, other)
    [told] = check_package(package).signatures
    assert told.trouble == "it does not fit the statement and the key"


def test_which_key_proved_a_signature_is_said(package: Path, origin: Path, tmp_path: Path) -> None:
    lines, good = package_checked(package, [])
    assert good
    assert "good, by the key inside the package" in "\n".join(lines)
    lines, good = package_checked(package, [origin / "ada.public.pem"])
    assert good
    assert "good, by the key that you gave" in "\n".join(lines)
    other = tmp_path / "other.pem"
    (tmp_path / "other.public.pem").write_text(new_key(other, PASSPHRASE))
    lines, good = package_checked(package, [tmp_path / "other.public.pem"])
    assert not good
    assert lines[-1] == "no signature was made with a key that you gave"


def test_another_bag_is_no_package(tmp_path: Path) -> None:
    import bagit

    (tmp_path / "bag").mkdir()
    (tmp_path / "bag" / "a.txt").write_text("a")
    bagit.make_bag(str(tmp_path / "bag"))
    assert "README.txt: given no such file" in refusal(tmp_path / "bag")


def test_a_late_signature_with_a_withdrawn_key_does_not_count_in_a_package(tmp_path: Path) -> None:
    at: Context = context()
    record = make_record(str(tmp_path / "record.sqlite"))
    keys = people(record, at, tmp_path)
    keep_run(record, RUN, at)
    kept = signed(record, at, keys["Ada Voß"], "engineer").entry.draft
    withdraw_key(record, str(kept.body["key"]), "laptop lost", at, HAND)
    append(record, [Draft("late", "signature", kept.subject, stamp(at.now()), "x", "d", kept.body)], at.now())
    add_key(record, "Cy", new_key(tmp_path / "more.pem", PASSPHRASE), at, HAND)
    export_girder(record, "G07", tmp_path / "package", at, HAND)
    first, second = check_package(tmp_path / "package").signatures
    assert first.trouble == ""
    assert "withdrawn" in second.trouble
    with record.reading() as connection:
        pem = signing.keys(connection)[str(kept.body["key"])].pem
    first, second = check_package(tmp_path / "package", [pem]).signatures
    assert (first.trouble, first.given) == ("", True)
    assert "withdrawn" in second.trouble
    record.engine.dispose()
