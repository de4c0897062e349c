"""Wear of every piece of wall in every spell, with what the surveys know it to.

Wear of every piece per heat, and how much each spell is worth.

A longer heat wears everything more.  Where every spell tells its hours on blast or the
iron melted, wear is set in proportion to that if doing so makes the wall's wear
steadier from spell to spell: a change that goes with longer heats is then none of the
wall.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.compare.panels import HOURS, PanelState
from geom.record.regions import Regions
from geom.record.store.occasion import Occasion
from geom.record.wear.spells import Spell
from geom.units import Float

#: Share of a piece's wall that both surveys must tell.
_ENOUGH = 0.8


@dataclass(frozen=True)
class WearSeries:
    """Wear spell by spell; n spells, s pieces.

    Attributes
    ----------
    spells : tuple of Spell
    pieces : Pieces
    wear : array (n, s), mm
        Mean cut-back at the end less that at the start; NaN where either was not
        surveyed.
    start, end : array (n, s), mm
        Mean cut-back at the start and at the end.
    start_variance, end_variance : array (n, s), mm2
        Of each survey's own error.
    sides : array (n, z, HOURS, HOURS), mm2
        How the survey at the end errs in the mean cut-back of the twelve sides of the
        wall and of each zone, over the rows of panels that both surveys tell all round;
        NaN where there is none.
    """

    spells: tuple[Spell, ...]
    regions: Regions
    start: Float
    end: Float
    start_variance: Float
    end_variance: Float
    sides: Float

    @property
    def wear(self) -> Float:
        """Mean cut-back at the end less that at the start, mm; shape (n, s)."""
        return self.end - self.start

    @property
    def variance(self) -> Float:
        """Of wear, from the errors of both surveys, mm2; shape (n, s)."""
        return self.start_variance + self.end_variance


def wear_series(
    spells: tuple[Spell, ...],
    regions: Regions,
    state_of: Callable[[Occasion], PanelState],
) -> WearSeries:
    """Wear of every piece in every spell.

    Parameters
    ----------
    spells : tuple of Spell
    pieces : Pieces
    state_of : callable
        The survey of an occasion, panel by panel; called twice a spell.
    """
    large = regions.member[[*regions.of_kind("wall"), *regions.of_kind("zone")]]
    rows, sides = [], []
    for spell in spells:
        one, other = state_of(spell.start), state_of(spell.end)
        rows.append(_spell(one, other, regions))
        sides.append(_sides(one, other, large))
    shape = (4, 0, len(regions.regions))
    start, end, before, after = (
        np.stack(rows, axis=1) if rows else np.zeros(shape, dtype=np.float64)
    )
    ring = (len(large), HOURS, HOURS)
    return WearSeries(
        spells, regions, start, end, before, after, np.reshape(sides, (-1, *ring))
    )


def _spell(one: PanelState, other: PanelState, regions: Regions) -> Float:
    """Means and variances of both surveys over the panels that both tell; (4, s)."""
    both = np.isfinite(one.cutback) & np.isfinite(other.cutback)
    area = np.maximum(one.area, other.area)
    whole = regions.member @ area
    weight = regions.member * np.where(both, area, 0.0)
    held = weight.sum(axis=1)
    told = held > _ENOUGH * np.maximum(whole, 1e-9)
    weight = weight / np.maximum(held, 1e-9)[:, None]
    means = [weight @ np.nan_to_num(s.cutback) for s in (one, other)]
    spread = [
        np.einsum("sp,pq,sq->s", weight, s.covariance, weight, optimize=True)
        for s in (one, other)
    ]
    return np.where(told, np.stack([*means, *spread]), np.nan)


def _sides(one: PanelState, other: PanelState, large: Float) -> Float:
    """How the later survey errs round some pieces (z, p); (z, HOURS, HOURS)."""
    both = np.isfinite(one.cutback) & np.isfinite(other.cutback)
    round_it = both.reshape(-1, HOURS).all(axis=1)
    whole = np.all(large.reshape(len(large), -1, HOURS) > 0.0, axis=2)
    inside = np.asarray(whole & round_it)
    share = inside / np.maximum(inside.sum(axis=1, keepdims=True), 1)
    rows = round_it.size
    beside = share @ other.covariance.reshape(rows, -1)
    beside = beside.reshape(len(large), HOURS, rows, HOURS)
    found = np.einsum("zasb,zs->zab", beside, share)
    found[~inside.any(axis=1)] = np.nan
    return np.asarray(found)


Measure = Literal["heat", "hour", "tonne"]

#: By how much wear must get steadier for hours or tonnes to be taken.
_STEADIER = 0.9


@dataclass(frozen=True)
class PerHeat:
    """Wear per heat; n spells, s pieces.

    Attributes
    ----------
    rate : array (n, s), mm per heat
        At the record's mean hours or tonnes a heat where ``measure`` says so; NaN where
        not surveyed.
    variance : array (n, s), mm2
        Of ``rate``, from the errors of both surveys.
    worn : array (n, s), mm2
        Of ``rate``, from the errors of the survey of the worn wall alone.
    weight : array (n,)
        What each spell is worth, 1 on average: the inverse of its variance, half of
        which comes from the heats and half from the surveys if both scatter alike.
    measure : {'heat', 'hour', 'tonne'}
        What wear was found to go with.
    """

    rate: Float
    variance: Float
    worn: Float
    weight: Float
    measure: Measure


def per_heat(series: WearSeries) -> PerHeat:
    """Wear of every piece per heat.

    Parameters
    ----------
    series : WearSeries
    """
    heats = np.array([float(spell.heats) for spell in series.spells])
    tried = {name: series.wear / per[:, None] for name, per in _measures(series.spells)}
    panels = list(series.regions.of_kind("panel"))
    rough = {name: _unsteady(rate[:, panels]) for name, rate in tried.items()}
    least = min(rough, key=lambda name: rough[name])
    measure = least if rough[least] < _STEADIER * rough["heat"] else "heat"
    rate, own = tried[measure], dict(_measures(series.spells))[measure]
    variance = series.variance / (own**2)[:, None]
    worn = series.end_variance / (own**2)[:, None]
    worth = _worth(rate[:, panels], variance[:, panels], heats)
    return PerHeat(rate, variance, worn, worth, measure)


def _measures(spells: Sequence[Spell]) -> list[tuple[Measure, Float]]:
    """How long each spell was, in heats of mean length, by whatever all tell."""
    heats = np.array([float(spell.heats) for spell in spells])
    told: list[tuple[Measure, Float]] = [("heat", heats)]
    hours = [spell.hours for spell in spells]
    melted = [spell.melted for spell in spells]
    names: tuple[Measure, Measure] = ("hour", "tonne")
    for name, amounts in zip(names, (hours, melted), strict=True):
        known = np.array([np.nan if one is None else one for one in amounts])
        if known.size and np.all(known > 0.0):
            told.append((name, known * heats.sum() / known.sum()))
    return told


def _unsteady(rate: Float) -> float:
    """How much the mean over all panels hops from spell to spell, as a share."""
    told = np.isfinite(rate)
    if len(rate) < 3 or not told.any():
        return 0.0
    mean = np.where(told, rate, 0.0).sum(axis=0) / np.maximum(told.sum(axis=0), 1)
    against = np.where(told, mean, 0.0).sum(axis=1)
    share = np.where(told, rate, 0.0).sum(axis=1) / np.where(against, against, np.nan)
    hops = np.diff(share[np.isfinite(share)])
    return float(np.sqrt(np.mean(hops**2))) if hops.size else 0.0


def _worth(rate: Float, variance: Float, heats: Float) -> Float:
    """One over the variance of each spell, 1 on average; (n,)."""
    if not len(rate):
        return np.ones(0)
    told = np.isfinite(rate)
    error = _mean_told(variance, told)
    scatter = float(np.mean(_mean_told((rate - _middle(rate, told)) ** 2, told)))
    owned = float(error.mean())
    part = owned / (owned + scatter) if owned > 0.0 else 0.0
    from_heats = (1.0 / heats) / np.mean(1.0 / heats)
    spread = part * error / max(owned, 1e-12) + (1.0 - part) * from_heats
    worth = 1.0 / np.maximum(spread, 1e-3)
    return np.asarray(worth / worth.mean())


def _middle(rate: Float, told: Float) -> Float:
    """Mean of each column over what is told of it; zero where nothing is."""
    return np.asarray(
        np.where(told, rate, 0.0).sum(axis=0) / np.maximum(told.sum(axis=0), 1)
    )


def _mean_told(field: Float, told: Float) -> Float:
    """Mean of each row over what is told; the mean of all where nothing is."""
    held = told.sum(axis=1)
    mean = np.where(told, field, 0.0).sum(axis=1) / np.maximum(held, 1)
    usual = float(mean[held > 0].mean()) if (held > 0).any() else 0.0
    return np.where(held > 0, mean, usual)
