"""Straight lines and robust fits: against statsmodels, closed forms, refusals."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from geom import InputError
from geom.stats.lines import StraightLine, fit_lines
from geom.stats.robust import TUNING, RobustFit, robust_fit
from geom.units import Float


def drawn(n: int = 12, series: int = 4, *, seed: int = 1) -> tuple[Float, Float]:
    """Lines with noise; x (n,), y (n, series)."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 30.0, n))
    slope = rng.normal(2.0, 0.5, series)
    return x, 5.0 + x[:, None] * slope + rng.normal(0.0, 2.0, (n, series))


def correlated(n: int) -> Float:
    """Errors of neighbours alike, growing along the series."""
    k = np.arange(n)
    sd = 1.0 + k / 4.0
    return np.asarray(0.6 ** np.abs(k[:, None] - k) * np.outer(sd, sd))


def sds(line: StraightLine, i: int) -> Float:
    return np.sqrt(np.diag(line.covariance[i]))


# --- generalised least squares ------------------------------------------------------


@pytest.mark.parametrize("scaled", [False, True])
def test_lines_with_correlated_errors_are_those_of_statsmodels(scaled) -> None:
    x, y = drawn()
    table = correlated(x.size)
    line = fit_lines(x, y, covariance=table, from_residuals=scaled)
    for i in range(y.shape[1]):
        peer = sm.GLS(y[:, i], sm.add_constant(x), sigma=table).fit(
            **({} if scaled else {"cov_type": "fixed scale"})
        )
        found = [line.intercept[i], line.slope[i]]
        np.testing.assert_allclose(found, peer.params, rtol=1e-9)
        np.testing.assert_allclose(sds(line, i), peer.bse, rtol=1e-9)
    plain = fit_lines(x, y, variance=np.diag(table))  # the correlation left out
    assert not np.allclose(plain.slope, line.slope, rtol=1e-3)
    assert not np.allclose(sds(plain, 0), sds(line, 0), rtol=0.05)


def test_a_diagonal_covariance_is_the_variances() -> None:
    x, y = drawn()
    own = np.diag(correlated(x.size))
    table = fit_lines(x, y, covariance=np.diag(own))
    plain = fit_lines(x, y, variance=own)
    np.testing.assert_allclose(table.covariance, plain.covariance, rtol=1e-10)
    np.testing.assert_allclose(table.intercept, plain.intercept, rtol=1e-9)


def test_what_is_missing_is_as_if_it_had_never_been() -> None:
    x, y = drawn(series=1)
    table = correlated(x.size)
    gone = y.copy()
    gone[[2, 7]] = np.nan
    kept = np.delete(np.arange(x.size), [2, 7])
    line = fit_lines(x, gone, covariance=table)
    fewer = fit_lines(x[kept], y[kept], covariance=table[np.ix_(kept, kept)])
    np.testing.assert_allclose(line.covariance, fewer.covariance, rtol=1e-10)
    assert line.chi_square[0] == pytest.approx(fewer.chi_square[0], rel=1e-10)
    assert line.freedom[0] == 8.0
    assert line.slope[0] != pytest.approx(fit_lines(x, y, covariance=table).slope[0])


def test_many_series_are_fitted_as_each_alone() -> None:
    x, y = drawn(series=5)
    every = np.random.default_rng(3).uniform(0.5, 4.0, y.shape)
    together = fit_lines(x, y, variance=every)
    for i in range(5):
        alone = fit_lines(x, y[:, i], variance=every[:, i])
        assert together.slope[i] == pytest.approx(alone.slope[0], rel=1e-12)
        assert together.variance_at(3.0)[i] == pytest.approx(alone.variance_at(3.0)[0])


def test_a_line_is_where_it_is_read_and_reached_where_it_is() -> None:
    x, y = drawn()
    line = fit_lines(x, y, variance=np.ones(x.size))
    at, sd = line.reaches(line.at(17.0), 0.0)
    np.testing.assert_allclose(at, 17.0, rtol=1e-12)
    np.testing.assert_allclose(
        sd, np.sqrt(line.variance_at(17.0)) / np.abs(line.slope), rtol=1e-12
    )
    surer = fit_lines(x, y, variance=np.full(x.size, 0.25)).reaches(line.at(17.0))[1]
    np.testing.assert_allclose(surer, 0.5 * sd, rtol=1e-9)


def test_two_points_are_met_and_leave_no_scale() -> None:
    line = fit_lines([1.0, 3.0], [4.0, 10.0])
    assert [line.intercept[0], line.slope[0]] == pytest.approx([1.0, 3.0])
    assert np.isnan(line.scale[0])
    assert np.isnan(line.slope_variance[0])


def test_points_at_one_x_are_no_line() -> None:
    line = fit_lines([2.0, 2.0, 2.0], [1.0, 2.0, 3.0], variance=np.ones(3))
    assert np.isnan(line.slope[0])


