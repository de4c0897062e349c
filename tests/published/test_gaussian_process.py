"""The process against scikit-learn's GaussianProcessRegressor on the same kernel.

Azimuth enters the reference as the point (R cos a, R sin a) on the ring: the distance
of two such points is the chord, and their dot product over R squared the cosine of the
angle between.  A part that does not vary along a coordinate has a length of 1e9 there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from scipy.stats import multivariate_normal
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Kernel, Matern

from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.hyperparameters import MarginalLikelihood
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import observe
from geom.surface.gp.prior import Component, MeltingZone, Prior, default_prior
from geom.surface.rods.errors import rod_noise
from geom.units import Float
from tests.walls import plain_design, rod_readings, worn_readings

FAR = 1e9
#: Heights are told small, so that the reference's dot product sees the ring alone.
FLAT = 1e-9
SMOOTH = {"matern12": 0.5, "matern32": 1.5, "matern52": 2.5}


def features(places: Points2D, radius: float) -> Float:
    a = np.deg2rad(places.azimuth)
    return np.stack(
        [radius * np.cos(a), radius * np.sin(a), FLAT * places.height], axis=1
    )


def reference_kernel(covariance: Covariance) -> Kernel:
    """The same covariance built from the reference library's own kernels."""
    return sum_of(list(reference_parts(covariance)))


def sum_of(kernels: list[Kernel]) -> Kernel:
    total = kernels[0]
    for kernel in kernels[1:]:
        total += kernel
    return total


def reference_parts(covariance: Covariance) -> Iterator[Kernel]:
    for filled in covariance.components:
        component = filled.component
        kernel = ConstantKernel(filled.sd**2)
        if component.kernel_azimuth == "wave":
            assert component.waves == 1
            kernel *= DotProduct(sigma_0=1e-6) * ConstantKernel(
                covariance.prior.radius**-2
            )
        elif component.kernel_azimuth != "same":
            round_it = filled.length_scale_azimuth
            kernel *= Matern(
                [round_it, round_it, FAR], nu=SMOOTH[component.kernel_azimuth]
            )
        if component.kernel_height != "same":
            up = FLAT * filled.length_scale_height
            kernel *= Matern([FAR, FAR, up], nu=SMOOTH[component.kernel_height])
        yield kernel


def likelihood_of_worn_wall() -> MarginalLikelihood:
    design = plain_design()
    readings = worn_readings(design, azimuths=10, heights=7)
    return MarginalLikelihood.of(
        observe(readings, design),
        rod_noise(readings, design, pseudo=np.zeros(len(readings), bool)),
        usual_prior(),
    )


def usual_prior() -> Prior:
    """The parts in use, at the same liveliness everywhere."""
    return replace(lively_prior(), knots=np.zeros(0))


def lively_prior() -> Prior:
    return default_prior(450.0, 100.0, 1400.0)


ZONE = MeltingZone(700.0, 140.0, 210.0, 35.0, 20.0, 0.2, 0.3)


def melting_prior() -> Prior:
    """The parts in use where readings show a melting zone."""
    return default_prior(450.0, 100.0, 1400.0, zone=ZONE)


def reference(likelihood: MarginalLikelihood, theta: Float) -> GaussianProcessRegressor:
    covariance, noise = likelihood.filled(theta)
    model = GaussianProcessRegressor(
        reference_kernel(covariance), alpha=noise.variance, optimizer=None
    )
    places = likelihood.observed.places
    return model.fit(
        features(places, covariance.prior.radius), likelihood.observed.value
    )


@pytest.fixture(scope="module")
def likelihood() -> MarginalLikelihood:
    return likelihood_of_worn_wall()


@pytest.mark.parametrize("shift", [0.0, 0.4, -0.7])
def test_mean_and_sd_agree_with_the_reference_library(
    likelihood: MarginalLikelihood, shift: float
) -> None:
    theta = likelihood.theta_prior[0] + shift
    posterior = ConditionalGP(*likelihood.filled(theta), likelihood.observed)
    height, azimuth = np.linspace(100.0, 1400.0, 23), np.arange(0.0, 360.0, 11.0)
    mean, sd = posterior.on_grid(height, azimuth)
    places = Points2D(np.tile(azimuth, height.size), np.repeat(height, azimuth.size))
    model = reference(likelihood, theta)
    told, told_sd = model.predict(
        features(places, likelihood.prior.radius), return_std=True
    )
    np.testing.assert_allclose(mean.ravel(), told, rtol=0, atol=1e-6)
    np.testing.assert_allclose(sd.ravel(), told_sd, rtol=0, atol=1e-6)


