"""Every public function of the ground says what it does and shows it by an example that is run."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

GROUND = Path(__file__).resolve().parents[1] / "src" / "monochord" / "ground"
MODULES = sorted(path for path in GROUND.rglob("*.py") if path.name != "__init__.py")


def without_example(source: str) -> list[str]:
    """Public functions of a module that lack a docstring or an example in it."""
    functions = [node for node in ast.parse(source).body if isinstance(node, ast.FunctionDef)]
    public = [node for node in functions if not node.name.startswith("_")]
    return [node.name for node in public if ">>> " not in (ast.get_docstring(node) or "")]


def without_words(source: str) -> list[str]:
    """Public classes and their public methods and properties that lack a docstring."""
    classes = [node for node in ast.parse(source).body if isinstance(node, ast.ClassDef) and node.name[0] != "_"]
    inside = [(c.name, n) for c in classes for n in c.body if isinstance(n, ast.FunctionDef) and n.name[0] != "_"]
    return [c.name for c in classes if not ast.get_docstring(c)] + [
        f"{name}.{method.name}" for name, method in inside if not ast.get_docstring(method)
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.stem)
def test_public_functions_of_the_ground_show_an_example(module: Path) -> None:
    source = module.read_text(encoding="utf-8")

    assert not without_example(source)
    assert not without_words(source)
    assert ast.get_docstring(ast.parse(source))


def test_the_check_sees_what_is_lacking() -> None:
    assert MODULES
    assert without_example('def f():\n    """One."""\n') == ["f"]
    assert without_words("class C:\n    def f(self): ...\n") == ["C", "C.f"]
