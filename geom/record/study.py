"""What the record of a lining says of its wear: everything of one campaign.

A study sums the spells of wear and draws from them rates, change points, the pattern
round the wall and forecasts; ``wear.json`` is its document.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from geom._version import __version__
from geom.compare.panels import PanelState
from geom.design import Design
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step, find_steps
from geom.record.forecast.forecast import (
    COVERAGE,
    Coverage,
    Forecast,
    forecast,
    forecast_repaired,
)
from geom.record.forecast.limits import missing_shell_keys
from geom.record.regions import Kind, Regions, regions_of
from geom.record.store.occasion import Occasion
from geom.record.store.store import SPELL_CURE, Record
from geom.record.wear.accumulate import Accumulated, Tick, accumulate
from geom.record.wear.maps import WearMaps
from geom.record.wear.ovality import Harmonics, circumferential_pattern
from geom.record.wear.rates import Rates, wear_rates
from geom.record.wear.series import WearSeries
from geom.record.wear.spells import (
    EXPOSURES,
    FEW_SPELLS,
    TONNE,
    Exposure,
    Spell,
    SurveyGap,
    exposures,
    find_spells,
)

SCHEMA = "daubline.wear/1"

_KINDS: dict[Kind, str] = {
    "zone": "zones",
    "level": "levels",
    "side": "sides",
    "panel": "panels",
}


@dataclass(frozen=True)
class Depth:
    """Greatest cut-back of the wall, wherever it is, as one heat left it; mm."""

    heat: int
    cutback: Quantity


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
    """Only the brick threshold is forecast; ``missing`` keys of [shell] are why."""

    missing: tuple[str, ...]


@dataclass(frozen=True)
class ForecastsTried:
    """What forecasts were found worth where the truth was known."""

    coverage: tuple[Coverage, ...] = COVERAGE


#: What has to be known of a study; `geom.views.tables.wear` words it.
WearWarning = FewSpells | PartlyStated | NoLeastLining | ForecastsTried


@dataclass(frozen=True)
class Wear:
    """Everything that a record says of the wear of one campaign.

    Attributes
    ----------
    lining, campaign, title : str
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
    steps : tuple of Step
    pattern : tuple of Roundness
    forecasts : tuple of Forecast
        The wall left alone from now on.
    repaired : tuple of Forecast
        The wall repaired as now; empty where repairs are too few to tell.
    maps : WearMaps
        Wear cell by cell.
    warnings : tuple of WearWarning
    """

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
    def stops(self) -> tuple[Forecast, ...]:
        """Forecasts that say: stop and inspect."""
        return tuple(one for one in self.forecasts if one.stop)

    def to_dict(self) -> dict[str, Any]:
        """The document ``wear.json`` holds."""
        return document(self)


def study(
    record: Record,
    *,
    campaign: str | None = None,
    title: str | None = None,
    cluster: str | None = None,
    tick: Tick | None = None,
    seed: int = 0,
    created: datetime | None = None,
) -> Wear:
    """Study the wear of a lining.

    Parameters
    ----------
    record : Record
    campaign : str, optional
        Which; default the latest.
    title : str, optional
        Of the study; default the lining's name and the campaign's.
    cluster : str, optional
        Address of a Dask scheduler to sum the spells on, or ``local``; default the
        processors of this machine.
    tick : callable, optional
        Told in words how far it is.
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
    say = tick if tick is not None else _silent
    summed = accumulate(record, spells, regions, cluster=cluster, tick=say)
    series = summed.series
    say("rates")
    known: list[Exposure] = [
        one for one in EXPOSURES if np.nansum(exposures(spells, one)) > 0.0
    ]
    rates = {against: wear_rates(series, against) for against in known}
    say("steps and patterns")
    steps = find_steps(series, seed=seed)
    pattern = circumferential_pattern(series, record.design)
    say("forecast")
    last = occasions[-1]
    state_of = _StateOf(record, summed, last)
    moment = datetime.now(UTC) if created is None else created
    return Wear(
        lining=record.design.name,
        campaign=chosen,
        title=title or ", ".join(filter(None, (record.design.name, chosen))),
        created=moment.isoformat(timespec="seconds"),
        version=__version__,
        campaigns=record.campaigns,
        occasions=occasions,
        gaps=gaps,
        series=series,
        rates=rates,
        steps=steps,
        pattern=pattern,
        forecasts=forecast(
            series,
            rates["heat"],
            record.design,
            last,
            state_of=state_of,
            steps=steps,
            seed=seed,
        ),
        repaired=forecast_repaired(
            series, record.design, last, state_of=state_of, seed=seed
        ),
        maps=summed.maps,
        warnings=_warnings(spells, record.design),
    )


def deepest_found(record: Record, occasions: Sequence[Occasion]) -> tuple[Depth, ...]:
    """Follow the deepest place of the wall, wherever it is, from heat to heat.

    The very figure that every survey's own findings tell.

    Parameters
    ----------
    record : Record
    occasions : sequence of Occasion
        In order; surveys after a repair are passed over.

    Raises
    ------
    InputError
        If a survey cannot be read.
    """
    found = []
    for occasion in occasions:
        if not occasion.is_as_worn:
            continue
        cutback = record.finding(occasion, "deepest", "cutback")
        found.append(Depth(occasion.heat, cutback))
    return tuple(found)


