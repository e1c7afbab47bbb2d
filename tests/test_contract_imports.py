"""The import contract holds, and it can fail: each rule is broken once in a copy of the tree."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

#: rule -> (file to add, its text). Every line is an import that somebody in a hurry could write.
BREAKS: dict[str, tuple[str, str]] = {
    "1 layers upward": ("ground/hurry.py", "from monochord.campaign.origin import Origin\n"),
    "1 layers room to room": ("wire/hurry.py", "import monochord.survey\n"),
    "1 layers exhaustive": ("attic/__init__.py", ""),
    "1 layers type only": (
        "wire/hurry.py",
        "from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    import monochord.survey\n",
    ),
    "2 files": ("files/hurry.py", "import monochord.wire\n"),
    "2 files report": ("report/hurry.py", "import monochord.survey\n"),
    "3 the doors": ("cli/hurry.py", "import monochord.wire\n"),
    "3 the doors files": ("cli/hurry.py", "import monochord.files\n"),
    "4 computation": ("ground/hurry.py", "import time\n"),
    "4 computation new room": ("ring/__init__.py", "from pathlib import Path\n"),
    "4 computation in a function": ("survey/hurry.py", "def now():\n    import datetime\n    return datetime\n"),
    "5 the simulator": ("simulate/hurry.py", "from monochord.wire import hurry\n"),
    "5 a forward model": ("ring/model.py", "import monochord.ring.hurry\n"),
}


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the sources and of the contract, to be spoiled."""
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__", "*.egg-info"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for package in ("ring", "simulate"):
        folder = tmp_path / "src" / "monochord" / package
        folder.mkdir(exist_ok=True)
        (folder / "__init__.py").touch()
    return tmp_path


def verdicts(tree: Path) -> dict[str, bool]:
    """Contract -> kept, as the linter says in this tree."""
    answer = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports"), "--no-cache", "--config", "pyproject.toml"],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree / "src"), "COLUMNS": "400"},
        capture_output=True,
        text=True,
        check=False,
    )
    lines = [line.split(" (")[0].strip() for line in answer.stdout.splitlines()]
    told = {line.rsplit(" ", 1)[0]: line.endswith("KEPT") for line in lines if line.endswith(("KEPT", "BROKEN"))}
    assert (answer.returncode == 0) == (bool(told) and all(told.values())), answer.stdout + answer.stderr
    return told


def test_contract_is_kept_by_the_sources_as_they_stand(copy: Path) -> None:
    told = verdicts(copy)

    assert len(told) == 6
    assert all(told.values()), told


@pytest.mark.parametrize("broken", BREAKS)
def test_contract_fails_when_a_rule_is_broken(copy: Path, broken: str) -> None:
    name, text = BREAKS[broken]
    added = copy / "src" / "monochord" / name
    added.parent.mkdir(exist_ok=True)
    for room in ("wire", "ring"):
        (copy / "src" / "monochord" / room / "hurry.py").touch()
    added.write_text(text, encoding="utf-8")

    told = verdicts(copy)

    rule = next(contract for contract in told if contract.startswith(" ".join(broken.split()[:2])))
    assert not told[rule], f"{rule} let {text!r} in {name} pass"
