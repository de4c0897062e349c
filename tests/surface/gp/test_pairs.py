"""Pairs of places: each two asked once, few heights and azimuths or many."""

from __future__ import annotations

import numpy as np
import pytest

from geom.surface.gp.covariance import Covariance
from geom.surface.gp.kernels import PairDistances, Points2D
from geom.surface.gp.prior import default_prior, with_tuyere_waves
from geom.units import Float


def places(*, few: bool) -> Points2D:
    """So many that they are taken with themselves each two once."""
    rng = np.random.default_rng(4)
    if few:
        return Points2D(np.repeat(np.arange(13) * 360.0 / 13, 12), crossed(12))
    return Points2D(rng.uniform(0.0, 360.0, 150), rng.uniform(100.0, 1400.0, 150))


def crossed(rows: int) -> Float:
    return np.tile(np.linspace(150.0, 1350.0, rows), 13)


@pytest.mark.parametrize("few", [True, False], ids=["few", "many"])
def test_each_two_places_once_give_what_both_orders_do(few: bool) -> None:
    prior = with_tuyere_waves(default_prior(450.0, 100.0, 1400.0), 6)
    rng = np.random.default_rng(1)
    theta = prior.median + 0.3 * rng.normal(size=prior.median.size)
    covariance = Covariance(prior, theta)
    here = places(few=few)
    # other places by name alone, of which every pair is asked, a few at a time
    table, pull = np.zeros((len(here),) * 2), rng.normal(size=(len(here),) * 2)
    slopes = np.zeros(theta.size)
    for some in np.array_split(np.arange(len(here)), 5):
        part = Points2D(here.azimuth[some], here.height[some])
        table[some], slope = covariance.with_gradient(PairDistances(part, here))
        slopes += slope(pull[some])
    once, slope = covariance.with_gradient(PairDistances(here, here))
    np.testing.assert_allclose(once, table, rtol=1e-12)
    np.testing.assert_allclose(slope(pull), slopes, rtol=1e-9)
