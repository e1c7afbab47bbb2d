"""What must stand in no tracked file: paths of a machine, hosts of registries, words about how the work is run."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# Each is put together here, so that this file does not hold what it looks for.
FOLDERS = ["wor" + "k", "hom" + "e", "roo" + "t"]
HOSTS = [
    "py" + "pi.org",
    "python" + "hosted.org",
    "npm" + "js.org",
    "npm" + "js.com",
    "deb" + "ian.org",
    "crates" + ".io",
]
# titles of published books and sites begin "Handbook of" or read "e-Handbook"; no other is ours to name
WORDS = [
    "(?<!e-)hand" + "book(?! of\\b)",
    "seed doc" + "ument",
    "trans" + "cript\\b",
    "sub" + "agent",
    "helper ag" + "ent",
]

PATTERNS: dict[str, str] = {
    "path of a machine": rf"(?<![\w.~-])/(?:{'|'.join(FOLDERS)})(?:/|\b(?![\w-]))",
    "registry host": rf"(?i)\b(?:{'|'.join(map(re.escape, HOSTS))})\b",
    "word about the work": rf"(?i)(?:{'|'.join(WORDS)})",
}

SPOILED: dict[str, list[str]] = {
    "path of a machine": ["/wor" + "k/main/x", "'/hom" + "e/a'", "cd /roo" + "t"],
    "registry host": ["from https://py" + "pi.org/simple", "deb.deb" + "ian.org"],
    "word about the work": ["the hand" + "book says", "a sub" + "agent", "trans" + "cript"],
}

FINE = [
    "src/wor" + "k/x",
    "net" + "work/a",
    "~/hom" + "e",
    "framework/root cause",
    "Handbook of geodesy",
    "e-Handbook",
    "transcription",
]


def tracked() -> list[Path]:
    # a clone may belong to another user than the one who tests it
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / name for name in names.split("\0") if name and (ROOT / name).is_file()]


@pytest.mark.parametrize("what", PATTERNS)
def test_no_tracked_file_holds(what: str) -> None:
    pattern = re.compile(PATTERNS[what])
    files = tracked()
    found = [
        f"{path.relative_to(ROOT)}, line {number}: {match[0]}"
        for path in files
        for number, line in enumerate(path.read_bytes().decode("utf-8", "replace").splitlines(), 1)
        for match in pattern.finditer(line)
    ]

    assert files
    assert not found, "\n".join(found)


@pytest.mark.parametrize("what", PATTERNS)
def test_the_patterns_find_what_they_look_for(what: str) -> None:
    pattern = re.compile(PATTERNS[what])

    assert all(pattern.search(line) for line in SPOILED[what])
    assert not [line for line in FINE if pattern.search(line)]
