"""The compiled loops: their arctangent, and which points they take for wall."""

from __future__ import annotations

import numpy as np
import pytest

from geom.surface.clouds.kernels import _turned, find_layers
from geom.units import Float

BINS = 430
#: First and last row of the only row of blocks.
ONE_ROW = np.array([0]), np.array([1])


def turned(xyz: Float) -> tuple[Float, Float, Float]:
    """Angle (radians), radius and height as the kernel has them, in doubles."""
    told = [column.astype(np.float32) for column in xyz.T]
    _turned(np.eye(3), *told)
    angle, radius, height = (values.astype(np.float64) for values in told)
    return angle, radius, height


def test_the_arctangent_is_that_of_numpy():
    # Numbers of 24 bits, so that only the arctangent can differ; a float32 near 2 pi is
    # known to 2.4e-7.
    rng = np.random.default_rng(5)
    xyz = rng.uniform(-1000.0, 1000.0, (100_000, 3)).astype(np.float32)
    xyz = xyz.astype(np.float64)
    angle, radius, height = turned(xyz)
    expected = np.mod(np.arctan2(xyz[:, 1], xyz[:, 0]), 2.0 * np.pi)
    assert np.abs(angle - expected).max() < 1e-6
    np.testing.assert_allclose(radius, np.hypot(*xyz[:, :2].T), rtol=2e-7)
    np.testing.assert_array_equal(height, xyz[:, 2])
    # The other sense, or a quarter less, would be seen.
    assert np.abs(angle - (2.0 * np.pi - expected)).max() > 3.0


def test_the_arctangent_is_right_where_its_pieces_meet():
    eighths = np.arange(8) * np.pi / 4.0
    x = np.array([1, 1, 0, -1, -1, -1, 0, 1]) * 457.25
    y = np.array([0, 1, 1, 1, 0, -1, -1, -1]) * 457.25
    angle, _, _ = turned(np.stack([x, y, np.zeros(8)], axis=1))
    np.testing.assert_allclose(angle, eighths, atol=5e-7)
    near = np.repeat(eighths, 2) + np.tile([-1e-4, 1e-4], 8)
    ring = np.stack([np.cos(near), np.sin(near), np.zeros(16)], axis=1) * 457.25
    angle, _, _ = turned(ring)
    np.testing.assert_allclose(angle, np.mod(near, 2.0 * np.pi), atol=1e-6)


def test_the_axis_has_an_angle_and_no_radius():
    angle, radius, height = turned(np.array([[0.0, 0.0, 3.0], [-0.0, -0.0, -3.0]]))
    assert np.isfinite(angle).all()
    assert radius.tolist() == [0.0, 0.0]
    assert height.tolist() == [3.0, -3.0]


def layer_of(held: dict[int, int], *, share: float = 0.25, least: int = 3):
    """What `find_layers` tells of one cell that holds so many points in those bins."""
    counts = np.zeros((1, BINS), np.uint32)
    for at, many in held.items():
        counts[0, at] = many
    told = find_layers(counts, 1, np.array([0]), np.array([1]), 1, 1, 30, share, least)
    return told[0, 0]


WALL = {199: 10, 200: 40, 201: 40, 202: 10}
#: (10 * 199.5 + 40 * 200.5 + 40 * 201.5 + 10 * 202.5) / 100
MEAN = 201.0


def test_the_mean_of_a_layer_lies_within_a_bin():
    assert layer_of(WALL)[[0, 1, 3]].tolist() == [100.0, MEAN, 0.0]
    # (3 * 200.5 + 201.5) / 4 by hand
    assert layer_of({200: 3, 201: 1})[[0, 1]].tolist() == [4.0, 200.75]
    assert layer_of({200: 5})[[0, 1]].tolist() == [5.0, 200.5]


def test_dust_inside_is_left_out():
    dust = dict.fromkeys(range(20, 165), 1)
    assert layer_of(WALL | dust)[[0, 1, 3]].tolist() == [100.0, MEAN, 145.0]


def test_a_chain_in_front_is_left_out_while_the_wall_holds_a_quarter():
    # Of 350 points a quarter is 87.5, of 450 it is 112.5: the wall has 100.
    assert layer_of(WALL | {100: 250})[[0, 1]].tolist() == [100.0, MEAN]
    assert layer_of(WALL | {100: 350})[[0, 1]].tolist() == [350.0, 100.5]


def test_glints_beyond_are_left_out_unless_they_are_many():
    # A quarter of 125 is 31, of 150 it is 37.5.
    assert layer_of(WALL | {300: 25})[[0, 1, 3]].tolist() == [100.0, MEAN, 25.0]
    assert layer_of(WALL | {300: 50})[[0, 1, 3]].tolist() == [50.0, 300.5, 100.0]
    thin = dict.fromkeys(range(240, 430, 4), 1)
    assert layer_of(WALL | thin)[[0, 1]].tolist() == [100.0, MEAN]


def test_of_two_walls_the_outer_one_is_taken():
    inner = {at - 60: many for at, many in WALL.items()}
    assert layer_of(inner | WALL)[[0, 1]].tolist() == [100.0, MEAN]
    assert layer_of(inner | WALL, share=0.6)[0] == 0.0


