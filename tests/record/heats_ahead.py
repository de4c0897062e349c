"""An invented furnace, panel by panel: its surveys so far and what its heats then do.

Nothing of it is measured anywhere; numbers are our own.  Wear is a pattern (a melting
zone, a hot side, panels of their own) times how hard a heat burns, which has a part of
the whole wall, of a level and of a panel.  The deepest place of a panel wears faster
than its mean.  Surveys err together and panel by panel, the deepest place more than the
mean; the truth lies about what the last survey says, as it does about the best estimate
of a survey that owns to its errors.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from geom.compare.panels import HOURS, PARTS, PanelState, panels_of
from geom.design import Design, Opening, Profile, RepairRules
from geom.record.regions import Regions, regions_of
from geom.record.store.occasion import Occasion, Stage
from geom.record.wear.series import WearSeries, find_spells, wear_series
from geom.units import Bool, Float
from tests.walls import plain_design

DESIGN = plain_design(
    profile=Profile(np.array([0.0, 1600.0]), np.array([450.0, 450.0])),
    openings=tuple(
        Opening("tuyere", azimuth, 380.0, 127.0, 90.0)
        for azimuth in (0.0, 120.0, 240.0)
    ),
    repair=RepairRules(brick_threshold=60.0),
    least_lining=155.0,
)
PANELS = panels_of(DESIGN)
PIECES: Regions = regions_of(PANELS, DESIGN)
COUNT = PANELS.count
ROW = np.arange(COUNT) // HOURS
DAY = date(2026, 1, 1)


def occasion(heat: int, stage: Stage, campaign: str = "") -> Occasion:
    return Occasion(heat, stage, DAY, campaign=campaign)


def state(
    mean: Float,
    deepest: Float,
    *,
    mean_sd: float = 0.1,
    deepest_sd: float = 0.2,
    common: float = 0.0,
) -> PanelState:
    """One survey; ``common`` is the share of the means' variance that all share.

    Of each panel's parts one is given, as deep as the deepest place.
    """
    covariance = np.full((COUNT, COUNT), common * mean_sd**2)
    np.fill_diagonal(covariance, mean_sd**2)
    mean = np.broadcast_to(np.asarray(mean, dtype=np.float64), COUNT)
    deepest = np.broadcast_to(np.asarray(deepest, dtype=np.float64), COUNT)
    sd = np.where(np.isnan(deepest), np.nan, deepest_sd)
    none = np.full((COUNT, PARTS - 1), np.nan)
    return PanelState(
        panels=PANELS,
        cutback=mean.copy(),
        covariance=covariance,
        deepest=deepest.copy(),
        deepest_sd=sd,
        part=np.column_stack([deepest, none]),
        part_sd=np.column_stack([sd, none]),
        area=np.where(np.isnan(mean), 0.0, 1.0),
        read=np.ones(COUNT),
    )


@dataclass
class SurveyedCampaign:
    """Surveys of one campaign."""

    states: dict[Occasion, PanelState] = field(default_factory=dict)

    @property
    def last(self) -> Occasion:
        return max(self.states, key=lambda one: one.place)

    @property
    def series(self) -> WearSeries:
        spells, _ = find_spells(list(self.states))
        return wear_series(spells, PIECES, self.states.__getitem__)


def even(
    heats: int,
    rate: Float | float,
    *,
    ratio: Float | float = 1.0,
    left: float = 2.0,
    errors: float = 0.1,
    later: float = 1.0,
    later_from: int = 10**6,
    seed: int = 1,
) -> SurveyedCampaign:
    """Repaired after every heat, every heat takes the same; errors next to none.

    ``left``: deepest place that a repair leaves, mm.  ``later``: by how much more wears
    from a heat on.
    """
    rng = np.random.default_rng(seed)
    found = SurveyedCampaign()
    rate = np.broadcast_to(np.asarray(rate, dtype=np.float64), COUNT)

    def seen(heat: int, stage: Stage, mean: Float, deepest: Float) -> None:
        one, other = rng.normal(0.0, errors, (2, COUNT))
        found.states[occasion(heat, stage)] = state(
            mean + one, deepest + one + other, mean_sd=errors, deepest_sd=1.5 * errors
        )

    zero = np.zeros(COUNT)
    for heat in range(1, heats + 1):
        worn = rate * (later if heat >= later_from else 1.0)
        seen(heat - 1, "after repair", zero, zero + left)
        seen(heat, "before repair", worn, left + ratio * worn)
    seen(heats, "after repair", zero, zero + left)
    return found


@dataclass(frozen=True)
class Furnace:
    """How an invented furnace wears and is surveyed; mm and shares of the wear."""

    heats: int = 10
    wall: float = 0.15
    level: float = 0.05
    own: float = 0.1
    mean_sd: float = 1.0
    deepest_sd: float = 2.0
    step: float = 1.0
    step_after: int = 10**6
    drift: float = 0.0

    def campaign(self, seed: int) -> tuple[SurveyedCampaign, Pattern]:
        rng = np.random.default_rng(seed)
        pattern = Pattern.drawn(self, rng)
        found = SurveyedCampaign()
        for heat in range(1, self.heats + 1):
            left, deep = self._repaired(heat - 1, rng)
            words = occasion(heat - 1, "after repair")
            found.states[words] = self._seen(left, deep, rng)
            worn, deeper = pattern.heat(heat, rng)
            words = occasion(heat, "before repair")
            found.states[words] = self._seen(left + worn, deep + deeper, rng)
        left, deep = self._repaired(self.heats, rng)
        words = occasion(self.heats, "after repair")
        found.states[words] = self._seen(left, deep, rng)
        return found, pattern

    def _repaired(self, heat: int, rng: np.random.Generator) -> tuple[Float, Float]:
        """Mean and deepest place of every panel as a repair leaves them."""
        mean = rng.normal(self.drift * heat, 2.0, COUNT)
        return mean, mean + 3.0 + np.abs(rng.normal(0.0, 1.0, COUNT))

    def errors(self, rng: np.random.Generator) -> tuple[Float, Float]:
        """Of the mean and of the deepest place of every panel in one survey."""
        mean = self.mean_sd * (
            np.sqrt(0.3) * rng.standard_normal()
            + np.sqrt(0.7) * rng.standard_normal(COUNT)
        )
        beside = np.sqrt(self.deepest_sd**2 - self.mean_sd**2)
        return mean, mean + beside * rng.standard_normal(COUNT)

    def _seen(
        self, mean: Float, deepest: Float, rng: np.random.Generator
    ) -> PanelState:
        one, other = self.errors(rng)
        return state(
            mean + one,
            deepest + other,
            mean_sd=self.mean_sd,
            deepest_sd=self.deepest_sd,
            common=0.3,
        )


@dataclass(frozen=True)
class Pattern:
    """What a heat takes of every panel."""

    furnace: Furnace
    rate: Float
    ratio: Float

    @classmethod
    def drawn(cls, furnace: Furnace, rng: np.random.Generator) -> Pattern:
        height, azimuth = PANELS.height, np.deg2rad(PANELS.azimuth)
        rate = 1.0 + 8.0 * np.exp(-(((height - 800.0) / 250.0) ** 2))
        rate = rate * (1.0 + 0.2 * np.cos(azimuth - 1.0))
        rate = rate * np.exp(0.1 * rng.standard_normal(COUNT))
        ratio = np.maximum(1.25 + 0.08 * rng.standard_normal(COUNT), 1.0)
        return cls(furnace, rate, ratio)

    def heat(self, number: int, rng: np.random.Generator) -> tuple[Float, Float]:
        """Wear of the means and of the deepest places in one heat, mm."""
        one = self.furnace
        hard = (
            1.0
            + one.wall * rng.standard_normal()
            + one.level * rng.standard_normal(PANELS.rows)[ROW]
            + one.own * rng.standard_normal(COUNT)
        )
        worn = self.rate * hard * (one.step if number > one.step_after else 1.0)
        strayed = 1.0 + 0.05 * rng.standard_normal(COUNT)
        return worn, self.ratio * worn * strayed

    def heats_to(
        self, limit: Float, campaign: SurveyedCampaign, group: Bool, seed: int
    ) -> float:
        """Heats until the first of some panels truly passes, left alone."""
        rng = np.random.default_rng([seed, 1])
        _, error = self.furnace.errors(rng)
        depth = campaign.states[campaign.last].deepest + error
        for heat in range(2000):
            if (depth >= limit)[group].any():
                return float(heat)
            _, worn = self.heat(self.furnace.heats + heat + 1, rng)
            passed = (depth + worn >= limit) & group
            if passed.any():
                return heat + float(((limit - depth) / worn)[passed].min())
            depth = depth + worn
        return np.inf

    def longest_heat(
        self, limit: Float, campaign: SurveyedCampaign, seed: int
    ) -> float:
        """Mean heats that one heat may last until a panel passes; hard to its end."""
        rng = np.random.default_rng([seed, 7])
        _, error = self.furnace.errors(rng)
        depth = campaign.states[campaign.last].deepest + error
        _, worn = self.heat(self.furnace.heats + 1, rng)
        return float(((limit - depth) / worn).min())


def with_design(**changes: object) -> Design:
    return replace(DESIGN, **changes)  # type: ignore[arg-type]
