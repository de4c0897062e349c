"""Rates of wear: closed forms, what they rest on, and whether intervals are true."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from geom.compare.panels import HOURS
from geom.record.assumptions import ASSUMED
from geom.record.regions import Kind, Region, Regions
from geom.record.store.occasion import Occasion, Stage
from geom.record.wear.rates import (
    Rates,
    excess_variance,
    rates_of,
    wear_rates,
)
from geom.record.wear.series import WearSeries, find_spells
from geom.record.wear.survey_errors import SpellWear, spell_wear
from geom.stats.shrinkage import moderated_variance
from geom.units import Float
from tests.record.rated import Draws, drawn, holds

SURE = 1e-4  # mm2, surveys that hardly err


def told_series(
    wear: Float,
    kinds: tuple[Kind, ...],
    *,
    heats: tuple[int, ...] | None = None,
    hours: tuple[float | None, ...] | None = None,
    repaired: bool = True,
    variance: float = SURE,
    campaign: str = "",
    first: int = 0,
) -> WearSeries:
    """A series of one campaign with the wear given; (n, s)."""
    n, s = wear.shape
    lasted = heats or (1,) * n
    stage: Stage = "before repair" if repaired else "not repaired"
    day, heat = date(2026, 1, 5), first
    made = [Occasion(heat, "after repair", day, campaign=campaign)]
    for k in range(n):
        heat, day = heat + lasted[k], day + timedelta(2)
        took = None if hours is None else hours[k]
        iron = None if took is None else 1000.0 * took
        made.append(Occasion(heat, stage, day, took, iron, campaign))
        if repaired:
            made.append(Occasion(heat, "after repair", day, campaign=campaign))
    spells, gaps = find_spells(made)
    assert len(spells) == n
    assert not gaps
    regions = tuple(Region(kind, "", 0.0, 100.0, 0.0, 360.0) for kind in kinds)
    start = np.zeros((n, s)) if repaired else np.cumsum(wear, axis=0) - wear
    same = np.full((n, s), variance)
    return WearSeries(
        spells,
        Regions(regions, np.eye(s)),
        start,
        start + wear,
        same,
        same,
        np.zeros((n, 0, HOURS, HOURS)),
    )


def one_wall(wear: list[float], **told: object) -> Rates:
    series = told_series(np.array(wear)[:, None], ("wall",), **told)  # type: ignore[arg-type]
    return wear_rates(series, "heat")


# --- closed forms -------------------------------------------------------------------


def test_four_heats_of_one_wall_are_their_mean_with_students_t() -> None:
    wear = [4.0, 5.5, 4.6, 5.1]
    long = one_wall(wear).long[0]
    assert long is not None
    assert long.value == pytest.approx(np.mean(wear), rel=1e-9)
    half = stats.t.ppf(0.975, 3) * np.std(wear, ddof=1) / 2.0
    assert 0.5 * (long.high95 - long.low95) == pytest.approx(half, rel=2e-3)
    normal = stats.norm.ppf(0.975) * np.std(wear, ddof=1) / 2.0
    assert 0.5 * (long.high95 - long.low95) > 1.5 * normal


def test_the_short_rate_is_of_the_last_three_spells() -> None:
    rates = one_wall([9.0, 9.2, 8.9, 9.1, 4.0, 4.1, 4.2])
    assert rates.short_over == ASSUMED.short_spells == 3
    assert rates.short[0] is not None
    assert rates.long[0] is not None
    assert rates.short[0].value == pytest.approx(4.1, abs=1e-6)
    assert rates.long[0].value > 6.0


def test_a_rate_that_rises_by_so_much_a_heat_has_that_trend() -> None:
    rng = np.random.default_rng(2)
    wear = 3.0 + 0.25 * np.arange(12) + rng.normal(0.0, 0.1, 12)
    rates = one_wall(wear.tolist())
    line = stats.linregress(np.arange(12.0), wear)
    assert rates.trend[0] is not None
    assert rates.trend[0].value == pytest.approx(line.slope, rel=0.02)
    assert rates.trend[0].low95 < 0.25 < rates.trend[0].high95
    steady = one_wall((3.0 + rng.normal(0.0, 0.1, 12)).tolist()).trend[0]
    assert steady is not None
    assert steady.low95 < 0.0 < steady.high95
    assert rates.trend[0].low95 > 0.2


def test_spells_of_several_heats_count_by_their_heats() -> None:
    rates = one_wall([4.0, 15.0, 8.5, 4.5], heats=(1, 3, 2, 1))
    assert rates.long[0] is not None
    # scatter adds up heat by heat: the best rate is all wear over all heats
    assert rates.long[0].value == pytest.approx(32.0 / 7.0, rel=2e-3)


def test_scatter_is_stated_of_one_heat() -> None:
    rng = np.random.default_rng(8)
    heats = (1, 2, 3, 1, 2) * 8
    wear = np.array(heats) * 5.0 + np.sqrt(heats) * rng.normal(0.0, 0.8, 40)
    assert one_wall(wear.tolist(), heats=heats).heat_sd[0] == pytest.approx(
        0.8, rel=0.3
    )
    exact = one_wall([5.0] * 6).heat_sd[0]
    assert exact == pytest.approx(0.0, abs=1e-3)


def test_surveys_shared_by_two_spells_cancel_between() -> None:
    """Four surveys of one wall that is not repaired: only the first and last count."""
    series = told_series(
        np.array([[5.0], [5.1], [4.9], [5.0]]),
        ("wall",),
        repaired=False,
        variance=4.0,
    )
    long = wear_rates(series, "heat").long[0]
    assert long is not None
    apart = told_series(series.wear, ("wall",), variance=4.0)
    alone = wear_rates(apart, "heat").long[0]
    assert alone is not None
    assert long.sd < 0.8 * alone.sd
    assert spell_wear(series, "heat").follows.tolist() == [False, True, True, True]
    assert not spell_wear(apart, "heat").follows.any()


# --- what is left out, and what is not known ----------------------------------------


def test_spells_without_hours_are_left_out_of_rates_by_the_hour() -> None:
    wear = np.array([[4.0], [50.0], [6.0], [5.0]])
    series = told_series(wear, ("wall",), hours=(2.0, None, 3.0, 2.5))
    for exposure in ("hour", "tonne"):  # a tonne an hour, as told
        rates = wear_rates(series, exposure)
        assert rates.spells == (3,)
        assert rates.long[0] is not None
        assert rates.long[0].value == pytest.approx(2.0, rel=1e-6)
    assert wear_rates(series, "heat").spells == (4,)


def test_only_the_last_campaign_counts() -> None:
    old = told_series(np.full((3, 1), 9.0), ("wall",), campaign="old")
    new = told_series(np.full((3, 1), 2.0), ("wall",), campaign="new", first=3)
    both = WearSeries(
        old.spells + new.spells,
        old.regions,
        *(
            np.concatenate([getattr(old, part), getattr(new, part)])
            for part in (
                "start",
                "end",
                "start_variance",
                "end_variance",
                "side_covariance",
            )
        ),
    )
    last = wear_rates(both, "heat")
    assert last.long[0] is not None
    assert last.long[0].value == pytest.approx(2.0)
    assert last.spells == (3,)


def test_one_spell_of_one_wall_tells_no_rate() -> None:
    rates = one_wall([5.0])
    assert rates.long == rates.short == rates.trend == (None,)
    assert np.isnan(rates.heat_sd[0])


def test_no_spell_at_all_tells_nothing() -> None:
    series = told_series(np.zeros((0, 2)), ("wall", "panel"))
    rates = wear_rates(series, "heat")
    assert rates.long == (None, None)
    assert rates.spells == (0, 0)


def test_a_piece_seen_once_is_estimated_by_the_scatter_of_its_kind() -> None:
    rng = np.random.default_rng(3)
    wear = 5.0 + rng.normal(0.0, 1.0, (6, 20))
    wear[1:, 4] = np.nan
    wear[:, 5] = np.nan
    rates = wear_rates(told_series(wear, ("panel",) * 20), "heat")
    once = rates.long[4]
    assert once is not None
    assert once.value == pytest.approx(wear[0, 4])
    assert once.sd == pytest.approx(1.0, rel=0.25)
    assert rates.trend[4] is None
    assert rates.long[5] is rates.short[5] is None
    assert rates.spells[3:6] == (6, 1, 0)


def test_trends_need_three_spells() -> None:
    assert one_wall([5.0, 6.0]).trend == (None,)
    assert one_wall([5.0, 6.0, 5.2]).trend[0] is not None


def test_one_spell_out_of_line_does_not_drag_the_rate_along() -> None:
    rng = np.random.default_rng(5)
    wear = (5.0 + rng.normal(0.0, 0.5, 12)).tolist()
    clean = one_wall(wear).long[0]
    wear[6] += 40.0
    spoiled = one_wall(wear).long[0]
    assert clean is not None
    assert spoiled is not None
    assert abs(spoiled.value - clean.value) < 0.4
    assert np.mean(wear) - clean.value > 3.0


def test_errors_that_come_back_do_not_average_out() -> None:
    """Of very many heats with errors of variance 9, the share that comes back stays."""
    how = Draws(spells=200, campaigns=1, scatter=0.1, survey=9.0)
    seen, kind, _ = drawn(how, seed=1)
    long = rates_of(seen, kind, "heat").long[0]
    assert long is not None
    assert long.sd > np.sqrt(ASSUMED.systematic_share * 9.0)
    assert long.sd == pytest.approx(
        np.sqrt(ASSUMED.systematic_share * 9.0 + 18.0 / 200.0), rel=0.1
    )


# --- moderation ---------------------------------------------------------------------


def test_a_piece_alone_is_judged_by_itself_alone() -> None:
    left = np.array([[1.0], [-2.0], [1.0]])
    variance, reach = moderated_variance(
        left, np.array([2.0]), np.array([0]), np.array([5.0])
    )
    assert variance[0] == pytest.approx(3.0)
    assert reach[0] == pytest.approx(stats.t.ppf(0.975, 2))


def centred(rng: np.random.Generator, n: int, m: int) -> Float:
    left = rng.normal(size=(n, m))
    return np.asarray(left - left.mean(axis=0))


def test_many_pieces_that_scatter_apart_are_judged_by_all_of_them() -> None:
    left = centred(np.random.default_rng(1), 3, 200)
    one_kind = np.zeros(200, dtype=np.int64)
    variance, reach = moderated_variance(
        left, np.full(200, 2.0), one_kind, np.full(200, 5.0)
    )
    np.testing.assert_allclose(variance, 1.0, rtol=0.25)
    assert reach.max() < 2.3  # a piece by itself has Student's 4.3


def test_many_pieces_that_scatter_in_step_are_worth_no_more_than_one() -> None:
    """What is most dangerous: two hundred panels, and three heats all the same."""
    left = np.repeat(centred(np.random.default_rng(1), 3, 1), 200, axis=1)
    one_kind = np.zeros(200, dtype=np.int64)
    _, reach = moderated_variance(left, np.full(200, 2.0), one_kind, np.full(200, 5.0))
    np.testing.assert_allclose(reach, stats.t.ppf(0.975, 2), rtol=1e-6)


def test_fast_wear_is_given_the_scatter_of_fast_wear() -> None:
    rng = np.random.default_rng(4)
    rate = np.geomspace(1.0, 16.0, 120)
    left = centred(rng, 4, 120) * rate
    one_kind = np.zeros(120, dtype=np.int64)
    variance, _ = moderated_variance(left, np.full(120, 3.0), one_kind, rate)
    slow, fast = variance[:20].mean(), variance[-20:].mean()
    true = np.mean(rate[-20:] ** 2) / np.mean(rate[:20] ** 2)
    assert fast / slow == pytest.approx(true, rel=0.5)
    blind, _ = moderated_variance(left, np.full(120, 3.0), one_kind, np.full(120, 5.0))
    assert blind[-20:].mean() / blind[:20].mean() < 0.6 * true


# --- whether intervals are true -----------------------------------------------------
# Campaigns are a few hundred, with pieces that hang together: shares are sure to about
# one in a hundred.  Few spells and poor surveys hold the truth more often than asked,
# because intervals are never closer than half the variance that surveys state.

GOOD, POOR = {"scatter": 1.0, "survey": 0.02}, {"scatter": 0.2, "survey": 1.0}
ALONE = {"regions": 1, "campaigns": 800}
KIND = {"regions": 12, "campaigns": 250}


def shares(how: Draws, seed: int = 11) -> tuple[float, float]:
    """Of long and short rates' intervals that hold the truth."""
    seen, kind, rate = drawn(how, seed=seed)
    rates = rates_of(seen, kind, "heat")
    return holds(rates.long, rate), holds(rates.short, rate)


