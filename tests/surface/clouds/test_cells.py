"""What points of a known wall say of its cells, and what spoils them does not."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from geom.datum import Pose
from geom.readings.clouds import Points
from geom.surface.clouds.cells import (
    Cells,
    NearPoints,
    is_isolated,
    is_sparse,
    local_quantile,
    merge_cells,
    quantile,
    wall_cells,
)
from geom.surface.clouds.cells import (
    _variance as variance_of_mean,
)
from geom.surface.clouds.histogram import BIN, BinLayout, Histogram
from geom.surface.grid import Grid, make_grid
from geom.units import Bool, Float
from tests.walls import plain_design, tapered_design

COLUMNS, SPACING, POINTS, NOISE = 120, 25.0, 600_000, 1.0


def worn(azimuth: Float, height: Float) -> Float:
    """A smooth worn wall, cut-back in mm."""
    side = 10.0 * np.cos(np.deg2rad(azimuth - 60.0))
    return np.asarray(15.0 + side + 8.0 * np.sin(2.0 * np.pi * height / 1500.0))


class BinnedCloud:
    """Seeded points of the worn wall, to be spoiled before they are counted."""

    def __init__(self, design=None, count: int = POINTS, noise: float = NOISE) -> None:
        self.design = design or plain_design()
        self.rng = np.random.default_rng(17)
        self.azimuth = self.rng.uniform(0.0, 360.0, count)
        self.height = self.rng.uniform(0.0, 1500.0, count)
        scatter = self.rng.normal(0.0, noise, count)
        self.cutback = worn(self.azimuth, self.height) + scatter
        self.grid = make_grid(
            self.design, surveyed=(0.0, 1500.0), spacing=SPACING, columns=COLUMNS
        )

    def within(self, azimuth: tuple[float, float], height: tuple[float, float]) -> Bool:
        """Which points lie in a window of the wall."""
        beside = (self.azimuth > azimuth[0]) & (self.azimuth < azimuth[1])
        return beside & (self.height > height[0]) & (self.height < height[1])

    def cells(self, kept: Bool | slice = slice(None)) -> Cells:
        a, h = self.azimuth[kept], self.height[kept]
        radius = self.design.profile.radius_at(h) + self.cutback[kept]
        pose = Pose.nominal(self.design)
        histogram = Histogram(BinLayout.of(self.design, self.grid))
        x, y, z = pose.from_wall(a, radius, h).T.copy()
        histogram.count(Points(x, y, z), pose, 1.0)
        return wall_cells(histogram, self.grid)


def truth(grid: Grid) -> Float:
    return worn(grid.azimuth[None, :], grid.height[:, None])


def window(grid: Grid, azimuth: tuple[float, float], height: tuple[float, float]):
    """Cells that lie in a window of the wall as a whole."""
    half = 180.0 / grid.azimuth.size
    beside = (grid.azimuth - half >= azimuth[0]) & (grid.azimuth + half <= azimuth[1])
    tall = (grid.edge[:-1] >= height[0]) & (grid.edge[1:] <= height[1])
    return tall[:, None] & beside[None, :]


def rms(values: Float) -> float:
    return float(np.sqrt(np.mean(values**2)))


@pytest.fixture(scope="module")
def clean() -> Cells:
    return BinnedCloud().cells()


def test_a_smooth_wall_is_told_to_a_fifth_of_a_millimetre(clean):
    # Some 83 points of 1 mm scatter a cell: their mean is good to 0.11 mm, and to that
    # comes what the wall slopes from one end of a cell to the other.
    error = clean.cutback - truth(BinnedCloud().grid)
    dense = clean.count >= 20
    assert dense.all()
    assert rms(error) < 0.2
    assert abs(error.mean()) < 0.01
    assert np.abs(error).max() < 0.9
    assert clean.total == POINTS
    # Past three spreads lie 0.27 % of a normal; spreads of 83 points scatter.
    assert clean.rejected < 0.01 * POINTS
    assert clean.in_front == 0


def test_the_variance_of_a_cell_is_that_of_its_mean(clean):
    off = (clean.cutback - truth(BinnedCloud().grid)) / np.sqrt(clean.variance)
    # 7 200 cells: the rms of honest ones is 1 within 0.01; rounding to bins widens it.
    assert rms(off) == pytest.approx(1.0, abs=0.08)
    assert np.median(clean.variance) == pytest.approx(NOISE**2 / 83.0, rel=0.3)


@pytest.mark.parametrize("scatter", [0.0, 0.1, 0.3, 1.0])
def test_a_mean_of_points_in_bins_errs_as_told(scatter):
    # points of one cell about a wall that lies anywhere in a bin, rounded to bins
    rng, n = np.random.default_rng(3), 8
    wall = rng.uniform(-0.5 * BIN, 0.5 * BIN, (20_000, 1))
    points = wall + rng.normal(0.0, scatter, (20_000, n))
    off = (BIN * np.round(points / BIN)).mean(axis=1) - wall[:, 0]
    told = variance_of_mean(np.array([scatter]), np.array([float(n)]), scatter**2)
    # JCGM 100:2008, 4.3.7; nowhere too sure, and right where nothing scatters or all
    assert 0.97 < float(told[0]) / off.var() < (1.3 if scatter in {0.0, 1.0} else 2.2)


def test_a_wall_without_scatter_is_told_within_a_bin():
    error = BinnedCloud(noise=0.0).cells().cutback - truth(BinnedCloud().grid)
    assert np.abs(error).max() < 0.5


def test_a_taper_and_a_step_are_left_out_of_cut_back():
    scan = BinnedCloud(tapered_design())
    cells = scan.cells()
    wall = ~scan.grid.opening
    assert (cells.seen == wall).all()
    assert rms((cells.cutback - truth(scan.grid))[wall]) < 0.2
    assert not cells.count[~wall].any()


def test_a_chain_in_front_is_not_wall(clean):
    scan = BinnedCloud()
    chain = scan.within((91.5, 115.5), (300.0, 1200.0))
    scan.cutback[chain] -= 100.0
    cells = scan.cells()
    hung = window(scan.grid, (91.5, 115.5), (300.0, 1200.0))
    assert hung.sum() == 8 * 36
    assert not cells.seen[hung].any()
    assert cells.seen[~hung].all()
    assert cells.in_front == hung.sum()
    assert cells.rejected - clean.rejected == pytest.approx(chain.sum(), rel=0.01)
    np.testing.assert_array_equal(cells.cutback[~hung], clean.cutback[~hung])


def test_a_wall_that_stands_proud_is_wall():
    # The twin of the chain: so far in front a crust of slag may be.
    scan = BinnedCloud()
    scan.cutback[scan.within((91.5, 115.5), (300.0, 1200.0))] -= 40.0
    cells = scan.cells()
    hung = window(scan.grid, (91.5, 115.5), (300.0, 1200.0))
    assert cells.seen.all()
    assert cells.in_front == 0
    assert rms((cells.cutback - truth(scan.grid))[hung] + 40.0) < 0.2


def test_a_chain_one_sees_past_leaves_the_wall():
    scan = BinnedCloud()
    chain = scan.within((91.5, 115.5), (300.0, 1200.0))
    chain &= scan.rng.uniform(size=POINTS) < 0.6
    scan.cutback[chain] -= 100.0
    cells = scan.cells()
    assert cells.seen.all()
    assert rms(cells.cutback - truth(scan.grid)) < 0.25
    assert cells.rejected > chain.sum()


def test_dust_does_not_move_the_wall(clean):
    scan = BinnedCloud()
    dust = scan.rng.uniform(size=POINTS) < 0.05
    scan.cutback[dust] = scan.rng.uniform(-140.0, 0.0, int(dust.sum()))
    cells = scan.cells()
    error = cells.cutback - truth(scan.grid)
    assert cells.seen.all()
    assert rms(error) < 0.2
    # A twentieth of the points 85 mm in front would pull a mean of all by 4 mm.
    assert abs(error.mean() - (clean.cutback - truth(scan.grid)).mean()) < 0.01
    assert cells.rejected > 0.8 * dust.sum()


def test_glints_beyond_do_not_move_the_wall(clean):
    scan = BinnedCloud()
    glint = scan.rng.uniform(size=POINTS) < 0.02
    scan.cutback[glint] = scan.rng.uniform(60.0, 250.0, int(glint.sum()))
    error = scan.cells().cutback - truth(scan.grid)
    assert rms(error) < 0.2
    assert abs(error.mean() - (clean.cutback - truth(scan.grid)).mean()) < 0.01


def test_what_the_laser_did_not_see_stays_unknown():
    scan = BinnedCloud()
    gone = (207.0, 261.0), (450.0, 900.0)
    cells = scan.cells(~scan.within(*gone))
    empty = window(scan.grid, *gone)
    inside = window(scan.grid, (207.0 + 18.0, 261.0 - 18.0), (450.0, 900.0))
    assert inside.any()
    assert not cells.seen[inside].any()
    assert cells.seen[~empty].all()
    for field in (cells.cutback, cells.variance):
        assert np.isnan(field[inside]).all()
    assert not cells.count[inside].any()


@pytest.mark.parametrize(("share", "seen"), [(0.02, 0.0), (0.3, 1.0)])
def test_far_fewer_points_than_beside_are_no_wall(share, seen):
    # All at one depth, as wall is; but 2 % of what the wall beside has.
    scan = BinnedCloud()
    gone = (207.0, 261.0), (450.0, 900.0)
    shadow = scan.within(*gone)
    scan.cutback[shadow] -= 30.0
    cells = scan.cells(~shadow | (scan.rng.uniform(size=POINTS) < share))
    inside = window(scan.grid, (207.0 + 18.0, 261.0 - 18.0), (450.0, 900.0))
    assert cells.seen[inside].mean() == seen
    assert cells.seen[~window(scan.grid, *gone)].all()


def test_dust_in_a_shadow_is_no_wall():
    scan = BinnedCloud()
    gone = (207.0, 261.0), (450.0, 900.0)
    shadow = scan.within(*gone)
    scan.cutback[shadow] -= scan.rng.uniform(20.0, 130.0, int(shadow.sum()))
    cells = scan.cells(~shadow | (scan.rng.uniform(size=POINTS) < 0.02))
    inside = window(scan.grid, (207.0 + 18.0, 261.0 - 18.0), (450.0, 900.0))
    assert not cells.seen[inside].any()


def test_one_empty_cell_is_told_by_those_around_it():
    scan = BinnedCloud()
    row, column = 21, 40
    low, high = scan.grid.edge[[row, row + 1]]
    middle = float(scan.grid.azimuth[column])
    cells = scan.cells(~scan.within((middle - 1.5, middle + 1.5), (low, high)))
    assert cells.seen.all()
    error = cells.cutback[row, column] - truth(scan.grid)[row, column]
    beside = cells.variance[row, column + 1]
    assert cells.variance[row, column] > 2.0 * beside
    assert abs(error) < 3.0 * np.sqrt(cells.variance[row, column])


def test_a_thin_scan_is_told_by_blocks_and_says_so():
    # One or two points a cell: no cell knows itself.
    scan = BinnedCloud(count=12_000)
    cells = scan.cells()
    error = (cells.cutback - truth(scan.grid))[cells.seen]
    assert cells.seen.mean() > 0.95
    assert rms(error) < 1.0
    # On the whole; a block of few points may by luck look smoother than it is.
    stated = np.sqrt(cells.variance[cells.seen].mean())
    assert rms(error) == pytest.approx(stated, rel=0.2)


def thin_scan(dust: float = 0.0) -> tuple[BinnedCloud, Cells]:
    """One or two points a cell, of a wall with a loss of 20 mm with upright edges."""
    scan = BinnedCloud(count=12_000)
    lost = scan.within((100.0, 160.0), (500.0, 1000.0))
    scan.cutback[lost] += 20.0
    far = scan.rng.uniform(size=12_000) < dust
    scan.cutback[far] = scan.rng.uniform(-140.0, 0.0, int(far.sum()))
    return scan, scan.cells()


def with_loss(grid: Grid) -> Float:
    lost = window(grid, (100.0, 160.0), (500.0, 1000.0))
    return truth(grid) + np.where(lost, 20.0, 0.0)


def test_points_at_an_upright_edge_stay_where_they_are():
    # A block's layer takes the side that most of its points are on.
    scan, cells = thin_scan()
    assert cells.own.sum() > 0.75 * cells.own.size
    assert cells.rejected < 0.02 * 12_000
    edge = window(scan.grid, (90.0, 170.0), (450.0, 1050.0)) & cells.own
    # columns that straddle the edge mix both depths
    straddles = np.isin(scan.grid.azimuth, (99.0, 102.0, 159.0, 162.0))
    off = (cells.cutback - with_loss(scan.grid))[edge & ~straddles[None, :]]
    assert rms(off) < 1.6
    assert np.abs(off).max() < 8.0


def test_a_cell_of_few_points_is_as_sure_as_their_number_makes_it():
    scan, cells = thin_scan()
    sure = cells.variance[cells.own] * cells.count[cells.own]
    # 1 mm of scatter, and the slope of the wall within a cell
    assert np.median(sure) == pytest.approx(1.1, abs=0.4)
    few, many = (cells.own & (cells.count == n) for n in (1, 4))
    off = cells.cutback - truth(scan.grid)
    quiet = window(scan.grid, (180.0, 350.0), (0.0, 1500.0))
    assert rms(off[few & quiet]) > 1.5 * rms(off[many & quiet])


def test_dust_among_few_points_is_no_wall():
    scan, cells = thin_scan(dust=0.05)
    far = np.abs(cells.cutback - with_loss(scan.grid)) > 25.0
    assert np.mean(far[cells.own]) < 0.004
    assert cells.rejected > 0.6 * 0.05 * 12_000


def test_no_points_at_all_are_no_wall():
    cells = BinnedCloud(count=0).cells()
    assert not cells.seen.any()
    assert (cells.total, cells.rejected, cells.in_front) == (0, 0, 0)


def a_cell(cutback: float, variance: float, count: float) -> Cells:
    """Cells of a grid of two, the second never seen."""

    def beside(value: float, other: float) -> Float:
        return np.array([[value, other]])

    return Cells(
        beside(cutback, np.nan), beside(variance, np.nan), beside(count, 0.0),
        np.isfinite(beside(cutback, np.nan)), NearPoints(
            beside(count, 0.0), beside(0.5, 0.0), beside(90.0, 0.0), beside(3.0, 0.0)
        ), 100, 7, 1,
    )  # fmt: skip


def test_set_ups_count_by_what_they_know():
    # Closed form: (10 / 1 + 15 / 4) / (1 / 1 + 1 / 4) = 11, variance 1 / 1.25 = 0.8.
    cells, share = merge_cells([a_cell(10.0, 1.0, 40), a_cell(15.0, 4.0, 10)])
    assert cells.cutback[0, 0] == pytest.approx(11.0, abs=1e-12)
    assert cells.variance[0, 0] == pytest.approx(0.8, abs=1e-12)
    assert share[:, 0, 0] == pytest.approx([0.8, 0.2], abs=1e-12)
    assert cells.count.tolist() == [[50.0, 0.0]]
    # all 50 points of the first together: (40 * 10.5 + 10 * 15.5) / 50 = 11.5
    assert cells.near.count.tolist() == [[50.0, 0.0]]
    assert cells.near.off[0, 0] == pytest.approx(0.5, abs=1e-12)
    assert cells.near.squares.tolist() == [[180.0, 0.0]]
    assert cells.near.freedom.tolist() == [[6.0, 0.0]]
    assert not cells.seen[0, 1]
    assert np.isnan(cells.variance[0, 1])
    assert (cells.total, cells.rejected, cells.in_front) == (200, 14, 2)


def test_a_set_up_that_sees_nothing_counts_for_nothing():
    blind = a_cell(np.nan, np.nan, 0)
    for parts in ([a_cell(10.0, 4.0, 40), blind], [blind, a_cell(10.0, 4.0, 40)]):
        cells, share = merge_cells(parts)
        assert cells.cutback[0, 0] == 10.0
        assert cells.variance[0, 0] == 4.0
        assert sorted(share[:, 0, 0]) == [0.0, 1.0]


def test_cells_taken_for_hidden_are_rejected_with_their_points():
    cells = a_cell(10.0, 1.0, 40)
    hidden = cells.without(np.array([[True, True]]))
    assert not hidden.seen.any()
    assert hidden.rejected == 7 + 40
    assert not hidden.count.any()
    assert cells.without(np.array([[False, True]])).rejected == 7


def holed(shape: tuple[int, ...], share: float, seed: int) -> Float:
    rng = np.random.default_rng(seed)
    field = rng.normal(0.0, 10.0, shape)
    field[rng.uniform(size=shape) < share] = np.nan
    return field


def numpys(values: Float, share: float) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return float(np.nanquantile(values, share, method="nearest"))


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.8, 1.0])
def test_a_quantile_is_that_of_numpy(share):
    values = holed((40, 9), 0.4, 1)
    values[3] = np.nan
    expected = [numpys(row, share) for row in values]
    np.testing.assert_array_equal(quantile(values, share), expected)
    assert np.isnan(quantile(values, share)[3])


@pytest.mark.parametrize("share", [0.2, 0.5])
@pytest.mark.parametrize("shape", [(30, 36), (27, 48)])
def test_the_wall_around_is_the_median_of_blocks(shape, share):
    field = holed(shape, 0.3, 2)
    field[:18, 6:24] = np.nan
    rows, columns = -(-shape[0] // 6), shape[1] // 6
    each = np.array(
        [
            [
                numpys(field[6 * r : 6 * r + 6, 6 * c : 6 * c + 6], share)
                for c in range(columns)
            ]
            for r in range(rows)
        ]
    )
    found = local_quantile(field, share)
    assert found.shape == shape
    for r in range(rows):
        for c in range(columns):
            beside = np.arange(c - 2, c + 3) % columns
            near = each[max(r - 2, 0) : r + 3][:, beside]
            told = numpys(near, 0.5) if np.isfinite(near).sum() >= 5 else np.nan
            block = found[6 * r : 6 * r + 6, 6 * c : 6 * c + 6]
            np.testing.assert_array_equal(block, told)


def test_where_too_little_is_known_around_nothing_is_told():
    field = np.full((60, 120), np.nan)
    field[:12, :12] = 3.0
    assert np.isnan(local_quantile(field, 0.5)).all()
    field[:18, :12] = 3.0
    assert local_quantile(field, 0.5)[0, 0] == 3.0
    assert local_quantile(field, 0.5)[0, -1] == 3.0
    assert np.isnan(local_quantile(field, 0.5)[-1, 0])


def test_blocks_far_emptier_than_their_row_are_thin():
    count = np.array(
        [
            [100.0, 100.0, 100.0, 9.9],
            [100.0, 100.0, 100.0, 10.0],
            [0.0, 0.0, 0.0, 0.0],
            [4.0, 4.0, 3.0, 2.0],
        ]
    )
    expected = [[0, 0, 0, 1], [0, 0, 0, 0], [1, 1, 1, 1], [0, 0, 0, 1]]
    np.testing.assert_array_equal(is_sparse(count), np.array(expected, dtype=bool))


def test_a_cell_that_none_beside_it_bears_out_is_alone():
    field = np.full((6, 8), np.nan)
    field[1, 1] = 50.0
    field[3, [7, 0]] = 50.0
    assert is_isolated(field)[np.isfinite(field)].all()
    # Three together, across azimuth 0; and one of them 30 mm off the others.
    field[4, 0] = 52.0
    assert not is_isolated(field)[[3, 3, 4], [7, 0, 0]].any()
    field[4, 0] = 80.0
    assert is_isolated(field)[[3, 3, 4], [7, 0, 0]].all()
