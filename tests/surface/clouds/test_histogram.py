"""Points sorted into cells: as plain numpy does it, whatever their order and kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.datum import Pose
from geom.design import Design, Profile
from geom.readings.clouds import Points
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.histogram import BIN, BinLayout, Histogram
from geom.surface.clouds.kernels import PORTION
from geom.surface.grid import make_grid
from geom.units import Float
from tests.walls import plain_design, tapered_design

#: The kernel's numbers have 24 bits: eight roundings of some 1000 mm, of 3e-5 mm each.
#: So near an edge (mm; columns, for the azimuth) a point may fall on either side of it.
EDGE = 5e-4

TILTED = np.array([120.0, -80.0, 2.0, -3.0])


def layout_of(design: Design, columns: int = 72) -> BinLayout:
    profile = design.profile
    grid = make_grid(design, surveyed=(profile.bottom, profile.top), columns=columns)
    return BinLayout.of(design, grid)


def cloud_of(pose: Pose, count: int, seed: int = 1) -> Float:
    """Points on and far off a wall of 450 mm, some above and some below it, (n, 3)."""
    rng = np.random.default_rng(seed)
    radius = rng.uniform(270.0, 730.0, count)
    height = rng.uniform(-30.0, 1530.0, count)
    return pose.from_wall(rng.uniform(0.0, 360.0, count), radius, height)


def by_numpy(xyz: Float, pose: Pose, layout: BinLayout):
    """Counts, missed, and which points lie clear of every edge; in double precision."""
    x, y, z = pose.rotation @ (xyz - pose.origin).T
    turned = np.arctan2(y, x) / (2.0 * np.pi) * layout.columns + 0.5
    height = z + pose.mid_height
    row = np.searchsorted(layout.edge, height, side="right") - 1
    inside = (row >= 0) & (row < layout.rows)
    own = np.clip(row, 0, layout.rows - 1)
    drawn = layout.base[own] + layout.slope[own] * height
    deep = (np.sqrt(x**2 + y**2) - drawn + ASSUMED.proud_reach) / BIN
    missed = [
        row < 0,
        row >= layout.rows,
        inside & (deep < 0),
        inside & (deep >= layout.bins),
    ]
    kept = inside & (deep >= 0) & (deep < layout.bins)
    column = np.floor(turned).astype(int) % layout.columns
    flat = (row * layout.columns + column) * layout.bins + np.floor(deep).astype(int)
    shape = layout.rows, layout.columns * layout.bins
    counts = np.bincount(flat[kept], minlength=shape[0] * shape[1]).reshape(shape)
    gap = np.abs(height[:, None] - layout.edge).min(axis=1)
    off = [np.abs(value - np.round(value)) for value in (turned, deep)]
    return counts, [int(m.sum()) for m in missed], np.min([gap, *off], axis=0) > EDGE


def in_doubles(xyz: Float) -> Points:
    return Points(*np.ascontiguousarray(xyz.T))


def in_records(xyz: Float, kind: str = "f4") -> Points:
    """Views into records with other things between."""
    rows = np.zeros(len(xyz), [("r", "i4"), *((a, kind) for a in "xyz"), ("n", "i4")])
    for axis, values in zip("xyz", xyz.T, strict=True):
        rows[axis] = values
    return Points(rows["x"], rows["y"], rows["z"])


def in_tenths(xyz: Float) -> Points:
    """Whole tenths of a millimetre from a far place, as LAS holds them."""
    offset = np.array([5_000.0, -3_000.0, 80.0])
    held = in_records(np.round((xyz - offset) / 0.1), "i4")
    return replace(held, scale=np.full(3, 0.1), offset=offset)


#: Few, since each has to be compiled.
WAYS = {"float64": in_doubles, "float32 in records": in_records, "int32": in_tenths}


def counted(layout: BinLayout, pose: Pose, *runs: Points, mm: float = 1.0) -> Histogram:
    histogram = Histogram(layout)
    for run in runs:
        histogram.count(run, pose, mm)
    return histogram


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
@pytest.mark.parametrize("way", WAYS)
def test_points_fall_where_numpy_puts_them(way, sense):
    design = tapered_design(azimuth_sense=sense, openings=())
    layout = layout_of(design)
    pose = Pose.nominal(design, azimuth_of_x=33.0, z_offset=120.0).at(TILTED)
    points = WAYS[way](cloud_of(pose, 60_000))
    counts, missed, clear = by_numpy(points.coordinates(), pose, layout)
    assert clear.mean() > 0.99
    assert min(missed) > 100
    found = counted(layout, pose, points)
    assert found.total == len(points)
    # A point that changes places makes one count less and one more.
    moved = np.abs(found.counts.astype(int) - counts).sum()
    assert moved + np.abs(found.missed - missed).sum() <= 2 * (~clear).sum()
    counts, missed, _ = by_numpy(points.coordinates()[clear], pose, layout)
    found = counted(layout, pose, WAYS[way](points.coordinates()[clear]))
    np.testing.assert_array_equal(found.counts, counts)
    np.testing.assert_array_equal(found.missed, missed)


def test_another_pose_puts_them_elsewhere():
    # The comparison above must tell a degree of tilt and the other sense.
    design = tapered_design(openings=())
    layout, pose = layout_of(design), Pose.nominal(design).at(TILTED)
    xyz = cloud_of(pose, 20_000)
    found = counted(layout, pose, in_doubles(xyz))
    for other in (
        pose.at(TILTED + np.array([0.0, 0.0, 1.0, 0.0])),
        replace(pose, clockwise=False),
        replace(pose, azimuth_of_x=5.0),
        replace(pose, z_offset=10.0),
    ):
        counts, _, _ = by_numpy(xyz, other, layout)
        assert np.abs(found.counts.astype(int) - counts).sum() > 10_000


def test_a_unit_is_a_scale():
    design = tapered_design(openings=())
    layout, pose = layout_of(design), Pose.nominal(design, z_offset=25.4)
    xyz = cloud_of(pose, 20_000)
    found = counted(layout, pose, in_doubles(xyz / 25.4), mm=25.4)
    _, _, clear = by_numpy(xyz, pose, layout)
    counts, missed, _ = by_numpy(xyz[clear], pose, layout)
    again = counted(layout, pose, in_doubles(xyz[clear] / 25.4), mm=25.4)
    np.testing.assert_array_equal(again.counts, counts)
    np.testing.assert_array_equal(again.missed, missed)
    assert found.total == 20_000


@pytest.mark.parametrize("tilt", [np.zeros(4), TILTED])
def test_points_off_the_wall_are_counted_by_where_they_are(tilt):
    design = plain_design()
    layout, pose = layout_of(design), Pose.nominal(design).at(tilt)
    # Shell at 685 mm, wall of 450 mm: bins from 300 mm to 450 + 260 mm.
    assert layout.bins == ASSUMED.proud_reach + 685.0 - 450.0 + ASSUMED.beyond_shell
    places = [
        (7, 450.0, -0.1), (11, 450.0, 1500.1), (13, 299.9, 700.0), (17, 710.1, 700.0),
        (3, 10.0, -5.0), (5, 9000.0, 2000.0), (19, 300.1, 0.1), (23, 709.9, 1499.9),
    ]  # fmt: skip
    many, radius, height = np.repeat(places, [p[0] for p in places], axis=0).T
    azimuth = np.linspace(0.0, 359.0, many.size)
    xyz = pose.from_wall(azimuth, radius, height)
    found = counted(layout, pose, in_doubles(xyz))
    assert found.missed.tolist() == [7 + 3, 11 + 5, 13, 17]
    assert found.counts.sum() == 19 + 23
    by_row = found.counts.sum(axis=1)
    assert (by_row[0], by_row[-1]) == (19, 23)
    assert found.total == many.size


def test_the_axis_itself_is_a_place():
    layout = layout_of(plain_design())
    pose = Pose.nominal(plain_design())
    on_axis = in_doubles(np.array([[0.0, 0.0, 700.0], [-0.0, -0.0, 700.0]]))
    assert counted(layout, pose, on_axis).missed.tolist() == [0, 0, 2, 0]
    narrow = plain_design(profile=Profile(np.array([0.0, 1500.0]), np.full(2, 100.0)))
    layout = layout_of(narrow)
    found = counted(layout, Pose.nominal(narrow), on_axis)
    # 100 mm proud, 50 bins from the foot, whatever its azimuth may be.
    cells = found.counts.reshape(layout.rows, layout.columns, layout.bins)
    assert cells[70, :, 50].sum() == 2


@pytest.mark.parametrize("clockwise", [True, False])
def test_azimuth_0_is_the_middle_of_the_first_column(clockwise):
    design = plain_design()
    layout = layout_of(design, columns=360)
    pose = replace(Pose.nominal(design), clockwise=clockwise)
    xyz = np.array([[450.5, 0.0, 705.0], [450.5, -0.0, 705.0], [450.5, -1e-30, 705.0]])
    azimuth = np.array([0.49, 359.51, 0.51, 359.49, 90.0, 180.0, 270.0])
    ring = pose.from_wall(azimuth, np.full(7, 450.5), np.full(7, 705.0))
    found = counted(layout, pose, in_doubles(np.concatenate([xyz, ring])))
    cells = found.counts.reshape(layout.rows, layout.columns, layout.bins)
    assert cells[70, :, 150].sum() == 10
    full = {int(c): int(cells[70, c, 150]) for c in np.flatnonzero(cells[70, :, 150])}
    assert full == {0: 5, 1: 1, 359: 1, 90: 1, 180: 1, 270: 1}


def test_no_points_count_for_nothing():
    layout = layout_of(plain_design())
    none = in_doubles(np.zeros((0, 3)))
    found = counted(layout, Pose.nominal(plain_design()), none)
    assert found.total == 0
    assert not found.counts.any()
    assert found.missed.tolist() == [0, 0, 0, 0]


def test_neither_order_nor_the_cutting_into_runs_matters():
    design = tapered_design()
    layout, pose = layout_of(design), Pose.nominal(design).at(TILTED)
    xyz = cloud_of(pose, 2 * PORTION + 999)
    together = counted(layout, pose, in_doubles(xyz))
    assert together.total == len(xyz)
    mixed_up = np.random.default_rng(2).permutation(len(xyz))
    in_height = np.argsort(xyz[:, 2])
    cuts = [1, 1024, 1025, PORTION, PORTION + 1, 2 * PORTION + 1]
    for runs in (
        [xyz[mixed_up]],
        [xyz[in_height]],
        np.split(xyz, cuts),
        np.split(xyz[mixed_up], cuts)[::-1],
    ):
        parts = [in_doubles(run) for run in runs]
        found = counted(layout, pose, *parts)
        np.testing.assert_array_equal(found.counts, together.counts)
        np.testing.assert_array_equal(found.missed, together.missed)


@pytest.fixture
def two_tallies():
    design = tapered_design()
    layout, pose = layout_of(design), Pose.nominal(design)
    runs = [in_doubles(cloud_of(pose, 5_000, seed)) for seed in (3, 4)]
    return *(counted(layout, pose, run) for run in runs), counted(layout, pose, *runs)


def test_tallies_add_up(two_tallies):
    one, other, both = two_tallies
    assert not np.array_equal(one.counts, other.counts)
    one.add(other)
    np.testing.assert_array_equal(one.counts, both.counts)
    np.testing.assert_array_equal(one.missed, both.missed)
    assert one.total == 10_000


def test_a_packed_tally_is_the_same_tally(two_tallies):
    one, other, both = two_tallies
    sparse = one.sparse(), other.sparse()
    for part, histogram in zip(sparse, (one, other), strict=True):
        assert part.total == histogram.total
        assert part.code.nbytes < 3 * np.count_nonzero(histogram.counts)
    unpacked = Histogram(both.layout)
    unpacked.add_sparse(sparse[0])
    np.testing.assert_array_equal(unpacked.counts, one.counts)
    np.testing.assert_array_equal(unpacked.missed, one.missed)
    unpacked.add_sparse(sparse[1])
    np.testing.assert_array_equal(unpacked.counts, both.counts)
    np.testing.assert_array_equal(unpacked.missed, both.missed)
    # Put together while packed.
    for whole in (sparse[0].joined(sparse[1]), sparse[1].joined(sparse[0])):
        np.testing.assert_array_equal(whole.code, both.sparse().code)
        np.testing.assert_array_equal(whole.missed, both.missed)
        assert whole.total == 10_000
    empty = Histogram(both.layout).sparse()
    for whole in (empty.joined(sparse[0]), sparse[0].joined(empty)):
        np.testing.assert_array_equal(whole.code, sparse[0].code)
    # What was packed stays as it was.
    before = sparse[0].code.copy()
    one.add(other)
    np.testing.assert_array_equal(sparse[0].code, before)


def test_a_layout_is_the_drawing():
    design = tapered_design()
    layout = layout_of(design)
    assert layout.cutback[[0, 1, -1]] == pytest.approx(
        [-149.5, -148.5, -150.5 + layout.bins]
    )
    assert layout.bins == 150 + 685 - 430 + 25
    for part in (0.01, 0.5, 0.99):
        height = layout.edge[:-1] + part * np.diff(layout.edge)
        drawn = layout.base + layout.slope * height
        np.testing.assert_allclose(drawn, design.profile.radius_at(height), atol=1e-9)
    assert 600.0 in layout.edge
    no_shell = layout_of(tapered_design(shell_radius=None))
    assert no_shell.bins == ASSUMED.proud_reach + ASSUMED.deepest_cutback


def test_a_points_bin_does_not_depend_on_how_it_lies_in_memory():
    # Azimuths on the edges of columns, where the last bit decides.
    design = plain_design()
    layout = BinLayout.of(
        design, make_grid(design, surveyed=(0.0, 1500.0), spacing=50.0)
    )
    rng = np.random.default_rng(5)
    turn = (rng.integers(0, 360, 20_011) + 0.5) * (2.0 * np.pi / 360)
    radius, up = rng.uniform(440.0, 500.0, turn.size), rng.uniform(0, 1500, turn.size)
    pose = Pose.nominal(design).at([7.3, -4.1, 0.4, -0.7])
    x, y, z = radius * np.cos(turn), radius * np.sin(turn), up - pose.mid_height
    xyz = np.stack([x, y, z], axis=1) @ pose.rotation + pose.origin

    def counted(points, cuts):
        histogram = Histogram(layout)
        for part in np.split(points, cuts):
            histogram.count(Points(*part.T), pose, 1.0)
        return histogram.counts

    for kind in ("f4", "f8"):
        rows = xyz.astype(kind)
        whole = counted(rows, [])
        columns = np.asfortranarray(rows)
        for points, cuts in ((columns, []), (rows, [7, 8, 1030]), (columns, [7, 9999])):
            np.testing.assert_array_equal(counted(points, cuts), whole)
