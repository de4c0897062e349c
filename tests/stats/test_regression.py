"""Straight lines and robust fits: against statsmodels, closed forms, refusals."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from geom.stats.regression import TUNING, RobustFit, fit_lines, robust_fit
from geom.units import Float


def lines_with_noise(n: int = 12, series: int = 4) -> tuple[Float, Float]:
    """x (n,), y (n, series)."""
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0.0, 30.0, n))
    slope = rng.normal(2.0, 0.5, series)
    return x, 5.0 + x[:, None] * slope + rng.normal(0.0, 2.0, (n, series))


# --- weighted least squares ---------------------------------------------------------


def test_lines_with_unequal_errors_are_those_of_statsmodels() -> None:
    x, y = lines_with_noise()
    own = (1.0 + np.arange(x.size) / 4.0) ** 2
    line = fit_lines(x, y, own[:, None])
    for i in range(y.shape[1]):
        peer = sm.WLS(y[:, i], sm.add_constant(x), weights=1.0 / own).fit(
            cov_type="fixed scale"
        )
        intercept = line.level[i] - line.slope[i] * line.middle[i]
        np.testing.assert_allclose([intercept, line.slope[i]], peer.params, rtol=1e-9)
        at_zero = line.level_variance[i] + line.middle[i] ** 2 * line.slope_variance[i]
        found = np.sqrt([at_zero, line.slope_variance[i]])
        np.testing.assert_allclose(found, peer.bse, rtol=1e-9)
    plain = fit_lines(x, y)  # errors taken for equal
    assert not np.allclose(plain.slope, line.slope, rtol=1e-3)


def test_what_is_missing_is_as_if_it_had_never_been() -> None:
    x, y = lines_with_noise(series=1)
    gone = y.copy()
    gone[[2, 7]] = np.nan
    kept = np.delete(np.arange(x.size), [2, 7])
    line, fewer = fit_lines(x, gone), fit_lines(x[kept], y[kept])
    assert line.slope_variance[0] == pytest.approx(fewer.slope_variance[0], rel=1e-10)
    assert line.chi_square[0] == pytest.approx(fewer.chi_square[0], rel=1e-10)
    assert line.dof[0] == 8.0
    assert line.slope[0] != pytest.approx(fit_lines(x, y).slope[0])


def test_many_series_are_fitted_as_each_alone() -> None:
    x, y = lines_with_noise(series=5)
    every = np.random.default_rng(3).uniform(0.5, 4.0, y.shape)
    together = fit_lines(x, y, every)
    for i in range(5):
        alone = fit_lines(x, y[:, [i]], every[:, [i]])
        assert together.slope[i] == pytest.approx(alone.slope[0], rel=1e-12)
        assert together.level[i] == pytest.approx(alone.level[0], rel=1e-12)


def test_two_points_are_met() -> None:
    line = fit_lines([1.0, 3.0], [[4.0], [10.0]])
    assert [line.middle[0], line.level[0], line.slope[0]] == pytest.approx([2, 7, 3])
    assert [line.chi_square[0], line.dof[0]] == pytest.approx([0.0, 0.0])


def test_points_at_one_x_are_no_line() -> None:
    line = fit_lines([2.0, 2.0, 2.0], [[1.0], [2.0], [3.0]])
    assert np.isnan(line.slope[0])


def test_the_stated_variances_are_the_scatter_of_repeated_series() -> None:
    x, _ = lines_with_noise()
    sd = 1.0 + np.arange(x.size)[:, None] / 4.0
    rng = np.random.default_rng(9)
    y = 5.0 + 2.0 * x[:, None] + sd * rng.normal(size=(12, 20000))
    line = fit_lines(x, y, sd**2)
    scatter = np.cov(np.stack([line.level, line.slope]))
    # variances of 20 000 draws are known to sqrt(2 / 20000) = 1 %
    assert scatter[0, 0] == pytest.approx(line.level_variance[0], rel=0.04)
    assert scatter[1, 1] == pytest.approx(line.slope_variance[0], rel=0.04)
    alike = scatter[0, 1] / np.sqrt(scatter[0, 0] * scatter[1, 1])
    assert abs(alike) < 0.03  # independent at the middle
    assert line.chi_square.mean() == pytest.approx(10.0, rel=0.02)


# --- robust fits --------------------------------------------------------------------


def spoiled(seed: int = 4) -> tuple[Float, Float]:
    """A line of 15 points of which two are out of line; x and y (15,)."""
    rng = np.random.default_rng(seed)
    x = np.arange(15.0)
    y = 2.0 + 0.5 * x + rng.normal(0.0, 1.0, 15)
    y[[3, 11]] += [9.0, -6.0]
    return x, y


def fitted(x: Float, y: Float) -> RobustFit:
    columns = np.stack([np.ones_like(x), x])[:, :, None]
    return robust_fit(columns, y[:, None], np.isfinite(y)[:, None])


def covariance(fit: RobustFit, columns: Float, y: Float) -> Float:
    """Of the unknowns, from the scatter of what was winsorised; Huber's (6.6)."""
    left = fit.winsorised[:, 0] - columns @ fit.unknowns[:, 0]
    unit = fit.variance_factor[0] * (left @ left) / (y.size - columns.shape[1])
    return unit * np.linalg.inv(columns.T @ columns)


