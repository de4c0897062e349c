"""findings.json: every number, for machines."""

from __future__ import annotations

import json
from typing import Any

from geom.compare.findings import Findings
from geom.repair import RepairPackage


def document_bytes(findings: Findings, works: RepairPackage) -> bytes:
    """The ``daubline.findings/1`` document as UTF-8 JSON.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    return as_json({**findings.to_dict(), "repair": works.to_dict()})


def as_json(told: dict[str, Any]) -> bytes:
    """A document as it is written: UTF-8 JSON.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    text = json.dumps(told, allow_nan=False, ensure_ascii=False, indent=1)
    return (text + "\n").encode("utf-8", errors="backslashreplace")
