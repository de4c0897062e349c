"""The fast wall beside the full fit, and beside the textbook's formula."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from geom import reconstruct
from geom.desk.quick_fit import FixedHyperparameters, QuickFit, quick_fit
from geom.desk.session import without
from geom.readings import RodReadings
from geom.surface.gp.conditional import ConditionalGP, net_points
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.observations import observe
from tests.walls import rod_readings, stations, tapered_design, worn

DESIGN = tapered_design()
HEIGHT = np.linspace(120.0, 1380.0, 15)
AZIMUTH = np.arange(24) * 15.0


def read(count: int, *, sd: float = np.nan) -> RodReadings:
    """The first readings of a survey of 96, seeded."""
    azimuth, height = stations(12, 8, 100.0, 1400.0)
    turned = np.argsort(np.tile(np.arange(8), 12), kind="stable")
    order = np.random.default_rng(5).permutation(azimuth.size) if turned.size else []
    error = np.random.default_rng(6).normal(0.0, 2.0, azimuth.size)
    radius = DESIGN.profile.radius_at(height) + worn(azimuth, height) + error
    kept = np.sort(order[:count])
    return rod_readings(azimuth[kept], height[kept], radius[kept], sd=sd, step=1.0)


@pytest.fixture(scope="module")
def full():
    """Surfaces of 84 readings and of all 96."""
    return {count: reconstruct(read(count), DESIGN) for count in (84, 96)}


def test_with_no_reading_more_it_is_the_full_wall(full):
    wall = quick_fit(read(96), FixedHyperparameters.of(full[96].posterior), DESIGN)
    mean, sd = wall.on_grid(HEIGHT, AZIMUTH)
    told, told_sd = full[96].posterior.on_grid(HEIGHT, AZIMUTH)
    # All that differs is the slope of the wall that misplaced readings are told from:
    # the full fit takes it before the last time it learns.
    assert np.abs(mean - told).max() < 0.02 * told_sd.min()
    assert np.abs(sd / told_sd - 1.0).max() < 0.02


def test_it_differs_from_the_full_wall_by_sizes_and_lengths_alone(full):
    """Between quick and full stands what other sizes and lengths make of it."""
    quick = quick_fit(read(96), FixedHyperparameters.of(full[84].posterior), DESIGN)
    mean, sd = quick.on_grid(HEIGHT, AZIMUTH)
    told, told_sd = full[96].posterior.on_grid(HEIGHT, AZIMUTH)
    relearned = quick_fit(read(96), FixedHyperparameters.of(full[96].posterior), DESIGN)
    explained = relearned.on_grid(HEIGHT, AZIMUTH)[0] - mean
    assert np.abs(told - mean - explained).max() < 0.02 * told_sd.min()
    # Twelve readings of 96 move sizes and lengths little: far less than the wall is
    # uncertain by.
    assert np.abs(explained).max() < 0.5 * told_sd.max()
    assert np.sqrt(np.mean((explained / told_sd) ** 2)) < 0.25
    assert np.abs(np.log(sd / told_sd)).max() < 0.35


def test_the_new_readings_are_in_it(full):
    """A spoiled twin: the wall without them is further off."""
    told, _ = full[96].posterior.on_grid(HEIGHT, AZIMUTH)
    fixed = FixedHyperparameters.of(full[84].posterior)
    with_them, _ = quick_fit(read(96), fixed, DESIGN).on_grid(HEIGHT, AZIMUTH)
    without, _ = quick_fit(read(84), fixed, DESIGN).on_grid(HEIGHT, AZIMUTH)
    assert np.abs(with_them - told).max() < 0.5 * np.abs(without - told).max()


def test_it_is_the_textbooks_predictive_mean_and_covariance():
    """Rasmussen and Williams (2006), eq. 2.25 and 2.26, written out with an inverse."""
    readings = read(60, sd=2.0)  # stated on the sheet: no other error
    fixed = FixedHyperparameters.expected(readings, DESIGN)
    mean, sd = quick_fit(readings, fixed, DESIGN).on_grid(HEIGHT, AZIMUTH)
    observed = observe(readings, DESIGN)
    net = net_points(HEIGHT, AZIMUTH)
    own = fixed.covariance.between(observed.places, observed.places)
    inverse = np.linalg.inv(own + 4.0 * np.eye(60))
    cross = fixed.covariance.between(net, observed.places)
    prior = np.diag(fixed.covariance.between(net, net))
    expected = cross @ inverse @ observed.value
    variance = prior - np.einsum("ij,jk,ik->i", cross, inverse, cross)
    assert mean.ravel() == pytest.approx(expected, abs=1e-6)
    assert sd.ravel() == pytest.approx(np.sqrt(variance), abs=1e-5)
    half = replace(readings, value=readings.value - 5.0)
    shifted, _ = quick_fit(half, fixed, DESIGN).on_grid(HEIGHT, AZIMUTH)
    assert np.abs(shifted.ravel() - expected).max() > 1.0


def test_what_is_remembered_is_what_would_be_worked_out(full):
    """Readings come, go and are moved; in between all is handed to another process."""
    fixed = FixedHyperparameters.of(full[84].posterior)
    plain = Covariance(fixed.covariance.prior, fixed.covariance.theta)
    moved = replace(read(96), height=np.minimum(read(96).height + 7.0, 1400.0))
    for readings in (read(60), read(72), read(96), moved, read(66)):
        wall = quick_fit(readings, fixed, DESIGN)
        gp = ConditionalGP(plain, wall.gp.noise, wall.gp.observed)
        assert wall.gp.weights == pytest.approx(gp.weights, rel=1e-9, abs=1e-12)
        expected = gp.on_grid(HEIGHT, AZIMUTH)
        for found, wanted in zip(
            QuickFit(wall.gp, replace(fixed, posterior=None)).on_grid(HEIGHT, AZIMUTH),
            expected,
            strict=True,
        ):
            assert found == pytest.approx(wanted, abs=1e-9)
        fresh = FixedHyperparameters.of(full[84].posterior)
        again = quick_fit(readings, fresh, DESIGN).on_grid(HEIGHT, AZIMUTH)
        for found, wanted in zip(wall.on_grid(HEIGHT, AZIMUTH), again, strict=True):
            assert found == pytest.approx(wanted, abs=1e-9)
        fixed = pickle.loads(pickle.dumps(fixed))


def test_learned_errors_are_held_too(full):
    posterior = full[84].posterior
    fixed = FixedHyperparameters.of(posterior)
    told = {source.name: source.sd for source in posterior.noise.learned}
    assert set(told) == {"rod repeatability", "rod centring"}
    noise = quick_fit(read(96), fixed, DESIGN).gp.noise
    assert {s.name: s.sd for s in noise.learned} == pytest.approx(told)
    assert len(noise.variance) == 96


def test_before_any_fit_it_is_that_of_the_expected_sizes(full):
    readings = read(20)
    fixed = FixedHyperparameters.expected(readings, DESIGN)
    assert isinstance(fixed.covariance, Covariance)
    assert fixed.covariance.theta == pytest.approx(fixed.covariance.prior.median)
    wall = quick_fit(readings, fixed, DESIGN)
    assert isinstance(wall.gp, ConditionalGP)
    mean, sd = wall.on_grid(HEIGHT, AZIMUTH)
    truth = worn(AZIMUTH[None, :], HEIGHT[:, None])
    assert np.sqrt(np.mean(((mean - truth) / sd) ** 2)) < 2.0


def test_some_readings_can_be_left_out():
    readings = read(10)
    kept = without(readings, [k == 3 for k in range(10)])
    assert kept.place == readings.place[:3] + readings.place[4:]
    assert kept.value.tolist() == np.delete(readings.value, 3).tolist()
