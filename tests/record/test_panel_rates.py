"""Rates of panels: how their errors hang together, and how much of them is believed."""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.panels import HOURS
from geom.record.deepest_wear import deepest_wear
from geom.record.heat_scatter import heat_scatter
from geom.record.settled import settled
from geom.record.shares import Spread, spread_of
from tests.record.heats_ahead import COUNT, PIECES, ROW, Furnace, Told, even, occasion
from tests.record.heats_ahead import state as survey

PANEL = list(PIECES.of_kind("panel"))
SHARE = PIECES.member / PIECES.member.sum(axis=1, keepdims=True)
HOUR = np.arange(COUNT) % HOURS


def table(parts: tuple[float, float, float, float]) -> np.ndarray:
    """Covariance of panels from variances of wall, level, side and own."""
    wall, level, side, own = parts
    same_row, same_hour = (of[:, None] == of[None, :] for of in (ROW, HOUR))
    return wall + level * same_row + side * same_hour + own * np.eye(COUNT)


def sds(covariance: np.ndarray) -> np.ndarray:
    """Sd of every piece's mean."""
    return np.sqrt(np.einsum("sp,pq,sq->s", SHARE, covariance, SHARE))


# --- shares --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "parts",
    [(1.0, 2.0, 0.5, 4.0), (4.0, 0.0, 0.0, 1.0), (0.0, 0.0, 0.0, 2.0), (3.0, 1, 1, 0)],
)
def test_shares_are_seen_from_how_well_means_are_known(parts):
    found = spread_of(sds(table(parts)), PIECES)
    for sd, variance in zip(
        (found.wall, found.level, found.side, found.own), parts, strict=True
    ):
        assert sd**2 == pytest.approx(variance, abs=1e-9)
    assert found.sd**2 == pytest.approx(sum(parts), rel=1e-12)


def test_draws_hang_together_as_told():
    parts = (1.0, 2.0, 0.5, 4.0)
    spread = Spread(*(np.full(COUNT, np.sqrt(part)) for part in parts))
    drawn = spread.draws(np.random.default_rng(3), 40_000)
    seen = np.cov(drawn)
    # sd of a covariance of 40,000 draws of variance 7.5 is about 0.05
    assert np.abs(seen - table(parts)).max() < 0.35
    assert np.abs(seen - table((1.0, 0.0, 0.5, 6.0))).max() > 1.0


def test_what_is_not_told_has_no_spread():
    sd = sds(table((1.0, 0.0, 0.0, 1.0)))
    sd[PANEL[5]] = np.nan
    assert spread_of(sd, PIECES).sd[5] == 0.0


# --- settled rates -------------------------------------------------------------------


