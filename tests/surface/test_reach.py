"""Wall is surveyed where readings stand near enough, by where they stand alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare.extent import ring_gaps, share_surveyed
from geom.surface import Grid, make_grid
from geom.surface.coverage import Reach, reach_of, surveyed_by, within_reach
from geom.units import Float
from tests.walls import plain_design

LOW, HIGH = 100.0, 1400.0


def sheet(
    azimuths: int, heights: int, *, staggered: float = 0.0
) -> tuple[Float, Float]:
    """An even sheet over the full height, rows turned against each other."""
    step = 360.0 / azimuths
    up = np.linspace(LOW, HIGH, heights)
    azimuth = np.concatenate(
        [np.arange(azimuths) * step + k * staggered * step for k in range(heights)]
    )
    return np.mod(azimuth, 360.0), np.repeat(up, azimuths)


def surveyed(azimuth: Float, height: Float) -> Grid:
    grid = make_grid(plain_design(), surveyed=(height.min(), height.max()))
    told = surveyed_by(grid, azimuth, height)
    return replace(grid, surveyed=grid.surveyed & told)


@pytest.mark.parametrize(
    "places",
    [
        sheet(8, 6),
        sheet(12, 4),
        sheet(12, 10),
        sheet(12, 10, staggered=0.382),
        sheet(16, 14, staggered=0.5),
        sheet(6, 5),
        sheet(4, 8),
    ],
)
def test_an_even_sheet_is_surveyed_all_over(places: tuple[Float, Float]) -> None:
    grid = surveyed(*places)
    assert share_surveyed(grid) == 1.0
    assert ring_gaps(grid) == ()


@pytest.mark.parametrize("azimuths", [8, 12, 16, 24])
def test_a_quarter_of_the_ring_unread_is_not_surveyed(azimuths: int) -> None:
    azimuth, height = sheet(azimuths, 8)
    read = azimuth < 270.0
    grid = surveyed(azimuth[read], height[read])
    (gap,) = ring_gaps(grid)
    last = azimuth[read].max()
    assert gap.widest > 30.0
    assert last < gap.azimuth_from < gap.azimuth_to < 360.0
    assert (gap.height_from, gap.height_to) == pytest.approx((LOW, HIGH))
    middle = 0.5 * (last + 360.0)
    assert not grid.surveyed[:, int(middle)].any()
    assert share_surveyed(grid) == pytest.approx(1.0 - gap.widest / 360.0, abs=0.01)


def test_one_station_left_out_is_told_by_the_rows_beside_it() -> None:
    azimuth, height = sheet(12, 8)
    kept = ~((azimuth == 90.0) & (np.abs(height - height[36]) < 1.0))
    assert share_surveyed(surveyed(azimuth[kept], height[kept])) == 1.0


def test_a_block_of_stations_left_out_is_not_surveyed() -> None:
    azimuth, height = sheet(12, 10)
    kept = ~((np.abs(azimuth - 180.0) < 61.0) & (np.abs(height - 750.0) < 250.0))
    grid = surveyed(azimuth[kept], height[kept])
    assert not grid.surveyed[np.argmin(np.abs(grid.height - 750.0)), 180]
    assert grid.surveyed[np.argmin(np.abs(grid.height - 150.0))].all()


def test_a_reading_tells_of_wall_within_its_reach_and_of_no_other() -> None:
    design = plain_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    near = within_reach(grid, np.arange(0.0, 360.0, 30.0), np.zeros(12), Reach(15, 400))
    assert near[grid.height < 400.0].all()
    assert not near[grid.height > 401.0].any()


def test_more_readings_never_unsurvey_wall() -> None:
    """Many readings more in one place do not shorten the reach of all others."""
    azimuth, height = sheet(8, 6)
    rng = np.random.default_rng(5)
    more = rng.uniform(80.0, 100.0, 200), rng.uniform(600.0, 800.0, 200)
    grid = surveyed(np.append(azimuth, more[0]), np.append(height, more[1]))
    assert share_surveyed(grid) == 1.0


def test_reach_keeps_its_limits() -> None:
    close = reach_of(*sheet(72, 60), 450.0)
    assert (close.turn, close.rise) == (15.0, 228.6)
    azimuth, height = np.array([0.0, 120.0, 240.0] * 2), np.repeat([0.0, 3000.0], 3)
    wide = reach_of(azimuth, height, 450.0)
    assert (wide.turn, wide.rise) == (45.0, 609.6)


def test_azimuth_zero_is_a_place_like_any_other() -> None:
    azimuth, height = sheet(12, 6)
    read = azimuth < 200.0
    here = surveyed(azimuth[read], height[read])
    turned = surveyed(np.mod(azimuth[read] + 250.0, 360.0), height[read])
    np.testing.assert_array_equal(np.roll(here.surveyed, 250, axis=1), turned.surveyed)
