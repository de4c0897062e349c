"""Survey error that comes back: what is taken of pieces, and of several together."""

import numpy as np
import pytest

from geom.record.assumptions import ASSUMED
from geom.record.regions import Region
from geom.record.wear.survey_errors import systematic_variance
from tests.record.worn_heats import PANELS, PIECES

ZONE = PIECES.of_kind("zone")[2]


def stated(covariance, count=5):
    """Variance of every piece in every spell, from that of the panels."""
    weight = PIECES.member / PIECES.member.sum(axis=1, keepdims=True)
    variance = np.einsum("sp,pq,sq->s", weight, covariance, weight, optimize=True)
    return np.tile(variance, (count, 1))


def alike(up, across):
    """Errors of 1 mm that die away over ``up`` mm and over ``across`` degrees."""
    height, turn = PANELS.height, PANELS.azimuth
    apart = np.abs(turn[:, None] - turn)
    apart = np.minimum(apart, 360.0 - apart)
    rise = np.abs(height[:, None] - height)
    return np.exp(-rise / up - apart / across)


def test_a_piece_of_the_record_has_its_own():
    variance = stated(alike(200.0, 60.0))
    for i in (0, ZONE, 12, 25, 60):
        found = systematic_variance(PIECES.regions[i], PIECES, variance)
        assert found == pytest.approx(ASSUMED.systematic_share * variance[0, i])


def test_spells_that_do_not_tell_a_piece_do_not_count():
    variance = stated(alike(200.0, 60.0))
    variance[2:, ZONE] = np.nan
    found = systematic_variance(PIECES.regions[ZONE], PIECES, variance)
    assert found == pytest.approx(ASSUMED.systematic_share * variance[0, ZONE])


@pytest.mark.parametrize(("up", "across"), [(100.0, 30.0), (400.0, 90.0)])
def test_neighbouring_pieces_together_have_no_less_than_is_true(up, across):
    covariance = alike(up, across)
    variance = stated(covariance)
    zone = PIECES.regions[ZONE]
    low, high = zone.height_from, zone.height_to
    spans = Region("panel", "", low, high, 315.0, 45.0)
    band = Region("level", "", float(PANELS.edge[4]), float(PANELS.edge[6]), 0.0, 360.0)
    beside = np.isin(PANELS.azimuth, [330.0, 0.0, 30.0])
    inside = {
        spans: (PANELS.height > low) & (PANELS.height < high) & beside,
        band: (PANELS.height > band.height_from) & (PANELS.height < band.height_to),
    }
    for region, panels in inside.items():
        true = covariance[np.ix_(panels, panels)].mean()
        found = systematic_variance(region, PIECES, variance) / ASSUMED.systematic_share
        assert true <= found <= 3.0 * true
