"""Campaign against campaign: which wears the wall less, where, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from geom._version import __version__
from geom.design import Design
from geom.design.drawing import DrawingPart
from geom.document import as_document, fields_document, iso_time
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.campaigns.campaign import CampaignWear, campaign_wear
from geom.record.regions import Kind, Regions, regions_of
from geom.record.store.grid import record_grid
from geom.record.store.store import Record
from geom.record.wear.accumulate import Tick
from geom.record.wear.maps import RateMap
from geom.record.wear.series import Exposure
from geom.shown import Shown
from geom.stats.comparisons import (
    Rank,
    mover_difference,
    mover_ratio,
    normal_equivalent_sd,
    rank_quantities,
    significant_together,
)
from geom.surface import Grid
from geom.units import M2, M3, Bool, Float

SCHEMA = "daubline.campaigns/1"


@dataclass(frozen=True)
class Contrast:
    """The same amount of two campaigns.

    Attributes
    ----------
    first, second : Quantity or None
        None where a campaign does not tell it.
    difference : Quantity or None
        Second less first.
    ratio : Quantity or None
        Second over first; None too where the first is not surely more than nothing.
    """

    first: Quantity | None
    second: Quantity | None
    difference: Quantity | None
    ratio: Quantity | None


@dataclass(frozen=True)
class ContrastMaps(Shown):
    """Two campaigns cell by cell; arrays (m, k), NaN where either is not known.

    Attributes
    ----------
    difference : array, mm per heat, hour or tonne
        Wear of the second less that of the first.
    sd : array
        Its standard uncertainty.
    shown : int8 array
        1 where the second wears more, -1 where less, 0 where that is not shown; of
        what is called one in twenty may be false.
    """

    difference: Float
    sd: Float
    shown: NDArray[np.int8]


@dataclass(frozen=True)
class Comparison(Shown):
    """Two campaigns side by side; lengths mm, volumes mm3, per ``by``.

    Attributes
    ----------
    created : str
        ISO time.
    by : {'heat', 'hour', 'tonne'}
        What wear and material are stated per.
    design : Design
        Of the first; the second's is drawn alike.
    wear : tuple of Contrast
        One a region.
    material : Contrast
        Rebuild volume put back.
    levels, sides : tuple of Rank
        ``item`` is the place in ``regions``; first where the second wears most more.
    """

    _units: ClassVar[str] = "mm a heat, hour or tonne; mm3"

    title: str
    created: str
    by: Exposure
    design: Design
    grid: Grid
    regions: Regions
    first: CampaignWear
    second: CampaignWear
    wear: tuple[Contrast, ...]
    material: Contrast
    levels: tuple[Rank, ...]
    sides: tuple[Rank, ...]
    maps: ContrastMaps

    def of(self, name: str) -> Contrast | None:
        """Of the whole wall or of a zone, by its name."""
        for region, contrast in zip(self.regions.regions, self.wear, strict=True):
            if region.name == name:
                return contrast
        return None

    def to_dict(self) -> dict[str, Any]:
        """The document ``campaigns.json`` holds."""
        per = {"wear": f"mm/{self.by}", "material": f"m3/{self.by}"}
        return {
            "schema": SCHEMA,
            "title": self.title,
            "created": self.created,
            "version": __version__,
            "by": self.by,
            "units": {"length": "mm", "area": "m2", "angle": "deg", **per},
            "first": _campaign(self.first),
            "second": _campaign(self.second),
            "pieces": [
                {**region.to_dict(), **_contrast(found)}
                for region, found in zip(self.regions.regions, self.wear, strict=True)
            ],
            "material": _contrast(self.material, scale=M3),
            "levels": [_rank(rank, self) for rank in self.levels],
            "sides": [_rank(rank, self) for rank in self.sides],
            "map": _areas(self),
        }


def compare_campaigns(
    one: tuple[Record, str],
    other: tuple[Record, str],
    *,
    by: Exposure = "tonne",
    title: str | None = None,
    created: datetime | None = None,
    tick: Tick | None = None,
) -> Comparison:
    """Two campaigns side by side, of one record or of two.

    Parameters
    ----------
    one, other : (Record, str)
        The record and the campaign's name; the first is what the second is measured
        against.
    by : {'tonne', 'hour', 'heat'}
        What wear and material are divided by.
    title : str, optional
        Default: the campaigns' names.
    created : datetime, optional
        Default now.
    tick : callable, optional
        Told in words how far it is.

    Raises
    ------
    InputError
        If both are the same campaign, a record has no such campaign or its spells do
        not tell what they are divided by, or the two linings are drawn unlike.
    """
    (record, name), (second_record, second_name) = one, other
    if record.folder.resolve() == second_record.folder.resolve() and (
        name == second_name
    ):
        record.of_campaign(name)
        raise InputError(
            f"both are campaign {name!r} of one record",
            file=record.folder,
            cure="Name two campaigns, or two records",
        )
    _refuse_unlike(record, second_record)
    grid, regions = record_grid(record.design), regions_of(record.panels, record.design)
    first = campaign_wear(record, name, regions, by, tick=tick)
    second = campaign_wear(second_record, second_name, regions, by, tick=tick)
    wear = tuple(
        _contrast_of(a, b) for a, b in zip(first.rates, second.rates, strict=True)
    )
    return Comparison(
        title=f"{second_name} against {name}" if title is None else title,
        created=iso_time(created),
        by=by,
        design=record.design,
        grid=grid,
        regions=regions,
        first=first,
        second=second,
        wear=wear,
        material=_contrast_of(first.material.rate, second.material.rate),
        levels=_ranks(regions, wear, "level"),
        sides=_ranks(regions, wear, "side"),
        maps=_maps(first, second, grid),
    )


def _contrast_of(first: Quantity | None, second: Quantity | None) -> Contrast:
    if first is None or second is None:
        return Contrast(first, second, None, None)
    return Contrast(
        first, second, mover_difference(first, second), mover_ratio(first, second)
    )


def _ranks(regions: Regions, wear: Sequence[Contrast], kind: Kind) -> tuple[Rank, ...]:
    """Places of the pieces of one kind, from most more to most less wear."""
    differences = {
        i: found
        for i in regions.of_kind(kind)
        if (found := wear[i].difference) is not None
    }
    items = list(differences)
    return tuple(
        Rank(items[rank.item], rank.first, rank.last)
        for rank in rank_quantities(list(differences.values()))
    )


def _maps(first: CampaignWear, second: CampaignWear, grid: Grid) -> ContrastMaps:
    apart = np.where(grid.opening, np.nan, second.map.rate - first.map.rate)
    sd = np.hypot(first.map.sd, second.map.sd)
    dof = _dof((first.map, second.map))
    return ContrastMaps(
        apart, sd, significant_together(apart, normal_equivalent_sd(apart, sd, dof))
    )


def _dof(maps: Sequence[RateMap]) -> Float:
    """Degrees of freedom of the sum of their variances (JCGM 100:2008, G.4.1)."""
    square = [rates.sd**2 for rates in maps]
    parts = [each**2 / rates.dof for rates, each in zip(maps, square, strict=True)]
    whole = np.sum(square, axis=0) ** 2
    scatter = np.sum(parts, axis=0)
    return np.asarray(
        np.divide(whole, scatter, out=np.ones_like(whole), where=scatter > 0.0)
    )


def _refuse_unlike(first: Record, second: Record) -> None:
    """Two linings that cannot be laid over each other."""
    parts: tuple[tuple[str, tuple[DrawingPart, ...]], ...] = (
        ("profile or openings", ("profile", "openings")),
        ("azimuth zero", ("azimuth_zero",)),
        ("azimuth sense", ("azimuth_sense",)),
        ("height zero", ("height_zero",)),
    )
    for words, names in parts:
        if first.design.differs_from(second.design, parts=names):
            raise InputError(
                f"is drawn otherwise than {first.folder}: another {words}",
                file=second.folder,
                cure="Compare campaigns of linings of one drawing",
            )


def _campaign(campaign: CampaignWear) -> dict[str, Any]:
    return {
        "lining": campaign.lining,
        "campaign": campaign.name,
        "surveys": len(campaign.occasions),
        "first_heat": campaign.spells[0].first_heat,
        "last_heat": campaign.spells[-1].last_heat,
        "first_date": campaign.spells[0].start.date.isoformat(),
        "last_date": campaign.spells[-1].end.date.isoformat(),
        "spells": len(campaign.spells),
        "heats": campaign.heats,
        "exposure": campaign.exposure,
        "repairs": as_document(campaign.material.repairs),
    }


def _contrast(found: Contrast, *, scale: float = 1.0) -> dict[str, Any]:
    document = fields_document(found, scale=scale)
    return document | {"ratio": as_document(found.ratio)}


def _rank(rank: Rank, comparison: Comparison) -> dict[str, Any]:
    return {
        **comparison.regions.regions[rank.item].to_dict(),
        "difference": as_document(comparison.wear[rank.item].difference),
        "first_rank": rank.first,
        "last_rank": rank.last,
        "settled": rank.settled,
    }


def _areas(comparison: Comparison) -> dict[str, float]:
    """How much wall wears more, less, and where that is not shown; m2."""
    grid, shown = comparison.grid, comparison.maps.shown
    face = grid.face_area * M2
    compared = np.isfinite(comparison.maps.difference) & ~grid.opening

    def area(where: Bool) -> float:
        return float(face[where & compared].sum())

    return {
        "compared": area(compared),
        "second_more": area(shown == 1),
        "second_less": area(shown == -1),
        "not_shown": area(shown == 0),
    }
