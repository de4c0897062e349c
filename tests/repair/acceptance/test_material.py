"""Material moved between two surveys, against draws and exact rings."""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.nodes import Nodes
from geom.document import as_document
from geom.quantity import Quantity
from geom.readings.surveys import PastSurvey, SurveyBefore
from geom.repair.acceptance.material import (
    MaterialBalance,
    material_balance,
    wall_before,
    zone_sd,
    zones_sd,
)
from geom.surface import RadialSurface
from geom.surface.grid import make_grid
from tests.walls import plain_design

DESIGN = plain_design()
RADIUS = 450.0
NOTHING = Quantity.normal(0.0, 0.0)


def even_wall(cutback: float, sd: float, *, low: float = 100.0, high: float = 1400.0):
    """A wall of one cut-back all over, its errors the same everywhere."""
    grid = make_grid(DESIGN, surveyed=(low, high), spacing=50.0, columns=36)
    known = np.broadcast_to(grid.surveyed, grid.shape)
    field = np.where(known, RADIUS + cutback, np.nan)
    surface = RadialSurface(
        design=DESIGN,
        grid=grid,
        radius=field,
        radius_sd=np.where(known, sd, np.nan),
        posterior=None,  # type: ignore[arg-type]
        count=0,
        kinds=("radius",),
    )
    nodes = Nodes(
        height=np.array([0.5 * (low + high)]),
        azimuth=np.array([0.0]),
        design_radius=np.array([RADIUS]),
        mean=np.array([cutback]),
        covariance=np.array([[sd**2]]),
        owner=np.where(known, 0, -1),
    )
    return surface, nodes


def even_before(
    cutback: float, sd: float, *, low: float = 100.0, high: float = 1400.0
) -> SurveyBefore:
    height = np.arange(low + 25.0, high, 50.0)
    both = (height.size, 36)
    return SurveyBefore(
        survey=PastSurvey(
            height, np.arange(36) * 10.0, np.full(both, cutback), np.full(both, sd)
        ),
        zone=np.ones(both, dtype=np.int64),
        zones=(),
        title="",
        created="",
        low=low,
        high=high,
        rebuild=NOTHING,
        net=NOTHING,
    )


def move(x: float, x_sd: float, y: float, y_sd: float) -> MaterialBalance:
    """Over the whole ring; ``x`` before and ``y`` after."""
    surface, nodes = even_wall(y, y_sd)
    wall = wall_before(even_before(x, x_sd), surface.grid)
    whole = np.ones(surface.grid.shape, dtype=bool)
    sd_before = zone_sd(wall, surface.grid, whole, x_sd)
    return material_balance(wall, surface, nodes, whole, sd_before)


def ring(outer: float, inner: float) -> float:
    """Between two cylinders 1300 mm tall, mm3."""
    return np.pi * (outer**2 - inner**2) * 1300.0


def test_a_ring_known_exactly_is_a_ring():
    told = move(30.0, 0.0, 2.0, 0.0)
    assert told.put_in.value == pytest.approx(ring(480.0, 452.0), rel=1e-9)
    assert told.net.value == pytest.approx(ring(480.0, 452.0), rel=1e-9)
    assert told.taken_off.value == pytest.approx(0.0, abs=1e-6)
    assert told.area == pytest.approx(2.0 * np.pi * RADIUS * 1300.0, rel=1e-9)
    assert as_document(told)["put_in"]["value"] == pytest.approx(0.1066, rel=1e-3)


def test_a_ring_chipped_off_is_taken_off():
    told = move(-20.0, 0.0, 0.0, 0.0)
    assert told.taken_off.value == pytest.approx(ring(450.0, 430.0), rel=1e-9)
    assert told.net.value == pytest.approx(-ring(450.0, 430.0), rel=1e-9)
    assert told.put_in.value == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("x", "x_sd", "y", "y_sd"),
    [(5.0, 6.0, 1.0, 2.0), (0.0, 1.0, 0.0, 8.0), (-4.0, 9.0, 3.0, 3.0)],
)
def test_expected_material_is_the_mean_of_draws(x, x_sd, y, y_sd):
    chance = np.random.default_rng(8)
    before, after = (
        RADIUS + mean + sd * chance.standard_normal(2_000_000)
        for mean, sd in ((x, x_sd), (y, y_sd))
    )
    section = np.pi * (before**2 - after**2) * 1300.0
    put_in, off = np.maximum(section, 0.0), np.maximum(-section, 0.0)
    told = move(x, x_sd, y, y_sd)
    # Four standard errors of the mean of the draws.
    for quantity, draws in ((told.put_in, put_in), (told.taken_off, off)):
        error = 4.0 * draws.std() / np.sqrt(draws.size)
        assert quantity.value == pytest.approx(draws.mean(), abs=error)
    # The net's sd is exact to second order; that of its positive part is made linear.
    assert told.net.sd == pytest.approx(section.std(), rel=0.02)
    assert told.put_in.sd < told.net.sd


