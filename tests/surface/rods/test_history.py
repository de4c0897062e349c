"""What past surveys teach: patterns, shrinkage, help where due and none where not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.errors import InputError
from geom.readings import PastSurvey, RodReadings
from geom.surface import RadialSurface, learn_prior, make_grid, reconstruct
from geom.surface.gp.conditional import net_points
from geom.surface.gp.covariance import Covariance, GridCrossCovariance
from geom.surface.gp.fields import Pattern
from geom.surface.gp.kernels import PairDistances, Points2D
from geom.surface.gp.prior import Prior, default_prior
from geom.surface.radial import PastSurveys
from geom.surface.rods.history import (
    PastPrior,
    align,
    prior_with_history,
    shrunk_sd,
    weighted_mean,
)
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design()
HEIGHT = np.arange(100.0, 1401.0, 10.0)
AZIMUTH = np.arange(120) * 3.0


def wall(azimuth: Float, height: Float, *, heat: int = 0) -> Float:
    """The worn wall with marks of five tuyeres, deeper and higher in some heats."""
    deep, up = ((1.0, 0.0), (1.15, 15.0), (0.9, -10.0), (1.05, 5.0))[heat]
    mark = np.exp(-(((height - up - 620.0) / 120.0) ** 2))
    jets = 12.0 * np.exp(4.0 * (np.cos(np.deg2rad(5.0 * azimuth - 40.0)) - 1.0))
    return np.asarray(deep * (worn(azimuth, height - up) + mark * jets))


def elsewhere(azimuth: Float, height: Float) -> Float:
    """Wear of an unlike furnace: high up, on the other side."""
    burn = 45.0 * np.exp(-(((height - 1150.0) / 120.0) ** 2))
    return np.asarray(burn * (1.0 + 0.6 * np.cos(np.deg2rad(azimuth - 240.0))))


def as_survey(field: Float, sd: float = 2.0, *, low: int = 0) -> PastSurvey:
    return PastSurvey(HEIGHT[low:], AZIMUTH, field[low:], np.full_like(field[low:], sd))


def nodes() -> tuple[Float, Float]:
    height, azimuth = np.meshgrid(HEIGHT, AZIMUTH, indexing="ij")
    return azimuth, height


def past(count: int = 3) -> PastPrior:
    azimuth, height = nodes()
    heats = [wall(azimuth, height, heat=k) for k in range(1, count + 1)]
    return learn_prior([as_survey(heat) for heat in heats], DESIGN)


def few_readings(noise: float = 2.0) -> RodReadings:
    azimuth, height = stations(8, 6, 100.0, 1400.0)
    error = np.random.default_rng(3).normal(0.0, noise, azimuth.size)
    radius = DESIGN.profile.radius_at(height) + wall(azimuth, height) + error
    return rod_readings(azimuth, height, radius, sd=noise)


def fitted(taught: PastPrior | None = None) -> RadialSurface:
    return reconstruct(few_readings(), DESIGN, past=taught, spacing=25.0, columns=60)


def error(surface: RadialSurface) -> Float:
    height, azimuth = np.meshgrid(surface.height, surface.azimuth, indexing="ij")
    return (surface.cutback - wall(azimuth, height))[surface.grid.surveyed]


def rms(values: Float) -> float:
    return float(np.sqrt(np.mean(values**2)))


# --- patterns ------------------------------------------------------------------------


def test_pattern_is_exact_at_its_nodes_and_straight_between() -> None:
    field = np.random.default_rng(0).normal(size=(4, 8))
    pattern = Pattern(np.array([0.0, 10.0, 20.0, 30.0]), field)
    np.testing.assert_allclose(
        pattern.on_grid(pattern.height, np.arange(8) * 45.0), field, atol=1e-12
    )
    half = pattern.at(np.array([337.5]), np.array([5.0]))
    corners = field[0, 7] + field[0, 0] + field[1, 7] + field[1, 0]
    assert half[0] == pytest.approx(corners / 4.0)


def test_pattern_is_the_same_place_by_place_and_on_a_grid() -> None:
    pattern = past(1).mean
    height, azimuth = np.array([20.0, 333.3, 1500.0]), np.array([-3.0, 0.4, 359.7])
    on_grid = pattern.on_grid(height, azimuth)
    told = net_points(height, azimuth)
    np.testing.assert_allclose(pattern.at(told.azimuth, told.height), on_grid.ravel())


def test_pattern_dies_away_beyond_what_was_surveyed() -> None:
    pattern = Pattern(np.array([0.0, 10.0]), np.full((2, 8), 5.0))
    # exp(-150 / 150) of the edge's value
    assert pattern.at(np.zeros(1), np.array([160.0]))[0] == pytest.approx(5.0 / np.e)


def test_moved_pattern_is_found_that_much_higher() -> None:
    pattern = past(1).mean
    azimuth, height = np.array([10.0, 200.0]), np.array([600.0, 900.0])
    moved = pattern.moved(30.0)
    np.testing.assert_allclose(
        moved.at(azimuth, height + 30.0), pattern.at(azimuth, height), atol=0.05
    )
    assert np.abs(moved.at(azimuth, height) - pattern.at(azimuth, height)).max() > 1.0


def patterned() -> Covariance:
    taught = past(2)
    whole = default_prior(450.0, 100.0, 1400.0)
    prior = replace(whole, components=taught.components(450.0) + whole.components)
    theta = prior.median + 0.2 * np.random.default_rng(1).normal(size=prior.median.size)
    return Covariance(prior, theta)


def test_every_way_to_a_patterned_covariance_gives_the_same() -> None:
    covariance = patterned()
    left = Points2D(np.array([3.0, 181.0, 290.0]), np.array([150.0, 640.0, 1100.0]))
    height, azimuth = np.array([200.0, 650.0, 900.0]), np.array([0.0, 91.0, 275.0])
    net = net_points(height, azimuth)
    table = covariance.between(left, net)
    np.testing.assert_allclose(
        GridCrossCovariance(covariance, left, azimuth).rows(height).reshape(3, -1),
        table,
    )
    np.testing.assert_allclose(
        covariance.with_gradient(PairDistances(left, net))[0], table
    )
    weight = np.array([0.3, -1.0, 2.0])
    np.testing.assert_allclose(
        GridCrossCovariance(covariance, left, azimuth)
        .weighted_sum(weight, height)
        .ravel(),
        weight @ table,
    )
    np.testing.assert_allclose(
        covariance.variance(height, azimuth).ravel(),
        np.diag(covariance.between(net, net)),
    )


def test_gradient_of_a_patterned_covariance_agrees_with_differences() -> None:
    covariance = patterned()
    places = Points2D(np.array([3.0, 181.0, 290.0]), np.array([150.0, 640.0, 1100.0]))
    distances = PairDistances(places, places)
    pull = np.random.default_rng(2).normal(size=(3, 3))
    pull += pull.T
    slopes = covariance.with_gradient(distances)[1](pull)
    for k in range(covariance.theta.size):
        step = np.zeros_like(covariance.theta)
        step[k] = 1e-5
        up, down = (
            replace(covariance, theta=covariance.theta + sign * step).with_gradient(
                distances
            )
            for sign in (1.0, -1.0)
        )
        differed = np.vdot(pull, up[0] - down[0]) / 2e-5
        # central differences are good to about 1e-9 of the covariance, 1e3 mm2
        assert slopes[k] == pytest.approx(differed, rel=1e-5, abs=1e-3)


# --- what is learned -----------------------------------------------------------------


def test_a_variance_from_two_values_is_mostly_what_was_expected() -> None:
    # (4 x 2^2 + (1 - 2)^2 + (3 - 2)^2) / (4 + 2 - 1), by hand
    assert shrunk_sd(np.array([1.0, 3.0]), 2.0) == pytest.approx(np.sqrt(18.0 / 5.0))
    assert shrunk_sd(np.array([7.0]), 2.0) == 2.0
    many = np.random.default_rng(0).normal(0.0, 9.0, 4000)
    assert shrunk_sd(many, 2.0) == pytest.approx(9.0, rel=0.05)


def test_heats_that_ride_higher_and_lower_are_laid_over_each_other() -> None:
    azimuth, height = nodes()
    moved = np.stack([elsewhere(azimuth, height - up) for up in (-20.0, 0.0, 35.0)])
    shifts = align(moved, HEIGHT)
    # tried in steps of 5 mm, and far moves are thought a little less likely
    np.testing.assert_allclose(shifts - shifts.mean(), [-25.0, -5.0, 30.0], atol=6.0)


def test_depth_and_ride_of_the_heats_are_learned() -> None:
    azimuth, height = nodes()
    alike = learn_prior([as_survey(wall(azimuth, height))] * 3, DESIGN)
    unlike = learn_prior(
        [as_survey(deep * wall(azimuth, height)) for deep in (0.4, 1.0, 1.6)], DESIGN
    )
    assert alike.scale_sd < 0.2 < unlike.scale_sd
    assert alike.residual_sd < 5.0 < unlike.residual_sd
    assert alike.shift < 20.0
    assert past(3).shift > alike.shift


def test_a_survey_that_knew_a_place_better_counts_for_more_there() -> None:
    value = np.stack([np.zeros((3, 8)), np.full((3, 8), 10.0)])
    sd = np.stack([np.full((3, 8), 3.0), np.full((3, 8), 1.0)])
    # weights 1 / (9 + 1) and 1 / (1 + 1)
    np.testing.assert_allclose(weighted_mean(value, sd, 1.0), 5.0 / 0.6)


def test_where_one_survey_alone_was_the_mean_is_its_own() -> None:
    azimuth, height = nodes()
    field = wall(azimuth, height)
    both = learn_prior([as_survey(field), as_survey(field, low=60)], DESIGN)
    alone = learn_prior([as_survey(field)], DESIGN)
    there = (AZIMUTH, np.full(AZIMUTH.size, 400.0))
    np.testing.assert_allclose(both.mean.at(*there), alone.mean.at(*there), atol=0.3)


def test_order_of_surveys_does_not_matter() -> None:
    azimuth, height = nodes()
    heats = [as_survey(wall(azimuth, height, heat=k)) for k in (1, 2, 3)]
    one, other = learn_prior(heats, DESIGN), learn_prior(heats[::-1], DESIGN)
    np.testing.assert_allclose(one.mean.field, other.mean.field, atol=1e-9)
    assert (one.shift, one.scale_sd) == pytest.approx((other.shift, other.scale_sd))


def test_surfaces_teach_as_surveys_read_from_files_do() -> None:
    surface = fitted()
    rows = surface.grid.surveyed_rows
    filed = PastSurvey(
        surface.height[rows],
        surface.azimuth,
        surface.cutback[rows],
        surface.radius_sd[rows],
    )
    one, other = learn_prior([surface], DESIGN), learn_prior([filed], DESIGN)
    np.testing.assert_array_equal(one.mean.field, other.mean.field)


def test_nothing_to_learn_from_and_another_drawing_are_refused() -> None:
    with pytest.raises(InputError, match="no past survey"):
        learn_prior([], DESIGN)
    surface = fitted()
    drawn = surface.grid.design_radius + 5.0
    other = replace(surface, grid=replace(surface.grid, design_radius=drawn))
    with pytest.raises(InputError, match="another drawing"):
        learn_prior([other], DESIGN)


# --- what it is worth ----------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 2, 3])
def test_past_surveys_of_the_same_furnace_help_and_the_sd_stays_true(
    count: int,
) -> None:
    plain, taught = fitted(), fitted(past(count))
    assert rms(error(taught)) < 0.75 * rms(error(plain))
    inside = np.abs(error(taught)) < 1.96 * taught.radius_sd[taught.grid.surveyed]
    assert inside.mean() > 0.85
    assert taught.diagnostics == (PastSurveys(count, used=True),)


def test_a_past_unlike_this_wall_is_not_used_and_does_no_harm() -> None:
    azimuth, height = nodes()
    stranger = learn_prior([as_survey(elsewhere(azimuth, height))] * 2, DESIGN)
    plain, misled = fitted(), fitted(stranger)
    np.testing.assert_array_equal(plain.radius, misled.radius)
    assert misled.diagnostics == (PastSurveys(2, used=False),)


def test_a_past_without_wear_teaches_nothing() -> None:
    azimuth, _ = nodes()
    flat = learn_prior([as_survey(np.zeros_like(azimuth))], DESIGN)
    np.testing.assert_array_equal(fitted(flat).radius, fitted().radius)


def ride_of(prior: Prior) -> float:
    """Height of the deepest ring of the pattern in a prior, mm."""
    pattern = prior.components[0].patterns[0]
    return float(pattern.height[np.argmax(pattern.field[:, 0])])


def test_pattern_is_laid_where_the_readings_have_it_in_spite_of_a_slip() -> None:
    azimuth, height = stations(8, 14, 100.0, 1400.0)
    moved = DESIGN.profile.radius_at(height) + elsewhere(azimuth, height + 35.0)
    slipped = moved.copy()
    slipped[40] += 254.0
    prior = default_prior(450.0, 100.0, 1400.0)
    taught = learn_prior([as_survey(elsewhere(*nodes()))], DESIGN)
    for radius in (moved, slipped):
        readings = rod_readings(azimuth, height, radius, sd=2.0)
        now, used = prior_with_history(prior, taught, readings, DESIGN)
        assert used
        before = ride_of(replace(prior, components=taught.components(450.0)))
        # tried in steps of 5 mm on rows of 10; far moves are thought less likely
        assert ride_of(now) - before == pytest.approx(-35.0, abs=15.0)


def test_grid_reaches_beyond_what_the_past_saw() -> None:
    azimuth, height = nodes()
    part = as_survey(wall(azimuth, height, heat=1), low=50)
    surface = fitted(learn_prior([part], DESIGN))
    rows = surface.grid.surveyed_rows
    assert surface.height[rows].min() < part.height[0]
    assert np.isfinite(surface.radius[rows]).all()
    assert make_grid(DESIGN, surveyed=(100.0, 1400.0)).surveyed.any()