def test_too_few_points_are_no_wall():
    for held in ({}, {200: 2}, {200: 1, 201: 1}, {50: 1, 150: 1, 250: 1, 350: 1}):
        told = layer_of(held)
        assert told[0] == 0.0
        assert np.isnan(told[[1, 2]]).all()
        assert told[3] == sum(held.values())
    assert layer_of({200: 3})[1] == 200.5
    assert np.isnan(layer_of({200: 5}, least=6)[1])
    # Scattered over more than a layer, no 30 bins hold a quarter.
    assert np.isnan(layer_of(dict.fromkeys(range(0, 430, 2), 1))[1])


@pytest.mark.parametrize("at", [0, 1, BINS - 2, BINS - 1])
def test_a_layer_at_the_end_of_the_bins_is_seen(at):
    assert layer_of({at: 50})[[0, 1]].tolist() == [50.0, at + 0.5]


@pytest.mark.parametrize("sd", [2.0, 5.0])
def test_mean_and_spread_are_those_of_the_points(sd):
    rng = np.random.default_rng(11)
    value = rng.normal(213.7, sd, 20_000)
    held = dict(enumerate(np.bincount(value.astype(int), minlength=BINS)))
    told = layer_of(held | {40: 4000})
    # Means of 20 000 points; bins widen the spread by 1/12 of their square.
    assert told[1] == pytest.approx(213.7, abs=4.0 * sd / np.sqrt(20_000))
    assert told[2] == pytest.approx(np.sqrt(sd**2 + 1.0 / 12.0), rel=0.03)
    # What is left out beside the dust lies past three spreads: 0.27 % of a normal.
    assert told[3] - 4000 < 0.006 * 20_000


def test_points_of_a_block_are_put_together_and_no_others():
    rows, columns = 5, 6
    counts = np.zeros((rows, columns, BINS), np.uint32)
    depth = 100 + 20 * np.arange(rows)[:, None] + 2 * np.arange(columns)
    for row in range(rows):
        for column in range(columns):
            counts[row, column, depth[row, column]] = 2
    first, last = np.array([0, 1, 4]), np.array([1, 4, 5])
    flat = counts.reshape(rows, -1)
    told = find_layers(flat, columns, first, last, 2, 1, 30, 0.25, 3)
    assert told.shape == (3, 3, 8)
    # A row of two cells: both are within the layer.
    for k, row in ((0, 0), (2, 4)):
        assert told[k, :, 0].tolist() == [4.0] * 3
        means = depth[row].reshape(3, 2).mean(axis=1) + 0.5
        assert told[k, :, 1].tolist() == means.tolist()
    # Three rows 20 bins apart: all twelve points are accounted for.
    assert (told[1, :, 0] + told[1, :, 3]).tolist() == [12.0] * 3
    each = np.arange(5)
    alone = find_layers(flat, columns, each, each + 1, 1, 1, 30, 0.25, 3)
    assert np.isnan(alone[:, :, 1]).all()
    assert (alone[:, :, 3] == 2.0).all()


def test_a_block_is_the_mean_over_its_area_however_dense_its_points_lie():
    # Two cells: ten points 4 bins further out than the single one beside them.
    counts = np.zeros((1, 2 * BINS), np.uint32)
    counts[0, 102:107], counts[0, BINS + 100] = 2, 1
    told = find_layers(counts, 2, *ONE_ROW, 2, 1, 30, 0.25, 3)[0, 0]
    assert told[1] == pytest.approx(102.5, abs=1e-12)
    # Of n points each cell's mean has a variance of 1 / n; of their mean, a quarter.
    assert told[4] == pytest.approx(4.0 / (1.0 / 10.0 + 1.0), rel=1e-12)
    assert told[5:7] == pytest.approx([2.0 * (4 + 1 + 0 + 1 + 4), 9.0])
    mean = (10 * 104.5 + 100.5) / 11
    squares = 2.0 * sum((102.5 + k - mean) ** 2 for k in range(5)) + (100.5 - mean) ** 2
    assert told[7] == pytest.approx(squares)


def test_parts_of_a_block_count_by_area_too():
    # Four cells in two parts; one part has a cell without points.
    counts = np.zeros((2, 2 * BINS), np.uint32)
    for row, column, at in ((0, 0, 100), (0, 1, 102), (1, 0, 106)):
        counts[row, column * BINS + at] = 3
    found = find_layers(counts, 2, np.array([0]), np.array([2]), 2, 2, 30, 0.25, 3)
    assert found[0, 0, 1] == pytest.approx((100.5 + 102.5 + 106.5) / 3.0, abs=1e-12)


def test_the_scatter_within_cells_is_told_apart_from_that_between_them():
    counts = np.zeros((1, 2 * BINS), np.uint32)
    counts[0, [99, 101]] = 1
    counts[0, [BINS + 109, BINS + 111]] = 1
    told = find_layers(counts, 2, *ONE_ROW, 2, 1, 30, 0.25, 3)[0, 0]
    # In each cell two points 1 bin to either side of their mean.
    assert told[5:7].tolist() == [4.0, 2.0]
