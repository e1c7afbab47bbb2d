"""What a signature states about a run: its verdicts, the rules by which they were found, and what speaks against signing."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, select

from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.ground.faults import Fault, Refused
from monochord.job.record.signed import since
from monochord.store.entry import Entry
from monochord.store.files import blocks_of
from monochord.store.tables import FILE
from monochord.store.told_run import occasions_of, part, parts, verdicts_of

Part = Mapping[str, object]

#: What a tolerance says that a signature repeats.
TOLD = ("quantity", "limit", "lower", "upper", "magnets", "form", "rule", "risk", "whose")


@dataclass(frozen=True, slots=True)
class Finding:
    """What is signed of a result.

    occasion  whose verdicts;  verdicts  how many there are of each word
    rules     in the words of the result, each once;  tolerances  as declared, SI
    lacks     what the result does not have;  concerns  what a signer must answer in words of their own
    """

    occasion: str = ""
    verdicts: Mapping[str, int] | None = None
    rules: tuple[str, ...] = ()
    tolerances: tuple[Part, ...] = ()
    lacks: tuple[str, ...] = ()
    concerns: tuple[str, ...] = ()


def finding_of(connection: Connection, entry: Entry, occasion: str = "") -> Finding:
    """What can be signed of an entry; of a run the verdicts of one occasion, the last that was judged when none is named.

    Raises Refused when the run's document is not in the record, or it judged no such occasion.
    """
    after = tuple(since(connection, entry))
    if entry.draft.kind != "run":
        return Finding(concerns=after)
    document = _document(connection, entry)
    judged = list(part(document, "verdicts"))
    if occasion and occasion not in occasions_of(document):
        given, known = f"the occasion {occasion!r}", ", ".join(occasions_of(document)) or "none"
        raise Refused([Fault(given, f"an occasion of this run: {known}", "name one of them")])
    last = judged[-1] if judged else ""
    meant = occasion or last or next(reversed(occasions_of(document)), "")
    counts = Counter(v.verdict for v in verdicts_of(document) if v.occasion == meant)
    concerns = (*_about(counts), *_not_last(meant, last), *_missing(connection, entry), *after)
    return Finding(
        meant,
        {word: counts[word] for word in (CONFORMS, DOES_NOT_CONFORM, CANNOT_BE_DECIDED)},
        _rules(document, meant),
        tuple({k: t[k] for k in TOLD if k in t} for t in parts(document, "tolerances")),
        tuple(
            f"{lack.get('what')}: {lack.get('why')}"
            for lack in parts(part(part(document, "occasions"), meant), "lacks")
        ),
        concerns,
    )


def _document(connection: Connection, entry: Entry) -> Part:
    digest = str(entry.draft.body.get("document", ""))
    found = json.loads(b"".join(blocks_of(connection, digest)))
    return found if isinstance(found, dict) else {}


def _rules(document: Part, occasion: str) -> tuple[str, ...]:
    """The rules of an occasion's verdicts, each once, in the words of the document."""
    magnets = part(part(document, "verdicts"), occasion)
    told = [v.get("rule") for m in magnets for v in part(magnets, m).values() if isinstance(v, dict)]
    return tuple(dict.fromkeys(str(rule) for rule in told))


def _about(counts: Mapping[str, int]) -> list[str]:
    total = sum(counts.values())
    if not total:
        return ["there is no verdict"]
    return [f"{counts[w]} of {total} verdicts: {w}" for w in (DOES_NOT_CONFORM, CANNOT_BE_DECIDED) if counts[w]]


def _not_last(meant: str, last: str) -> list[str]:
    return [f"{last} was judged after {meant}"] if last and meant != last else []


def _missing(connection: Connection, entry: Entry) -> list[str]:
    """Files that the run read and the record does not hold."""
    read = {str(item["sha256"]): str(item["path"]) for item in parts(entry.draft.body, "inputs")}
    wanted = list(read)
    there: set[str] = set()
    for i in range(0, len(wanted), 500):
        there |= set(connection.scalars(select(FILE.c.sha256).where(FILE.c.sha256.in_(wanted[i : i + 500]))))
    return [f"{read[digest]}, which the run read, is not in the record" for digest in wanted if digest not in there]
