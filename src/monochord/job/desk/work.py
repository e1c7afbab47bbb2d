"""Long work as a process of its own: ``python -m monochord.job.desk.work NAME``, its arguments as JSON on standard input.

It tells what it does as JSON lines: {"say": ...} on the way, at the end {"done": ...}, {"refused": [...]} or
{"defect": ...}. Being stopped at any moment leaves files whole: everything is written beside its place first.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from monochord.ground.faults import MonochordError, Refused
from monochord.job.context import Context, real_context

Arguments = Mapping[str, object]
Told = Mapping[str, object]


def _run(given: Arguments, context: Context) -> Told:
    from monochord.job.desk.parts import write_parts
    from monochord.job.run import run_campaign

    folder = Path(str(given["campaign"]))
    done = run_campaign(folder, context)
    context.say("writing the pages")
    write_parts(folder, done.result)
    return {"sentence": done.result.sentence, "record": done.remembered}


def _begin(given: Arguments, context: Context) -> Told:
    from monochord.job.begin import begin_campaign, import_lines

    into = Path(str(given["into"]))
    settings = given.get("settings")
    facts = {str(k): str(v) for k, v in settings.items()} if isinstance(settings, dict) else {}
    notes = begin_campaign(Path(str(given["folder"])), Path(str(given["lab"])), into, facts, context)
    return {"notes": notes, "read": import_lines(into)}


#: Name -> what is done.
WORK: Mapping[str, Callable[[Arguments, Context], Told]] = {"run": _run, "begin": _begin}


def main() -> int:
    """Do the work that is named, and tell how it ended."""

    def tell(**what: object) -> None:
        print(json.dumps(what, ensure_ascii=False, allow_nan=False), flush=True)

    given = json.loads(sys.stdin.read())
    try:
        tell(done=WORK[sys.argv[1]](given, real_context(lambda line: tell(say=line))))
    except Refused as refusal:
        tell(refused=[str(fault) for fault in refusal.faults])
    except (MonochordError, OSError) as error:
        tell(refused=[str(error)])
    return 0


if __name__ == "__main__":
    sys.exit(main())
