"""Wear cell by cell: sums against two passes, closed forms, and coverage by seed."""

from __future__ import annotations

import numpy as np
import pytest

from geom.record.assumptions import ASSUMED
from geom.record.store.grid import record_grid
from geom.record.wear.cell_sums import CELL, add_cells, add_spells
from geom.record.wear.maps import wear_maps
from geom.units import Float
from tests.walls import plain_design

CELLS = 40


def invented(n: int, *, seed: int = 3, far: float = 0.0, holes: float = 0.2):
    """Surveys of n spells, each with two of its own; (2 n, CELLS) and what they lasted.

    ``far`` is the mean wear per heat: much more than its scatter, to provoke rounding.
    """
    chance = np.random.default_rng(seed)
    heats = chance.integers(1, 5, n).astype(np.float64)
    middle = np.cumsum(heats + 1.0) + 90_000.0
    wear = heats[:, None] * (far + chance.normal(2.0, 1.0, (n, CELLS)))
    start = chance.normal(0.0, 3.0, (n, CELLS))
    both = np.stack([start, start + wear], axis=1).reshape(2 * n, CELLS)
    both = both.astype(np.float32)
    both[chance.random(both.shape) < holes] = np.nan
    sd = (1.0 + chance.random(both.shape)).astype(np.float32)
    return both, sd, heats, middle


def summed(cutback, sd, heats, middle, *, ends=None) -> Float:
    """The table of spells whose surveys lie one after the other, in one go."""
    n = heats.size
    start = np.arange(n) * 2 if ends is None else np.arange(n)
    table = np.zeros(cutback.shape[1], CELL)
    add_spells(table, cutback, sd, start, start + 1, heats, middle)
    return table


def two_passes(cutback, heats, middle) -> Float:
    """Mean wear per heat, mean heat, and squares about them: numpy, twice over all."""
    wear = cutback[1::2].astype(np.float64) - cutback[::2].astype(np.float64)
    found = np.isfinite(wear)
    weight = np.where(found, heats[:, None], 0.0)
    each = np.where(found, wear / heats[:, None], 0.0)
    total = weight.sum(axis=0)
    mean = (weight * each).sum(axis=0) / total
    heat = (weight * middle[:, None]).sum(axis=0) / total
    apart, later = each - mean, middle[:, None] - heat
    squares = [(weight * a * b).sum(axis=0) for a, b in
               ((apart, apart), (later, later), (apart, later))]  # fmt: skip
    return np.stack([found.sum(axis=0), total, mean, heat, *squares])


#: In the order of `two_passes`, but for the product that comes last.
MEANS_AND_SQUARES = ["count", "exposure", "wear", "heat", "wear_2", "heat_2"]


def columns(table, names=CELL.names) -> Float:
    """Fields of the cells, one a row."""
    return np.stack([table[name] for name in names])


# --- the sums ------------------------------------------------------------------------


@pytest.mark.parametrize("far", [0.0, 1e4])
def test_one_pass_sums_are_those_of_two_passes(far):
    cutback, sd, heats, middle = invented(500, far=far)
    table = summed(cutback, sd, heats, middle)
    expected = two_passes(cutback, heats, middle)
    found = columns(table, MEANS_AND_SQUARES)
    np.testing.assert_allclose(found, expected[:-1], rtol=1e-9)
    # Products of both signs: set against the squares that they are made of.
    size = np.sqrt(expected[4] * expected[5])
    assert np.abs((table["product"] - expected[6]) / size).max() < 1e-9


def test_plain_sums_of_squares_would_not_do():
    """The bound above sees the rounding of sums that are not about their mean."""
    cutback, _, heats, middle = invented(500, far=1e4)
    count, total, mean, *_, square = two_passes(cutback, heats, middle)[:5]
    wear = np.diff(cutback.astype(np.float64).reshape(-1, 2, CELLS), axis=1)[:, 0]
    plain = np.nansum(wear**2 / heats[:, None], axis=0) - mean**2 * total
    assert (count > 100).all()
    assert np.abs(plain / square - 1.0).max() > 1e-9


