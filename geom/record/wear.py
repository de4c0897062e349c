"""What the record of a lining says of its wear: everything of one campaign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from geom._version import __version__
from geom.compare.panels import PanelState
from geom.design.spelling import listed, nearest
from geom.errors import InputError
from geom.record.by_tasks import Summed, Tick, sum_by_tasks
from geom.record.forecast import TRIED, Forecast, forecast, forecast_repaired
from geom.record.limits import why_no_least_lining
from geom.record.occasion import Occasion
from geom.record.one_sided import Roundness, wear_pattern
from geom.record.pieces import Pieces, pieces_of
from geom.record.series import WearSeries
from geom.record.spells import EXPOSURES, Exposure, Spell, exposures, spells_of
from geom.record.steps import Step, find_steps
from geom.record.store import Record
from geom.record.wear_map import WearMaps
from geom.record.wear_rate import Rates, wear_rates

#: With fewer spells than this little is known of how they differ.
_FEW = 3
_MEASURED = {"hour": "hours on blast", "tonne": "iron melted"}
_CURE = (
    "A spell of wear goes from a survey after a repair, or with none, to the next "
    "before one: add those surveys"
)


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
    gaps : tuple of str
        Where two surveys are no spell, in words.
    series : WearSeries
        Wear of every piece in every spell; its spells and pieces.
    rates : mapping of Rates
        Per heat, and per hour and tonne where told of any spell.
    steps : tuple of Step
    pattern : tuple of Roundness
    forecasts : tuple of Forecast
        The wall left alone from now on.
    repaired : tuple of Forecast
        The wall repaired as now; empty where repairs are too few to tell.
    maps : WearMaps
        Wear cell by cell.
    warnings : tuple of str
    """

    lining: str
    campaign: str
    title: str
    created: str
    version: str
    campaigns: tuple[str, ...]
    occasions: tuple[Occasion, ...]
    gaps: tuple[str, ...]
    series: WearSeries
    rates: Mapping[Exposure, Rates]
    steps: tuple[Step, ...]
    pattern: tuple[Roundness, ...]
    forecasts: tuple[Forecast, ...]
    repaired: tuple[Forecast, ...]
    maps: WearMaps
    warnings: tuple[str, ...]

    @property
    def spells(self) -> tuple[Spell, ...]:
        """Spells of wear that count, in order."""
        return self.series.spells

    @property
    def pieces(self) -> Pieces:
        """Pieces of wall that wear is told of."""
        return self.series.pieces

    @property
    def stops(self) -> tuple[Forecast, ...]:
        """Forecasts that say: stop and inspect."""
        return tuple(one for one in self.forecasts if one.stop)

    def to_dict(self) -> dict[str, Any]:
        """The document ``wear.json`` holds."""
        from geom.record.wear_document import document

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
    names = tuple(dict.fromkeys(one.campaign for one in record.occasions))
    chosen = _chosen(record, names, campaign)
    occasions = tuple(one for one in record.occasions if one.campaign == chosen)
    spells, gaps = spells_of(occasions)
    if not spells:
        raise _no_spell(record, occasions, gaps)
    pieces = pieces_of(record.panels, record.design)
    say = tick if tick is not None else _silent
    summed = sum_by_tasks(record, spells, pieces, cluster=cluster, tick=say)
    series = summed.series
    say("rates")
    told: list[Exposure] = [
        one for one in EXPOSURES if np.nansum(exposures(spells, one)) > 0.0
    ]
    rates = {against: wear_rates(series, against) for against in told}
    say("steps and patterns")
    steps = find_steps(series, seed=seed)
    pattern = wear_pattern(series, record.design)
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
        campaigns=names,
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
        warnings=(
            *_few(spells),
            *_untold(spells),
            *_one_limit(record),
            TRIED,
        ),
    )


def _silent(words: str) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class _StateOf:
    """Surveys panel by panel: the last whole, the others as they were summed."""

    record: Record
    summed: Summed
    last: Occasion

    def __call__(self, occasion: Occasion) -> PanelState:
        if occasion == self.last or occasion not in self.summed.states:
            return self.record.state(occasion)
        return self.summed.state(occasion)


def _chosen(record: Record, names: tuple[str, ...], campaign: str | None) -> str:
    if not names:
        raise InputError("the record holds no survey", file=record.folder, cure=_CURE)
    if campaign is None:
        return record.occasions[-1].campaign
    if campaign in names:
        return campaign
    there = listed([repr(one) for one in names], last="and")
    raise InputError(
        f"there is no campaign {campaign!r}; there is {there}",
        file=record.folder,
        cure=f"Did you mean {nearest(campaign, names)!r}",
    )


def _no_spell(
    record: Record, occasions: tuple[Occasion, ...], gaps: tuple[str, ...]
) -> InputError:
    """Tell why nothing can be said, rather than say something."""
    count = len(occasions)
    surveys = "one survey" if count == 1 else f"{count} surveys"
    name = f" of campaign {occasions[0].campaign!r}" if occasions[0].campaign else ""
    why = f" ({'; '.join(gaps)})" if gaps else ""
    what = f"there is no spell of wear between the {surveys}{name}{why}"
    return InputError(what, file=record.folder, cure=_CURE)


def _few(spells: tuple[Spell, ...]) -> list[str]:
    if len(spells) >= _FEW:
        return []
    told = "one spell" if len(spells) == 1 else f"only {len(spells)} spells"
    return [
        f"{told} of wear: how heats differ is hardly known, so rates are wide, and "
        "there is no trend"
    ]


def _one_limit(record: Record) -> list[str]:
    """Why only one limit is forecast."""
    return [words for words in (why_no_least_lining(record.design),) if words]


def _untold(spells: tuple[Spell, ...]) -> list[str]:
    """Spells whose hours or iron are not told, where others are."""
    said = []
    for against, words in _MEASURED.items():
        told = exposures(spells, against)  # type: ignore[arg-type]
        known = int((np.nan_to_num(told) > 0.0).sum())
        if 0 < known < len(spells):
            said.append(
                f"{words} told of {known} of {len(spells)} spells: rates per "
                f"{against} are of those alone"
            )
    return said