def test_a_wrong_length_is_noticed(likelihood: MarginalLikelihood) -> None:
    theta = likelihood.theta_prior[0]
    mean, _ = ConditionalGP(
        *likelihood.filled(theta + 0.01), likelihood.observed
    ).on_grid(np.array([777.0]), np.array([33.0]))
    model = reference(likelihood, theta)
    place = Points2D(np.array([33.0]), np.array([777.0]))
    told = model.predict(features(place, likelihood.prior.radius))
    assert abs(float(mean[0, 0] - told[0])) > 1e-6


def test_joint_covariance_agrees_with_the_reference_library(
    likelihood: MarginalLikelihood,
) -> None:
    theta = likelihood.theta_prior[0]
    rng = np.random.default_rng(3)
    places = Points2D(rng.uniform(0, 360, 40), rng.uniform(100, 1400, 40))
    _, covariance = ConditionalGP(*likelihood.filled(theta), likelihood.observed).joint(
        places
    )
    _, told = reference(likelihood, theta).predict(
        features(places, likelihood.prior.radius), return_cov=True
    )
    np.testing.assert_allclose(covariance, told, rtol=0, atol=1e-6)


@pytest.mark.parametrize("shift", [0.0, 0.5])
def test_log_marginal_likelihood_agrees(
    likelihood: MarginalLikelihood, shift: float
) -> None:
    theta = likelihood.theta_prior[0] + shift
    value, _ = likelihood.log_marginal_likelihood(theta)
    told = reference(likelihood, theta).log_marginal_likelihood_value_
    assert value == pytest.approx(told, rel=1e-9)


def test_gradient_agrees_with_differences_of_the_reference_likelihood(
    likelihood: MarginalLikelihood,
) -> None:
    theta, step = likelihood.theta_prior[0] + 0.2, 1e-4
    _, gradient = likelihood.log_marginal_likelihood(theta)
    for k, slope in enumerate(gradient):
        ahead, behind = theta.copy(), theta.copy()
        ahead[k] += step
        behind[k] -= step
        told = reference(likelihood, ahead).log_marginal_likelihood_value_
        told -= reference(likelihood, behind).log_marginal_likelihood_value_
        assert slope == pytest.approx(told / (2.0 * step), rel=1e-4, abs=1e-5)


def test_diameters_are_sums_of_two_places_of_the_reference_kernel() -> None:
    design = plain_design()
    azimuth, height = (
        np.array([0.0, 40.0, 95.0, 150.0]),
        np.array([200.0, 400, 600, 800]),
    )
    readings = rod_readings(
        azimuth, height, 900.0 + np.array([10.0, 30, 50, 20]), "diameter", sd=2.0
    )
    observed = observe(readings, design)
    prior = usual_prior()
    covariance = Covariance(prior, prior.median)
    posterior = ConditionalGP(
        covariance,
        rod_noise(readings, design, pseudo=np.zeros(len(readings), bool)),
        observed,
    )
    kernel = reference_kernel(covariance)
    ends = features(observed.places, prior.radius)
    both = np.hstack([np.eye(4), np.eye(4)])
    seen = both @ kernel(ends) @ both.T + 4.0 * np.eye(4)
    target = Points2D(np.array([10.0, 200.0]), np.array([500.0, 700.0]))
    cross = kernel(features(target, prior.radius), ends) @ both.T
    mean, spread = posterior.joint(target)
    told = cross @ np.linalg.solve(seen, observed.value)
    told_spread = kernel(features(target, prior.radius)) - cross @ np.linalg.solve(
        seen, cross.T
    )
    np.testing.assert_allclose(mean, told, rtol=0, atol=1e-6)
    np.testing.assert_allclose(spread, told_spread, rtol=0, atol=1e-6)


def test_every_correlation_on_the_ring_is_positive_definite() -> None:
    from geom.surface.gp.prior import LogNormal

    azimuth = np.arange(72) * 5.0
    for kind in SMOOTH:
        part = Component(
            "p",
            LogNormal(1.0, 1.0),
            kernel_azimuth=kind,
            length_scale_azimuth=LogNormal(600.0, 1.0),
        )
        covariance = Covariance(Prior((part,), 450.0), np.log([1.0, 600.0]))
        places = Points2D(azimuth, np.zeros(72))
        least = np.linalg.eigvalsh(covariance.between(places, places)).min()
        assert least > -1e-10


