"""A record of SQLite in a folder behind a network is refused, by whatever way its path leads there, and there is no way round."""

from __future__ import annotations

import os
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from monochord.cli.main import main
from monochord.cli.record import COMMANDS
from monochord.ground.faults import Refused
from monochord.store import place
from monochord.store.making import make_record, open_record
from monochord.store.place import SHARED, behind_network, network_of

LOCAL = "/dev/sda2 / ext4 rw,relatime 0 0\nproc /proc proc rw 0 0\ntmpfs /run tmpfs rw 0 0\n"


def mounts(*lines: str) -> str:
    return LOCAL + "".join(f"{line}\n" for line in lines)


@pytest.mark.parametrize(
    ("folder", "lines", "found"),
    [
        ("/data", ["server:/x /data nfs4 rw 0 0"], "nfs4"),
        ("/data/ring/1", ["server:/x /data nfs rw 0 0"], "nfs"),
        ("/data2", ["server:/x /data nfs rw 0 0"], ""),
        ("/", ["server:/x /data nfs rw 0 0"], ""),
        # a bind mount bears the file system that it shows
        ("/srv/here", ["server:/x /mnt/far nfs4 rw 0 0", "server:/x/ring /srv/here nfs4 rw 0 0"], "nfs4"),
        ("/mnt/far/disk", ["server:/x /mnt/far nfs4 rw 0 0", "/dev/sdb1 /mnt/far/disk xfs rw 0 0"], ""),
        # whatever order the list has, the nearest mount counts, and of two at one place the later
        ("/mnt/far/disk", ["/dev/sdb1 /mnt/far/disk xfs rw 0 0", "server:/x /mnt/far nfs4 rw 0 0"], ""),
        ("/data", ["systemd-1 /data autofs rw 0 0", "server:/x /data nfs4 rw 0 0"], "nfs4"),
        ("/data", ["server:/x /data nfs4 rw 0 0", "/dev/sdb1 /data ext4 rw 0 0"], ""),
        ("/data/new", ["server:/x / nfs4 rw 0 0"], "nfs4"),
        (r"/our data/ring", [r"//server/our\040data /our\040data cifs rw 0 0"], "cifs"),
        ("/a\tb/c", [r"server:/x /a\011b ceph rw 0 0"], "ceph"),
        ("/a\\040b", [r"server:/x /a\134040b nfs rw 0 0"], "nfs"),
        ("/a b", [r"server:/x /a\134040b nfs rw 0 0"], ""),
        ("/Prüfstand/ring", ["server:/x /Prüfstand nfs4 rw 0 0"], "nfs4"),
        ("/data", ["user@server:/x /data fuse.sshfs rw 0 0"], "fuse.sshfs"),
        ("/data", ["/dev/sdb1 /data fuseblk rw 0 0"], ""),
        ("/data", ["", "torn", "server:/x /data nfs4"], "nfs4"),
    ],
)
def test_a_folder_is_found_in_the_list_of_mounts(folder: str, lines: list[str], found: str) -> None:
    assert behind_network(Path(folder), mounts(*lines)) == found


@pytest.mark.parametrize("kind", sorted(SHARED))
def test_every_file_system_of_a_network_is_known(kind: str) -> None:
    assert behind_network(Path("/data"), mounts(f"server:/x /data {kind} rw 0 0")) == kind


@pytest.fixture
def far(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that the list of mounts says is behind a network."""
    folder = tmp_path / "far away"
    folder.mkdir()
    listed = mounts(rf"server:/x {folder}".replace("far away", r"far\040away") + " nfs4 rw 0 0")
    (tmp_path / "mounts").write_text(listed, encoding="utf-8")
    monkeypatch.setattr(place, "MOUNTS", tmp_path / "mounts")
    return folder


def test_links_are_followed(far: Path, tmp_path: Path) -> None:
    (tmp_path / "folder").symlink_to(far)
    (far / "there.sqlite").touch()
    (tmp_path / "file.sqlite").symlink_to(far / "there.sqlite")
    (far / "out").symlink_to(tmp_path)
    assert network_of(far / "ring.sqlite") == "nfs4"
    assert network_of(far / "not made" / "yet" / "ring.sqlite") == "nfs4"
    assert network_of(tmp_path / "folder" / "ring.sqlite") == "nfs4"
    assert network_of(tmp_path / "file.sqlite") == "nfs4"
    assert network_of(tmp_path / "x" / ".." / "folder" / "ring.sqlite") == "nfs4"
    assert network_of(far / "out" / "ring.sqlite") == ""
    assert network_of(tmp_path / "ring.sqlite") == ""


def test_a_path_from_here_is_followed(far: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(far)
    assert network_of(Path("ring.sqlite")) == "nfs4"


def test_a_name_that_is_no_text_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    (tmp_path / "mounts").write_bytes(b"server:/x " + os.fsencode(folder) + b" nfs4 rw 0 0\n")
    monkeypatch.setattr(place, "MOUNTS", tmp_path / "mounts")
    assert network_of(folder / "ring.sqlite") == "nfs4"


def test_without_a_list_nothing_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(place, "MOUNTS", tmp_path / "missing")
    assert network_of(tmp_path / "ring.sqlite") == ""


@pytest.mark.parametrize("name", ["ring.sqlite", "new/ring.sqlite"])
def test_no_record_is_made_or_opened_there_and_nothing_is_left_behind(far: Path, name: str) -> None:
    for tried in (make_record, open_record):
        with pytest.raises(Refused, match=r"a folder behind a network \(nfs4\).*PostgreSQL for several machines"):
            tried(str(far / name))
    assert list(far.iterdir()) == []


def test_a_record_that_was_brought_there_is_not_opened(far: Path, tmp_path: Path) -> None:
    make_record(str(tmp_path / "ring.sqlite")).engine.dispose()
    (tmp_path / "ring.sqlite").rename(far / "ring.sqlite")
    before = (far / "ring.sqlite").read_bytes()
    with pytest.raises(Refused, match="behind a network"):
        open_record(str(far / "ring.sqlite"))
    assert [p.name for p in far.iterdir()] == ["ring.sqlite"]
    assert (far / "ring.sqlite").read_bytes() == before


def test_no_option_and_no_variable_lets_it_through(far: Path) -> None:
    done = CliRunner().invoke(main, ["record", "make", "--at", str(far / "ring.sqlite")])
    assert (done.exit_code, "behind a network" in done.output) == (3, True)
    options = {o for command in COMMANDS for p in command.params if isinstance(p, click.Option) for o in p.opts}
    assert not [o for o in options if any(word in o for word in ("network", "force", "unsafe", "single", "anyway"))]
    variables = {p.envvar for command in COMMANDS for p in command.params if p.envvar}
    assert {v for v in variables if isinstance(v, str)} <= {"MONOCHORD_RECORD"}
