"""findings.json: every number, for machines."""

from __future__ import annotations

import json
from typing import Any

from geom.compare.findings import Findings
from geom.design import Design
from geom.repair import RepairPackage
from geom.views.tables.repair import (
    say_bottom_notes,
    say_not_planned,
    say_zone_note,
)


def document_bytes(findings: Findings, package: RepairPackage, design: Design) -> bytes:
    """The ``daubline.findings/1`` document as UTF-8 JSON.

    Parameters
    ----------
    findings : Findings
    package : RepairPackage
    design : Design
        In whose unit notes are worded.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    repair = _in_words(package, design.length_unit)
    return as_json({**findings.to_dict(), "repair": repair})


def _in_words(package: RepairPackage, unit: str) -> dict[str, Any]:
    """The document of a repair, its notes worded."""
    repair, plan, bottom = package.to_dict(), package.plan, package.bottom
    for document, zone in zip(repair["zones"], plan.zones, strict=True):
        document["notes"] = [say_zone_note(note, unit) for note in zone.notes]
    repair["notes"] = [say_not_planned(note) for note in plan.notes]
    if bottom is not None:
        repair["bottom"]["notes"] = say_bottom_notes(bottom, unit)
    return repair


def as_json(told: dict[str, Any]) -> bytes:
    """A document as it is written: UTF-8 JSON.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no such numbers.
    """
    text = json.dumps(told, allow_nan=False, ensure_ascii=False, indent=1)
    return (text + "\n").encode("utf-8", errors="backslashreplace")
