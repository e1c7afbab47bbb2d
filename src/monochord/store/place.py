"""Where a record may stand: whether a folder is on this machine or behind a network.

SQLite's write-ahead log needs memory that all its users share, which a file system of a network does not give;
two machines writing there lose entries without a word.
"""

from __future__ import annotations

import re
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

    folder  a whole path without links, as the list has it; of two mounts at one place the later one is seen

    >>> behind_network(Path("/data/ring"), "a:/x /data nfs4 rw 0 0\n/dev/sda1 / ext4 rw 0 0\n")
    'nfs4'
    >>> behind_network(Path("/our data"), "//a/x /our\\040data cifs rw 0 0\n")
    'cifs'
    >>> behind_network(Path("/local"), "a:/x /data nfs4 rw 0 0\n/dev/sda1 / ext4 rw 0 0\n")
    ''
    """
    best, found = -1, ""
    for line in mounts.split("\n"):  # a name may hold what else ends a line
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        place = Path(_ESCAPED.sub(lambda found: chr(int(found[1], 8)), fields[1]))
        if (folder == place or place in folder.parents) and len(place.parts) >= best:
            best, found = len(place.parts), fields[2]
    return found if found in SHARED else ""


#: A space, a tab, a line's end or a backslash in a path, as the list writes it.
_ESCAPED = re.compile(r"\\(040|011|012|134)")


def network_of(path: Path) -> str:
    """The file system of a network in which a file lies or would lie, links followed; "" when none is known."""
    try:
        # names are bytes: what is no UTF-8 stays what it was, so that it is found in the list
        return behind_network(path.resolve().parent, MOUNTS.read_bytes().decode("utf-8", "surrogateescape"))
    except OSError:
        return ""  # a system without such a list: nothing is known