def test_the_middle_radius_leans_on_the_difference():
    """Without the lean the expected ring would be off by more than draws allow."""
    told = move(0.0, 30.0, 0.0, 1.0)
    spread = np.hypot(30.0, 1.0)
    without = 2.0 * np.pi * 1300.0 * RADIUS * spread / np.sqrt(2.0 * np.pi)
    lean = 0.5 * (30.0**2 - 1.0) / spread**2
    exact = without + 2.0 * np.pi * 1300.0 * lean * spread**2 / 2.0
    assert told.put_in.value == pytest.approx(exact, rel=1e-9)
    assert abs(without - exact) > 0.01 * exact


def test_variances_of_two_surveys_add():
    one, other = move(30.0, 2.0, 0.0, 0.0).net.sd, move(30.0, 0.0, 0.0, 2.0).net.sd
    assert move(30.0, 2.0, 0.0, 2.0).net.sd == pytest.approx(np.hypot(one, other))


def test_only_wall_that_both_surveys_cover_counts():
    surface, nodes = even_wall(0.0, 1.0, low=100.0, high=1400.0)
    wall = wall_before(even_before(20.0, 1.0, low=500.0, high=1000.0), surface.grid)
    told = material_balance(
        wall, surface, nodes, np.ones(surface.grid.shape, bool), 0.0
    )
    assert told.area == pytest.approx(2.0 * np.pi * RADIUS * 500.0, rel=1e-9)
    assert (wall.zone == 1).any(axis=1).sum() == 10
    assert np.isnan(wall.cutback[~wall.known]).all()


def test_a_survey_before_is_interpolated_along_the_height():
    before = even_before(0.0, 1.0)
    slope = np.repeat(before.survey.height[:, None] / 100.0, 36, axis=1)
    survey = PastSurvey(before.survey.height, before.survey.azimuth, slope, slope)
    before = SurveyBefore(**(vars(before) | {"survey": survey}))
    grid = make_grid(DESIGN, surveyed=(130.0, 1370.0), spacing=7.0, columns=72)
    wall = wall_before(before, grid)
    inner = (grid.height > 125.0) & (grid.height < 1375.0)
    expected = np.repeat(grid.height[inner, None] / 100.0, 72, axis=1)
    np.testing.assert_allclose(wall.cutback[inner], expected, rtol=1e-12)


def test_zones_together_lie_between_apart_and_all_alike():
    assert zones_sd([3.0, 4.0], 6.0) == 6.0
    assert zones_sd([3.0, 4.0], 2.0) == 5.0
    assert zones_sd([3.0, 4.0], 9.0) == 7.0


def test_where_nothing_was_done_nothing_may_have_been_put_in():
    told = move(5.0, 2.0, 5.0, 2.0)
    assert told.put_in.value > 0.0
    assert told.put_in.low95 == told.taken_off.low95 == 0.0
    # What the net is sure of is not given up.
    sure = move(30.0, 2.0, 5.0, 2.0)
    assert sure.put_in.low95 >= 0.99 * sure.net.low95 > 0.0
    assert sure.taken_off.low95 == 0.0


def test_rows_of_the_survey_before_are_those_of_the_grid_bit_by_bit():
    """As linear interpolation between the two rows on either side has it."""
    before = even_before(0.0, 1.0)
    heights, columns = before.survey.height, before.survey.azimuth.size
    field = np.random.default_rng(3).normal(size=(heights.size, columns))
    survey = PastSurvey(heights, before.survey.azimuth, field, np.abs(field))
    before = SurveyBefore(**(vars(before) | {"survey": survey}))
    grid = make_grid(DESIGN, surveyed=(0.0, 1500.0), spacing=7.0, columns=columns)
    row = np.interp(grid.height, heights, np.arange(heights.size))
    low = np.minimum(row.astype(np.int64), heights.size - 2)
    part = (row - low)[:, None]
    expected = (1.0 - part) * field[low] + part * field[low + 1]
    within = (grid.height >= before.low) & (grid.height <= before.high)
    expected[~within] = np.nan
    np.testing.assert_array_equal(wall_before(before, grid).cutback, expected)
