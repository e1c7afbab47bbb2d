"""Where a record may stand: whether a folder is on this machine or behind a network.

SQLite's write-ahead log needs memory that all its users share, which a file system of a network does not give;
two machines writing there lose entries without a word.
"""

from __future__ import annotations

from pathlib import Path

#: File systems, as the kernel names them, whose files other machines see and write.
SHARED = frozenset(
    {
        "nfs",
        "nfs4",
        "cifs",
        "smb2",
        "smb3",
        "smbfs",
        "ncpfs",
        "afs",
        "9p",
        "ceph",
        "gfs2",
        "ocfs2",
        "lustre",
        "beegfs",
        "gpfs",
    }
    | {"glusterfs", "davfs", "virtiofs", "vboxsf", "prl_fs"}
    | {f"fuse.{name}" for name in ("sshfs", "glusterfs", "ceph", "davfs2", "rclone", "s3fs", "gvfsd-fuse")}
)
#: The kernel's list of what is mounted.
MOUNTS = Path("/proc/self/mounts")


def behind_network(folder: Path, mounts: str) -> str:
    r"""The file system of a network in which a folder lies, by the kernel's list of mounts; "" when it lies in none.

    >>> behind_network(Path("/data/ring"), "a:/x /data nfs4 rw 0 0\n/dev/sda1 / ext4 rw 0 0\n")
    'nfs4'
    >>> behind_network(Path("/local"), "a:/x /data nfs4 rw 0 0\n/dev/sda1 / ext4 rw 0 0\n")
    ''
    """
    best, found = -1, ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        place = Path(fields[1].encode("ascii", "replace").decode("unicode_escape"))  # a space stands as \040
        if (folder == place or place in folder.parents) and len(place.parts) >= best:
            best, found = len(place.parts), fields[2]
    return found if found in SHARED else ""


def network_of(path: Path) -> str:
    """The file system of a network in which a file lies or would lie; "" when none is known."""
    try:
        return behind_network(path.resolve().parent, MOUNTS.read_text("utf-8", "replace"))
    except OSError:
        return ""  # a system without such a list: nothing is known
