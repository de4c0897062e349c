"""The grid: edges, openings, surveyed heights."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from geom.design import Opening
from geom.surface.grid import (
    close_seam,
    interpolate_columns,
    interpolate_rows,
    interpolate_smoothly,
    make_grid,
    row_index,
)
from tests.walls import plain_design, tapered_design


def test_row_edges_fall_on_corners_and_surveyed_limits() -> None:
    grid = make_grid(tapered_design(), surveyed=(103.0, 1397.0))
    assert {0.0, 103.0, 600.0, 1397.0, 1500.0} <= set(grid.edge)
    assert grid.row_height.max() <= 10.0 + 1e-9
    assert grid.azimuth.tolist() == list(range(360))


def test_rows_on_both_sides_of_a_step_have_their_own_design_radius() -> None:
    grid = make_grid(tapered_design(), surveyed=(0.0, 1500.0))
    below, above = (
        np.searchsorted(grid.height, 600.0) - 1,
        np.searchsorted(grid.height, 600.0),
    )
    assert grid.design_radius[below] == pytest.approx(430.0, abs=0.2)
    assert grid.design_radius[above] == pytest.approx(450.0, abs=0.2)


@pytest.mark.parametrize("azimuth", [0.0, 33.3, 359.8])
def test_an_opening_takes_exactly_its_area_out(azimuth: float) -> None:
    hole = Opening("tap hole", azimuth, 300.3, 127.0, 91.7)
    grid = make_grid(plain_design(openings=(hole,)), surveyed=(0.0, 1500.0))
    whole = 2.0 * np.pi * 450.0 * 1500.0
    assert whole - grid.face_area.sum() == pytest.approx(127.0 * 91.7, rel=1e-9)
    row = np.argmin(abs(grid.height - 300.3))
    assert grid.opening[row, round(azimuth) % 360]


def test_only_surveyed_rows_count() -> None:
    grid = make_grid(plain_design(), surveyed=(400.0, 900.0))
    assert grid.face_area.sum() == pytest.approx(2.0 * np.pi * 450.0 * 500.0)
    assert grid.surveyed_heights == (400.0, 900.0)


def test_a_field_is_read_across_the_seam_without_a_gap() -> None:
    field = np.arange(360.0)[None, :]
    assert interpolate_columns(field, 10.25)[0] == 10.25
    assert interpolate_columns(field, 359.5)[0] == pytest.approx(359.0 / 2.0)
    assert close_seam(field).shape == (1, 361)


def test_rows_are_bracketed_on_their_own_side_of_a_step() -> None:
    """Against the two nearest rows of the same side, height by height."""
    rows, steps = np.array([5.0, 15.0, 30.0, 52.0, 60.0]), np.array([20.0, 55.0, 70.0])
    field = np.random.default_rng(0).normal(size=(5, 3))
    heights = np.linspace(0.0, 80.0, 97)
    row = row_index(rows, heights, steps=steps)
    found = interpolate_rows(field, row)
    for height, values in zip(heights, found, strict=True):
        alike = np.searchsorted(steps, rows) == np.searchsorted(steps, height)
        if not alike.any():
            assert height > 70.0
            assert np.isnan(values).all()
            continue
        expected = [np.interp(height, rows[alike], part[alike]) for part in field.T]
        np.testing.assert_allclose(values, expected, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("rows", [2, 3, 9])
def test_smooth_fields_are_those_of_fitpack_round_the_seam_too(rows: int) -> None:
    rng = np.random.default_rng(rows)
    height, fields = (
        np.sort(rng.uniform(0.0, 900.0, rows)),
        rng.normal(size=(2, rows, 12)),
    )
    up, around = np.linspace(-50.0, 950.0, 41), np.linspace(-20.0, 380.0, 81)
    found = interpolate_smoothly(fields, height, up, around)
    for field, smooth in zip(fields, found, strict=True):
        wrapped = np.concatenate([field[:, -4:], field, field[:, :4]], axis=1)
        columns = 30.0 * np.arange(-4, 16)
        spline = RectBivariateSpline(height, columns, wrapped, kx=min(3, rows - 1))
        places = np.meshgrid(up, around % 360.0, indexing="ij")
        np.testing.assert_allclose(smooth, spline(*places, grid=False), atol=1e-11)
