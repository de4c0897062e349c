"""Documents for machines: every number of a result, as UTF-8 JSON.

Each raises ValueError if a number is not finite: JSON has no such numbers.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from geom import compare
from geom._version import __version__
from geom.compare.findings import Findings
from geom.design import Design
from geom.surface import RadialSurface
from geom.views.cautions import CAUTIONS
from geom.views.say import say_change, say_survey_gap

if TYPE_CHECKING:  # no document needs all of these, nor all that words them
    from geom.record.campaigns.compare import Comparison
    from geom.record.change.result import Change
    from geom.record.store.occasion import Occasion
    from geom.record.store.store import Record
    from geom.record.study import Wear
    from geom.repair import RepairPackage
    from geom.repair.acceptance.result import Recheck
    from geom.repair.plan.day import DayPlan
    from geom.sampling.stations import Advice


def assess(
    surface: RadialSurface,
    design: Design,
    *,
    title: str | None = None,
    created: datetime | None = None,
) -> Findings:
    """Compare a surface with its drawing, and say in words what to mind.

    Parameters
    ----------
    title : str, optional
        Of the survey; default the lining's name.
    created : datetime, optional
        Default now.

    Returns
    -------
    Findings
        Its warnings are worded in the design's unit.
    """
    from geom.views.tables.survey import say_diagnostics

    findings = compare.assess(surface, design, title=title, created=created)
    return replace(findings, warnings=say_diagnostics(findings.diagnostics, design))


def findings_document(
    findings: Findings, package: RepairPackage, design: Design
) -> bytes:
    """The ``daubline.findings/1`` document as UTF-8 JSON.

    Parameters
    ----------
    design : Design
        In whose unit notes are worded.
    """
    from geom.views.tables.repair import repair_warnings
    from geom.views.tables.support import stop_warnings
    from geom.views.tables.survey import say_diagnostics

    document = findings.to_dict()
    document["warnings"] = [
        *stop_warnings(package, design),
        *repair_warnings(package, design),
        *say_diagnostics(findings.diagnostics, design),
    ]
    repair = _in_words(package, design.length_unit)
    return _as_json({**document, "repair": repair})


def _in_words(package: RepairPackage, unit: str) -> dict[str, Any]:
    """The document of a repair, its notes worded."""
    from geom.views.tables.repair import (
        say_bottom_notes,
        say_not_planned,
        say_zone_note,
    )

    repair, plan, bottom = package.to_dict(), package.plan, package.bottom
    for document, zone in zip(repair["zones"], plan.zones, strict=True):
        document["notes"] = [say_zone_note(note, unit) for note in zone.notes]
    repair["notes"] = [say_not_planned(note, unit) for note in plan.notes]
    if bottom is not None:
        repair["bottom"]["notes"] = say_bottom_notes(bottom, unit)
    return repair


def change_document(change: Change, design: Design) -> bytes:
    """The ``daubline.change/1`` document; warnings in the design's unit."""
    from geom.views.tables.change import change_warnings

    words = {
        "title": say_change(change),
        "warnings": change_warnings(change, design),
        "cautions": list(CAUTIONS),
    }
    return _as_json(change.to_dict() | words)


def wear_document(wear: Wear, design: Design) -> bytes:
    """The ``daubline.wear/1`` document; the design says hours and units."""
    from geom.views.say_rates import say_harmonics
    from geom.views.tables.wear import say_rule_here, say_warning

    document = wear.to_dict()
    for entry, harmonics in zip(document["pattern"], wear.pattern, strict=True):
        entry["words"] = say_harmonics(harmonics, design)
    forecasts = (*wear.forecasts, *wear.repaired)
    for entry, forecast in zip(document["forecasts"], forecasts, strict=True):
        entry["rule"] = say_rule_here(forecast)
    document["gaps"] = [say_survey_gap(gap) for gap in wear.gaps]
    document["warnings"] = [say_warning(warning, design) for warning in wear.warnings]
    return _as_json(document | {"cautions": list(CAUTIONS)})


def campaigns_document(comparison: Comparison) -> bytes:
    """The ``daubline.campaigns/1`` document."""
    from geom.views.tables.campaigns import campaign_cautions, comparison_cautions

    document = comparison.to_dict()
    for name, campaign in (("first", comparison.first), ("second", comparison.second)):
        document[name]["cautions"] = campaign_cautions(campaign, comparison.by)
    return _as_json(document | {"cautions": comparison_cautions(comparison)})


def recheck_document(recheck: Recheck, design: Design) -> bytes:
    """The ``daubline.recheck/1`` document; warnings in the design's unit."""
    from geom.views.tables.survey import say_diagnostics

    words = {
        "warnings": say_diagnostics(recheck.diagnostics, design),
        "cautions": list(CAUTIONS),
    }
    return _as_json(recheck.to_dict() | words)


def day_document(day: DayPlan, design: Design) -> bytes:
    """The ``daubline.day/1`` document; its steps as people read them."""
    from geom.views.tables.day import day_rows

    document = day.to_dict()
    for entry, row in zip(document["steps"], day_rows(day, design), strict=True):
        entry |= {"what": row.what, "caution": row.caution}
    return _as_json(document | {"cautions": list(CAUTIONS)})


def stations_document(design: Design, advice: Advice, count: int) -> bytes:
    """The ``daubline.next/1`` document as JSON; m3 or m2, mm, degrees."""
    size = 1e-9 if advice.aim == "volume" else 1e-6
    stations = [
        {
            "rank": rank,
            "azimuth": station.azimuth,
            "height": station.height,
            "again": station.is_repeat,
            "after": station.after * size,
        }
        for rank, station in enumerate(advice.stations, 1)
    ]
    document = {
        "schema": "daubline.next/1",
        "lining": design.name,
        "version": __version__,
        "for": advice.aim,
        "unit": "m3" if advice.aim == "volume" else "m2",
        "readings": count,
        "reading_sd": advice.reading_sd,
        "now": advice.now * size,
        "unread": advice.unread,
        "stations": stations,
        "caution": " ".join(CAUTIONS),
    }
    return _as_json(document)


def record_document(record: Record) -> bytes:
    """The record as JSON, for machines; hours and kg."""
    from geom.record.store.manifest import SCHEMA, SURVEYS
    from geom.record.wear.series import find_spells

    def file_of(occasion: Occasion) -> str:
        return f"{SURVEYS}/{occasion.name}.nc"

    spells, gaps = find_spells(record.occasions)
    document = {
        "schema": SCHEMA,
        "lining": record.design.name,
        "units": {"hours_on_blast": "h", "melted": "kg"},
        "surveys": [one.to_dict() | {"file": file_of(one)} for one in record.occasions],
        "spells": [
            {"start": file_of(one.start), "end": file_of(one.end)} for one in spells
        ],
        "gaps": [say_survey_gap(gap) for gap in gaps],
    }
    return _as_json(document)


def _as_json(document: dict[str, Any]) -> bytes:
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1)
    return (text + "\n").encode("utf-8", errors="backslashreplace")
