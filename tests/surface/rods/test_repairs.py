"""A wall whose repaired zones end in steps, fitted with and without knowing of them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from geom.compare.nodes import make_nodes
from geom.readings.surveys import SurveyBefore
from geom.repair.acceptance.judge import RepairedWall
from geom.surface import RadialSurface, reconstruct
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.hyperparameters import MarginalLikelihood
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import observe
from geom.surface.gp.prior import Prior, default_prior
from geom.surface.rods.errors import rod_noise, with_repaired_zones, zone_patterns
from geom.units import Bool, Float
from tests.repair.repairs import DESIGN, as_before, burnt, read, survey

#: How short of the drawing the three zones were left, mm.
SHORT = (0.0, 11.0, 7.0)
#: Azimuths and heights of the zones: upright edges, a station or four in each.
BOXES = (
    (20.0, 80.0, 380.0, 640.0),
    (140.0, 200.0, 500.0, 760.0),
    (260.0, 300.0, 620.0, 900.0),
)


def box(number: int, azimuth: Float, height: Float) -> Bool:
    left, right, low, high = BOXES[number]
    return (azimuth > left) & (azimuth < right) & (height > low) & (height < high)


def wall(azimuth: Float, height: Float) -> Float:
    """Sound to 2 mm, and the zones each short by its own error."""
    rest = 1.0 + np.sin(np.deg2rad(azimuth) + height / 300.0)
    for number, error in enumerate(SHORT):
        rest = np.where(box(number, azimuth, height), error, rest)
    return np.asarray(rest)


@cache
def before() -> SurveyBefore:
    """A survey that found the three zones and nothing else."""
    surface, findings = survey(read(burnt, seed=11))
    found = as_before(surface, findings)
    azimuth, height = found.survey.azimuth[None, :], found.survey.height[:, None]
    zone = np.zeros(found.zone.shape, dtype=np.int64)
    for number in range(len(BOXES)):
        zone[box(number, azimuth, height)] = number + 1
    some = found.zones[0]
    zones = tuple(replace(some, id=number + 1) for number in range(len(BOXES)))
    return replace(found, zone=zone, zones=zones)


@cache
def refit(*, known: bool, seed: int) -> RadialSurface:
    readings = read(wall, azimuths=12, heights=9, seed=seed)
    repaired = before() if known else None
    return reconstruct(readings, DESIGN, repaired=repaired, spacing=25.0, columns=120)


def off_by(surface: RadialSurface, number: int) -> tuple[float, float]:
    """Error of a zone's mean deviation, mm, and the same in its stated sd."""
    azimuth, height = surface.azimuth[None, :], surface.height[:, None]
    mask = box(number, azimuth, height)
    face = RepairedWall(surface, make_nodes(surface), 6.0).check(mask)
    assert face.deviation is not None
    error = face.deviation.value - SHORT[number]
    return error, error / face.deviation.sd


@pytest.mark.parametrize("seed", [1, 2])
def test_zones_that_end_in_steps_are_known_as_well_as_is_stated(seed: int) -> None:
    known = [off_by(refit(known=True, seed=seed), k) for k in range(3)]
    smooth = [off_by(refit(known=False, seed=seed), k) for k in range(3)]
    assert max(abs(error) for error, _ in known) < 2.5
    assert max(abs(z) for _, z in known) < 2.0
    # a wall smooth all over pulls the patches towards what lies beside them
    assert max(abs(error) for error, _ in smooth) > 2.5


def test_a_zone_errs_as_its_own_cells_do_and_no_cell_beside_it() -> None:
    """Against the joint covariance of every cell of the zone, summed one by one."""
    surface = refit(known=True, seed=1)
    grid = surface.grid
    now = RepairedWall(surface, make_nodes(surface), 6.0)
    for number in range(len(BOXES)):
        mask = box(number, grid.azimuth[None, :], grid.height[:, None])
        seen = mask & now.reached_within(mask)
        net = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
        _, covariance = surface.posterior.joint(
            grid.height[net[0]], grid.azimuth[net[1]]
        )
        part = np.where(seen, grid.face_area, 0.0)[np.ix_(*net)].ravel()
        some = np.flatnonzero(part)
        part = part[some] / part.sum()
        exact = float(np.sqrt(part @ covariance[np.ix_(some, some)] @ part))
        face = now.check(mask, repaired=True)
        assert face.deviation is not None
        # from the nodes of all the wall, 60 round and 45 mm apart, up to 13 % less
        assert face.deviation.sd == pytest.approx(exact, rel=0.03)


#: Two places in the first zone, one in the second, two beside them.
PLACES = Points2D(
    np.array([50.0, 60.0, 170.0, 100.0, 50.0]),
    np.array([500.0, 560.0, 600.0, 500.0, 900.0]),
)


def prior_covariance(prior: Prior) -> Float:
    return Covariance(prior, prior.median).between(PLACES, PLACES)


def test_nothing_beside_a_zone_tells_of_it_and_beside_it_the_wall_is_as_it_was() -> (
    None
):
    plain = default_prior(450.0, 100.0, 1400.0)
    taught = prior_covariance(with_repaired_zones(plain, before()))
    as_it_was = prior_covariance(plain)
    assert taught[:3, 3:] == pytest.approx(0.0, abs=1e-12)
    assert taught[3:, 3:] == pytest.approx(as_it_was[3:, 3:], rel=1e-12)
    # offsets of the zone and of all, and unevenness; of two zones what all share
    two, uneven = ASSUMED.offset_sd**2, ASSUMED.uneven_sd**2
    assert np.diag(taught)[:3] == pytest.approx(2.0 * two + uneven, rel=1e-12)
    assert taught[0, 2] == pytest.approx(two, rel=1e-12)
    assert 2.0 * two < taught[0, 1] < 2.0 * two + uneven


