"""The pins are plain, complete, and cover what the code imports."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution, packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
OURS = {"monochord", "evidence", "benchmarks", "docs", "tools", "tests"}


def pins(*names: str) -> dict[str, str]:
    lines = [line for name in names for line in (ROOT / "requirements" / name).read_text(encoding="utf-8").splitlines()]
    return dict(line.split("==") for line in lines)


def asked_for(call: ast.Call) -> set[str]:
    """The name in a call such as import_module("name"), which is an import too."""
    called = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    if called not in ("import_module", "importorskip", "find_spec") or not call.args:
        return set()
    [first, *_] = call.args
    return {first.value} if isinstance(first, ast.Constant) and isinstance(first.value, str) else set()


def imported(folder: str) -> set[str]:
    """Top names of all imports below a folder, those inside functions included."""
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in (ROOT / folder).rglob("*.py")]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    from_ = {node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module and not node.level}
    late = {word for node in nodes if isinstance(node, ast.Call) for word in asked_for(node)}
    near = {path.stem for path in (ROOT / "tests").rglob("*.py")}  # a test may take from the conftest beside it
    return {name.split(".")[0] for name in plain | from_ | late} - near - sys.stdlib_module_names - OURS


def providers(names: set[str]) -> set[str]:
    """The packages that bring these imports; a name that nothing here provides stands for itself."""
    known = packages_distributions()
    return {canonicalize_name(known.get(name, [name])[0]) for name in names}


@pytest.mark.parametrize("name", ["run.txt", "test.txt"])
def test_a_pin_is_a_name_and_a_version_and_nothing_else(name: str) -> None:
    lines = (ROOT / "requirements" / name).read_text(encoding="utf-8").splitlines()

    assert lines
    assert not [line for line in lines if not re.fullmatch(r"[a-z0-9][a-z0-9-]*==[0-9][0-9a-z.]*", line)]
    assert lines == sorted(set(lines), key=lambda line: line.split("=="))


def lacking(wanted: list[str], pinned: dict[str, str]) -> set[str]:
    """What these requirements need, in turn too, that is not pinned or is pinned outside the range asked for."""
    missing: set[str] = set()
    waiting, seen = [Requirement(text) for text in wanted], set()
    while waiting:
        need = waiting.pop()
        name = canonicalize_name(need.name)
        if need.marker and not need.marker.evaluate({"extra": ""}):
            continue
        if name not in pinned or not need.specifier.contains(pinned[name], prereleases=True):
            missing.add(str(need))
        if name not in seen:
            seen.add(name)
            try:
                waiting += [Requirement(text) for text in distribution(name).requires or ()]
            except PackageNotFoundError:
                missing.add(f"{name} is not installed here")
    return missing


def test_what_running_needs_is_pinned_with_all_that_it_needs_in_turn() -> None:
    wanted = [*PROJECT["project"]["dependencies"], *PROJECT["build-system"]["requires"]]

    assert not lacking(wanted, pins("run.txt"))


def test_what_testing_needs_is_pinned_with_all_that_it_needs_in_turn() -> None:
    assert not lacking(PROJECT["project"]["optional-dependencies"]["test"], pins("run.txt", "test.txt"))


def test_a_missing_pin_is_seen() -> None:
    without = {name: version for name, version in pins("run.txt").items() if name != "markupsafe"}

    assert any(text.lower().startswith("markupsafe") for text in lacking(["jinja2"], without))


def test_what_the_sources_import_is_what_is_declared() -> None:
    declared = {canonicalize_name(Requirement(text).name) for text in PROJECT["project"]["dependencies"]}

    assert providers(imported("src")) == declared  # and nothing is declared that is not used


def test_what_tests_and_tools_import_is_pinned() -> None:
    beside = set().union(*(imported(folder) for folder in ("tests", "evidence", "benchmarks", "docs", "tools")))

    assert providers(beside) <= set(pins("run.txt", "test.txt"))
