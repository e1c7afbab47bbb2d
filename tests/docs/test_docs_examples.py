"""Every example in the documents is executed: Python prompts by doctest, commands by running them."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "evidence").rglob("*.md")])
FENCE = re.compile(r"^```([a-z]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
OPTIONS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@dataclass(frozen=True)
class Block:
    """A fenced block: its language, its text and the line where it begins."""

    language: str
    text: str
    line: int


def blocks(document: Path) -> list[Block]:
    text = document.read_text(encoding="utf-8")
    return [Block(m[1], m[2], text[: m.start()].count("\n") + 2) for m in FENCE.finditer(text)]


def named(document: Path) -> str:
    return document.relative_to(ROOT).as_posix()


WITH_PYTHON = [d for d in DOCUMENTS if any(b.language == "pycon" for b in blocks(d))]
WITH_COMMANDS = [d for d in DOCUMENTS if any(b.language == "console" for b in blocks(d))]


@pytest.mark.parametrize("document", WITH_PYTHON, ids=named)
def test_python_examples_give_what_the_document_shows(document: Path) -> None:
    """The blocks of one document share their names, from its first to its last."""
    parser = doctest.DocTestParser()
    told: list[str] = []
    runner = doctest.DocTestRunner(optionflags=OPTIONS, verbose=False)
    names: dict[str, object] = {}
    for block in (b for b in blocks(document) if b.language == "pycon"):
        example = parser.get_doctest(block.text, names, named(document), str(document), block.line - 1)
        assert example.examples, f"{named(document)}, line {block.line}: a pycon block without a prompt"
        runner.run(example, out=told.append, clear_globs=False)
        names = example.globs

    assert runner.summarize(verbose=False).failed == 0, "".join(told)


def run_line(line: str, folder: Path) -> str:
    """What one command line prints, run in a folder with this environment's commands first."""
    words = shlex.split(line)
    found = Path(sys.executable).parent / words[0]
    answer = subprocess.run(
        [str(found), *words[1:]],
        cwd=folder,
        env={**os.environ, "COLUMNS": "120", "NO_COLOR": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return f"{answer.stdout}(exit code {answer.returncode})\n" if answer.returncode else answer.stdout


@pytest.mark.parametrize("document", WITH_COMMANDS, ids=named)
def test_commands_print_what_the_document_shows(document: Path, tmp_path: Path) -> None:
    """A line after `$ ` is run, in one new folder for each document; ... in what follows stands for anything."""
    for block in (b for b in blocks(document) if b.language == "console"):
        for example in block.text.removeprefix("$ ").split("\n$ "):
            line, _, expected = example.partition("\n")
            got = run_line(line, tmp_path)
            fits = doctest.OutputChecker().check_output(expected.rstrip() + "\n", got.rstrip() + "\n", OPTIONS)
            assert fits, f"{named(document)}, line {block.line}: $ {line}\nexpected:\n{expected}\ngot:\n{got}"


def test_every_fenced_block_says_what_it_is() -> None:
    """Blocks that look executable but are not run would rot, so each language has its rule."""
    known = {"pycon", "console", "toml", "text", "json", "csv"}

    odd = [
        f"{named(d)}, line {b.line}: {b.language!r}" for d in DOCUMENTS for b in blocks(d) if b.language not in known
    ]
    unasked = [
        f"{named(d)}, line {b.line}" for d in DOCUMENTS for b in blocks(d) if b.language != "pycon" and ">>> " in b.text
    ]

    assert not odd, odd
    assert not unasked, unasked


def test_the_runner_itself_sees_a_wrong_answer(tmp_path: Path) -> None:
    """The checks above can fail."""
    wrong = tmp_path / "wrong.md"
    wrong.write_text("```pycon\n>>> 1 + 1\n3\n```\n", encoding="utf-8")
    [block] = blocks(wrong)

    runner = doctest.DocTestRunner(optionflags=OPTIONS, verbose=False)
    runner.run(doctest.DocTestParser().get_doctest(block.text, {}, "wrong", None, 0), out=lambda _: None)

    assert runner.summarize(verbose=False).failed == 1
    assert "wrong" in run_line("python -c \"print('wrong')\"", tmp_path)
