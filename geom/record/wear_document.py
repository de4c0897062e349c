"""wear.json: what a record says of wear, every number, for machines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from geom.quantity import Quantity
from geom.record.manifest import told_of
from geom.record.pieces import Kind
from geom.record.spells import TONNE

if TYPE_CHECKING:
    from geom.record.forecast import Forecast
    from geom.record.one_sided import Roundness
    from geom.record.spells import Spell
    from geom.record.steps import Step
    from geom.record.wear import Wear

SCHEMA = "daubline.wear/1"

_KINDS: dict[Kind, str] = {
    "zone": "zones",
    "level": "levels",
    "side": "sides",
    "panel": "panels",
}


def document(wear: Wear) -> dict[str, Any]:
    """All numbers of a study, as JSON holds them."""
    pieces = wear.pieces
    wall = pieces.of_kind("wall")[0]
    per = {f"per_{one}": f"mm/{one}" for one in wear.rates}
    return {
        "schema": SCHEMA,
        "lining": wear.lining,
        "campaign": wear.campaign,
        "title": wear.title,
        "created": wear.created,
        "version": wear.version,
        "units": {"length": "mm", "angle": "deg", "mass": "t", "time": "h", **per},
        "surveys": [_survey(one) for one in wear.occasions],
        "spells": [
            _spell(one, wear, row) for row, one in enumerate(wear.series.spells)
        ],
        "gaps": list(wear.gaps),
        "wall": _piece(wear, wall),
        **{
            name: [_piece(wear, i) for i in pieces.of_kind(kind)]
            for kind, name in _KINDS.items()
        },
        "steps": [_step(one) for one in wear.steps],
        "pattern": [_roundness(one) for one in wear.pattern],
        "forecasts": [_forecast(one) for one in (*wear.forecasts, *wear.repaired)],
        "warnings": list(wear.warnings),
    }


def _survey(occasion: Any) -> dict[str, Any]:
    told = told_of(occasion)
    melted = told["melted"]
    told["melted"] = None if melted is None else melted / TONNE
    return told


def _spell(spell: Spell, wear: Wear, row: int) -> dict[str, Any]:
    """One spell, with the mean wear of the wall and its sd where both surveys tell."""
    wall = wear.pieces.of_kind("wall")[0]
    value, variance = wear.series.wear[row, wall], wear.series.variance[row, wall]
    told = math.isfinite(value)
    return {
        "first_heat": spell.start.heat + 1,
        "last_heat": spell.end.heat,
        "heats": spell.heats,
        "hours": spell.hours,
        "melted": None if spell.melted is None else spell.melted / TONNE,
        "wear": _q(Quantity.normal(value, math.sqrt(variance))) if told else None,
    }


def _piece(wear: Wear, i: int) -> dict[str, Any]:
    """Where a piece is, and its rates."""
    told = wear.pieces.pieces[i].to_dict()
    for against, rates in wear.rates.items():
        scatter = float(rates.scatter[i])
        told[f"per_{against}"] = {
            "long": _q(rates.long[i]),
            "short": _q(rates.short[i]),
            "short_over": rates.short_over,
            "trend": _q(rates.trend[i]),
            "spells": rates.spells[i],
            "scatter_of_a_heat": scatter if math.isfinite(scatter) else None,
        }
    return told


def _step(step: Step) -> dict[str, Any]:
    return {
        **step.piece.to_dict(),
        "first_heat": step.first.start.heat + 1,
        "before": _q(step.before),
        "after": _q(step.after),
        "change": _q(step.change),
        "chance": step.chance,
    }


def _roundness(one: Roundness) -> dict[str, Any]:
    return {
        **one.zone.to_dict(),
        "lobes": [
            {"order": order, "amplitude": _q(amplitude), "azimuth": azimuth}
            for order, amplitude, azimuth in one.lobes
        ],
        "tuyeres": _q(one.tuyeres),
        "spells": one.spells,
        "words": one.words,
    }


def _forecast(one: Forecast) -> dict[str, Any]:
    return {
        **one.piece.to_dict(),
        "limit": one.limit,
        "going": one.going,
        "heats": _q(one.heats),
        "at": _q(one.at),
        "room": _q(one.room),
        "rate": _q(one.rate),
        "rule": one.rule,
        "survey_within": one.survey_within,
        "stop": one.stop,
    }


def _q(told: Quantity | None) -> dict[str, float | None] | None:
    """A quantity; null where an end of it is not bounded, since JSON knows no more."""
    if told is None:
        return None
    return {
        name: part if math.isfinite(part) else None
        for name, part in told.to_dict().items()
    }
