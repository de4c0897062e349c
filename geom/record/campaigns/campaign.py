"""What one campaign wore: its rates, its map and the material its repairs took.

A repair is measured when the wall was surveyed before and after it.  What it took is
the rebuild volume before less that after: what is missing against the drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geom.document import VOLUME
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.wear.accumulate import Tick, accumulate
from geom.record.wear.maps import RateMap
from geom.record.wear.rates import wear_rates
from geom.record.wear.series import (
    TONNE,
    Exposure,
    Spell,
    SurveyGap,
    exposures,
    find_spells,
)
from geom.shown import Shown
from geom.stats.comparisons import mover_difference


@dataclass(frozen=True)
class Repair:
    """One repair that was measured.

    Attributes
    ----------
    heat : int
        After which heat.
    volume : Quantity, mm3
        Put in.
    since : float
        Heats, hours or tonnes since the repair before.
    """

    heat: int
    volume: Quantity = field(metadata=VOLUME)
    since: float


@dataclass(frozen=True)
class UncountedRepair:
    """A repair that does not count, and why.

    Attributes
    ----------
    heat : int
        After which heat.
    unknown : {'before', 'after', 'since'}
        The survey before it, that after it, or how long ago the repair before was.
    """

    heat: int
    unknown: Literal["before", "after", "since"]


@dataclass(frozen=True)
class Material(Shown):
    """What the repairs of a campaign took.

    Attributes
    ----------
    repairs : tuple of Repair
        Those that count: measured, and since how long ago is known.
    left_out : tuple of UncountedRepair
        Those that do not.
    rate : Quantity or None, mm3 per heat, hour or tonne
        None where no repair counts.
    """

    repairs: tuple[Repair, ...]
    left_out: tuple[UncountedRepair, ...]
    rate: Quantity | None = field(metadata=VOLUME)


@dataclass(frozen=True)
class CampaignWear(Shown):
    """One campaign; lengths mm, volumes mm3, per heat, hour or tonne.

    Attributes
    ----------
    spells : tuple of Spell
        Those that count.
    unstated : tuple of Spell
        Those that do not, because what wear is divided by is not stated.
    gaps : tuple of Gap
        Between surveys that are no spell.
    exposure : float
        Heats, hours or tonnes of those together.
    rates : tuple of Quantity or None
        Mean wear of each region.
    map : RateMap
        Mean wear cell by cell.
    """

    lining: str
    name: str
    occasions: tuple[Occasion, ...]
    spells: tuple[Spell, ...]
    unstated: tuple[Spell, ...]
    gaps: tuple[SurveyGap, ...]
    exposure: float
    rates: tuple[Quantity | None, ...]
    map: RateMap
    material: Material

    @property
    def heats(self) -> int:
        """How many heats the spells lasted that count."""
        return sum(spell.heats for spell in self.spells)


def campaign_wear(
    record: Record,
    name: str,
    regions: Regions,
    by: Exposure,
    *,
    tick: Tick | None = None,
) -> CampaignWear:
    """What a campaign of a record wore.

    Parameters
    ----------
    regions : Regions
        Of the record's drawing.
    by : {'heat', 'hour', 'tonne'}
    tick : callable, optional
        Told in words how far it is.

    Raises
    ------
    InputError
        If there is no such campaign, or none of its spells says what it lasted.
    """
    occasions = record.of_campaign(name)
    spells, gaps = find_spells(occasions)
    lasted = exposures(spells, by)
    counted = np.isfinite(lasted) & (lasted > 0.0)
    used, unstated = (
        tuple(spell for spell, so in zip(spells, counted, strict=True) if so == wanted)
        for wanted in (True, False)
    )
    if not used:
        raise InputError(
            f"no spell of wear of campaign {name!r} tells its {by}s",
            file=record.folder,
            cure="Add surveys before and after repairs, or divide by heats",
        )
    summed = accumulate(record, used, regions, tick=tick)
    maps = summed.maps
    per = {"heat": maps.per_heat, "hour": maps.per_hour, "tonne": maps.per_tonne}
    material = material_used(occasions, record.rebuild_volume, by)
    return CampaignWear(
        lining=record.design.name,
        name=name,
        occasions=occasions,
        spells=used,
        unstated=unstated,
        gaps=gaps,
        exposure=float(lasted[counted].sum()),
        rates=wear_rates(summed.series, by).long,
        map=per[by] or maps.per_heat,
        material=material,
    )


def material_used(
    occasions: Sequence[Occasion],
    rebuild_of: Callable[[Occasion], Quantity],
    by: Exposure,
) -> Material:
    """What the repairs of one campaign took.

    Parameters
    ----------
    occasions : sequence of Occasion
        Of one campaign, in order.  A first survey "after repair" is the new lining's,
        and after a last one "before repair" the lining came out, or will be repaired.
    rebuild_of : callable
        Rebuild volume that an occasion's survey found, mm3.
    by : {'heat', 'hour', 'tonne'}
    """
    repairs: list[Repair] = []
    left_out: list[UncountedRepair] = []
    for heat in _repaired(occasions):
        stages = {
            occasion.stage: occasion for occasion in occasions if occasion.heat == heat
        }
        before, after = stages.get("before repair"), stages.get("after repair")
        since = _since(occasions, heat, by)
        if after is None and heat == occasions[-1].heat:
            continue
        if before is None:
            left_out.append(UncountedRepair(heat, "before"))
        elif after is None:
            left_out.append(UncountedRepair(heat, "after"))
        elif not since:
            left_out.append(UncountedRepair(heat, "since"))
        else:
            found, left = rebuild_of(before), rebuild_of(after)
            repairs.append(Repair(heat, mover_difference(left, found), since))
    rate = mean_rate(
        [each.volume for each in repairs], [each.since for each in repairs]
    )
    return Material(tuple(repairs), tuple(left_out), rate)


def _repaired(occasions: Sequence[Occasion]) -> list[int]:
    """Heats after which the wall was repaired, rising."""
    counted = occasions[1:] if _begins(occasions) else occasions
    return sorted(
        {occasion.heat for occasion in counted if occasion.stage != "not repaired"}
    )


def _begins(occasions: Sequence[Occasion]) -> bool:
    return bool(occasions) and occasions[0].stage == "after repair"


def _since(occasions: Sequence[Occasion], heat: int, by: Exposure) -> float | None:
    """Heats, hours or tonnes between a repair and the one before it."""
    earlier = [repaired for repaired in _repaired(occasions) if repaired < heat]
    last = earlier[-1] if earlier else occasions[0].heat
    if by == "heat":
        known = earlier or occasions[0].is_as_left
        return float(heat - last) if known else None
    seen = [
        occasion
        for occasion in occasions
        if occasion.heat <= heat and occasion.is_as_worn
    ]
    if earlier or occasions[0].is_as_left:
        seen = [occasion for occasion in seen if occasion.heat > last]
    amounts = [occasion.hours if by == "hour" else occasion.melted for occasion in seen]
    known_all = [part for part in amounts if part is not None]
    if not amounts or len(known_all) < len(amounts):
        return None
    return sum(known_all) / (1.0 if by == "hour" else TONNE)


def mean_rate(amounts: Sequence[Quantity], lasted: Sequence[float]) -> Quantity | None:
    """All that was put in, over all that it was put in for; None of nothing.

    Its variance is that of the surveys, or that of a ratio of sums where the repairs
    differ by more than the surveys explain (W. G. Cochran, "Sampling Techniques", 3rd
    ed. 1977, eq. 6.13 with no finite population); then the interval is Student's.
    """
    if not amounts:
        return None
    volume, since = np.array([amount.value for amount in amounts]), np.array(lasted)
    whole, count = float(since.sum()), len(amounts)
    rate = float(volume.sum()) / whole
    surveys = sum(amount.sd**2 for amount in amounts) / whole**2
    if count < 2:
        return Quantity.normal(rate, np.sqrt(surveys))
    off = float(np.sum((volume - rate * since) ** 2))
    scatter = count / (count - 1.0) * off / whole**2
    if scatter <= surveys:
        return Quantity.normal(rate, np.sqrt(surveys))
    return Quantity.student(rate, float(np.sqrt(scatter)), count - 1)
