"""Volumes and extremes of scanned wall, against sums over cells written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare import volume as rules
from geom.compare.draws import WallDraws, draw_walls
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.unevenness import AS_ESTIMATED, Unevenness
from geom.compare.volume import cell_volumes, excess
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Float
from tests.repair.known_wall import KnownWall, known_surface
from tests.walls import plain_design

#: Standard deviations of a node about its mean, and of a cell about the truth, mm.
NODE_SD, CELL_SD = 0.3, 0.8
COUNT = 400


def flank(azimuth: Float, height: Float) -> Float:
    """The flank of a hump: 0.4 mm back for every mm up, from build-up to deep wear."""
    return np.asarray(0.4 * (height - 400.0) + 0.0 * azimuth)


def seen_wall(mean=flank, seed: int = 0) -> tuple[WallDraws, Grid, Float]:
    """Draws of a wall that a laser saw all over, its grid and best estimate."""

    def apart(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        return NODE_SD**2 * ((a == a2) & (h == h2))

    surface = known_surface(plain_design(), KnownWall(mean, apart))
    nodes = replace(make_nodes(surface))
    nodes = Nodes(
        **{
            **vars(nodes),
            "seen": np.ones(nodes.mean.size, dtype=bool),
            "unevenness": AS_ESTIMATED,
        },
    )
    cells = surface.cutback
    held = nodes.owner >= 0
    # a node is the mean of its cells
    counts = np.bincount(nodes.owner[held], minlength=nodes.mean.size)
    sums = np.bincount(nodes.owner[held], cells[held], nodes.mean.size)
    nodes = replace(nodes, mean=sums / counts)
    off = nodes.draws(np.arange(nodes.mean.size), COUNT, seed=seed)
    off -= off.mean(axis=1, keepdims=True)
    plain = (nodes.mean[:, None] + off).astype(np.float32)
    return (
        WallDraws(nodes, plain, plain, np.zeros(nodes.mean.size), np.zeros(COUNT)),
        surface.grid,
        cells,
    )


def test_half_of_a_node_on_a_flank_counts_with_its_own_depth():
    walls, grid, cells = seen_wall()
    sd = np.full(grid.shape, CELL_SD)
    # a zone whose edge runs through the middle of nodes, all of it deep
    deep = cells > 120.0
    patch = np.where(deep, grid.patch, 0.0)
    true = float(np.sum(patch[deep] * (450.0 * cells[deep] + 0.5 * cells[deep] ** 2)))
    found = cell_volumes(walls, grid, cells, sd, patch)[0]
    assert found.shape == (COUNT,)
    # its nodes' own depth would be 4 mm less at the edge
    assert found.mean() == pytest.approx(true, rel=2e-4)
    low, high = np.quantile(found, [0.025, 0.975])
    assert low < true < high
    np.testing.assert_array_equal(excess(walls, grid, cells, sd, patch), found)


@pytest.mark.parametrize("inward", [False, True])
def test_of_both_sides_of_the_drawing_cells_are_expected_by_themselves(inward):
    # Wall within a few mm of its drawing: cells scatter about their node.
    def near(azimuth: Float, height: Float) -> Float:
        return np.asarray(1.5 * np.sin(np.deg2rad(9.0 * azimuth) + height / 37.0))

    walls, grid, cells = seen_wall(near)
    sd = np.full(grid.shape, CELL_SD)
    found = cell_volumes(walls, grid, cells, sd, grid.patch)[inward]
    rng = np.random.default_rng(1)
    sign = -1.0 if inward else 1.0
    own = np.sqrt(CELL_SD**2 - NODE_SD**2)
    held = walls.nodes.owner >= 0
    sums = []
    for k in range(40):
        off = (walls.plain[:, k] - walls.nodes.mean)[walls.nodes.owner[held]]
        wall = cells[held] + off + own * rng.standard_normal(int(held.sum()))
        section = sign * (450.0 * wall + 0.5 * wall**2)
        sums.append(float(np.sum(grid.patch[held] * np.maximum(section, 0.0))))
    assert found[:40].mean() == pytest.approx(np.mean(sums), rel=0.004)
    assert np.corrcoef(found[:40], sums)[0, 1] > 0.7
    # how uneven the wall is within nodes is not quite known
    several = (Unevenness(0.5, 0.0), Unevenness(1.0, 1.0))
    walls = replace(walls, nodes=replace(walls.nodes, unevenness=several))
    unsure = cell_volumes(walls, grid, cells, sd, grid.patch)[inward]
    assert unsure.std() > 2.0 * found.std()
    other = cell_volumes(walls, grid, cells, sd, grid.patch)[not inward]
    # both are uneven alike: their difference stays as sure
    assert (unsure - other).std() < 1.1 * np.abs(unsure + other).std()
    assert (unsure - other).std() < 0.5 * unsure.std()


@pytest.mark.parametrize("inward", [False, True])
def test_no_cell_is_surer_than_wall_near_its_drawing_is_uneven(inward):
    walls, grid, cells = seen_wall(lambda azimuth, height: 0.3 + 0.0 * azimuth * height)
    uneven = (Unevenness(1.0, 4.0),)
    walls = replace(walls, nodes=replace(walls.nodes, unevenness=uneven))
    sd = np.full(grid.shape, CELL_SD)
    found = cell_volumes(walls, grid, cells, sd, grid.patch)[inward]
    # of a node's error and of 2 mm a cell, in closed form
    form = expected_shortfall if inward else expected_excess
    each = float(form(0.3, np.sqrt(NODE_SD**2 + 4.0), 450.0))
    whole = float(np.sum(grid.patch[walls.nodes.owner >= 0]))
    assert found.mean() == pytest.approx(each * whole, rel=0.01)


def test_cells_on_one_side_for_certain_need_no_tables(monkeypatch):
    # From 160 mm proud to 440 mm back: most cells are on one side in every draw.
    walls, grid, cells = seen_wall()
    sd = np.full(grid.shape, CELL_SD)
    gone, proud = cell_volumes(walls, grid, cells, sd, grid.patch)
    # none is taken for certain: all are worked out cell by cell
    monkeypatch.setattr(rules, "_CERTAIN", np.inf)
    each, within = cell_volumes(walls, grid, cells, sd, grid.patch)
    np.testing.assert_allclose(gone, each, rtol=1e-12)
    np.testing.assert_allclose(proud, within, rtol=1e-9)
    inside = np.maximum(-450.0 * cells - 0.5 * cells**2, 0.0)
    by_hand = np.nansum(grid.patch * inside)
    assert proud.mean() == pytest.approx(by_hand, rel=1e-3)


def test_sound_nodes_have_nothing_to_put_back():
    walls, grid, cells = seen_wall()
    sound = replace(walls, cutback=np.zeros_like(walls.cutback))
    sd = np.full(grid.shape, CELL_SD)
    assert not np.any(cell_volumes(sound, grid, cells, sd, grid.patch))
    assert not np.any(cell_volumes(walls, grid, cells, sd, np.zeros(grid.shape)))


def test_the_greatest_of_a_scan_is_as_unsure_as_the_cell_it_is():
    walls, grid, cells = seen_wall()
    peak = np.where(np.arange(360) == 90, cells, -np.inf)
    row = np.flatnonzero(grid.surveyed_rows)[-1]
    peak = np.where(np.arange(grid.height.size)[:, None] == row, peak, -np.inf)
    narrow = walls.greatest(peak)
    wide = walls.greatest(peak, sd=np.full(grid.shape, CELL_SD))
    assert narrow.std() == pytest.approx(NODE_SD, rel=0.1)
    assert wide.std() == pytest.approx(CELL_SD, rel=0.1)
    assert wide.mean() == pytest.approx(narrow.mean(), abs=0.05)


@pytest.mark.parametrize(("size", "sound"), [(0.0, True), (1.2, False)])
def test_a_textured_face_is_not_as_drawn_though_its_averages_are(size, sound):
    # Averages over 70 mm and more of what changes from node to node are near nothing.
    rng = np.random.default_rng(2)
    walls, _, _ = seen_wall(lambda azimuth, height: 0.0 * azimuth * height)
    count = walls.nodes.mean.size
    face = size * rng.standard_normal(count)
    read = face + NODE_SD * rng.standard_normal(count)
    found = draw_walls(replace(walls.nodes, mean=read))
    share = float(np.mean(found.cutback == 0.0))
    assert share > 0.8 if sound else share < 0.05


def test_nodes_of_one_survey_are_worked_out_once():
    surface = known_surface(
        plain_design(), KnownWall(flank, lambda a, h, a2, h2: 0.0 * (a + h + a2 + h2))
    )
    nodes = make_nodes(surface)
    assert make_nodes(surface) is nodes
    other = replace(surface, radius=surface.radius + 1.0)
    assert make_nodes(other) is not nodes
