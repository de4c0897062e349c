"""Wear heat after heat: what is drawn as one point, and the scale of the axes."""

from dataclasses import replace

import numpy as np
import pytest

from geom.views.charts.heat_charts import MOST_POINTS, wear_limits, wear_points
from tests.views.invented_wear import make_series
from tests.walls import tapered_design


def test_a_long_record_is_drawn_in_means_of_spells():
    design = tapered_design(length_unit="in")
    series, _, _ = make_series(design, heats=600)
    points = wear_points(series)
    assert points.wear.shape[0] == MOST_POINTS
    heats = np.array([one.heats for one in series.spells])
    assert points.wear[0] == pytest.approx(
        series.wear[:5].sum(axis=0) / heats[:5].sum()
    )
    assert points.sd[0] == pytest.approx(np.sqrt(5 * 0.2) / 5.0)
    short, _, _ = make_series(design)
    assert wear_points(short).wear == pytest.approx(short.wear)


def test_a_zone_that_is_not_told_does_not_widen_the_scale():
    """Nothing is known of the first piece; the others decide how high the axes are."""
    design = tapered_design(length_unit="in")
    series, _, _ = make_series(design)
    points = wear_points(series)
    limits = wear_limits(points, [1, 2])
    blank = points.wear.copy()
    blank[:, 0] = np.nan
    assert wear_limits(replace(points, wear=blank), [0, 1, 2]) == limits
    reach = 1.96 * points.sd[:, 1:3]
    high, low = (points.wear[:, 1:3] + reach).max(), (points.wear[:, 1:3] - reach).min()
    tall = max(high, 0.0) - min(low, 0.0)
    assert limits[1] - limits[0] < 1.3 * tall
    assert limits[0] <= min(low, 0.0)
    assert limits[1] >= high
