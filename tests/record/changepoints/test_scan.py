"""Heights of steps against plain linear algebra on all panels at once."""

import numpy as np
import pytest

from geom.compare.panels import HOURS
from geom.record.changepoints.candidates import candidate_regions
from geom.record.changepoints.covariance import cross_products, table_covariance
from geom.record.changepoints.scan import ContrastWeights
from geom.record.changepoints.table import BASIS, ORDER
from tests.record.worn_heats import MELTING, PIECES, ROWS, USUAL, heats

CANDIDATES = candidate_regions(PIECES, np.arange(ROWS), USUAL)


def covariance_of(wear):
    deviation = (wear - wear.mean(axis=0))[None] @ BASIS
    square = cross_products(deviation, np.ones(len(wear)))
    return deviation, table_covariance(square, len(wear) - 1.0, USUAL)


def whole(table):
    """The covariance of all panels, from that of rows for each wave."""
    parts = (
        np.kron(table[order], np.outer(wave, wave))
        for order, wave in zip(ORDER, BASIS.T, strict=True)
    )
    return sum(parts)


def test_waves_are_orthonormal_and_the_first_is_the_mean():
    assert np.allclose(BASIS.T @ BASIS, np.eye(HOURS))
    assert np.allclose(BASIS[:, 0], 1.0 / np.sqrt(HOURS))


@pytest.mark.parametrize("shape", [0, 3, 7, 20, 60, 200, -1])
def test_heights_and_variance_are_those_of_the_whole_covariance(shape):
    shape %= len(CANDIDATES.regions)
    deviation, covariance = covariance_of(heats(12, seed=1))
    table = whole(covariance.rows[0])
    own = np.einsum("mii->mi", covariance.rows[0])
    slack = whole(np.eye(ROWS) * own[:, None, :])
    shown = CANDIDATES.on_panels(shape) @ BASIS
    if shape >= len(CANDIDATES.rings):
        shown = shown * covariance.attenuation[0]
    step = (shown @ BASIS.T).ravel()
    weights = np.linalg.solve(table + slack, step)
    reach = weights @ step
    weights_of = ContrastWeights.of(CANDIDATES, covariance)
    flat = (deviation[0] @ BASIS.T).reshape(12, -1)
    assert np.allclose(
        weights_of.contrasts(deviation)[0, :, shape], flat @ weights / reach
    )
    variance = weights @ table @ weights / reach**2
    assert weights_of.variance(covariance)[0, shape] == pytest.approx(variance)
    assert variance != pytest.approx(1.0 / reach, rel=0.01)  # as if S + D were S


def test_the_height_of_a_step_all_round_is_its_height():
    """A zone all round is not attenuated, so 3 mm of it are 3 mm."""
    deviation, covariance = covariance_of(heats(12, seed=1))
    zone = next(
        i for i, one in enumerate(CANDIDATES.regions) if one.name == "melting zone"
    )
    step = np.zeros((1, 1, ROWS, HOURS))
    step[..., MELTING, :] = 3.0
    weights_of = ContrastWeights.of(CANDIDATES, covariance).contrasts(step @ BASIS)
    assert weights_of[0, 0, zone] == pytest.approx(3.0)
    assert (
        abs(weights_of[0, 0, zone] - weights_of[0, 0, 0]) > 0.5
    )  # the wall's is another
    assert deviation.shape == (1, 12, ROWS, HOURS)


def test_scatter_that_is_put_in_comes_out():
    """Levels scatter by 0.5 mm and share half; panels by 0.6; heats by 6 % of wear."""
    _, covariance = covariance_of(heats(4000, seed=2))
    ring = covariance.rows[0, 0] / HOURS
    expected = (
        0.06**2 * np.outer(USUAL, USUAL)
        + 0.5**2 * (np.eye(ROWS) + 0.5 * (np.eye(ROWS, k=1) + np.eye(ROWS, k=-1)))
        + 0.6**2 / HOURS * np.eye(ROWS)
    )
    assert np.allclose(np.diag(ring), np.diag(expected), rtol=0.1)
    assert np.allclose(ring, expected, atol=0.06)
    fine = covariance.rows[0, 4]
    assert np.allclose(np.diag(fine), 0.36, rtol=0.1)
    assert np.abs(fine - np.diag(np.diag(fine))).max() < 0.03


def test_every_shape_is_1_mm_high_on_average_over_its_piece():
    for i in range(len(CANDIDATES.regions)):
        step = CANDIDATES.on_panels(i)
        assert step[step > 0.0].mean() == pytest.approx(1.0)
    kinds = [region.kind for region in CANDIDATES.regions]
    assert len(set(zip(kinds, CANDIDATES.regions, strict=True))) == len(kinds) - 5