def rates(seed: int, own: float = 2.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """True rates of panels, and what is found of all pieces with its sd."""
    rng = np.random.default_rng(seed)
    true = (1.0 + 8.0 * np.exp(-(((ROW - 5.0) / 1.6) ** 2))) * (
        1.0 + 0.2 * np.cos(np.deg2rad(30.0 * HOUR))
    )
    found = true + rng.normal(0.0, np.sqrt(own), COUNT)
    return true, SHARE @ found, sds(table((0.0, 0.0, 0.0, own)))


def test_settled_rates_are_nearer_the_truth_and_say_how_near():
    off, raw, owned, most = [], [], [], []
    for seed in range(20):
        true, value, sd = rates(seed)
        found = settled(value, sd, PIECES)
        off.append(found.value - true)
        raw.append(value[PANEL] - true)
        owned.append(found.spread.sd)
        most.append((found.value.max() - true.max(), value[PANEL].max() - true.max()))
    assert np.std(off) < 0.6 * np.std(raw)
    assert 0.7 < np.std(off) / np.sqrt(np.mean(np.square(owned))) < 1.25
    # the greatest of many noisy rates is too great, the greatest settled one is not
    settled_most, raw_most = np.mean(most, axis=0)
    assert raw_most > 0.8
    assert abs(settled_most) < 0.4


def test_well_known_rates_are_left_as_they_are():
    true, _, _ = rates(0)
    value = SHARE @ true
    found = settled(value, sds(table((0.0, 0.0, 0.0, 1e-6))), PIECES)
    assert found.value == pytest.approx(true, abs=1e-2)


def test_one_burnt_out_place_is_not_smoothed_away():
    true, value, sd = rates(4)
    place = 2  # where little else wears
    value[PANEL[place]] = true[place] + 12.0  # eight of its standard deviations
    found = settled(value, sd, PIECES)
    assert found.value[place] > true[place] + 11.0
    value[PANEL[place]] = true[place] + 2.0
    assert settled(value, sd, PIECES).value[place] < true[place] + 1.5


def test_a_panel_that_no_survey_told_takes_its_level_and_side():
    true, value, sd = rates(5, own=0.01)
    value[PANEL[63]] = sd[PANEL[63]] = np.nan
    found = settled(value, sd, PIECES)
    assert found.value[63] == pytest.approx(true[63], rel=0.1)
    assert found.spread.sd[63] > 0.0


# --- scatter from heat to heat -------------------------------------------------------


def scatters(seeds: int, **furnace: float) -> tuple[float, float]:
    """Scatter of a hot panel, as a share of its wear, and of that the whole wall's."""
    hot = np.isin(ROW, (4, 5))
    share, alike = [], []
    for seed in range(seeds):
        told, pattern = Furnace(heats=12, level=0.0, **furnace).campaign(seed)
        found = heat_scatter(told.series).spread
        share.append(found.sd[hot].mean() / pattern.rate[hot].mean())
        alike.append(found.wall[hot].mean() / found.sd[hot].mean())
    return float(np.sqrt(np.mean(np.square(share)))), float(np.mean(alike))


def test_scatter_is_found_beyond_the_surveys_errors():
    hard, in_common = scatters(8, wall=0.3, own=0.0)
    # a fifth is held before, worth two heats in thirteen; the sd of 8 times 11 heats is
    # known to 8 %
    assert hard == pytest.approx(0.29, rel=0.2)
    calm, _ = scatters(8, wall=0.0, own=0.0)
    assert calm < 0.15
    apart, by_itself = scatters(8, wall=0.0, own=0.3)
    assert apart == pytest.approx(0.29, rel=0.2)
    assert in_common > 0.6
    assert by_itself < 0.4


def test_of_one_heat_what_is_held_before_is_told():
    found = heat_scatter(even(1, 10.0).series)
    assert found.spread.sd == pytest.approx(2.0, rel=0.05)  # a fifth of the wear
    assert found.freedom == 2.0
    wide = np.quantile(np.abs(found.draws(np.random.default_rng(1), 4000)[0]), 0.95)
    # Student's t of two degrees of freedom: 4.30, not 1.96
    assert wide == pytest.approx(4.303 * 2.0, rel=0.12)


# --- the deepest place ---------------------------------------------------------------


def test_the_deepest_place_is_followed_from_spell_to_spell():
    true = np.where(ROW == 5, 1.5, 1.1)
    told = even(6, 8.0, ratio=true, errors=0.3)
    found = deepest_wear(told.series, told.states.__getitem__)
    assert found.ratio == pytest.approx(true, abs=0.06)
    off = (found.ratio - true) / found.sd
    assert np.sqrt(np.mean(off**2)) < 1.3
    assert found.stray < 0.03
    assert not np.allclose(found.ratio, 1.0, atol=0.05)


def test_the_ratio_of_a_panel_that_hardly_wears_is_that_of_its_neighbours():
    rate = np.full(COUNT, 8.0)
    rate[20] = 0.01
    told = even(4, rate, ratio=1.4, errors=0.5)
    found = deepest_wear(told.series, told.states.__getitem__)
    assert found.ratio[20] == pytest.approx(1.4, abs=0.1)


def test_what_the_deepest_place_strays_by_is_found():
    rng = np.random.default_rng(8)
    told = Told()
    zero = np.zeros(COUNT)
    for heat in range(1, 9):
        told.states[occasion(heat - 1, "after repair")] = survey(zero, zero + 2.0)
        deeper = 8.0 * 1.2 * (1.0 + 0.2 * rng.standard_normal(COUNT))
        worn = survey(zero + 8.0, 2.0 + deeper)
        told.states[occasion(heat, "before repair")] = worn
    found = deepest_wear(told.series, told.states.__getitem__)
    assert found.stray == pytest.approx(0.2 * 1.2, rel=0.1)


def test_draws_of_ratios_are_about_them_and_never_below_zero():
    told = even(1, 0.2, errors=1.0)
    found = deepest_wear(told.series, told.states.__getitem__)
    drawn = found.draws(np.random.default_rng(2), 500)
    assert drawn.min() >= 0.0
    assert drawn.mean(axis=1) == pytest.approx(found.ratio, abs=0.1)
