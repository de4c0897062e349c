"""Extent and outline of masks on the ring."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.compare.extent import ALL_ROUND, Extent, opening_outline, outline
from geom.design import Opening
from geom.surface import make_grid
from tests.walls import plain_design

GRID = make_grid(plain_design(), surveyed=(0.0, 1500.0), columns=36)


def piece(rows: slice, columns: list[int]) -> np.ndarray:
    mask = np.zeros(GRID.shape, dtype=bool)
    mask[rows, np.array(columns) % 36] = True
    return mask


def test_an_extent_ends_at_the_edges_of_its_outermost_cells() -> None:
    found = Extent.of(piece(slice(10, 20), [3, 4, 5]), GRID)
    assert found == Extent(25.0, 55.0, GRID.edge[10], GRID.edge[20])


def test_an_extent_across_the_seam_begins_after_it_ends() -> None:
    found = Extent.of(piece(slice(10, 20), [-1, 0, 1]), GRID)
    assert (found.azimuth_from, found.azimuth_to) == (345.0, 15.0)


def test_what_goes_all_round_has_the_whole_turn() -> None:
    found = Extent.of(piece(slice(0, 1), list(range(36))), GRID)
    assert (found.azimuth_from, found.azimuth_to) == (0.0, ALL_ROUND)


def test_an_outline_across_the_seam_is_cut_there() -> None:
    area = outline(piece(slice(10, 20), [-1, 0, 1]), GRID)
    assert area.bounds[0] == 0.0
    assert area.bounds[2] == 360.0
    assert sorted(part.bounds[2] - part.bounds[0] for part in area.geoms) == [15, 15]


@given(st.lists(st.booleans(), min_size=36 * 4, max_size=36 * 4))
def test_an_outline_has_the_area_of_its_cells(cells: list[bool]) -> None:
    mask = np.zeros(GRID.shape, dtype=bool)
    mask[40:44] = np.reshape(cells, (4, 36))
    area = outline(mask, GRID)
    whole = 10.0 * float(np.sum(mask * GRID.row_height[:, None]))
    assert area.area == pytest.approx(whole, rel=1e-9, abs=1e-9)
    assert area.is_empty == (not mask.any())
    assert area.is_valid


def test_an_opening_across_the_seam_has_both_its_ends() -> None:
    hole = Opening("tap hole", 359.0, 300.0, 127.0, 90.0)
    design = plain_design(openings=(hole,))
    area = opening_outline(hole, design)
    wide = 2.0 * hole.half_angle(design.radius_at_opening(hole))
    assert area.area == pytest.approx(90.0 * wide)
    assert (area.bounds[0], area.bounds[2]) == (0.0, 360.0)
