"""What a lab description says of the format of a table or of waveforms, checked when the description is read."""

from __future__ import annotations

from monochord.files.document import Node
from monochord.files.formats.asked import Kept
from monochord.files.formats.registry import BUILT_IN, find
from monochord.ground.faults import Fault, Refused

#: Formats whose tables stand on a sheet, and those whose tables stand at a place inside.
_WITH_SHEET, _WITH_INSIDE = ("xlsx",), ("numpy", "hdf5")


def kept_of(node: Node, faults: list[Fault]) -> Kept:
    """How the file of a table is kept, from its node in the description; what does not fit is gathered.

    node  such as tables.sightings, with format, sheet, inside and options
    """
    options = {key: value for key, value in node.node("options").data.items() if isinstance(value, str)}
    kept = Kept(node.text("format", "text"), node.text("sheet"), node.text("inside"), options)
    if kept.format != "text":
        try:
            if find(kept.format).table is None:
                expected = "a format that holds tables"
                faults.append(node.fault("format", repr(kept.format), expected, "name another format"))
        except Refused as refusal:
            f = refusal.faults[0]
            faults.append(node.fault("format", f.given, f.expected, f.remedy))
    if kept.format in BUILT_IN:
        for key, where, given in (("sheet", _WITH_SHEET, kept.sheet), ("inside", _WITH_INSIDE, kept.inside)):
            if given and kept.format not in where:
                faults.append(
                    node.fault(key, f"{key} of a {kept.format!r} file", f"none, or format = {where[0]!r}", "mend")
                )
        if options:
            faults.append(node.fault("options", f"options of a {kept.format!r} file", "none", "remove them"))
    return kept