def test_choices_of_sizes_are_averaged_on_either_side_of_a_step_by_itself() -> None:
    """Against every choice worked out at the very places, a finger off the edge."""
    posterior = refit(known=True, seed=1).posterior.fitted
    height, azimuth = (
        np.array([365.0, 395.0, 625.0, 655.0]),
        np.array([18.0, 22.0, 50.0]),
    )
    walls = [sample.on_grid(height, azimuth) for sample in posterior.samples]
    means, sds = (np.stack(part) for part in zip(*walls, strict=True))
    mean, sd = posterior.on_grid(height, azimuth)
    assert mean == pytest.approx(means.mean(axis=0), abs=1e-9)
    exact = np.sqrt((sds**2).mean(axis=0) + means.var(axis=0))
    assert sd == pytest.approx(exact, rel=1e-9)


def test_sizes_of_a_repair_are_learned_by_the_slope_of_the_likelihood() -> None:
    readings = read(wall, azimuths=12, heights=9, seed=3)
    prior = with_repaired_zones(default_prior(450.0, 100.0, 1400.0), before())
    noise = rod_noise(readings, DESIGN, pseudo=np.zeros(len(readings), dtype=bool))
    likelihood = MarginalLikelihood.of(observe(readings, DESIGN), noise, prior)
    theta = likelihood.theta_prior[0]
    _, slope = likelihood.log_marginal_likelihood(theta)
    for k in range(theta.size):
        step = np.where(np.arange(theta.size) == k, 1e-4, 0.0)
        ahead, behind = (
            likelihood.log_marginal_likelihood(theta + way * step)[0]
            for way in (1.0, -1.0)
        )
        assert slope[k] == pytest.approx((ahead - behind) / 2e-4, abs=2e-4, rel=1e-4)


def test_a_hole_left_in_one_zone_is_no_measure_of_the_others() -> None:
    """The same wall, one reading of the first zone in a hole of 40 mm."""
    sound = read(wall, azimuths=24, heights=14, seed=4)
    struck = np.flatnonzero(box(0, sound.azimuth, sound.height))[:1]
    value = sound.value.copy()
    value[struck] += 40.0
    sds = []
    for readings in (sound, replace(sound, value=value)):
        surface = reconstruct(
            readings, DESIGN, repaired=before(), spacing=25.0, columns=120
        )
        now = RepairedWall(surface, make_nodes(surface), 6.0)
        azimuth, height = surface.azimuth[None, :], surface.height[:, None]
        faces = [now.check(box(k, azimuth, height), repaired=True) for k in range(3)]
        assert all(face.deviation is not None for face in faces)
        sds.append([face.deviation.sd for face in faces if face.deviation])
    (first, *others), (struck_first, *beside) = sds
    assert struck_first > 1.5 * first
    assert beside == pytest.approx(others, rel=0.2)


def test_each_zone_steps_by_itself_and_all_of_them_together() -> None:
    plain = default_prior(450.0, 100.0, 1400.0)
    taught = with_repaired_zones(plain, before())
    *uneven, own, together = taught.components[-5:]
    assert tuple(part.patterns[0] for part in uneven) == own.patterns
    assert all(len(part.patterns) == 1 for part in uneven)
    assert len(own.patterns) == 3
    assert len(together.patterns) == 1
    place = Points2D(np.array([50.0, 50.0, 170.0]), np.array([500.0, 900.0, 600.0]))
    at = np.stack([p.at(place.azimuth, place.height) for p in own.patterns])
    # in the first zone, in none, in the second
    assert at == pytest.approx(np.array([[1.0, 0, 0], [0, 0, 1.0], [0, 0, 0]]))
    assert together.patterns[0].at(place.azimuth, place.height) == pytest.approx(
        [1.0, 0.0, 1.0]
    )


def test_a_survey_that_found_no_zones_changes_nothing() -> None:
    plain = default_prior(450.0, 100.0, 1400.0)
    none = replace(before(), zone=np.zeros_like(before().zone), zones=())
    assert zone_patterns(none) == ()
    assert with_repaired_zones(plain, none) is plain


def test_rings_together_are_known_as_each_alone() -> None:
    azimuth, height = np.arange(24) * 15.0, np.array([450.0, 700.0, 850.0])
    for known in (False, True):
        posterior = refit(known=known, seed=3).posterior.fitted
        mean, covariance = posterior.rings(height, azimuth)
        for here, *ring in zip(height, mean, covariance, strict=True):
            alone = posterior.joint(np.array([here]), azimuth)
            np.testing.assert_allclose(ring[0], alone[0], atol=1e-9)
            np.testing.assert_allclose(ring[1], alone[1], atol=1e-9)


def test_a_small_net_is_known_as_the_same_nodes_of_a_large_one() -> None:
    azimuth, height = np.arange(24) * 15.0, np.array([450.0, 700.0, 850.0])
    for gp in refit(known=True, seed=3).posterior.fitted.samples[:2]:
        mean, sd = gp.small_grid(height, azimuth)
        np.testing.assert_allclose(mean, gp.mean_on(height, azimuth), atol=1e-9)
        np.testing.assert_allclose(sd, gp.sd_on(height, azimuth), atol=1e-9)
