"""Spells of wear, and the wear of every piece of wall in each, as surveys know it.

A spell goes from one survey to the next with no repair between.  `wear_series` takes
the difference of its two surveys, piece by piece; `per_heat` divides it by the length
of the spell and says what each spell is worth.  A longer heat wears everything more.
Where every spell states its hours on blast or the iron melted, wear is set in
proportion to that if doing so makes the wall's wear steadier from spell to spell: a
change that goes with longer heats is then none of the wall.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from geom.compare.panels import HOURS, PanelState
from geom.record.assumptions import ASSUMED
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion, Stage
from geom.shown import Shown
from geom.units import Bool, Float

#: What wear is counted by.
Exposure = Literal["heat", "hour", "tonne"]
EXPOSURES: tuple[Exposure, ...] = get_args(Exposure)
#: Kilograms in a tonne.
TONNE = 1000.0


@dataclass(frozen=True)
class Spell:
    """Wear between two surveys and nothing else.

    Attributes
    ----------
    start, end : Occasion
        The wall as the first heat found it and as the last left it.
    """

    start: Occasion
    end: Occasion

    @property
    def heats(self) -> int:
        """How many heats it lasted."""
        return self.end.heat - self.start.heat

    @property
    def hours(self) -> float | None:
        """On blast."""
        return self.end.hours

    @property
    def melted(self) -> float | None:
        """Iron melted, kg."""
        return self.end.melted

    @property
    def campaign(self) -> str:
        """Whose campaign it is of."""
        return self.end.campaign

    @property
    def first_heat(self) -> int:
        """Its first heat."""
        return self.start.heat + 1

    @property
    def last_heat(self) -> int:
        """Its last heat."""
        return self.end.heat


@dataclass(frozen=True)
class SurveyGap:
    """Two surveys that are no spell: the repair between them was not measured.

    Attributes
    ----------
    heat : int
        Whose repair.
    missing : {'before repair', 'after repair'}
        Which survey of it there is not.
    """

    heat: int
    missing: Stage


def exposures(spells: Sequence[Spell], exposure: Exposure) -> Float:
    """How much of it each spell saw; NaN where not stated; shape (n,)."""
    amounts: dict[Exposure, list[float | None]] = {
        "heat": [float(spell.heats) for spell in spells],
        "hour": [spell.hours for spell in spells],
        "tonne": [None if s.melted is None else s.melted / TONNE for s in spells],
    }
    amount = [np.nan if a is None else a for a in amounts[exposure]]
    return np.array(amount, dtype=np.float64)


def stated_exposures(spells: Sequence[Spell]) -> tuple[Exposure, ...]:
    """Those that any spell states."""
    return tuple(by for by in EXPOSURES if np.nansum(exposures(spells, by)) > 0.0)


def mean_heat(spells: Sequence[Spell], exposure: Exposure) -> float | None:
    """Hours or tonnes of a mean heat; None where no spell states them."""
    amounts = exposures(spells, exposure)
    stated = np.isfinite(amounts)
    heats = exposures(spells, "heat")[stated].sum()
    return float(amounts[stated].sum() / heats) if heats > 0.0 else None


def find_spells(
    occasions: Sequence[Occasion],
) -> tuple[tuple[Spell, ...], tuple[SurveyGap, ...]]:
    """Spells of wear between the surveys of one furnace.

    Parameters
    ----------
    occasions : sequence of Occasion
        In any order.

    Returns
    -------
    spells : tuple of Spell
        In order.
    gaps : tuple of Gap
        Between surveys that are no spell; a change of campaign is none.
    """
    spells, gaps = [], []
    in_order = sorted(occasions, key=lambda occasion: occasion.place)
    for start, end in itertools.pairwise(in_order):
        if start.campaign != end.campaign or start.heat == end.heat:
            continue
        if start.is_as_left and end.is_as_worn:
            spells.append(Spell(start, end))
        elif not start.is_as_left:
            gaps.append(SurveyGap(start.heat, "after repair"))
        else:
            gaps.append(SurveyGap(end.heat, "before repair"))
    return tuple(spells), tuple(gaps)


#: Arrays of a series, a row a spell.
_BY_SPELL = ("start", "end", "start_variance", "end_variance", "side_covariance")


@dataclass(frozen=True)
class WearSeries(Shown):
    """Wear spell by spell; n spells, s pieces.

    Attributes
    ----------
    start, end : array (n, s), mm
        Mean cut-back at the start and at the end; NaN where either was not surveyed.
    start_variance, end_variance : array (n, s), mm2
        Of each survey's own error.
    side_covariance : array (n, z, HOURS, HOURS), mm2
        Of the errors of the survey at the end in the mean cut-back of the twelve sides
        of the wall and of each zone, over the rows of panels that both surveys cover
        all round; NaN where there is none.
    """

    spells: tuple[Spell, ...]
    regions: Regions
    start: Float
    end: Float
    start_variance: Float
    end_variance: Float
    side_covariance: Float

    @property
    def wear(self) -> Float:
        """Mean cut-back at the end less that at the start, mm; shape (n, s)."""
        return self.end - self.start

    @property
    def variance(self) -> Float:
        """Of wear, from the errors of both surveys, mm2; shape (n, s)."""
        return self.start_variance + self.end_variance

    def subset(self, kept: Bool) -> WearSeries:
        """Some of the spells; ``kept`` (n,)."""
        spells = tuple(s for s, k in zip(self.spells, kept, strict=True) if k)
        arrays = {name: getattr(self, name)[kept] for name in _BY_SPELL}
        return replace(self, spells=spells, **arrays)


def concatenate(parts: Sequence[WearSeries]) -> WearSeries:
    """One series of consecutive ones of the same pieces; at least one."""
    return WearSeries(
        tuple(spell for part in parts for spell in part.spells),
        parts[0].regions,
        *(np.concatenate([getattr(part, n) for part in parts]) for n in _BY_SPELL),
    )


def wear_series(
    spells: tuple[Spell, ...],
    regions: Regions,
    state_of: Callable[[Occasion], PanelState],
) -> WearSeries:
    """Wear of every piece in every spell.

    Parameters
    ----------
    state_of : callable
        The survey of an occasion, panel by panel; called twice a spell.
    """
    large = regions.member[regions.of_kind("wall", "zone")]
    means = np.full((4, len(spells), len(regions.regions)), np.nan)
    sides = np.empty((len(spells), len(large), HOURS, HOURS))
    for k, spell in enumerate(spells):
        start, end = state_of(spell.start), state_of(spell.end)
        means[:, k] = _piece_means(start, end, regions)
        sides[k] = _side_covariance(start, end, large)
    before, after, before_variance, after_variance = means
    return WearSeries(
        spells, regions, before, after, before_variance, after_variance, sides
    )


def _piece_means(start: PanelState, end: PanelState, regions: Regions) -> Float:
    """Means of both surveys over panels that both cover, then variances; (4, s)."""
    both = np.isfinite(start.cutback) & np.isfinite(end.cutback)
    area = np.maximum(start.area, end.area)
    whole = regions.member @ area
    weight = regions.member * np.where(both, area, 0.0)
    held = weight.sum(axis=1)
    valid = held > ASSUMED.piece_covered * np.maximum(whole, 1e-9)
    weight = weight / np.maximum(held, 1e-9)[:, None]
    means = [weight @ np.nan_to_num(s.cutback) for s in (start, end)]
    # diagonal of W C W' alone: s pieces; p, q panels
    variances = [
        np.einsum("sp,pq,sq->s", weight, s.covariance, weight, optimize=True)
        for s in (start, end)
    ]
    return np.where(valid, np.stack([*means, *variances]), np.nan)


def _side_covariance(start: PanelState, end: PanelState, large: Float) -> Float:
    """Of the later survey, round some pieces (z, p); (z, HOURS, HOURS)."""
    both = np.isfinite(start.cutback) & np.isfinite(end.cutback)
    complete = both.reshape(-1, HOURS).all(axis=1)
    whole = np.all(large.reshape(len(large), -1, HOURS) > 0.0, axis=2)
    inside = np.asarray(whole & complete)
    share = inside / np.maximum(inside.sum(axis=1, keepdims=True), 1)
    rows = complete.size
    # panels run (row, side); mean over rows on the left, then on the right:
    # z pieces; a, b sides; s rows
    left = share @ end.covariance.reshape(rows, -1)
    left = left.reshape(len(large), HOURS, rows, HOURS)
    found = np.einsum("zasb,zs->zab", left, share)
    found[~inside.any(axis=1)] = np.nan
    return np.asarray(found)


@dataclass(frozen=True)
class PerHeat:
    """Wear per heat; n spells, s pieces.

    Attributes
    ----------
    rate : array (n, s), mm per heat
        At the record's mean hours or tonnes a heat where ``exposure`` says so; NaN
        where not surveyed.
    variance : array (n, s), mm2
        Of ``rate``, from the errors of both surveys.
    end_variance : array (n, s), mm2
        Of ``rate``, from the errors of the survey of the worn wall alone.
    weight : array (n,)
        What each spell is worth, 1 on average: the inverse of its variance, half of
        which comes from the heats and half from the surveys if both scatter alike.
    exposure : {'heat', 'hour', 'tonne'}
        What wear was found to go with.
    """

    rate: Float
    variance: Float
    end_variance: Float
    weight: Float
    exposure: Exposure


def per_heat(series: WearSeries) -> PerHeat:
    """Wear of every piece per heat."""
    heats = np.array([float(spell.heats) for spell in series.spells])
    lengths = _lengths(series.spells)
    rates = {name: series.wear / length[:, None] for name, length in lengths.items()}
    panels = series.regions.of_kind("panel")
    rough = {name: _roughness(rate[:, panels]) for name, rate in rates.items()}
    least = min(rough, key=lambda name: rough[name])
    exposure = least if rough[least] < ASSUMED.steadier * rough["heat"] else "heat"
    rate, length = rates[exposure], lengths[exposure]
    variance = series.variance / (length**2)[:, None]
    end_variance = series.end_variance / (length**2)[:, None]
    weight = _precision(rate[:, panels], variance[:, panels], heats)
    return PerHeat(rate, variance, end_variance, weight, exposure)


def _lengths(spells: Sequence[Spell]) -> dict[Exposure, Float]:
    """How long each spell was, in heats of mean length, by whatever all state."""
    heats = np.array([float(spell.heats) for spell in spells])
    lengths: dict[Exposure, Float] = {"heat": heats}
    stated: dict[Exposure, list[float | None]] = {
        "hour": [spell.hours for spell in spells],
        "tonne": [spell.melted for spell in spells],
    }
    for name, amounts in stated.items():
        known = np.array([np.nan if amount is None else amount for amount in amounts])
        if known.size and np.all(known > 0.0):
            lengths[name] = known * heats.sum() / known.sum()
    return lengths


def _roughness(rate: Float) -> float:
    """How much the mean over all panels hops from spell to spell, as a share."""
    valid = np.isfinite(rate)
    if len(rate) < 3 or not valid.any():
        return 0.0
    mean = _column_mean(rate, valid)
    expected = np.where(valid, mean, 0.0).sum(axis=1)
    observed = np.where(valid, rate, 0.0).sum(axis=1)
    share = observed / np.where(expected, expected, np.nan)
    hops = np.diff(share[np.isfinite(share)])
    return float(np.sqrt(np.mean(hops**2))) if hops.size else 0.0


def _precision(rate: Float, variance: Float, heats: Float) -> Float:
    """One over the variance of each spell, 1 on average; (n,)."""
    if not len(rate):
        return np.ones(0)
    valid = np.isfinite(rate)
    error = _row_mean(variance, valid)
    square = (rate - _column_mean(rate, valid)) ** 2
    scatter = float(np.mean(_row_mean(square, valid)))
    mean_error = float(error.mean())
    part = mean_error / (mean_error + scatter) if mean_error > 0.0 else 0.0
    from_heats = (1.0 / heats) / np.mean(1.0 / heats)
    spread = part * error / max(mean_error, 1e-12) + (1.0 - part) * from_heats
    weight = 1.0 / np.maximum(spread, 1e-3)
    return np.asarray(weight / weight.mean())


def _column_mean(field: Float, valid: Bool) -> Float:
    """Mean of what is valid of each column; zero where nothing is."""
    total = np.where(valid, field, 0.0).sum(axis=0)
    return np.asarray(total / np.maximum(valid.sum(axis=0), 1))


def _row_mean(field: Float, valid: Bool) -> Float:
    """Mean of what is valid of each row; the mean of all where nothing is."""
    count = valid.sum(axis=1)
    mean = np.where(valid, field, 0.0).sum(axis=1) / np.maximum(count, 1)
    usual = float(mean[count > 0].mean()) if (count > 0).any() else 0.0
    return np.where(count > 0, mean, usual)
