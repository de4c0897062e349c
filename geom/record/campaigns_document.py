"""campaigns.json: two campaigns beside each other, every number, for machines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom._version import __version__
from geom.quantity import Quantity
from geom.record.ranking import Rank
from geom.units import Bool

if TYPE_CHECKING:
    from geom.record.campaign_wear import CampaignWear
    from geom.record.campaigns import Comparison, Contrast

SCHEMA = "daubline.campaigns/1"

_M2 = 1e-6
_M3 = 1e-9


def document(told: Comparison) -> dict[str, Any]:
    """All numbers of a comparison, as JSON holds them."""
    per = {"wear": f"mm/{told.by}", "material": f"m3/{told.by}"}
    return {
        "schema": SCHEMA,
        "title": told.title,
        "created": told.created,
        "version": __version__,
        "by": told.by,
        "units": {"length": "mm", "area": "m2", "angle": "deg", **per},
        "first": _campaign(told.first),
        "second": _campaign(told.second),
        "pieces": [
            {**piece.to_dict(), **_contrast(found)}
            for piece, found in zip(told.pieces.pieces, told.wear, strict=True)
        ],
        "material": _contrast(told.material, scale=_M3),
        "levels": [_rank(rank, told) for rank in told.levels],
        "sides": [_rank(rank, told) for rank in told.sides],
        "map": _areas(told),
        "cautions": list(told.cautions),
    }


def _campaign(one: CampaignWear) -> dict[str, Any]:
    return {
        "lining": one.lining,
        "campaign": one.name,
        "surveys": len(one.occasions),
        "first_heat": one.spells[0].start.heat + 1,
        "last_heat": one.spells[-1].end.heat,
        "first_date": one.spells[0].start.date.isoformat(),
        "last_date": one.spells[-1].end.date.isoformat(),
        "spells": len(one.spells),
        "heats": one.heats,
        "exposure": one.exposure,
        "repairs": [
            {
                "heat": repair.heat,
                "volume": repair.volume.times(_M3).to_dict(),
                "since": repair.since,
            }
            for repair in one.material.repairs
        ],
        "cautions": list(one.cautions),
    }


def _contrast(found: Contrast, *, scale: float = 1.0) -> dict[str, Any]:
    def scaled(one: Quantity | None) -> dict[str, float] | None:
        return None if one is None else one.times(scale).to_dict()

    return {
        "first": scaled(found.first),
        "second": scaled(found.second),
        "difference": scaled(found.difference),
        "ratio": None if found.ratio is None else found.ratio.to_dict(),
    }


def _rank(rank: Rank, told: Comparison) -> dict[str, Any]:
    difference = told.wear[rank.item].difference
    return {
        **told.pieces.pieces[rank.item].to_dict(),
        "difference": None if difference is None else difference.to_dict(),
        "first_rank": rank.first,
        "last_rank": rank.last,
        "settled": rank.settled,
    }


def _areas(told: Comparison) -> dict[str, float]:
    """How much wall wears more, less, and where that is not shown; m2."""
    grid, shown = told.grid, told.maps.shown
    face = grid.face_area * _M2
    compared = np.isfinite(told.maps.difference) & ~grid.opening

    def area(where: Bool) -> float:
        return float(face[where & compared].sum())

    return {
        "compared": area(compared),
        "second_more": area(shown == 1),
        "second_less": area(shown == -1),
        "not_shown": area(shown == 0),
    }
