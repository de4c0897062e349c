"""What a record lists: its surveys and the spells of wear between them."""

from __future__ import annotations

import json

from geom.record.store.manifest import SCHEMA, SURVEYS
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.wear.spells import find_spells
from geom.views.say import plain

OCCASION_HEADING = ("heat", "stage", "date", "hours", "melted", "campaign")
#: Columns of numbers.
NUMBERS = ("heat", "hours", "melted")


def record_heading(record: Record) -> str:
    """Whose record, and how many surveys it holds."""
    surveys = count_surveys(len(record.occasions))
    return f"Record: {plain(record.design.name)}: {surveys}"


def count_surveys(count: int) -> str:
    """So many surveys, in words."""
    return "1 survey" if count == 1 else f"{count} surveys"


def spell_lines(record: Record) -> list[str]:
    """How many spells of wear there are, and where none can be counted."""
    spells, gaps = find_spells(record.occasions)
    count = "1 spell" if len(spells) == 1 else f"{len(spells)} spells"
    return [
        f"{count} of wear from one survey to the next with no repair between",
        *(f"No wear is told: {gap.words}" for gap in gaps),
    ]


def occasion_row(occasion: Occasion) -> tuple[str, ...]:
    """One survey under `OCCASION_HEADING`; empty where not known."""
    return (
        str(occasion.heat),
        occasion.stage,
        occasion.date.isoformat(),
        "" if occasion.hours is None else f"{occasion.hours:.1f}",
        "" if occasion.melted is None else f"{occasion.melted / 1000.0:.1f} t",
        plain(occasion.campaign),
    )


def record_document(record: Record) -> str:
    """The record as JSON, for machines; hours and kg."""
    spells, gaps = find_spells(record.occasions)
    document = {
        "schema": SCHEMA,
        "lining": record.design.name,
        "units": {"hours_on_blast": "h", "melted": "kg"},
        "surveys": [one.to_dict() | {"file": _file(one)} for one in record.occasions],
        "spells": [
            {"start": _file(one.start), "end": _file(one.end)} for one in spells
        ],
        "gaps": [gap.words for gap in gaps],
    }
    return json.dumps(document, indent=1, ensure_ascii=False)


def _file(occasion: Occasion) -> str:
    return f"{SURVEYS}/{occasion.name}.nc"