def test_robust_lines_are_those_of_statsmodels() -> None:
    x, y = spoiled()
    scale = sm.robust.scale.HuberScale(d=TUNING, tol=1e-14, maxiter=500)
    peer = sm.RLM(y, sm.add_constant(x), M=sm.robust.norms.HuberT(TUNING)).fit(
        scale_est=scale, tol=1e-13, maxiter=500
    )
    fit = fitted(x, y)
    np.testing.assert_allclose(fit.unknowns[:, 0], peer.params, rtol=1e-7)
    assert fit.scale[0] == pytest.approx(peer.scale, rel=1e-7)
    table = covariance(fit, sm.add_constant(x), y)
    np.testing.assert_allclose(np.sqrt(np.diag(table)), peer.bse, rtol=1e-6)
    plain = fit_lines(x, y[:, None])
    assert not np.allclose(fit.unknowns[1], plain.slope, rtol=0.02)


def test_least_squares_on_what_was_winsorised_finds_the_same_line() -> None:
    x, y = spoiled()
    fit = fitted(x, y)
    line = fit_lines(x, fit.winsorised)
    assert line.slope[0] == pytest.approx(fit.unknowns[1, 0], rel=1e-8)
    table = covariance(fit, np.stack([np.ones_like(x), x], axis=1), y)
    factor = fit.variance_factor[0] * line.chi_square[0] / line.dof[0]
    assert factor * line.slope_variance[0] == pytest.approx(table[1, 1], rel=1e-7)
    assert fit.variance_factor[0] > 1.0


def test_how_far_out_an_observation_lies_does_not_matter_in_the_end() -> None:
    x, y = spoiled()
    slopes, plain = [], []
    for far in (50.0, 5000.0):
        y[3] = far
        slopes.append(float(fitted(x, y).unknowns[1, 0]))
        plain.append(float(fit_lines(x, y[:, None]).slope[0]))
    assert abs(slopes[1] - slopes[0]) < 0.05
    assert abs(plain[1] - plain[0]) > 50.0


def test_three_observations_of_one_rate_are_a_plain_mean() -> None:
    y = np.array([[5.0], [5.2], [90.0]])
    fit = robust_fit(np.ones((1, 3, 1)), y, np.ones((3, 1), dtype=bool))
    assert fit.unknowns[0, 0] == pytest.approx(y.mean(), rel=1e-12)
    np.testing.assert_allclose(fit.winsorised, y, rtol=1e-12)
    assert fit.variance_factor[0] == 1.0


def test_robust_fits_of_no_observation_say_nothing() -> None:
    fit = robust_fit(
        np.ones((1, 4, 2)), np.full((4, 2), np.nan), np.zeros((4, 2), bool)
    )
    assert np.isnan(fit.unknowns).all()


def test_of_normal_errors_little_is_lost_and_the_covariance_is_true() -> None:
    rng = np.random.default_rng(6)
    y = rng.normal(0.0, 1.0, (20, 8000))
    fit = robust_fit(np.ones((1, 20, 8000)), y, np.ones(y.shape, dtype=bool))
    spread = float(fit.unknowns[0].var())
    # 95 % efficiency (Huber 1981); 8000 draws tell a variance to 1.6 %
    assert spread == pytest.approx(1.0 / 20.0 / 0.95, rel=0.05)
    variance = fit.variance_factor * fit.winsorised.var(axis=0, ddof=1) / 20.0
    assert variance.mean() == pytest.approx(spread, rel=0.06)