def liveliness_by_hand(prior: Prior, theta: Float, height: Float) -> Float:
    """Cubic between knots, level at each (Hermite, no slopes); more in the zone.

    In the melting zone it is blended: as much of the wall as the hump is expected to
    take is ``exp(l)`` times as lively, the rest once; l is the last of theta.
    """
    if prior.zone is None:
        at_knots, factor = theta, np.ones_like(height)
    else:
        at_knots, share = theta[:-1], expected_share_by_hand(height)
        factor = (1.0 - share) + share * np.exp(theta[-1])
    at_knots = at_knots[at_knots.size - prior.knots.size :]
    spline = CubicHermiteSpline(prior.knots, at_knots, np.zeros_like(at_knots))
    return np.exp(spline(height)) * factor


def normal_rule(count: int) -> tuple[Float, Float]:
    """Nodes and weights of a mean over a standard normal, exact to 2 count - 1.

    G. H. Golub, J. H. Welsch, "Calculation of Gauss quadrature rules", Mathematics of
    Computation 23 (1969) 221-230: the eigenvalues of the matrix of the recurrence, and
    the squares of the first components of its eigenvectors.
    """
    beside = np.sqrt(np.arange(1.0, count))
    nodes, vectors = np.linalg.eigh(np.diag(beside, 1) + np.diag(beside, -1))
    return nodes, vectors[0] ** 2


def expected_share_by_hand(height: Float, *, places: int = 7, widths: int = 3) -> Float:
    """The hump's mean over its place and its widths, both widths by one deviate."""
    sd = np.array([ZONE.below_sd, ZONE.above_sd])
    return np.sum(
        [
            weight * other * hump_by_hand(height, up=up * ZONE.centre_sd, wider=by * sd)
            for up, weight in zip(*normal_rule(places), strict=True)
            for by, other in zip(*normal_rule(widths), strict=True)
        ],
        axis=0,
    )


def test_expected_share_of_the_melting_zone_is_the_mean_of_humps_drawn() -> None:
    height = np.linspace(100.0, 1400.0, 200)
    told = ZONE.expected_share(height)
    np.testing.assert_allclose(told, expected_share_by_hand(height), atol=1e-12)
    # the rule of seven places and three widths against one of very many
    dense = expected_share_by_hand(height, places=60, widths=60)
    np.testing.assert_allclose(told, dense, atol=2e-3)
    # a crest whose place is open is nowhere sure
    assert told.max() < 1.0 - 0.5 * (ZONE.centre_sd / ZONE.above) ** 2


def hump_by_hand(height: Float, *, up: float = 0.0, wider: Float | None = None):
    """The melting zone's hump; moved up, and stretched below and above."""
    stretch = np.zeros(2) if wider is None else wider
    off = height - ZONE.centre - up
    below, above = np.exp(stretch) * (ZONE.below, ZONE.above)
    return np.exp(-((off / np.where(off < 0.0, below, above)) ** 2))


def changes_by_hand(height: Float) -> list[Float]:
    """What one sd of place and of each width does, by central differences."""
    step = 1e-4
    ways = []
    for up, wider in ((1.0, (0, 0)), (0.0, (1, 0)), (0.0, (0, 1))):
        sd = np.array([ZONE.below_sd, ZONE.above_sd]) * wider * step
        there = hump_by_hand(height, up=up * ZONE.centre_sd * step, wider=sd)
        back = hump_by_hand(height, up=-up * ZONE.centre_sd * step, wider=-sd)
        ways.append(ZONE.depth * (there - back) / (2.0 * step))
    return ways


def patterns_by_hand(part: Component, height: Float) -> Float:
    """A part's patterns at heights times at all others; ones where it has none."""
    if not part.patterns:
        return np.ones((height.size, height.size))
    fields = [np.interp(height, p.height, p.field[:, 0]) for p in part.patterns]
    return np.sum([np.outer(field, field) for field in fields], axis=0)