@pytest.mark.slow
@pytest.mark.parametrize("shared", [False, True])
@pytest.mark.parametrize("surveys", [GOOD, POOR])
@pytest.mark.parametrize("spells", [4, 8, 14])
@pytest.mark.parametrize("size", [ALONE, KIND])
def test_intervals_are_true(spells, surveys, shared, size) -> None:
    long, short = shares(Draws(spells=spells, shared=shared, **surveys, **size))
    assert 0.93 <= long <= 0.985, long
    assert 0.93 <= short <= 0.99, short


@pytest.mark.slow
@pytest.mark.parametrize("size", [ALONE, KIND])
@pytest.mark.parametrize("spells", [2, 3])
def test_intervals_of_two_and_three_spells_are_true(spells, size) -> None:
    long, short = shares(Draws(spells=spells, **GOOD, **size))
    assert 0.93 <= long <= 0.98, long
    assert short == pytest.approx(long, abs=0.01)
    poor, _ = shares(Draws(spells=spells, **POOR, **size))
    assert poor >= 0.94


@pytest.mark.slow
@pytest.mark.parametrize("spells", [4, 8, 14])
def test_intervals_are_true_where_scatter_is_lopsided(spells) -> None:
    long, short = shares(Draws(spells=spells, lopsided=True, **GOOD, **KIND))
    assert 0.92 <= long <= 0.975, long
    assert 0.93 <= short <= 0.98, short


