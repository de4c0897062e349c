"""Blocks of cells as readings: their means, where they stand, how many there are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import Profile
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.cells import Cells, NearPoints
from geom.surface.clouds.reconstruct import _sides, block_means, block_of_cells
from geom.surface.grid import Grid, make_grid
from geom.units import Float
from tests.walls import plain_design, tapered_design

GRID = make_grid(plain_design(), surveyed=(0.0, 1500.0))
ROWS, COLUMNS = _sides(GRID)


def cells_with(cutback: Float) -> Cells:
    return Cells(
        cutback=cutback,
        variance=np.where(np.isfinite(cutback), 1.0, np.nan),
        count=np.where(np.isfinite(cutback), 9.0, 0.0),
        own=np.isfinite(cutback),
        near=NearPoints(*np.zeros((4, *cutback.shape))),
        total=0,
        rejected=0,
        in_front=0,
    )


def field() -> Float:
    return np.random.default_rng(3).normal(20.0, 10.0, GRID.shape)


def variances() -> Float:
    return np.random.default_rng(4).uniform(0.5, 8.0, GRID.shape)


def block(row: int, column: int) -> tuple[slice, slice]:
    """Cells of one block of the grid."""
    down = slice(row * ROWS, (row + 1) * ROWS)
    return down, slice(column * COLUMNS, (column + 1) * COLUMNS)


def only(seen: np.ndarray):
    """What is told of a field of which only some cells are seen."""
    cutback = np.where(seen, field(), np.nan)
    return block_means(cells_with(cutback), GRID, variances())


def each_block(values: Float) -> Float:
    """Means of the blocks of a whole field, block rows bottom up, as one array."""
    up = np.arange(0, GRID.shape[0], ROWS)
    round_it = np.arange(0, GRID.shape[1], COLUMNS)
    return np.array(
        [values[block(r, c)].mean() for r, c in np.ndindex(up.size, round_it.size)]
    )


def test_a_block_is_the_mean_of_its_cells():
    told = block_means(cells_with(field()), GRID, variances())
    np.testing.assert_allclose(told.value, each_block(field()), atol=1e-12)
    # The mean of n independent cells: the mean of their variances over n.
    size = np.full(len(told), ROWS * COLUMNS)
    left_over = GRID.shape[0] % ROWS
    if left_over:
        size[-(GRID.shape[1] // COLUMNS) :] = left_over * COLUMNS
    np.testing.assert_allclose(told.sd**2, each_block(variances()) / size, rtol=1e-12)
    height, azimuth = np.meshgrid(GRID.height, GRID.azimuth, indexing="ij")
    np.testing.assert_allclose(told.height, each_block(height), atol=1e-9)
    np.testing.assert_allclose(told.azimuth, each_block(azimuth), atol=1e-9)
    assert set(told.kind) == {"cutback"}
    assert told.place == ("laser points",) * len(told)
    assert not told.step.any()


def test_cells_that_are_not_seen_have_no_say():
    seen = np.random.default_rng(5).uniform(size=GRID.shape) < 0.6
    told = only(seen)
    for column in range(GRID.shape[1] // COLUMNS):
        own = block(0, column)
        lit = seen[own]
        assert told.value[column] == pytest.approx(field()[own][lit].mean(), abs=1e-12)
        variance = variances()[own][lit].mean() / lit.sum()
        assert told.sd[column] == pytest.approx(np.sqrt(variance), rel=1e-12)


@pytest.mark.parametrize(("many", "blocks"), [(0, 0), (3, 0), (4, 1), (5, 1)])
def test_fewer_than_four_seen_cells_make_no_reading(many, blocks):
    seen = np.zeros(GRID.shape, dtype=bool)
    rows, columns = block(2, 3)
    seen[rows.start, columns][:many] = True
    told = only(seen)
    assert len(told) == blocks
    if blocks:
        expected = field()[rows.start, columns][:many].mean()
        assert told.value == pytest.approx([expected], abs=1e-12)


def test_a_block_stands_in_the_middle_of_its_seen_cells():
    rows, columns = block(4, 6)
    seen = np.zeros(GRID.shape, dtype=bool)
    # In shadow but for its two lowest rows and its three last columns.
    lit = slice(rows.start, rows.start + 2), slice(columns.stop - 3, columns.stop)
    seen[lit] = True
    told = only(seen)
    assert told.height == pytest.approx([GRID.height[lit[0]].mean()], abs=1e-9)
    assert told.azimuth == pytest.approx([GRID.azimuth[lit[1]].mean()], abs=1e-9)
    whole = GRID.azimuth[columns].mean()
    assert abs(told.azimuth[0] - whole) > 1.0


def test_a_shadow_does_not_tilt_a_wall_that_slopes():
    # Standing where they were seen, means of a plane lie on it.
    plane = 0.01 * GRID.height[:, None] + 0.05 * GRID.azimuth[None, :]
    seen = np.random.default_rng(6).uniform(size=GRID.shape) < 0.4
    seen[:70, 100:143] = False
    told = block_means(cells_with(np.where(seen, plane, np.nan)), GRID, variances())
    on_plane = 0.01 * told.height + 0.05 * told.azimuth
    np.testing.assert_allclose(told.value, on_plane, atol=1e-9)
    assert len(told) > 0.6 * ASSUMED.wall_blocks


def test_rows_outside_the_survey_are_left_out():
    rows = (GRID.height > 300.0) & (GRID.height < 1100.0)
    grid = replace(GRID, surveyed=np.tile(rows[:, None], (1, GRID.azimuth.size)))
    told = block_means(cells_with(field()), grid, variances())
    assert len(told) > 0
    assert told.height.min() > 300.0
    assert told.height.max() < 1100.0


def test_a_wall_of_which_nothing_is_seen_has_no_readings():
    assert len(only(np.zeros(GRID.shape, dtype=bool))) == 0


def grids() -> dict[str, Grid]:
    tall = Profile(np.array([0.0, 6000.0]), np.array([450.0, 450.0]))
    low = Profile(np.array([0.0, 400.0]), np.array([900.0, 900.0]))
    return {
        "plain": GRID,
        "taper and step": make_grid(tapered_design(), surveyed=(0.0, 1500.0)),
        "tall": make_grid(plain_design(profile=tall), surveyed=(0.0, 6000.0)),
        "low and wide": make_grid(plain_design(profile=low), surveyed=(0.0, 400.0)),
        "finer": make_grid(
            plain_design(), surveyed=(0.0, 1500.0), spacing=5.0, columns=720
        ),
    }


@pytest.mark.parametrize("name", grids())
def test_there_are_about_as_many_blocks_as_a_fit_can_bear(name):
    grid = grids()[name]
    told = block_means(cells_with(np.zeros(grid.shape)), grid, np.ones(grid.shape))
    assert 0.5 * ASSUMED.wall_blocks < len(told) < 1.6 * ASSUMED.wall_blocks
    rows, columns = _sides(grid)
    assert grid.azimuth.size % columns == 0
    tall, wide = rows * grid.row_height.mean(), columns * grid.sector
    assert 0.5 < tall / (wide * grid.design_radius.mean()) < 2.0


@pytest.mark.parametrize("columns", [36, 72, 120])
def test_cells_as_large_as_a_block_are_each_a_reading(columns):
    grid = make_grid(
        plain_design(), surveyed=(0.0, 1500.0), spacing=50.0, columns=columns
    )
    told = block_means(cells_with(np.zeros(grid.shape)), grid, np.ones(grid.shape))
    rows, across = _sides(grid)
    assert rows * across < ASSUMED.block_cells
    assert len(told) == grid.height.size * columns // across
    assert np.unique(told.height).size == grid.height.size


def test_a_cell_told_by_those_around_it_is_no_part_of_a_block():
    # The wall is known twice as deep where no point of its own says so.
    own = np.random.default_rng(7).uniform(size=GRID.shape) < 0.5
    cells = cells_with(np.where(own, field(), 2.0 * field()))
    told = block_means(replace(cells, own=own), GRID, variances())
    lit = own[block(0, 0)]
    assert told.value[0] == pytest.approx(field()[block(0, 0)][lit].mean(), abs=1e-12)
    number = block_of_cells(replace(cells, own=own), GRID)
    assert (number[own] >= 0).all()
    assert (number[~own] == -1).all()
    held = number == 5
    height, azimuth = np.meshgrid(GRID.height, GRID.azimuth, indexing="ij")
    assert told.height[5] == pytest.approx(height[held].mean(), abs=1e-9)
    assert told.azimuth[5] == pytest.approx(azimuth[held].mean(), abs=1e-9)