def test_patterns_of_the_melting_zone_are_its_hump_and_what_changes_it() -> None:
    height = np.linspace(100.0, 1400.0, 200)
    told = {p.name: p.patterns for p in melting_prior().components if p.patterns}
    assert list(told) == ["melting zone", "its place and width"]
    # straight lines 5 mm long leave (5 mm)^2 / 8 times the curvature: up to 4e-4 of it
    hump = told["melting zone"][0].at_heights(height)
    np.testing.assert_allclose(hump, hump_by_hand(height), atol=5e-4)
    for way, mine in zip(
        told["its place and width"], changes_by_hand(height), strict=True
    ):
        # and more at the centre, where the curvature of the ways jumps
        np.testing.assert_allclose(
            way.at_heights(height), mine, atol=1e-2 * np.abs(mine).max()
        )


def lively_reference(covariance: Covariance, places: Points2D) -> Float:
    """Each part from the reference's kernels, the lively ones scaled on both sides."""
    scaled_by_height = liveliness_by_hand(
        covariance.prior, covariance.theta, places.height
    )
    total = np.zeros((len(places), len(places)))
    for part, kernel in zip(
        covariance.prior.components, reference_parts(covariance), strict=True
    ):
        table = kernel(features(places, covariance.prior.radius))
        table = table * patterns_by_hand(part, places.height)
        total += (
            table * np.outer(scaled_by_height, scaled_by_height)
            if part.scaled_by_height
            else table
        )
    return total


PRIORS = [
    pytest.param(lively_prior(), id="no melting zone"),
    pytest.param(melting_prior(), id="melting zone"),
]


def likelihood_of(prior: Prior) -> tuple[MarginalLikelihood, Float]:
    design = plain_design()
    readings = worn_readings(design, azimuths=9, heights=6)
    likelihood = MarginalLikelihood.of(
        observe(readings, design),
        rod_noise(readings, design, pseudo=np.zeros(len(readings), bool)),
        prior,
    )
    middle = likelihood.theta_prior[0]
    theta = middle + np.random.default_rng(2).normal(0.0, 0.4, middle.size)
    return likelihood, theta


@pytest.mark.parametrize("prior", PRIORS)
def test_likelihood_of_a_lively_wall_is_that_of_the_scaled_reference_kernels(
    prior: Prior,
) -> None:
    likelihood, theta = likelihood_of(prior)
    covariance, noise = likelihood.filled(theta)
    seen = lively_reference(covariance, likelihood.observed.places)
    seen += np.diag(noise.variance)
    zero = np.zeros(len(likelihood.observed))
    told = multivariate_normal(zero, seen).logpdf(likelihood.observed.value)
    assert likelihood.log_marginal_likelihood(theta)[0] == pytest.approx(told, rel=1e-9)


@pytest.mark.parametrize("prior", PRIORS)
def test_prediction_of_a_lively_wall_is_that_of_the_scaled_reference_kernels(
    prior: Prior,
) -> None:
    likelihood, theta = likelihood_of(prior)
    covariance, noise = likelihood.filled(theta)
    rng = np.random.default_rng(8)
    n = len(likelihood.observed)
    target = Points2D(rng.uniform(0, 360, 30), rng.uniform(100, 1400, 30))
    every = Points2D(
        np.append(likelihood.observed.places.azimuth, target.azimuth),
        np.append(likelihood.observed.places.height, target.height),
    )
    whole = lively_reference(covariance, every)
    seen, cross = whole[:n, :n] + np.diag(noise.variance), whole[n:, :n]
    process = ConditionalGP(covariance, noise, likelihood.observed)
    mean, spread = process.joint(target)
    np.testing.assert_allclose(
        mean,
        cross @ np.linalg.solve(seen, likelihood.observed.value),
        rtol=0,
        atol=1e-6,
    )
    told = whole[n:, n:] - cross @ np.linalg.solve(seen, cross.T)
    np.testing.assert_allclose(spread, told, rtol=0, atol=1e-6)


@pytest.mark.parametrize("prior", PRIORS)
def test_gradient_of_a_lively_wall_agrees_with_differences(
    prior: Prior,
) -> None:
    likelihood, theta = likelihood_of(prior)
    _, gradient = likelihood.log_posterior(theta)
    for k, slope in enumerate(gradient):
        ahead, behind = theta.copy(), theta.copy()
        ahead[k] += 1e-4
        behind[k] -= 1e-4
        length_scale_height = (
            likelihood.log_posterior(ahead)[0] - likelihood.log_posterior(behind)[0]
        )
        assert slope == pytest.approx(length_scale_height / 2e-4, rel=1e-5, abs=1e-5)