@pytest.mark.slow
@pytest.mark.parametrize("spells", [8, 14])
def test_intervals_are_true_where_one_spell_is_out_of_line(spells) -> None:
    how = Draws(spells=spells, out_of_line=0.25, **GOOD, **KIND)
    long, short = shares(how)
    assert 0.93 <= long <= 0.975, long
    assert 0.93 <= short <= 0.98, short


@pytest.mark.slow
def test_intervals_are_true_of_the_pieces_that_wear_most() -> None:
    how = Draws(spells=4, regions=60, campaigns=80, together=0.3, with_rate=True)
    seen, kind, rate = drawn(how, seed=5)
    found = np.array(rates_of(seen, kind, "heat").long, dtype=object)
    worst = rate > np.quantile(rate, 0.9)
    assert 0.90 <= holds(tuple(found[worst]), rate[worst]) <= 0.98


@pytest.mark.slow
def test_without_what_comes_back_intervals_would_be_too_narrow() -> None:
    """The spoiled twin: surveys that err alike, told as if each erred anew."""
    how = Draws(spells=14, share=0.8, **POOR, **KIND)
    long, _ = shares(how)
    assert long < 0.85
    fair, _ = shares(replace(how, share=ASSUMED.systematic_share))
    assert fair > 0.93


def test_heats_all_together_taken_for_many_would_be_too_narrow() -> None:
    """The spoiled twin of what is in step: pooled scatter with endless freedom."""
    how = Draws(spells=3, regions=60, campaigns=150, together=0.95)
    seen, kind, rate = drawn(how, seed=3)
    mean = seen.wear.mean(axis=0)
    pooled = seen.wear.var(axis=0, ddof=1).reshape(150, 60).mean(axis=1)[kind]
    naive = np.abs(mean - rate) < 1.96 * np.sqrt(pooled / 3.0)
    assert naive.mean() < 0.88
    assert holds(rates_of(seen, kind, "heat").long, rate) > 0.92


