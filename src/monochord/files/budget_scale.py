"""The factor on the uncertainties that decide, in a campaign's own file: written where it is asked for, read back and checked."""

from __future__ import annotations

import re
from pathlib import Path

from monochord.campaign.given.budget_scale import FEWEST_GIRDERS, BudgetScale
from monochord.files.document import Document, parse, read
from monochord.files.schema_check import check
from monochord.files.toml_writer import toml
from monochord.ground.faults import Fault, Refused

CAMPAIGN = "campaign.toml"
TABLE = "budget_scale"
#: The table as it stands in a file: its head, and all up to the next head or the end.
_STANDS = re.compile(rf"\n*^\[{TABLE}\]\n(?:(?!\[).*\n?)*", re.MULTILINE)


def budget_scale(campaign: Document, faults: list[Fault]) -> BudgetScale | None:
    """The factor that a campaign's file asks for, None when it asks for none; a factor below 1 or from few girders is a fault."""
    told = campaign.root.node(TABLE)
    if TABLE not in campaign.root:
        return None
    factor, girders = told.number("factor", float("nan")), told.whole("girders")
    if not 1.0 <= factor < float("inf"):
        remedy = "take the table out: uncertainties are enlarged where a fleet demands it, and never shrunk"
        faults.append(told.fault("factor", f"{factor:g}", "a factor of 1 or more", remedy))
    if girders < FEWEST_GIRDERS:
        remedy = "take the table out: a factor from so few girders would be chance"
        faults.append(told.fault("girders", f"{girders}", f"{FEWEST_GIRDERS} or more", remedy))
    return BudgetScale(factor, girders, told.text("from"), told.text("why"))


def write_budget_scale(folder: Path, scale: BudgetScale) -> None:
    """Write the factor into a campaign's file, in place of an older one; everything else in the file stays as it is.

    Raises Refused when the file is no campaign's or would not be one afterwards; then it is left alone.
    """
    path = folder / CAMPAIGN
    found = read(path, str(path))
    check(found, "campaign")
    table = {"factor": scale.factor, "girders": scale.girders, "from": scale.source, "why": scale.why}
    text = _STANDS.sub("\n", found.text).rstrip("\n") + "\n" + toml({TABLE: table})
    written = parse(text, str(path))
    check(written, "campaign")
    faults: list[Fault] = []
    budget_scale(written, faults)
    if faults:
        raise Refused(faults)
    part = path.with_name(f".{path.name}.part")
    part.write_text(text, "utf-8", newline="\n")
    part.replace(path)
