"""Surveys on a record's rows: straight between rows, nothing told where not surveyed.

A field that is straight in height between the steps of the drawing has a closed form on
any rows; the record must give it back, and rows drawn across a step must not.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray as xr  # noqa: TID253

from geom.design import Design, load_design
from geom.errors import InputError
from geom.record.store.grid import record_grid, recover_grid, resample_survey
from geom.surface import Grid, make_grid
from geom.units import Float
from tests.record import variables as plain
from tests.record.furnace import drawing

STEP = 150.0
LOW, HIGH = 33.0, 287.0
#: Jump of cut-back at the step of the drawing, and its rise with height, mm.
JUMP, RISE = -20.0, 0.05


@pytest.fixture(scope="module")
def design(tmp_path_factory: pytest.TempPathFactory) -> Design:
    return load_design(drawing(tmp_path_factory.mktemp("drawing")))


def straight(height: Float, azimuth: Float) -> Float:
    """Straight in height between steps, mm; shape (m, k)."""
    up = RISE * height + np.where(height > STEP, JUMP, 0.0)
    return up[:, None] + 6.0 * np.cos(np.deg2rad(azimuth))[None, :]


def dataset(grid: Grid) -> xr.Dataset:
    """What ``surface.nc`` would hold of that wall."""
    rows = grid.surveyed
    both = ("height", "azimuth")
    shape = grid.shape
    cutback = np.where(rows, straight(grid.height, grid.azimuth), np.nan)
    drawn = np.broadcast_to(grid.design_radius[:, None], shape)
    number = np.broadcast_to(np.arange(shape[0])[:, None], shape)
    none = np.full(shape, np.nan)
    fields = {
        "radius": drawn + cutback,
        "radius_sd": np.where(rows, 2.0, none),
        "design_radius": drawn,
        "cutback": cutback,
        "cutback_sd": np.where(rows, 2.0, none),
        "p_brick": np.where(rows, 0.5, none),
        "action": np.where(rows, 1, -1).astype(np.int8) + 0 * grid.opening,
        "zone": np.where(rows, number, 0).astype(np.int32),
        "surveyed": np.broadcast_to(rows, shape).astype(np.int8),
        "opening": grid.opening.astype(np.int8),
    }
    return xr.Dataset(
        {name: (both, field, {"units": name}) for name, field in fields.items()},
        coords={"height": grid.height, "azimuth": grid.azimuth},
        attrs={"title": "a wall"},
    )


def resampled(
    data: xr.Dataset, grid: Grid, between: tuple[float, float], design: Design
) -> xr.Dataset:
    """A survey on the record's rows."""
    made = resample_survey(plain.variables(data), grid, between, design)
    return plain.dataset(made)


def laid(design: Design, **rows: float) -> tuple[Grid, xr.Dataset]:
    """The wall on the record's grid, surveyed on rows of its own."""
    own = make_grid(design, surveyed=(LOW, HIGH), **rows)
    grid = record_grid(design)
    return grid, resampled(dataset(own), grid, (LOW, HIGH), design)


def test_a_straight_wall_is_the_same_on_the_rows_of_the_record(design: Design) -> None:
    grid, data = laid(design, spacing=7.0)
    truth = straight(grid.height, grid.azimuth)
    result = (grid.height > LOW) & (grid.height < HIGH)
    found = data["cutback"].to_numpy()
    # Past the middle of the outermost rows, and beside a step, it goes on level: half a
    # row of 7 mm at most, times its rise.
    assert np.abs(found - truth)[result].max() <= 0.5 * 7.0 * RISE + 1e-5
    inside = result & (np.abs(grid.height - STEP) > 3.6) & (grid.height > LOW + 3.6)
    inside &= grid.height < HIGH - 3.6
    assert np.abs(found - truth)[inside].max() < 1e-5


def test_nothing_is_drawn_straight_across_a_step(design: Design) -> None:
    """Drawn across it, a row beside the step would be out by millimetres."""
    own = make_grid(design, surveyed=(LOW, HIGH), spacing=25.0)
    grid, data = laid(design, spacing=25.0)
    row = int(np.argmin(np.abs(grid.height - STEP)))
    truth = straight(grid.height, grid.azimuth)[row]
    found = data["cutback"].to_numpy()[row]
    assert np.abs(found - truth).max() <= 0.5 * 25.0 * RISE + 1e-5
    rows = own.surveyed_rows
    across = np.interp(
        grid.height[row],
        own.height[rows],
        straight(own.height[rows], np.zeros(1))[:, 0],
    )
    assert abs(across - truth[0]) > 3.0


