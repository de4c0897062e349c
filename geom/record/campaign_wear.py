"""What one campaign wore: its rates, its map and what its repairs took."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.design.spelling import listed, nearest
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.by_tasks import Tick, wear_by_tasks
from geom.record.material import Material, material_used
from geom.record.occasion import Occasion
from geom.record.pieces import Pieces
from geom.record.spells import Exposure, Spell, exposures, spells_of
from geom.record.store import Record
from geom.record.survey_file import findings_in, opened
from geom.record.wear_map import RateMap
from geom.record.wear_rate import wear_rates

#: With fewer spells than this nothing is known of how they differ.
_FEW = 3
#: mm3 in a cubic metre.
_M3 = 1e9


@dataclass(frozen=True)
class CampaignWear:
    """One campaign; lengths mm, volumes mm3, per heat, hour or tonne.

    Attributes
    ----------
    lining, name : str
    occasions : tuple of Occasion
    spells : tuple of Spell
        Those that count.
    exposure : float
        Heats, hours or tonnes of those together.
    rates : tuple of Quantity or None
        Mean wear of each piece.
    map : RateMap
        Mean wear cell by cell.
    material : Material
    cautions : tuple of str
        What has to be known of it, in words.
    """

    lining: str
    name: str
    occasions: tuple[Occasion, ...]
    spells: tuple[Spell, ...]
    exposure: float
    rates: tuple[Quantity | None, ...]
    map: RateMap
    material: Material
    cautions: tuple[str, ...]

    @property
    def heats(self) -> int:
        """How many heats the spells lasted that count."""
        return sum(one.heats for one in self.spells)


def campaign_wear(
    record: Record,
    name: str,
    pieces: Pieces,
    by: Exposure,
    *,
    tick: Tick | None = None,
) -> CampaignWear:
    """What a campaign of a record wore.

    Parameters
    ----------
    record : Record
    name : str
    pieces : Pieces
        Of the record's drawing.
    by : {'heat', 'hour', 'tonne'}
    tick : callable, optional
        Told in words how far it is.

    Raises
    ------
    InputError
        If there is no such campaign, or none of its spells says what it lasted.
    """
    occasions = _of_campaign(record, name)
    spells, gaps = spells_of(occasions)
    lasted = exposures(spells, by)
    counted = np.isfinite(lasted) & (lasted > 0.0)
    used = tuple(one for one, so in zip(spells, counted, strict=True) if so)
    if not used:
        raise InputError(
            f"no spell of wear of campaign {name!r} tells its {by}s",
            file=record.folder,
            cure="Add surveys before and after repairs, or divide by heats",
        )
    series, maps = wear_by_tasks(record, used, pieces, tick=tick)
    per = {"heat": maps.per_heat, "hour": maps.per_hour, "tonne": maps.per_tonne}
    material = material_used(occasions, _rebuild(record), by)
    untold = [one.words for one, so in zip(spells, counted, strict=True) if not so]
    return CampaignWear(
        lining=record.design.name,
        name=name,
        occasions=occasions,
        spells=used,
        exposure=float(lasted[counted].sum()),
        rates=wear_rates(series, by).long,
        map=per[by] or maps.per_heat,
        material=material,
        cautions=(
            *_few(len(used)),
            *(f"not counted: {words}" for words in gaps),
            *(f"not counted: {words}, its {by}s are not told" for words in untold),
            *(f"material not counted: {words}" for words in material.left_out),
        ),
    )


def _few(count: int) -> list[str]:
    if count >= _FEW:
        return []
    told = "one spell" if count == 1 else f"{count} spells"
    return [f"only {told} of wear: how heats differ is hardly known"]


def _of_campaign(record: Record, name: str) -> tuple[Occasion, ...]:
    found = tuple(one for one in record.occasions if one.campaign == name)
    if found:
        return found
    names = sorted({one.campaign for one in record.occasions})
    if not names:
        raise InputError("the record holds no survey", file=record.folder)
    told = listed([repr(one) for one in names], last="and")
    raise InputError(
        f"there is no campaign {name!r}; there is {told}",
        file=record.folder,
        cure=f"Did you mean {nearest(name, names)!r}",
    )


def _rebuild(record: Record) -> Callable[[Occasion], Quantity]:
    """Rebuild volume that the survey of an occasion found, mm3."""

    def found(occasion: Occasion) -> Quantity:
        with opened(record.path(occasion)) as file:
            told = findings_in(file)["volume"]["rebuild"]
            return Quantity.from_dict(told).times(_M3)

    return found
