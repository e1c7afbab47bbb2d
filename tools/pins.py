"""Write requirements/*.txt: every package that a plain install would bring, at the version that stands here.

``pyproject.toml`` says what Monochord needs and from which version on; these files say what it was
tested with. Run it in the environment whose versions are to be kept: ``make pins``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from importlib.metadata import distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]


def closure(requirements: Iterable[str]) -> dict[str, str]:
    """Name -> version of these requirements and of all that they require in turn, as installed."""
    found: dict[str, str] = {}
    waiting = [Requirement(text) for text in requirements]
    while waiting:
        wanted = waiting.pop()
        name = canonicalize_name(wanted.name)
        if name in found or (wanted.marker and not wanted.marker.evaluate({"extra": ""})):
            continue
        installed = distribution(name)
        if not wanted.specifier.contains(installed.version, prereleases=True):
            raise SystemExit(f"{name} {installed.version} stands here, {wanted} is asked for; install that first")
        found[name] = installed.version
        waiting += [Requirement(text) for text in installed.requires or ()]
    return found


def lists() -> dict[str, dict[str, str]]:
    """File name -> pins: what installing and running need, and what testing needs beyond that."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    run = closure([*project["build-system"]["requires"], "wheel", *project["project"]["dependencies"]])
    test = closure(project["project"]["optional-dependencies"]["test"])
    return {"run.txt": run, "test.txt": {name: version for name, version in test.items() if name not in run}}


def main() -> None:
    """Write the two files."""
    for name, pins in lists().items():
        lines = [f"{package}=={version}\n" for package, version in sorted(pins.items())]
        (ROOT / "requirements" / name).write_text("".join(lines), encoding="utf-8")
        print(f"requirements/{name}: {len(lines)} packages")


if __name__ == "__main__":
    main()