def test_where_nothing_was_surveyed_nothing_is_stated(design: Design) -> None:
    grid, data = laid(design)
    found = (grid.height >= LOW) & (grid.height <= HIGH)
    assert 0 < found.sum() < found.size
    for name in ("radius", "radius_sd", "cutback", "cutback_sd", "p_brick"):
        field = data[name].to_numpy()
        assert field.dtype == np.float32
        assert np.isfinite(field[found]).all()
        assert np.isnan(field[~found]).all()
    assert (data["surveyed"].to_numpy() == found[:, None]).all()
    assert (data["action"].to_numpy()[~found] == -1).all()
    assert (data["zone"].to_numpy()[~found] == 0).all()


def test_actions_and_zones_are_those_of_the_nearest_row(design: Design) -> None:
    own = make_grid(design, surveyed=(LOW, HIGH), spacing=7.0)
    grid, data = laid(design, spacing=7.0)
    result = (grid.height > LOW) & (grid.height < HIGH)
    same_side = (own.height > STEP)[None, :] == (grid.height > STEP)[:, None]
    away = np.abs(grid.height[:, None] - own.height[None, :])
    away = np.where(same_side & own.surveyed_rows[None, :], away, np.inf)
    zone = data["zone"].to_numpy()
    assert zone.dtype == np.int32
    found = away[np.arange(away.shape[0]), zone[:, 0]]
    assert (found[result] <= away.min(axis=1)[result] + 1e-9).all()
    assert (zone == zone[:, :1]).all()


def test_radius_less_drawing_is_cut_back(design: Design) -> None:
    grid, data = laid(design)
    drawn = data["design_radius"].to_numpy()
    np.testing.assert_allclose(
        drawn, grid.design_radius[:, None] + 0 * drawn, rtol=1e-6
    )
    gap = data["radius"] - data["design_radius"] - data["cutback"]
    # float32 of a radius of 450 mm: 3e-5 mm.
    assert float(np.abs(gap).max()) < 1e-4
    assert data.attrs == {"title": "a wall"}
    assert data["cutback"].attrs == {"units": "cutback"}


def test_a_wall_surveyed_from_bottom_to_top_is_kept_cell_by_cell(
    design: Design,
) -> None:
    grid = record_grid(design)
    between = (design.profile.bottom, design.profile.top)
    data = dataset(grid)
    kept = resampled(data, grid, between, design)
    for name in ("cutback", "cutback_sd", "p_brick", "action", "zone"):
        there = data[name].to_numpy()
        assert (kept[name].to_numpy() == there.astype(kept[name].dtype)).all(), name


@pytest.mark.parametrize("between", [(0.0, 320.0), (33.0, 287.0), (149.0, 151.5)])
@pytest.mark.parametrize(("spacing", "columns"), [(10.0, 360), (25.0, 90), (3.3, 60)])
def test_the_grid_of_a_survey_is_found_again_from_its_rows(
    design: Design, between: tuple[float, float], spacing: float, columns: int
) -> None:
    grid = make_grid(design, surveyed=between, spacing=spacing, columns=columns)
    found = recover_grid(grid.height, grid.azimuth, between, design)
    np.testing.assert_allclose(found.edge, grid.edge, atol=1e-9)
    np.testing.assert_array_equal(found.wall, grid.wall)
    np.testing.assert_array_equal(found.surveyed, grid.surveyed)


def test_rows_of_no_survey_of_the_drawing_are_refused(design: Design) -> None:
    grid = make_grid(design, surveyed=(LOW, HIGH))
    for wrong in (grid.height[1:], grid.height + 1.0, grid.height[::2]):
        with pytest.raises(InputError, match="rows that are not those"):
            recover_grid(wrong, grid.azimuth, (LOW, HIGH), design)


def test_openings_are_those_of_the_drawing(tmp_path: Path, design: Design) -> None:
    grid, data = laid(design)
    (tuyere,) = design.openings
    centre = data["opening"].sel(
        height=tuyere.height, azimuth=tuyere.azimuth, method="nearest"
    )
    assert int(centre) == 1
    area = float((grid.opening * grid.row_height[:, None]).sum()) * grid.sector * 400.0
    assert area == pytest.approx(tuyere.width * tuyere.tall, rel=0.15)
