"""Joint draws in which sound wall may be sound: what they keep and what they change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.stats import chi2

from geom.compare.draws import RULES, WallDraws, draw_walls, prior_of
from geom.compare.nodes import Nodes, PatchKernel, make_nodes
from geom.stats.normal import expected_excess, expected_shortfall
from geom.surface import reconstruct
from geom.units import Float
from tests.compare.read_walls import (
    AZIMUTHS,
    HEIGHTS,
    RADIUS,
    covariance,
    on_nodes,
    places_of_nodes,
    prior,
    read_wall,
    sheet,
)
from tests.walls import plain_design, worn_readings

#: Wall of a node, radian mm.
PATCH = np.full(HEIGHTS.size * AZIMUTHS.size, np.deg2rad(6.0) * 45.0)
LITRES = 1e-6


def worn(places: Float) -> Float:
    """Worn everywhere, 10 to 40 mm."""
    side = np.cos(np.deg2rad(places[:, 0] - 40.0))
    return np.asarray(25.0 + 10.0 * side + 5.0 * np.sin(places[:, 1] / 200.0))


def slag(places: Float) -> Float:
    """A lump 60 mm thick and a foot across, at 90 degrees and 650 mm."""
    turn = np.deg2rad(places[:, 0] - 90.0)
    apart = np.hypot(2.0 * RADIUS * np.sin(0.5 * turn), places[:, 1] - 650.0)
    return np.asarray(60.0 * np.exp(-((apart / 160.0) ** 4)))


@pytest.fixture(scope="module")
def of_worn() -> WallDraws:
    return draw_walls(read_wall(sheet(), worn(sheet())), prior())


def in_closed_form(walls: WallDraws, *, inward: bool = False) -> float:
    """What the process itself expects beyond the drawing, from its draws; mm3."""
    sign = -1.0 if inward else 1.0
    section = sign * walls.plain * (RADIUS + 0.5 * walls.plain)
    return float(PATCH @ np.maximum(section, 0.0).mean(axis=1))


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_sound_wall_is_drawn_as_sound_and_has_nothing_to_put_back(seed: int) -> None:
    walls = draw_walls(read_wall(sheet(), np.zeros(120), seed=seed), prior())
    assert walls.sound.min() > 0.8
    expected = in_closed_form(walls) * LITRES
    assert expected > 4.0  # the process alone would put back so many litres
    for inward in (False, True):
        beyond = in_closed_form(walls, inward=inward)
        litres = walls.excess(PATCH, beyond, inward=inward) * LITRES
        assert np.median(litres) == np.quantile(litres, 0.9) == 0.0
        assert litres.mean() < 0.02 * expected


def test_a_wall_that_is_clearly_worn_is_left_as_the_process_draws_it(
    of_worn: WallDraws,
) -> None:
    assert of_worn.sound.max() < 1e-3
    moved = np.abs(of_worn.cutback - of_worn.plain)
    # but for the tails of a t distribution
    assert np.mean(moved > 0.01) < 0.01
    litres = of_worn.excess(PATCH, in_closed_form(of_worn)) * LITRES
    assert litres.mean() == pytest.approx(in_closed_form(of_worn) * LITRES, rel=1e-4)


def test_slag_that_the_readings_show_stays_proud_on_a_worn_wall() -> None:
    places = sheet(24, 20)
    walls = draw_walls(read_wall(places, worn(places) - slag(places)), prior())
    proud = walls.nodes.mean < -3.0 * walls.nodes.sd
    assert proud.sum() > 15
    np.testing.assert_array_equal(walls.cutback[proud], walls.plain[proud])
    assert walls.sound[proud].max() < 0.01
    truth = -(worn(places_of_nodes()) - slag(places_of_nodes()))
    true = float(PATCH @ np.maximum(truth * (RADIUS - 0.5 * truth), 0.0))
    told = walls.excess(PATCH, in_closed_form(walls, inward=True), inward=True)
    # a round process draws a lump with steep sides somewhat too broad
    assert told.mean() == pytest.approx(true, rel=0.3)
    assert told.mean() * LITRES == pytest.approx(
        in_closed_form(walls, inward=True) * LITRES, rel=0.05
    )


def averages(field: Float) -> Float:
    """Means over patches of 200 mm, as the rules rest on; (q, n) to (q, n)."""
    rows = field.reshape(HEIGHTS.size, AZIMUTHS.size, -1)
    arc = RADIUS * np.deg2rad(6.0)
    wide = (200.0 / 45.0, 200.0 / arc, 0.0)
    mean = gaussian_filter(rows, wide, mode=("nearest", "wrap", "nearest"), truncate=3)
    return np.asarray(mean.reshape(field.shape))


def rough_wall(seed: int = 3) -> tuple[Nodes, Float]:
    """Cut back 6 mm on the whole, sparsely read: draws ring about nil in between."""
    places = sheet(8, 6)
    return read_wall(places, np.full(48, 6.0), noise=1.0, seed=seed), places


def test_a_patch_keeps_its_average_and_loses_its_lesser_sign() -> None:
    nodes, _ = rough_wall()
    walls = draw_walls(nodes, prior())
    assert walls.sound.max() < 0.15
    assert np.mean(walls.plain < 0.0) > 0.1  # what the process makes of it
    # standing proud is as good as gone ...
    assert np.mean(walls.cutback < -RULES.rough - 1e-9) < 0.02
    # ... and was taken from the wear beside it, draw by draw
    kept, given = averages(walls.cutback), averages(walls.plain)
    certain = nodes_certain(walls, given)
    assert certain.sum() > 300
    assert kept[certain].mean() == pytest.approx(given[certain].mean(), rel=0.045)
    off = np.sqrt(np.mean((kept - given)[certain] ** 2))
    assert off < 0.6
    # leaving the average alone is no matter of course: cut off at nil it grows
    cut_off = averages(np.maximum(walls.plain, 0.0))
    assert cut_off[certain].mean() > 1.08 * given[certain].mean()


def nodes_certain(walls: WallDraws, average: Float) -> np.ndarray:
    """Where the patch is worn in nearly every draw; bool (q,)."""
    return np.asarray(np.quantile(average, 0.005, axis=1) > 0.0)


def known_by_sums(cutback: float, apart: float) -> WallDraws:
    """A wall whose two ends across are known by their sum: an odd part is added, mm."""
    nodes, places = read_wall(sheet(), np.full(120, cutback)), places_of_nodes()
    turn = np.deg2rad(places[:, None, 0] - places[None, :, 0])
    unseen = apart**2 * np.cos(turn)
    first = apart**2 * np.cos(np.deg2rad(AZIMUTHS - AZIMUTHS[0]))
    return draw_walls(on_nodes(nodes.mean, nodes.covariance + unseen), prior() + first)


def test_of_two_ends_known_by_their_sum_neither_has_more_than_all_of_it() -> None:
    """10 mm on either side, or 20 and none: the same volume to first order."""
    walls = known_by_sums(10.0, 12.0)
    seen = draw_walls(read_wall(sheet(), np.full(120, 10.0)), prior())
    assert np.mean(walls.plain < -RULES.rough) > 0.1
    assert np.mean(walls.cutback < -RULES.rough - 1e-3) < 0.005
    ends = walls.cutback.reshape(HEIGHTS.size, 2, -1, RULES.draws)
    litres, expected = (
        PATCH @ np.maximum(w.cutback, 0.0) * RADIUS * LITRES for w in (walls, seen)
    )
    assert litres.mean() == pytest.approx(expected.mean(), rel=0.02)
    assert litres.std() < 1.3 * expected.std()
    # from as much on either side to all of it on one
    most = ends.max(axis=1).mean(axis=(0, 1))
    assert np.quantile(most, 0.05) < 12.0
    assert np.quantile(most, 0.95) > 15.5


def test_of_two_ends_whose_sum_is_as_drawn_both_are() -> None:
    walls = known_by_sums(0.0, 12.0)
    assert walls.sound.min() > 0.8
    assert np.mean(walls.cutback == 0.0) > 0.8


def test_the_same_seed_draws_the_same_and_another_does_not() -> None:
    nodes, _ = rough_wall()
    first, again = (
        draw_walls(nodes, prior(), seed=4),
        draw_walls(nodes, prior(), seed=4),
    )
    np.testing.assert_array_equal(first.cutback, again.cutback)
    np.testing.assert_array_equal(first.sound, again.sound)
    other = draw_walls(nodes, prior(), seed=5)
    assert np.abs(other.cutback - first.cutback).max() > 1.0


@pytest.mark.parametrize("columns", [1, 30])
def test_where_azimuth_zero_is_changes_nothing(columns: int) -> None:
    places = sheet(12, 10)
    # sound but for one side above, across azimuth 0
    side = np.abs((places[:, 0] + 180.0) % 360.0 - 180.0) < 50.0
    nodes = read_wall(places, np.where(side & (places[:, 1] > 900.0), 10.0, 0.0))
    turned = turn(nodes, columns)
    here, there = draw_walls(nodes, prior()), draw_walls(turned, prior())
    shape = (HEIGHTS.size, AZIMUTHS.size)
    sound = np.roll(here.sound.reshape(shape), columns, axis=1)
    # variances of hundreds of draws are known to some 5 %, and odds go with them
    assert np.abs(there.sound.reshape(shape) - sound).max() < 0.15
    assert sound.max() > 0.85
    assert sound.min() < 0.01
    assert np.ptp(sound, axis=1).max() > 0.4
    litres = [
        walls.excess(PATCH, in_closed_form(walls)) * LITRES for walls in (here, there)
    ]
    spread = litres[0].std() / np.sqrt(1000.0)
    assert litres[1].mean() == pytest.approx(litres[0].mean(), abs=5.0 * spread)


def turn(nodes: Nodes, columns: int) -> Nodes:
    """The same wall, azimuth counted from elsewhere."""
    order = np.roll(
        np.arange(nodes.mean.size).reshape(HEIGHTS.size, -1), columns, axis=1
    ).ravel()
    return replace(
        nodes,
        mean=nodes.mean[order],
        covariance=nodes.covariance[np.ix_(order, order)],
    )


def test_patches_of_one_wall_are_sound_together_more_often_than_by_themselves() -> None:
    """Whether a place is sound is drawn by patches, not node by node."""
    q = PATCH.size
    nodes = on_nodes(np.zeros(q), read_wall(sheet(), np.zeros(120)).covariance)
    walls = draw_walls(nodes, prior())
    nil = (walls.cutback == 0.0).reshape(HEIGHTS.size, AZIMUTHS.size, -1)
    share = nil.mean()
    beside = np.mean(~nil[:, :-1] & ~nil[:, 1:])
    assert 0.001 < 1.0 - share < 0.1
    assert beside > 10.0 * (1.0 - share) ** 2
    np.testing.assert_allclose(nil.mean(axis=2).ravel(), walls.sound, atol=0.03)


def test_an_excess_is_scaled_to_the_closed_form_of_the_fine_grid(
    of_worn: WallDraws,
) -> None:
    whole = in_closed_form(of_worn)
    plain, scaled = (of_worn.excess(PATCH, f * whole) for f in (1.0, 1.1))
    np.testing.assert_allclose(scaled, 1.1 * plain, rtol=1e-6)
    none = of_worn.excess(np.zeros_like(PATCH), 0.0)
    assert not none.any()


def test_the_greatest_of_a_wall_moves_each_node_with_its_own_draw(
    of_worn: WallDraws,
) -> None:
    nodes = of_worn.nodes
    field = nodes.mean.reshape(HEIGHTS.size, -1)
    np.testing.assert_allclose(
        of_worn.greatest(field), of_worn.cutback.max(axis=0), atol=1e-3
    )
    # a cell deeper than its node's mean stays so much deeper
    spike = field.copy()
    spike[5, 7] += 100.0
    k = 5 * AZIMUTHS.size + 7
    np.testing.assert_allclose(
        of_worn.greatest(spike), of_worn.cutback[k] + 100.0, atol=1e-3
    )
    some = np.where(np.arange(AZIMUTHS.size) < 3, field, -np.inf)
    held = np.isfinite(some).ravel()
    np.testing.assert_allclose(
        of_worn.greatest(some), of_worn.cutback[held].max(axis=0), atol=1e-3
    )
    np.testing.assert_allclose(
        of_worn.greatest(-some, sign=-1.0),
        -of_worn.cutback[held].min(axis=0),
        atol=1e-3,
    )


def test_where_nothing_was_read_nothing_speaks_for_sound() -> None:
    places = sheet(12, 10)
    low = places[places[:, 1] < 200.0]
    walls = draw_walls(read_wall(low, np.zeros(len(low))), prior())
    height = places_of_nodes()[:, 1]
    assert walls.sound[height < 150.0].min() > 0.6
    # what is expected of any wall, and hardly more
    assert walls.sound[height > 1200.0].max() < 3.0 * RULES.sound


def test_prior_variance_of_a_patch_is_that_of_its_weighted_mean() -> None:
    kernel = PatchKernel.of(on_nodes(np.zeros(PATCH.size), np.eye(PATCH.size)), 200.0)
    told = kernel.variance(prior())
    every = covariance(places_of_nodes(), places_of_nodes())
    for row in (0, 3, 14):
        weights = np.outer(kernel.rows[row], kernel.columns[7]).ravel()
        assert told[row] == pytest.approx(weights @ every @ weights, rel=1e-4)


def test_the_prior_of_a_surface_is_its_processs_own() -> None:
    design = plain_design()
    readings = worn_readings(design, azimuths=8, heights=6)
    surface = reconstruct(readings, design, spacing=100.0, columns=36)
    nodes = make_nodes(surface)
    table = prior_of(surface, nodes)
    process = surface.posterior.fitted.best.covariance
    for row in (0, 7):
        here = process.variance(nodes.height[[row]], nodes.azimuth[[0]])
        assert table[row, row, 0] == pytest.approx(float(np.ravel(here)[0]), rel=1e-9)
    across = table[3, 5]
    np.testing.assert_allclose(across[1:], across[:0:-1], rtol=1e-9)  # the same round


def test_draws_are_as_uncertain_as_the_sizes_of_the_process() -> None:
    """Of Student's t: its variance is 8 / 6 of the normal's, all of a draw alike."""
    nodes, _ = rough_wall()
    walls = draw_walls(nodes, prior())
    off = walls.plain - nodes.mean[:, None]
    assert RULES.freedom == 8.0
    spread = np.sqrt(np.mean(off**2, axis=1)) / nodes.sd
    assert np.median(spread) == pytest.approx(np.sqrt(8.0 / 6.0), abs=0.06)
    # of each draw: 8 over a chi-squared variate of 8 degrees of freedom
    each = np.mean((off / nodes.sd[:, None]) ** 2, axis=0)
    low, high = np.quantile(each, [0.1, 0.9])
    expected = 8.0 / chi2(8).ppf([0.9, 0.1])
    assert [low, high] == pytest.approx(expected, rel=0.25)


def test_a_texture_adds_the_same_on_either_side_of_wall_near_its_drawing() -> None:
    """Closed form: E|x + t u| with u standard normal."""
    nodes, _ = rough_wall()
    count, depth, texture = 400, 0.3, 0.9
    level = np.full((nodes.mean.size, count), depth, dtype=np.float32)
    none = np.zeros(nodes.mean.size)
    walls = WallDraws(nodes, level, level, none, np.full(count, texture))
    patch = np.full(nodes.mean.size, 0.5)
    radius = float(nodes.design_radius.mean())
    for inward, form in ((False, expected_excess), (True, expected_shortfall)):
        # the draws of the process itself are flat: no scale for the net's width
        closed = 0.5 * nodes.mean.size * max(0.0, depth * (radius + 0.5 * depth))
        if inward:
            closed = 0.0
        found = walls.excess(patch, closed, inward=inward)
        each = 0.5 * nodes.mean.size * form(depth, texture, radius)
        assert found.mean() == pytest.approx(float(each), rel=0.01)
        # what is added at one node is taken at the next
        assert found.std() < 0.05 * found.mean()


def test_a_wall_that_is_all_as_drawn_has_no_texture() -> None:
    nodes, _ = rough_wall()
    level = replace(nodes, mean=np.zeros(nodes.mean.size))
    as_drawn = draw_walls(level, prior())
    worn = draw_walls(replace(nodes, mean=np.full(nodes.mean.size, 40.0)), prior())
    assert as_drawn.sound.mean() > 0.5
    share = float(np.mean(as_drawn.texture == 0.0))
    assert share == pytest.approx(as_drawn.sound.mean(), abs=0.06)
    assert np.mean(worn.texture == 0.0) < 0.02
    assert worn.texture.max() < RULES.texture
    assert worn.texture.mean() == pytest.approx(0.5 * RULES.texture, rel=0.1)
