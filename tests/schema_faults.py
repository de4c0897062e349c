"""What a JSON Schema of the package says against a document; empty where it fits."""

from __future__ import annotations

from typing import Any

from geom.document import document_schema


def schema_faults(name: Any, document: Any) -> list[str]:
    """One line a fault, as the validator of the Python package jsonschema finds it."""
    from jsonschema import Draft202012Validator, FormatChecker

    schema = document_schema(name)
    Draft202012Validator.check_schema(schema)
    judge = Draft202012Validator(schema, format_checker=FormatChecker())
    return [
        f"{'/'.join(map(str, fault.absolute_path))}: {fault.message[:200]}"
        for fault in judge.iter_errors(document)
    ]
