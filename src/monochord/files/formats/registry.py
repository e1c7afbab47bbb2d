"""Formats by name: those that come with Monochord, and those that another package brings.

A package brings a format by an entry point of the group ``monochord.formats`` whose name is the format's name and
whose object is a :class:`~monochord.files.formats.asked.Format`. Built-in names cannot be taken over. A package that
cannot be loaded, or that brings something else, is refused by name when its format is asked for, and only then.
"""

from __future__ import annotations

from importlib import import_module
from importlib.metadata import EntryPoint, entry_points

from monochord.files.formats.asked import Format
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused

#: Group of the entry points by which a package brings formats.
GROUP = "monochord.formats"

#: Name -> module of the formats that come with Monochord; each is loaded when it is first asked for.
BUILT_IN = {
    "text": "text",
    "fixed width": "fixed_width",
    "xlsx": "xlsx",
    "json lines": "json_lines",
    "numpy": "numpy_arrays",
    "wav": "wav",
    "hdf5": "hdf5",
}


def find(name: str) -> Format:
    """The format of this name.

    name  as a lab description spells it

    Raises Refused when there is none, when two packages bring it, or when the package that brings it is broken.

    >>> find("json lines").words
    'JSON lines: one object a line'
    """
    if name in BUILT_IN:
        found = import_module(f"{__package__}.{BUILT_IN[name]}").FORMAT
        assert isinstance(found, Format)
        return found
    points = [point for point in entry_points(group=GROUP) if point.name == name]
    if not points:
        known = names()
        raise Refused([Fault(f"format {name!r}", f"one of {listed(known)}", f"{did_you_mean(name, known)}mend it")])
    if len(points) > 1:
        given = f"format {name!r} from {listed([_package(p) for p in points])}"
        raise Refused([Fault(given, "one package that brings it", "remove all but one of them")])
    return _loaded(points[0])


def names() -> list[str]:
    """Names of all formats that can be asked for, whether or not their packages can be loaded."""
    return [*BUILT_IN, *sorted({p.name for p in entry_points(group=GROUP)} - set(BUILT_IN))]


def _loaded(point: EntryPoint) -> Format:
    where = f"format {point.name!r} of {_package(point)}"
    try:
        found = point.load()
    except Exception as error:  # whatever a foreign package raises when it is imported
        said = " ".join(str(error).split())[:200]
        raise Refused(
            [Fault(f"{where}: {type(error).__name__}: {said}", "a package that can be loaded", "mend or remove it")]
        ) from None
    if not isinstance(found, Format) or found.name != point.name:
        brought = f"a format called {found.name!r}" if isinstance(found, Format) else f"a {type(found).__name__}"
        raise Refused([Fault(f"{where} is {brought}", f"a Format called {point.name!r}", "mend or remove the package")])
    return found


def _package(point: EntryPoint) -> str:
    return f"package {point.dist.name} {point.dist.version}" if point.dist else f"module {point.module}"
