"""Rates of panels: how their errors hang together, and how much of them is believed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare.panels import ACROSS, HOURS, PARTS
from geom.record.forecast.smoothing import shrink_rates
from geom.record.forecast.subpanels import subpanel_wear
from geom.record.forecast.variance_components import (
    VarianceComponents,
    heat_variance,
    variance_components,
)
from geom.units import Float
from tests.record.heats_ahead import (
    COUNT,
    PIECES,
    ROW,
    Furnace,
    SurveyedCampaign,
    even,
    occasion,
)
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
    found = variance_components(sds(table(parts)), PIECES)
    for sd, variance in zip(
        (found.wall, found.level, found.side, found.own), parts, strict=True
    ):
        assert sd**2 == pytest.approx(variance, abs=1e-9)
    assert found.sd**2 == pytest.approx(sum(parts), rel=1e-12)


def test_draws_hang_together_as_stated():
    parts = (1.0, 2.0, 0.5, 4.0)
    spread = VarianceComponents(*(np.full(COUNT, np.sqrt(part)) for part in parts))
    drawn = spread.draws(np.random.default_rng(3), 40_000)
    seen = np.cov(drawn)
    # sd of a covariance of 40,000 draws of variance 7.5 is about 0.05
    assert np.abs(seen - table(parts)).max() < 0.35
    assert np.abs(seen - table((1.0, 0.0, 0.5, 6.0))).max() > 1.0


def test_what_is_not_known_has_no_spread():
    sd = sds(table((1.0, 0.0, 0.0, 1.0)))
    sd[PANEL[5]] = np.nan
    assert variance_components(sd, PIECES).sd[5] == 0.0


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
        found = shrink_rates(value, sd, PIECES)
        off.append(found.value - true)
        raw.append(value[PANEL] - true)
        owned.append(found.errors.sd)
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
    found = shrink_rates(value, sds(table((0.0, 0.0, 0.0, 1e-6))), PIECES)
    assert found.value == pytest.approx(true, abs=1e-2)


def test_one_burnt_out_place_is_not_smoothed_away():
    true, value, sd = rates(4)
    place = 2  # where little else wears
    value[PANEL[place]] = true[place] + 12.0  # eight of its standard deviations
    found = shrink_rates(value, sd, PIECES)
    assert found.value[place] > true[place] + 11.0
    value[PANEL[place]] = true[place] + 2.0
    assert shrink_rates(value, sd, PIECES).value[place] < true[place] + 1.5


def test_a_panel_that_no_survey_covers_takes_its_level_and_side():
    true, value, sd = rates(5, own=0.01)
    value[PANEL[63]] = sd[PANEL[63]] = np.nan
    found = shrink_rates(value, sd, PIECES)
    assert found.value[63] == pytest.approx(true[63], rel=0.1)
    assert found.errors.sd[63] > 0.0


# --- scatter from heat to heat -------------------------------------------------------


def scatters(seeds: int, **furnace: float) -> tuple[float, float]:
    """Scatter of a hot panel, as a share of its wear, and of that the whole wall's."""
    hot = np.isin(ROW, (4, 5))
    share, alike = [], []
    for seed in range(seeds):
        result, pattern = Furnace(heats=12, level=0.0, **furnace).campaign(seed)
        found = heat_variance(result.series).components
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


def test_of_one_heat_what_is_held_before_is_stated():
    found = heat_variance(even(1, 10.0).series)
    assert found.components.sd == pytest.approx(2.0, rel=0.05)  # a fifth of the wear
    assert found.dof == 2.0
    wide = np.quantile(np.abs(found.draws(np.random.default_rng(1), 4000)[0]), 0.95)
    # Student's t of two degrees of freedom: 4.30, not 1.96
    assert wide == pytest.approx(4.303 * 2.0, rel=0.12)


# --- parts of panels -----------------------------------------------------------------


def parted(
    heats: int,
    rate: Float | float,
    extra: Float,
    *,
    errors: float = 0.3,
    stray: float = 0.0,
    seed: int = 8,
) -> SurveyedCampaign:
    """Every part wears its panel's rate and an extra; repaired flat; (p, PARTS)."""
    rng = np.random.default_rng(seed)
    found, zero = SurveyedCampaign(), np.zeros(COUNT)
    part = np.broadcast_to(np.asarray(rate, dtype=np.float64), COUNT)[:, None] + extra
    for heat in range(1, heats + 1):
        hard = 1.0 + stray * rng.standard_normal(part.shape)
        for stage, before, mean, deep in (
            ("after repair", 1, zero, 0.0 * part),
            ("before repair", 0, zero + rate, part * hard),
        ):
            seen = deep + errors * rng.standard_normal(part.shape)
            found.states[occasion(heat - before, stage)] = replace(
                survey(mean, seen.max(axis=1), mean_sd=0.01),
                part=seen,
                part_sd=np.full(part.shape, errors),
            )
    return found


def ring(seed: int = 3) -> Float:
    """Lower parts wear 2 mm less, upper 2 mm more; each off that by 0.5 mm."""
    by_height = np.repeat([-2.0, 0.0, 2.0], ACROSS)
    own = 0.5 * np.random.default_rng(seed).standard_normal((COUNT, PARTS))
    return np.asarray(by_height + own)


def test_parts_are_followed_where_they_stand():
    true = ring()
    result = parted(6, 8.0, true)
    found = subpanel_wear(result.series, result.states.__getitem__)
    off = (found.extra - true) / found.sd
    assert np.sqrt(np.mean(off**2)) == pytest.approx(1.0, abs=0.1)
    assert np.sqrt(np.mean((found.extra - true) ** 2)) < 0.2
    assert np.allclose(found.mean, 8.0)
    assert found.stray < 0.03


def test_parts_known_poorly_are_drawn_to_those_at_their_height():
    """Errors are twice as large as what parts truly differ by."""
    true = ring()
    result = parted(2, 8.0, true, errors=1.0)
    found = subpanel_wear(result.series, result.states.__getitem__)
    raw = np.mean(
        [
            one.part * (1 if at.stage == "before repair" else -1)
            for at, one in result.states.items()
        ],
        axis=0,
    )
    raw = 2.0 * raw - 8.0
    assert np.mean((found.extra - true) ** 2) < 0.6 * np.mean((raw - true) ** 2)


def test_what_parts_stray_by_is_found():
    result = parted(8, 8.0, ring(), errors=0.1, stray=0.2)
    found = subpanel_wear(result.series, result.states.__getitem__)
    assert found.stray == pytest.approx(0.2, rel=0.1)


def test_parts_that_are_not_known_stay_unknown():
    result = parted(3, 8.0, ring())
    for one in result.states.values():
        one.part[20, 4:] = np.nan
    found = subpanel_wear(result.series, result.states.__getitem__)
    assert np.isnan(found.extra[20, 4:]).all()
    assert np.isfinite(found.extra[20, :4]).all()
    assert np.isfinite(np.delete(found.extra, 20, axis=0)).all()