def test_the_stated_covariance_is_the_scatter_of_repeated_series() -> None:
    x, _ = drawn()
    table = correlated(x.size)
    rng = np.random.default_rng(9)
    y = (
        5.0
        + 2.0 * x[:, None]
        + np.linalg.cholesky(table) @ rng.normal(size=(12, 20000))
    )
    line = fit_lines(x, y, covariance=table)
    scatter = np.cov(np.stack([line.intercept, line.slope]))
    # variances of 20 000 draws are known to sqrt(2 / 20000) = 1 %
    np.testing.assert_allclose(scatter, line.covariance[0], rtol=0.04)
    assert line.chi_square.mean() == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"y": [1.0, 2.0]}, "x of shape"),
        ({"variance": [1.0, 1.0]}, "variances of shape"),
        ({"variance": [1.0, 0.0, 1.0]}, "not above zero"),
        ({"covariance": np.eye(2)}, "a covariance of shape"),
        ({"covariance": np.ones((3, 3))}, "not positive definite"),
    ],
)
def test_what_cannot_be_is_refused_with_its_cure(told, says) -> None:
    known = {"x": [0.0, 1.0, 2.0], "y": [0.0, 1.0, 2.1]} | told
    with pytest.raises(InputError, match=says) as refused:
        fit_lines(known.pop("x"), known.pop("y"), **known)
    assert refused.value.cure


# --- robust fits --------------------------------------------------------------------


def spoiled(seed: int = 4) -> tuple[Float, Float]:
    """A line of 15 points of which two are out of line; x and y (15,)."""
    rng = np.random.default_rng(seed)
    x = np.arange(15.0)
    y = 2.0 + 0.5 * x + rng.normal(0.0, 1.0, 15)
    y[[3, 11]] += [9.0, -6.0]
    return x, y


def fitted(x: Float, y: Float, **told: object) -> RobustFit:
    columns = np.stack([np.ones_like(x), x])[:, :, None]
    return robust_fit(columns, y[:, None], np.isfinite(y)[:, None], **told)  # type: ignore[arg-type]


@pytest.mark.parametrize("how", ["median", "proposal 2"])
def test_robust_lines_are_those_of_statsmodels(how) -> None:
    x, y = spoiled()
    scale = sm.robust.scale.HuberScale(d=TUNING, tol=1e-14, maxiter=500)
    peer = sm.RLM(y, sm.add_constant(x), M=sm.robust.norms.HuberT(TUNING)).fit(
        scale_est="mad" if how == "median" else scale, tol=1e-13, maxiter=500
    )
    fit = fitted(x, y, scale=how)
    np.testing.assert_allclose(fit.unknowns[:, 0], peer.params, rtol=1e-7)
    assert fit.scale[0] == pytest.approx(peer.scale, rel=1e-7)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance[0])), peer.bse, rtol=1e-6)
    np.testing.assert_allclose(fit.weight[:, 0], peer.weights, rtol=1e-6)
    plain = fit_lines(x, y)
    assert not np.allclose(fit.unknowns[1], plain.slope, rtol=0.02)


def test_least_squares_on_what_was_pulled_in_finds_the_same_line() -> None:
    x, y = spoiled()
    fit = fitted(x, y)
    line = fit_lines(x, fit.pulled[:, 0])
    assert line.slope[0] == pytest.approx(fit.unknowns[1, 0], rel=1e-8)
    np.testing.assert_allclose(
        fit.loss[0] * line.covariance[0], fit.covariance[0], rtol=1e-7
    )
    assert fit.weight[3, 0] < 0.5


def test_how_far_out_an_observation_lies_does_not_matter_in_the_end() -> None:
    x, y = spoiled()
    slopes, plain = [], []
    for far in (50.0, 5000.0):
        y[3] = far
        slopes.append(float(fitted(x, y).unknowns[1, 0]))
        plain.append(float(fit_lines(x, y).slope[0]))
    assert abs(slopes[1] - slopes[0]) < 0.05
    assert abs(plain[1] - plain[0]) > 50.0


def test_three_observations_of_one_rate_are_a_plain_mean() -> None:
    y = np.array([[5.0], [5.2], [90.0]])
    fit = robust_fit(np.ones((1, 3, 1)), y, np.ones((3, 1), dtype=bool))
    assert fit.unknowns[0, 0] == pytest.approx(y.mean(), rel=1e-12)
    assert (fit.weight == 1.0).all()
    square = y.var(ddof=1) / 3.0
    assert fit.covariance[0, 0, 0] == pytest.approx(square, rel=1e-12)


def test_robust_fits_of_no_observation_say_nothing() -> None:
    fit = robust_fit(
        np.ones((1, 4, 2)), np.full((4, 2), np.nan), np.zeros((4, 2), bool)
    )
    assert np.isnan(fit.unknowns).all()
    assert (fit.weight == 0.0).all()


def test_of_normal_errors_little_is_lost_and_the_covariance_is_true() -> None:
    rng = np.random.default_rng(6)
    y = rng.normal(0.0, 1.0, (20, 8000))
    fit = robust_fit(np.ones((1, 20, 8000)), y, np.ones(y.shape, dtype=bool))
    spread = float(fit.unknowns[0].var())
    # 95 % efficiency (Huber 1981); 8000 draws tell a variance to 1.6 %
    assert spread == pytest.approx(1.0 / 20.0 / 0.95, rel=0.05)
    assert fit.covariance[:, 0, 0].mean() == pytest.approx(spread, rel=0.06)
