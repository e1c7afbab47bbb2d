"""Makes v0001.sqlite, the journal of a campaign as version 1 wrote it, and v0001.json with what it holds.

Run once, with the program of that version: ``python tests/record/kept/make_v0001.py``. The files are kept for ever; the
script is kept to show where they come from.
"""

from __future__ import annotations

import json
from pathlib import Path

from monochord.store.journal import Entry, append

HERE = Path(__file__).parent
CODE = "c0de" * 16


def document(number: int) -> str:
    verdict = {"offset": 1.2e-05, "u": 4e-06, "limit": 3e-05, "lower": -3e-05, "upper": 3e-05, "verdict": "conforms"}
    return json.dumps(
        {
            "schema": "monochord-result/1",
            "girder": {"name": "G07", "type": "arc"},
            "inputs": [
                {"path": "campaign.toml", "sha256": f"{number:064x}"},
                {"path": "measured/1-bench/sightings.csv", "sha256": "ab" * 32},
            ],
            "run": {"id": f"run-{number}"},
            "occasions": {"1-bench": {"place": "hall"}},
            "verdicts": {"1-bench": {"Q1": {"x": verdict, "y": {**verdict, "offset": -2.9e-05 * number}}}},
            "sentence": f"Invented; Prüfstand {number}, 0.1 µm.",
        },
        ensure_ascii=False,
    )


def main() -> None:
    path = HERE / "v0001.sqlite"
    path.unlink(missing_ok=True)
    told = []
    for number in (1, 2):
        text, made_at = document(number), f"2026-03-0{number}T07:30:00+00:00"
        inputs = {i["path"]: i["sha256"] for i in json.loads(text)["inputs"]}
        kept, _ = append(path, Entry(f"run-{number}", made_at, "monochord 0.1.0", CODE, inputs, text))
        told.append(
            {
                "id": kept.id,
                "made_at": made_at,
                "made_by": kept.made_by,
                "girder": "G07",
                "code": CODE,
                "inputs_digest": kept.inputs,
                "numbers": kept.numbers,
                "inputs": json.loads(text)["inputs"],
                "document": text,
            }
        )
    (HERE / "v0001.json").write_text(json.dumps({"runs": told}, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