@pytest.mark.parametrize("cut", [1, 17, 499])
def test_tables_of_parts_add_up_to_that_of_all(cut):
    cutback, sd, heats, middle = invented(500, far=1e4)
    whole = summed(cutback, sd, heats, middle)
    first = summed(cutback[: 2 * cut], sd[: 2 * cut], heats[:cut], middle[:cut])
    rest = summed(cutback[2 * cut :], sd[2 * cut :], heats[cut:], middle[cut:])
    add_cells(first, rest)
    size = np.sqrt(whole["wear_2"] * whole["heat_2"])
    off = (first["product"] - whole["product"]) / size
    assert np.abs(off).max() < 1e-9
    first["product"] = whole["product"]
    np.testing.assert_allclose(columns(first), columns(whole), rtol=1e-9)


def test_a_part_that_tells_nothing_changes_nothing():
    cutback, sd, heats, middle = invented(20)
    whole = summed(cutback, sd, heats, middle)
    nothing = summed(np.full_like(cutback, np.nan), sd, heats, middle)
    for one, other in ((whole.copy(), nothing), (nothing.copy(), whole)):
        add_cells(one, other)
        np.testing.assert_array_equal(one, whole)


def test_spells_that_do_not_tell_how_long_they_lasted_are_not_counted():
    cutback, sd, heats, middle = invented(12, holes=0.0)
    untold = heats.copy()
    untold[[2, 5]], untold[7] = np.nan, 0.0
    found = np.isin(np.arange(12), [2, 5, 7], invert=True)
    both = np.repeat(found, 2)
    expected = summed(cutback[both], sd[both], heats[found], middle[found])
    np.testing.assert_array_equal(summed(cutback, sd, untold, middle), expected)


def test_spells_looked_back_at_are_not_counted_again():
    """A run that begins where another ended: together they are one."""
    chance = np.random.default_rng(5)
    cutback = np.cumsum(chance.random((9, CELLS)), axis=0).astype(np.float32)
    cutback[chance.random(cutback.shape) < 0.2] = np.nan
    sd = np.ones_like(cutback)
    heats, middle = np.ones(8), np.arange(8.0)
    whole = summed(cutback, sd, heats, middle, ends="shared")
    first = summed(cutback[:5], sd[:5], heats[:4], middle[:4], ends="shared")
    rest = np.zeros_like(whole)
    start = np.arange(5)
    seen = (cutback[3:], sd[3:], start, start + 1, heats[3:], middle[3:])
    add_spells(rest, *seen, lead=1)
    add_cells(first, rest)
    np.testing.assert_allclose(columns(first), columns(whole), rtol=1e-12)
    assert (whole["shared"] > 0.0).any()
    spoiled = np.zeros_like(whole)
    add_spells(spoiled, *seen)
    assert (spoiled["count"] > rest["count"]).any()


def joined_errors(sd: Float) -> Float:
    """Covariance of wear between surveys one after the other: they share errors."""
    square = sd.astype(np.float64) ** 2
    n = square.size - 1
    table = np.diag(square[:-1] + square[1:])
    table[np.arange(n - 1), np.arange(1, n)] = -square[1:-1]
    table[np.arange(1, n), np.arange(n - 1)] = -square[1:-1]
    return table