def test_order_of_pieces_and_what_other_kinds_there_are_changes_nothing() -> None:
    seen, _, _ = drawn(Draws(spells=6, regions=20, campaigns=1), seed=7)
    kind = np.repeat([0, 1], [8, 12])
    both = rates_of(seen, kind, "heat")
    turned = np.arange(20)[::-1]
    parts = ("wear", "start_variance", "end_variance")
    other = replace(seen, **{p: getattr(seen, p)[:, turned] for p in parts})
    back = rates_of(other, kind[turned], "heat").long[::-1]
    first = replace(seen, **{p: getattr(seen, p)[:, :8] for p in parts})
    first = replace(first, kinds=seen.kinds[:8])
    alone = rates_of(first, kind[:8], "heat").long
    for a, b in [*zip(both.long, back, strict=True), *zip(both.long, alone)]:  # noqa: B905
        assert a is not None
        assert b is not None
        assert [a.value, a.sd, a.high95] == pytest.approx([b.value, b.sd, b.high95])


def test_the_same_wear_in_inches_is_the_same_rate() -> None:
    seen, kind, _ = drawn(Draws(spells=6, regions=12, campaigns=1, survey=0.3), seed=9)
    inch = SpellWear(
        seen.wear / 25.4,
        seen.exposure,
        seen.total,
        seen.follows,
        seen.start_variance / 25.4**2,
        seen.end_variance / 25.4**2,
        seen.heats,
        seen.kinds,
    )
    for a, b in zip(
        rates_of(seen, kind, "heat").long,
        rates_of(inch, kind, "heat").long,
        strict=True,
    ):
        assert a is not None
        assert b is not None
        assert a.high95 == pytest.approx(25.4 * b.high95, rel=1e-5)


@pytest.mark.parametrize(
    ("survey", "share"),
    [
        (0.01, 0.05),
        (0.75, ASSUMED.systematic_share / 2.0),
        (9.0, ASSUMED.systematic_share),
    ],
)
def test_the_better_rings_are_known_the_less_comes_back(
    survey: float, share: float
) -> None:
    """Of wear of 5 mm a heat: 0.75 mm2 is half of 0.06 of its square."""
    how = Draws(spells=6, regions=20, campaigns=1, scatter=0.01, survey=survey)
    seen, kind, _ = drawn(how, seed=3)
    exact = replace(seen, wear=np.full_like(seen.wear, 5.0))
    for one, due in (
        ("level", share),
        ("side", ASSUMED.systematic_share),
        ("panel", 0.75 * ASSUMED.systematic_share),
    ):
        found = replace(exact, kinds=(one,) * 20)
        assert excess_variance(found, kind).share == pytest.approx(np.full(20, due))
