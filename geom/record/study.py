"""What the record of a lining says of its wear: everything of one campaign.

A study sums the spells of wear and draws from them rates, change points, the pattern
round the wall and forecasts; ``wear.json`` is its document.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

import numpy as np

from geom._version import __version__
from geom.compare.panels import PanelState
from geom.design import Design
from geom.document import as_document, iso_time
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.campaigns.campaign import Material, Repair, material_used
from geom.record.campaigns.effort import Effort, repair_effort
from geom.record.changepoints.steps import Step, find_steps
from geom.record.forecast.first_passage import least_lining_of
from geom.record.forecast.forecast import (
    COVERAGE,
    Coverage,
    Forecast,
    LongestHeat,
    forecast,
    forecast_repaired,
    longest_heats,
)
from geom.record.regions import Kind, Regions, regions_of
from geom.record.store.occasion import Occasion
from geom.record.store.store import SPELL_CURE, Record
from geom.record.wear.accumulate import Tick, accumulate
from geom.record.wear.ledger import PanelLedger, patch_ledger
from geom.record.wear.maps import RateMap, WearMaps
from geom.record.wear.ovality import Harmonics, circumferential_pattern
from geom.record.wear.rates import Rates, wear_rates
from geom.record.wear.series import (
    EXPOSURES,
    TONNE,
    Exposure,
    Spell,
    SurveyGap,
    WearSeries,
    exposures,
    find_spells,
    stated_exposures,
)
from geom.shown import Shown

SCHEMA = "daubline.wear/1"

_KINDS: dict[Kind, str] = {
    "zone": "zones",
    "level": "levels",
    "side": "sides",
    "panel": "panels",
}


@dataclass(frozen=True)
class Depth:
    """Greatest cut-back of the wall, wherever it is, as one survey saw it; mm."""

    heat: int
    cutback: Quantity
    is_as_worn: bool = True


@dataclass(frozen=True)
class FewSpells:
    """How heats differ is hardly known; ``count`` spells."""

    count: int


@dataclass(frozen=True)
class PartlyStated:
    """Hours or iron are stated of some spells only.

    Attributes
    ----------
    exposure : {'hour', 'tonne'}
    stated, count : int
        Spells that state it, of how many.
    """

    exposure: Exposure
    stated: int
    count: int


@dataclass(frozen=True)
class NoLeastLining:
    """No ``least_lining`` is stated: ``assumed`` mm, or None where no shell is."""

    assumed: float | None


@dataclass(frozen=True)
class ForecastsTried:
    """What forecasts were found worth where the truth was known."""

    coverage: tuple[Coverage, ...] = COVERAGE


#: What has to be known of a study; `geom.views.tables.wear` words it.
WearWarning = FewSpells | PartlyStated | NoLeastLining | ForecastsTried


@dataclass(frozen=True)
class MeasuredWear:
    """What is known of a campaign's wear before anything is forecast.

    Attributes
    ----------
    long : tuple of Quantity or None
        Long rate of every piece, mm per heat.
    per_heat : RateMap
        Wear cell by cell.
    """

    title: str
    series: WearSeries
    long: tuple[Quantity | None, ...]
    steps: tuple[Step, ...]
    per_heat: RateMap


@dataclass(frozen=True)
class RestOfWear:
    """What else of a campaign is drawn: the next heat, and what repairs put in."""

    occasions: tuple[Occasion, ...]
    spells: tuple[Spell, ...]
    longest: tuple[LongestHeat, ...]
    repairs: tuple[Repair, ...]
    ledger: tuple[PanelLedger, ...]


@dataclass(frozen=True)
class Wear(Shown):
    """Everything that a record says of the wear of one campaign.

    Attributes
    ----------
    created, version : str
        Of this study: ISO time, and of the program.
    campaigns : tuple of str
        All that the record holds, in order.
    occasions : tuple of Occasion
        Surveys of this campaign, in order.
    gaps : tuple of Gap
        Between surveys that are no spell.
    series : WearSeries
        Wear of every piece in every spell; its spells and pieces.
    rates : mapping of Rates
        Per heat, and per hour and tonne where given of any spell.
    forecasts : tuple of Forecast
        The wall left alone from now on.
    repaired : tuple of Forecast
        The wall repaired as now; empty where repairs are too few to tell.
    longest : tuple of LongestHeat
        Limit by limit, from the wall as it was surveyed last.
    material : Material
        What repairs put back, per ``material_by``.
    effort : Effort
        Daub, bricks and hours that they were planned to take, per ``material_by``.
    ledger : tuple of PanelLedger
        Patch and original lining, panel by panel.
    maps : WearMaps
        Wear cell by cell.
    """

    _units: ClassVar[str] = "mm a heat, hour or tonne"

    lining: str
    campaign: str
    title: str
    created: str
    version: str
    campaigns: tuple[str, ...]
    occasions: tuple[Occasion, ...]
    gaps: tuple[SurveyGap, ...]
    series: WearSeries
    rates: Mapping[Exposure, Rates]
    steps: tuple[Step, ...]
    pattern: tuple[Harmonics, ...]
    forecasts: tuple[Forecast, ...]
    repaired: tuple[Forecast, ...]
    longest: tuple[LongestHeat, ...]
    material: Material
    material_by: Exposure
    effort: Effort
    ledger: tuple[PanelLedger, ...]
    maps: WearMaps
    warnings: tuple[WearWarning, ...]

    @property
    def spells(self) -> tuple[Spell, ...]:
        """Spells of wear that count, in order."""
        return self.series.spells

    @property
    def regions(self) -> Regions:
        """Pieces of wall that wear is stated of."""
        return self.series.regions

    @property
    def measured(self) -> MeasuredWear:
        """What rests on no forecast."""
        long, per_heat = self.rates["heat"].long, self.maps.per_heat
        return MeasuredWear(self.title, self.series, long, self.steps, per_heat)

    @property
    def rest(self) -> RestOfWear:
        """What is found after that, and drawn."""
        repairs = self.material.repairs
        return RestOfWear(
            self.occasions, self.spells, self.longest, repairs, self.ledger
        )

    @property
    def stops(self) -> tuple[Forecast, ...]:
        """Forecasts that say: stop and inspect."""
        return tuple(forecast for forecast in self.forecasts if forecast.stop)

    def to_dict(self) -> dict[str, Any]:
        """The document ``wear.json`` holds."""
        regions = self.regions
        wall = regions.of_kind("wall")[0]
        per = {f"per_{exposure}": f"mm/{exposure}" for exposure in self.rates}
        return {
            "schema": SCHEMA,
            "lining": self.lining,
            "campaign": self.campaign,
            "title": self.title,
            "created": self.created,
            "version": self.version,
            "units": {"length": "mm", "angle": "deg", "mass": "t", "time": "h", **per},
            "surveys": [_survey(occasion) for occasion in self.occasions],
            "spells": [
                _spell(spell, self, row) for row, spell in enumerate(self.series.spells)
            ],
            "gaps": as_document(self.gaps),
            "wall": _piece(self, wall),
            **{
                name: [_piece(self, i) for i in regions.of_kind(kind)]
                for kind, name in _KINDS.items()
            },
            "steps": [_step(step) for step in self.steps],
            "pattern": [_roundness(found) for found in self.pattern],
            "longest_heat": as_document(self.longest),
            "material": {"by": self.material_by, **as_document(self.material)},
            "effort": {"by": self.material_by, **as_document(self.effort)},
            "ledger": as_document(self.ledger),
            "forecasts": [
                _forecast(found) for found in (*self.forecasts, *self.repaired)
            ],
        }


def study_wear(
    record: Record,
    *,
    campaign: str | None = None,
    title: str | None = None,
    cluster: str | None = None,
    tick: Tick | None = None,
    show: Callable[[MeasuredWear], object] | None = None,
    seed: int = 0,
    created: datetime | None = None,
) -> Wear:
    """Study the wear of a lining.

    Parameters
    ----------
    campaign : str, optional
        Which; default the latest.
    title : str, optional
        Of the study; default the lining's name and the campaign's.
    cluster : str, optional
        Address of a Dask scheduler to sum the spells on, or ``local``; default the
        processors of this machine.
    tick : callable, optional
        Told in words how far it is.
    show : callable, optional
        Given what is measured as soon as it is, before the forecast.
    seed : int
        Of everything drawn.
    created : datetime, optional
        Default now.

    Raises
    ------
    InputError
        If there is no such campaign, no spell of wear in it, or a survey cannot be
        read.
    """
    occasions = record.of_campaign(campaign)
    chosen = occasions[0].campaign
    spells, gaps = find_spells(occasions)
    if not spells:
        raise _no_spell(record, occasions, gaps)
    regions = regions_of(record.panels, record.design)
    say = tick or (lambda _: None)
    summed = accumulate(record, spells, regions, cluster=cluster, tick=say)
    series = summed.series
    say("rates")
    rates = {by: wear_rates(series, by) for by in stated_exposures(spells)}
    say("steps and patterns")
    steps = find_steps(series, seed=seed)
    pattern = circumferential_pattern(series, record.design)
    title = title or study_title(record, campaign)
    if show is not None:
        long, per_heat = rates["heat"].long, summed.maps.per_heat
        show(MeasuredWear(title, series, long, steps, per_heat))
    say("forecast")
    last = occasions[-1]

    def state_of(occasion: Occasion) -> PanelState:
        """A survey panel by panel: the last whole, the others as they were summed."""
        if occasion == last or occasion not in summed.states:
            return record.state(occasion)
        return summed.states[occasion]

    forecasts = forecast(
        series,
        rates["heat"],
        record.design,
        last,
        state_of=state_of,
        steps=steps,
        seed=seed,
    )
    repaired = forecast_repaired(
        series, record.design, last, state_of=state_of, seed=seed
    )
    say("repairs")
    by = material_exposure(spells)
    material = material_used(occasions, record.rebuild_volume, by)
    effort = repair_effort(material, occasions, record.design, plan_of=record.plan)
    ledger = patch_ledger(
        occasions,
        record.design,
        record.panels,
        state_of=record.state,
        zones_of=record.zones,
        seed=seed,
    )
    return Wear(
        lining=record.design.name,
        campaign=chosen,
        title=title,
        created=iso_time(created),
        version=__version__,
        campaigns=record.campaigns,
        occasions=occasions,
        gaps=gaps,
        series=series,
        rates=rates,
        steps=steps,
        pattern=pattern,
        forecasts=forecasts,
        repaired=repaired,
        longest=longest_heats(forecasts, spells),
        material=material,
        material_by=by,
        effort=effort,
        ledger=ledger,
        maps=summed.maps,
        warnings=_warnings(spells, record.design),
    )


def study_title(record: Record, campaign: str | None = None) -> str:
    """What a study is called by default: the lining's name and the campaign's."""
    chosen = record.of_campaign(campaign)[0].campaign
    return ", ".join(filter(None, (record.design.name, chosen)))


def material_exposure(spells: Sequence[Spell]) -> Exposure:
    """What repairs are counted by: iron where all spells state it, else heats."""
    return "tonne" if np.isfinite(exposures(spells, "tonne")).all() else "heat"


def deepest_found(record: Record, occasions: Sequence[Occasion]) -> tuple[Depth, ...]:
    """Follow the deepest place of the wall, wherever it is, from survey to survey.

    The very figure that every survey's own findings tell.

    Parameters
    ----------
    occasions : sequence of Occasion
        In order.

    Raises
    ------
    InputError
        If a survey cannot be read.
    """
    found = []
    for occasion in occasions:
        cutback = record.finding(occasion, "deepest", "cutback")
        found.append(Depth(occasion.heat, cutback, occasion.is_as_worn))
    return tuple(found)


def _no_spell(
    record: Record, occasions: tuple[Occasion, ...], gaps: tuple[SurveyGap, ...]
) -> InputError:
    """Why a record with no spell of wear is refused."""
    count = len(occasions)
    surveys = "one survey" if count == 1 else f"{count} surveys"
    name = f" of campaign {occasions[0].campaign!r}" if occasions[0].campaign else ""
    lacks = [f"no survey {gap.missing} of heat {gap.heat}" for gap in gaps]
    why = f" ({'; '.join(lacks)})" if gaps else ""
    what = f"there is no spell of wear between the {surveys}{name}{why}"
    return InputError(what, file=record.folder, cure=SPELL_CURE)


def _warnings(spells: tuple[Spell, ...], design: Design) -> tuple[WearWarning, ...]:
    count = len(spells)
    warnings: list[WearWarning] = (
        [FewSpells(count)] if count < ASSUMED.series_spells else []
    )
    for exposure in EXPOSURES[1:]:
        amounts = exposures(spells, exposure)
        stated = int((np.nan_to_num(amounts) > 0.0).sum())
        if 0 < stated < count:
            warnings.append(PartlyStated(exposure, stated, count))
    if design.shell_radius is None or design.least_lining is None:
        warnings.append(NoLeastLining(least_lining_of(design)))
    return (*warnings, ForecastsTried())


def _survey(occasion: Occasion) -> dict[str, Any]:
    melted = None if occasion.melted is None else occasion.melted / TONNE
    return occasion.to_dict() | {"melted": melted}


def _spell(spell: Spell, wear: Wear, row: int) -> dict[str, Any]:
    """One spell, with the mean wear of the wall and its sd where both surveys tell."""
    wall = wear.regions.of_kind("wall")[0]
    value, variance = wear.series.wear[row, wall], wear.series.variance[row, wall]
    known = (
        Quantity.normal(value, math.sqrt(variance)) if math.isfinite(value) else None
    )
    return {
        "first_heat": spell.first_heat,
        "last_heat": spell.last_heat,
        "heats": spell.heats,
        "hours": spell.hours,
        "melted": None if spell.melted is None else spell.melted / TONNE,
        "wear": as_document(known),
    }


def _piece(wear: Wear, i: int) -> dict[str, Any]:
    """Where a piece is, and its rates."""
    data = wear.regions.regions[i].to_dict()
    for against, rates in wear.rates.items():
        scatter = float(rates.heat_sd[i])
        data[f"per_{against}"] = {
            "long": as_document(rates.long[i]),
            "short": as_document(rates.short[i]),
            "short_over": rates.short_over,
            "trend": as_document(rates.trend[i]),
            "spells": rates.spells[i],
            "scatter_of_a_heat": scatter if math.isfinite(scatter) else None,
        }
    return data


def _step(step: Step) -> dict[str, Any]:
    return {
        **step.region.to_dict(),
        "first_heat": step.first.first_heat,
        "before": as_document(step.before),
        "after": as_document(step.after),
        "change": as_document(step.change),
        "chance": step.chance,
    }


def _roundness(pattern: Harmonics) -> dict[str, Any]:
    return {
        **pattern.zone.to_dict(),
        "lobes": as_document(pattern.harmonics),
        "tuyeres": as_document(pattern.tuyeres),
        "spells": pattern.spells,
    }


def _forecast(found: Forecast) -> dict[str, Any]:
    return {
        **found.region.to_dict(),
        "limit": found.limit,
        "going": found.going,
        "heats": as_document(found.heats),
        "at": as_document(found.at),
        "room": as_document(found.room),
        "rate": as_document(found.rate),
        "rule": found.governing,
        "survey_within": found.survey_within,
        "stop": found.stop,
    }
