"""The JSON Schema of the result document (draft 2020-12), and the check of a document against it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from monochord.ground.faults import Fault

SCHEMA_FILE = Path(__file__).with_name("result.schema.json")

#: A fault quotes at most so many characters of what was given.
LONGEST_QUOTE = 100


def result_schema() -> dict[str, object]:
    """The schema of the result document.

    >>> result_schema()["$id"]
    'urn:monochord:result:1'
    """
    schema: dict[str, object] = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    return schema


def document_faults(document: Mapping[str, object]) -> tuple[Fault, ...]:
    """Everything in a document that breaks the schema, by place; empty when it fits.

    The place of a fault is the path of keys. jsonschema is loaded only here.

    >>> document_faults({"schema": "monochord-result/0"})[-1].column
    'schema'
    """
    from jsonschema import Draft202012Validator  # here, because loading it costs more than writing the document

    found = Draft202012Validator(result_schema()).iter_errors(document)
    ordered = sorted(found, key=lambda error: [str(step) for step in error.absolute_path])
    faults = (
        Fault(
            _clipped(error.message),
            _clipped(f"{error.validator} {error.validator_value!r}"),
            "mend the document, or the program that wrote it",
            column=".".join(str(step) for step in error.absolute_path) or None,
        )
        for error in ordered
    )
    return tuple(dict.fromkeys(faults))


def _clipped(text: str) -> str:
    """The text without its middle when it is long: its end says what is wrong."""
    half = LONGEST_QUOTE // 2
    return text if len(text) <= LONGEST_QUOTE else f"{text[:half]} ... {text[-half:]}"