def _silent(words: str) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class _StateOf:
    """Surveys panel by panel: the last whole, the others as they were summed."""

    record: Record
    summed: Accumulated
    last: Occasion

    def __call__(self, occasion: Occasion) -> PanelState:
        if occasion == self.last or occasion not in self.summed.states:
            return self.record.state(occasion)
        return self.summed.state(occasion)


def _no_spell(
    record: Record, occasions: tuple[Occasion, ...], gaps: tuple[SurveyGap, ...]
) -> InputError:
    """Why a record with no spell of wear is refused."""
    count = len(occasions)
    surveys = "one survey" if count == 1 else f"{count} surveys"
    name = f" of campaign {occasions[0].campaign!r}" if occasions[0].campaign else ""
    why = f" ({'; '.join(gap.words for gap in gaps)})" if gaps else ""
    what = f"there is no spell of wear between the {surveys}{name}{why}"
    return InputError(what, file=record.folder, cure=SPELL_CURE)


def _warnings(spells: tuple[Spell, ...], design: Design) -> tuple[WearWarning, ...]:
    count = len(spells)
    warnings: list[WearWarning] = [FewSpells(count)] if count < FEW_SPELLS else []
    for exposure in EXPOSURES[1:]:
        amounts = exposures(spells, exposure)
        stated = int((np.nan_to_num(amounts) > 0.0).sum())
        if 0 < stated < count:
            warnings.append(PartlyStated(exposure, stated, count))
    if missing := missing_shell_keys(design):
        warnings.append(NoLeastLining(missing))
    return (*warnings, ForecastsTried())


def document(wear: Wear) -> dict[str, Any]:
    """All numbers of a study, as JSON holds them."""
    regions = wear.regions
    wall = regions.of_kind("wall")[0]
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
        "gaps": [gap.words for gap in wear.gaps],
        "wall": _piece(wear, wall),
        **{
            name: [_piece(wear, i) for i in regions.of_kind(kind)]
            for kind, name in _KINDS.items()
        },
        "steps": [_step(one) for one in wear.steps],
        "pattern": [_roundness(one) for one in wear.pattern],
        "forecasts": [_forecast(one) for one in (*wear.forecasts, *wear.repaired)],
    }


def _survey(occasion: Occasion) -> dict[str, Any]:
    melted = None if occasion.melted is None else occasion.melted / TONNE
    return occasion.to_dict() | {"melted": melted}


def _spell(spell: Spell, wear: Wear, row: int) -> dict[str, Any]:
    """One spell, with the mean wear of the wall and its sd where both surveys tell."""
    wall = wear.regions.of_kind("wall")[0]
    value, variance = wear.series.wear[row, wall], wear.series.variance[row, wall]
    known = math.isfinite(value)
    return {
        "first_heat": spell.first_heat,
        "last_heat": spell.last_heat,
        "heats": spell.heats,
        "hours": spell.hours,
        "melted": None if spell.melted is None else spell.melted / TONNE,
        "wear": _q(Quantity.normal(value, math.sqrt(variance))) if known else None,
    }


def _piece(wear: Wear, i: int) -> dict[str, Any]:
    """Where a piece is, and its rates."""
    data = wear.regions.regions[i].to_dict()
    for against, rates in wear.rates.items():
        scatter = float(rates.heat_sd[i])
        data[f"per_{against}"] = {
            "long": _q(rates.long[i]),
            "short": _q(rates.short[i]),
            "short_over": rates.short_over,
            "trend": _q(rates.trend[i]),
            "spells": rates.spells[i],
            "scatter_of_a_heat": scatter if math.isfinite(scatter) else None,
        }
    return data


def _step(step: Step) -> dict[str, Any]:
    return {
        **step.region.to_dict(),
        "first_heat": step.first.first_heat,
        "before": _q(step.before),
        "after": _q(step.after),
        "change": _q(step.change),
        "chance": step.chance,
    }


def _roundness(one: Harmonics) -> dict[str, Any]:
    return {
        **one.zone.to_dict(),
        "lobes": [
            {
                "order": harmonic.order,
                "amplitude": _q(harmonic.amplitude),
                "azimuth": harmonic.azimuth,
            }
            for harmonic in one.harmonics
        ],
        "tuyeres": _q(one.tuyeres),
        "spells": one.spells,
    }


def _forecast(one: Forecast) -> dict[str, Any]:
    return {
        **one.region.to_dict(),
        "limit": one.limit,
        "going": one.going,
        "heats": _q(one.heats),
        "at": _q(one.at),
        "room": _q(one.room),
        "rate": _q(one.rate),
        "rule": one.governing,
        "survey_within": one.survey_within,
        "stop": one.stop,
    }


def _q(quantity: Quantity | None) -> dict[str, float | None] | None:
    """A quantity; null where an end of it is not bounded, since JSON knows no more."""
    if quantity is None:
        return None
    return {
        name: part if math.isfinite(part) else None
        for name, part in quantity.to_dict().items()
    }
