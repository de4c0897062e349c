"""The record of a simulated campaign, and what is true of each piece of its wall."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from campaign_surveys import Seen, tiles_of
from campaign_walls import walls_at

from geom.compare.panels import PanelState
from geom.record.regions import Regions, regions_of
from geom.record.store.occasion import Occasion
from geom.record.wear.series import WearSeries, find_spells, wear_series
from geom.units import Bool, Float

_FIRST = date(2026, 1, 5)


@dataclass(frozen=True)
class CampaignTruth:
    """A campaign as the record has it, with the truth of every piece beside it.

    Truths are means over the panels that the surveys tell, weighted by their wall, as
    `wear_series` weighs them.  The true wear rate of a piece is the wear that a heat of
    this furnace does to it on average over all heats that it might have: the pattern
    that lasts, and spots falling out as often as they do.
    """

    seen: Seen

    @cached_property
    def regions(self) -> Regions:
        """The pieces of the wall, s."""
        return regions_of(self.seen.states[0].panels, self.seen.furnace.design)

    @cached_property
    def occasions(self) -> tuple[Occasion, ...]:
        """When each survey was made, in order."""
        made = [Occasion(0, "after repair", _FIRST, campaign="one")]
        for i in range(self.seen.heats):
            day = _FIRST + timedelta(3 * (i + 1))
            hours, melted = float(self.seen.hours[i]), float(self.seen.melted[i])
            made += [
                Occasion(i + 1, "before repair", day, hours, melted, "one"),
                Occasion(i + 1, "after repair", day + timedelta(1), campaign="one"),
            ]
        return tuple(made)

    def state(self, occasion: Occasion) -> PanelState:
        """What the survey of an occasion says of the panels."""
        return self.seen.states[self.occasions.index(occasion)]

    @cached_property
    def series(self) -> WearSeries:
        """As the record makes it."""
        spells, gaps = find_spells(self.occasions)
        assert not gaps
        return wear_series(spells, self.regions, self.state)

    @cached_property
    def _weight(self) -> Float:
        """Of each told panel in each piece; (s, p)."""
        area = self.seen.states[0].area
        weight = self.regions.member * np.where(area > 0.0, area, 0.0)
        covered = np.isfinite(self.seen.states[0].cutback)
        weight = weight * covered
        held = weight.sum(axis=1, keepdims=True)
        return np.asarray(weight / np.maximum(held, 1e-9))

    def of_pieces(self, panels: Float) -> Float:
        """Means over pieces of a field of panels; (..., p) to (..., s)."""
        return np.asarray(np.nan_to_num(panels) @ self._weight.T)

    def within(self, inside: Bool, panels: Float) -> float:
        """Mean of a field of panels over some pieces' panels together."""
        whole = np.array([region.kind == "panel" for region in self.regions.regions])
        some = inside[whole] & np.isfinite(self.seen.states[0].cutback)
        area = self.seen.states[0].area[some]
        return float(np.sum(area * panels[some]) / np.sum(area))

    @cached_property
    def cutback(self) -> Float:
        """True cut-back at every survey, mm; (2 n + 1, s)."""
        return self.of_pieces(self.seen.true)

    @cached_property
    def wear(self) -> Float:
        """True wear of every heat, mm; (n, s)."""
        return np.asarray(self.cutback[1::2] - self.cutback[:-1:2])

    @cached_property
    def rate(self) -> Float:
        """True wear rate before any step, mm a heat; (s,)."""
        return self.of_pieces(self.seen.lasting + self.seen.spalls)

    @cached_property
    def extra(self) -> Float:
        """What the step adds to it, mm a heat; (s,)."""
        return self.of_pieces(self.seen.extra)


@dataclass(frozen=True)
class Onward:
    """What else happens to a furnace if nobody repairs it from now on.

    Attributes
    ----------
    truth : CampaignTruth
    future : int
        Which of the furnace's possible futures, from 1.
    """

    covered: CampaignTruth
    future: int

    def heats(self, limit: Float, groups: Bool, *, most: int = 60) -> Float:
        """Heats until the deepest place of a piece passes its panel's limit.

        Parameters
        ----------
        limit : array (p,), mm
            Of cut-back.
        groups : bool array (g, p)
            Panels of each piece; those that the surveys do not tell are left out.
        most : int
            Heats looked ahead.

        Returns
        -------
        array (g,)
            Within a heat told as if the deepest place wore evenly; inf where it is not
            passed.  The wall's texture does not count.
        """
        seen = self.covered.seen
        tiles = tiles_of(seen.furnace.design)
        a, h = tiles.cells.azimuth, tiles.cells.height
        wall = walls_at(seen.furnace, seen.heats, a, h, texture=False)[-1]
        covered = np.isfinite(seen.states[0].cutback)
        known = groups & covered

        def over() -> Float:
            past = np.where(covered, tiles.greatest(wall) - limit, -np.inf)
            return np.where(known, past, -np.inf).max(axis=1)

        found = np.full(len(groups), np.inf)
        before = over()
        found[before >= 0.0] = 0.0
        for gone in range(most):
            number = seen.heats + 1 + gone
            heat = seen.furnace.heat(number, future=self.future)
            wall = wall + heat.wear(a, h)
            now = over()
            passed = np.isinf(found) & (now >= 0.0)
            was, is_now = before[passed], now[passed]
            found[passed] = gone - was / (is_now - was)
            before = now
            if np.isfinite(found[known.any(axis=1)]).all():
                break
        return found