def test_sums_of_shared_errors_are_those_of_the_full_covariance():
    """Of a sum of wear, and of a slope; against the matrix, cell by cell."""
    chance = np.random.default_rng(8)
    cutback = chance.random((10, CELLS)).astype(np.float32)
    sd = (1.0 + chance.random((10, CELLS))).astype(np.float32)
    heats, middle = np.ones(9), np.arange(9.0) + 7.0
    table = summed(cutback, sd, heats, middle, ends="shared")
    total = table["error"] - 2.0 * table["shared"]
    away = middle - middle.mean()
    mean = middle.mean()
    plain = table["error"] - 2.0 * table["shared"]
    once = table["error_heat"] - table["shared_heat"]
    twice = table["error_heat_2"] - 2.0 * table["shared_heat_2"]
    slope = twice - 2.0 * mean * once + mean**2 * plain
    for i in range(CELLS):
        errors = joined_errors(sd[:, i])
        assert total[i] == pytest.approx(errors.sum(), rel=1e-9)
        assert slope[i] == pytest.approx(away @ errors @ away, rel=1e-9)


# --- the maps ------------------------------------------------------------------------

DESIGN = plain_design()
SHAPE = record_grid(DESIGN).shape
CELLS_OF_WALL = SHAPE[0] * SHAPE[1]


def mapped(table: Float):
    """Maps of a table for every cell of a wall."""
    return wear_maps({"heat": table}, DESIGN)


def drawn(
    n: int,
    *,
    seed: int,
    scatter: float | Float,
    error: float | Float,
    shared: bool = False,
) -> tuple[Float, Float]:
    """A table over a whole wall, and mean wear 2 mm; scatter and errors normal."""
    chance = np.random.default_rng(seed)
    cells = CELLS_OF_WALL
    wear = 2.0 + scatter * chance.standard_normal((n, cells))
    if shared:
        walls = np.concatenate([np.zeros((1, cells)), np.cumsum(wear, axis=0)])
    else:
        walls = np.stack([np.zeros((n, cells)), wear], axis=1).reshape(2 * n, cells)
    seen = walls + error * chance.standard_normal(walls.shape)
    sd = np.broadcast_to(error, seen.shape).astype(np.float32)
    heats, middle = np.ones(n), np.arange(n, dtype=np.float64)
    ends = "shared" if shared else None
    return summed(seen.astype(np.float32), sd, heats, middle, ends=ends), wear


def covered(rate: Float, sd: Float, truth: float, freedom: float | Float) -> float:
    """How often Student's 95 % interval holds the truth."""
    from scipy.special import stdtrit

    return float(np.mean(np.abs(rate - truth) <= stdtrit(freedom, 0.975) * sd))


FEW = [1, 2, 3, 6, 20]


@pytest.mark.parametrize("n", FEW)
def test_intervals_of_few_spells_hold_the_truth(n):
    """Cells that scatter unlike each other: 95 % intervals hold 2 mm, and not always.

    Their variances are drawn from the distribution that a moderated variance goes with,
    `map_prior_spells` over chi-squared of as many degrees of freedom (Smyth 2004,
    section 3).
    The mean of that is twice its scale, and the mean is what a level's scatter is: so
    intervals of few spells hold it a little too often.
    """
    chance = np.random.default_rng(n)
    unlike = np.sqrt(
        ASSUMED.map_prior_spells
        / chance.chisquare(ASSUMED.map_prior_spells, CELLS_OF_WALL)
    )
    error = np.where(n == 1, unlike, 0.01)
    scatter = np.where(n == 1, 0.0, unlike)
    maps = mapped(drawn(n, seed=n, scatter=scatter, error=error)[0])
    rate = maps.per_heat
    if n > 1:
        assert 0.945 < covered(rate.rate, rate.sd, 2.0, rate.dof) < 0.985
    else:
        assert rate.sd == pytest.approx(np.sqrt(2.0) * unlike.reshape(SHAPE), rel=1e-5)
    if n >= 3:
        freedom = ASSUMED.map_prior_spells + n - 2.0
        assert 0.945 < covered(maps.trend, maps.trend_sd, 0.0, freedom) < 0.985


@pytest.mark.parametrize("n", FEW[1:])
def test_where_all_cells_scatter_alike_intervals_are_not_too_narrow(n):
    maps = mapped(drawn(n, seed=n, scatter=0.8, error=1.0)[0])
    rate = maps.per_heat
    assert 0.945 < covered(rate.rate, rate.sd, 2.0, rate.dof) < 0.99
    true = np.sqrt((0.8**2 + 2.0) / n)
    assert np.sqrt(np.mean(rate.sd**2)) == pytest.approx(true, rel=0.02)


def test_scatter_alone_would_not_hold_it():
    """The spoiled twin: the sd of three values over the root of three."""
    table, _ = drawn(3, seed=3, scatter=0.8, error=0.3)
    mean = table["wear"].reshape(SHAPE)
    alone = np.sqrt(table["wear_2"] / 2.0 / 3.0).reshape(SHAPE)
    assert covered(mean, alone, 2.0, ASSUMED.map_prior_spells + 2.0) < 0.9


def test_a_survey_that_ends_one_spell_and_starts_the_next_errs_once():
    """Twenty heats without repair: only the first and the last survey's errors count.

    Sd of the mean in closed form: sqrt(20 * 0.2^2 + 2 * 1.5^2) / 20.
    """
    table, _ = drawn(20, seed=1, scatter=0.2, error=1.5, shared=True)
    maps = mapped(table)
    expected = np.sqrt(20 * 0.2**2 + 2 * 1.5**2) / 20
    rate = maps.per_heat
    assert np.median(rate.sd) == pytest.approx(expected, rel=0.1)
    assert np.std(rate.rate) == pytest.approx(expected, rel=0.05)
    assert np.median(maps.trend_sd) == pytest.approx(np.std(maps.trend), rel=0.1)
    for name in ("shared", "shared_heat", "shared_heat_2"):
        table[name] = 0.0
    assert np.median(mapped(table).per_heat.sd) > 2.5 * expected


def test_a_trend_is_found():
    n, cells = 40, CELLS_OF_WALL
    chance = np.random.default_rng(4)
    middle = np.arange(n, dtype=np.float64)
    wear = 1.0 + 0.05 * middle[:, None] + 0.3 * chance.standard_normal((n, cells))
    walls = np.stack([np.zeros((n, cells)), wear], axis=1).reshape(2 * n, cells)
    sd = np.full(walls.shape, 0.1, dtype=np.float32)
    maps = mapped(summed(walls.astype(np.float32), sd, np.ones(n), middle))
    assert np.mean(maps.trend) == pytest.approx(0.05, abs=2e-4)
    found = maps.trend, maps.trend_sd
    assert covered(*found, 0.05, ASSUMED.map_prior_spells + n - 2) == pytest.approx(
        0.95, abs=0.012
    )
    assert covered(*found, 0.0, ASSUMED.map_prior_spells + n - 2) < 0.01


def test_a_trend_is_that_of_scipy():
    """Spells of one heat, weights equal: the slope of plain least squares."""
    from scipy.stats import linregress

    table, wear = drawn(12, seed=2, scatter=0.8, error=0.0)
    maps = mapped(table)
    for cell in (0, 777, 53_999):
        seen = wear[:, cell].astype(np.float32).astype(np.float64)
        slope = linregress(np.arange(12.0), seen).slope
        assert maps.trend.ravel()[cell] == pytest.approx(slope, rel=1e-9)


def test_nothing_is_made_up_where_nothing_was_stated():
    table, _ = drawn(2, seed=2, scatter=0.8, error=0.3)
    table[: SHAPE[1]] = np.zeros((), CELL)
    maps = mapped(table)
    assert np.isnan(maps.per_heat.rate[0]).all()
    assert np.isnan(maps.per_heat.sd[0]).all()
    assert (maps.per_heat.spells[0] == 0).all()
    assert np.isfinite(maps.per_heat.rate[1:]).all()
    assert np.isnan(maps.trend).all()
    assert maps.per_hour is None
    assert maps.per_tonne is None
