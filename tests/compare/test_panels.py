"""Panels: exact integrals of known walls, and covariance against draws."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from geom.compare.nodes import Nodes, make_nodes
from geom.compare.panels import (
    ACROSS,
    HOURS,
    PARTS,
    Panels,
    PanelState,
    greatest_in_panels,
    panel_state,
    panels_of,
    part_owner,
    survey_panels,
)
from geom.design import Design
from geom.surface import Grid, RadialSurface, make_grid, reconstruct
from geom.units import Float
from tests.walls import plain_design, tapered_design, worn_readings

#: Of no panel: nothing read.
NOTHING = np.zeros(0)


def no_nodes(grid: Grid) -> Nodes:
    """A net that says nothing, for tests of means alone."""
    owner = np.full(grid.shape, -1, dtype=np.int64)
    owner[grid.surveyed_rows] = 0
    one = np.ones(1)
    return Nodes(one, one, one, one, np.ones((1, 1)), owner)


def told(
    design: Design, cutback: Float, *, surveyed: tuple[float, float]
) -> PanelState:
    grid = make_grid(design, surveyed=surveyed)
    field = np.where(grid.surveyed, cutback, np.nan)
    sd = np.ones(grid.shape)
    return panel_state(panels_of(design), grid, field, sd, no_nodes(grid), read=NOTHING)


def known(design: Design, surveyed: tuple[float, float] = (0.0, 1500.0)) -> Float:
    """Worn by 20 + 10 cos(azimuth) times height / 1000; on the grid."""
    grid = make_grid(design, surveyed=surveyed)
    side = 20.0 + 10.0 * np.cos(np.deg2rad(grid.azimuth))
    return np.asarray(grid.height[:, None] / 1000.0 * side)


def test_rows_of_panels_reach_from_bottom_to_top() -> None:
    panels = panels_of(plain_design())
    assert (panels.edge[0], panels.edge[-1]) == (0.0, 1500.0)
    assert panels.rows == 10  # 1500 mm over 6 in is 9.8
    assert panels.count == panels.rows * HOURS
    assert panels.azimuth[:3].tolist() == [0.0, 30.0, 60.0]
    np.testing.assert_allclose(panels.height[:HOURS], 75.0)


def test_means_are_exact_integrals_of_a_known_wall() -> None:
    """Panel azimuth a: mean of cos over 30 degrees is cos(a) sin(15) / (pi / 12)."""
    design = plain_design()
    state = told(design, known(design), surveyed=(0.0, 1500.0))
    panels = state.panels
    # columns are sectors about whole degrees: half of one at each edge is counted whole
    # on one side, as far as the panel's 30 columns go: -15 to +14 degrees
    columns = np.arange(-15.0, 15.0)
    azimuth = np.deg2rad(panels.azimuth[:, None] + columns)
    by_column = panels.height / 1000.0 * (20.0 + 10.0 * np.cos(azimuth).mean(axis=1))
    np.testing.assert_allclose(state.cutback, by_column, rtol=1e-9)
    exact = np.cos(np.deg2rad(panels.azimuth)) * np.sin(np.pi / 12) / (np.pi / 12)
    integral = panels.height / 1000.0 * (20.0 + 10.0 * exact)
    # the half column at each edge: 0.5 degrees of a cosine of amplitude 15 mm
    np.testing.assert_allclose(state.cutback, integral, atol=0.14)
    turned = np.roll(integral.reshape(-1, HOURS), 1, axis=1).ravel()
    assert np.abs(state.cutback - turned).max() > 3.0


def test_a_wall_of_which_no_panel_was_surveyed_enough_has_no_numbers() -> None:
    design = plain_design()
    state = told(design, known(design), surveyed=(100.0, 200.0))
    assert state.area.sum() > 0.0
    for field in (state.cutback, state.sd, state.deepest, state.deepest_sd, state.part):
        assert np.isnan(field).all()


def test_areas_add_up_to_the_surveyed_wall_less_its_openings() -> None:
    design = tapered_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    state = told(design, known(design), surveyed=(0.0, 1500.0))
    assert state.area.sum() == pytest.approx(grid.face_area.sum(), rel=1e-12)
    cone = 2.0 * np.pi * (600.0 * 440.0 + 900.0 * 465.0)
    holes = 3 * 90.0 * 127.0
    # area on the cylinder of each row; an opening is flat, the wall is not: 0.2 %
    assert state.area.sum() == pytest.approx(cone - holes, rel=5e-4)
    assert state.area.sum() != pytest.approx(cone, rel=5e-3)


def test_the_mean_of_all_panels_by_area_is_the_mean_of_the_wall() -> None:
    design = tapered_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    cutback = known(design)
    state = told(design, cutback, surveyed=(0.0, 1500.0))
    whole = float((cutback * grid.face_area).sum() / grid.face_area.sum())
    assert float(state.cutback @ state.area / state.area.sum()) == pytest.approx(
        whole, rel=1e-12
    )


def test_a_partly_surveyed_panel_is_not_told() -> None:
    """Rows are 150 mm: from 45 on 70 % of the first is surveyed, from 20 on 87 %."""
    design = plain_design()
    for low, seen in ((45.0, False), (20.0, True)):
        span = (low, 1500.0)
        state = told(design, known(design, span), surveyed=span)
        face = make_grid(design, surveyed=span).face_area.sum()
        assert state.area.sum() == pytest.approx(face, rel=1e-12)
        first, rest = state.cutback[:HOURS], state.cutback[HOURS:]
        assert np.isfinite(first).all() == seen
        assert np.isnan(first).any() != seen
        assert np.isfinite(rest).all()
        assert np.isnan(state.sd[:HOURS]).any() != seen
        assert (state.covariance[:HOURS] == 0.0).all() != seen


def test_every_cell_has_one_owner_and_azimuth_0_is_inside_the_first() -> None:
    panels = Panels(np.array([0.0, 100.0, 200.0]))
    azimuth = np.arange(0.0, 360.0)
    owner = panels.owner(np.array([50.0, 150.0]), azimuth)
    assert owner[0, [0, 14, 345, 359]].tolist() == [0, 0, 0, 0]
    assert owner[0, [15, 344]].tolist() == [1, 11]
    assert (owner[1] - owner[0] == HOURS).all()
    np.testing.assert_array_equal(np.bincount(owner.ravel()), np.full(24, 30))


def test_greatest_of_a_panel_with_one_spot_far_deeper_than_the_rest() -> None:
    """It is the spot's best estimate and its sd, with no error of drawing."""
    design = plain_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    cutback = known(design)
    row, column = 20, 100
    cutback[row, column] = 99.0
    sd = np.ones(grid.shape)
    state = panel_state(
        panels_of(design), grid, cutback, sd, no_nodes(grid), read=NOTHING
    )
    place = int(state.panels.owner(grid.height, grid.azimuth)[row, column])
    assert state.deepest[place] == pytest.approx(99.0, abs=1e-9)
    others = np.arange(state.panels.count) != place
    assert state.deepest[others].max() < 45.1
    np.testing.assert_allclose(state.deepest_sd, 1.0, rtol=1e-6)


def test_greatest_of_equal_places_that_err_each_by_itself() -> None:
    """Five nodes: mean 1.16296, variance 0.44753 of the greatest of five normals.

    Tippett, L. H. C. (1925). Biometrika 17, 364-387; figures as tabled in Harter, H. L.
    (1961). Biometrika 48, 151-165 (from memory, and checked by quadrature here).
    """
    from scipy.integrate import quad
    from scipy.stats import norm

    def moment(k: int) -> float:
        return float(
            quad(lambda x: x**k * 5 * norm.pdf(x) * norm.cdf(x) ** 4, -9.0, 9.0)[0]
        )

    mean, square = moment(1), moment(2)
    assert (mean, square - mean**2) == pytest.approx((1.16296, 0.44753), abs=1e-5)
    nodes = Nodes(
        height=np.array([50.0]),
        azimuth=np.arange(5.0),
        design_radius=np.full(5, 400.0),
        mean=np.full(5, 20.0),
        covariance=4.0 * np.eye(5),
        owner=np.arange(5)[None, :],
    )
    flat = np.full((1, 5), 20.0)
    deepest, sd = greatest_in_panels(np.zeros((1, 5), dtype=np.int64), nodes, flat, 2)
    # 512 draws: the mean to 0.03 and the sd to 0.03 of the sd; three of those
    assert deepest[0] == pytest.approx(20.0 + 2.0 * mean, abs=0.13)
    assert sd[0] == pytest.approx(2.0 * np.sqrt(square - mean**2), rel=0.1)
    assert np.isnan([deepest[1], sd[1]]).all()


def test_parts_of_a_panel_are_told_where_they_stand() -> None:
    """Each by its own mean and root mean square sd; round first, then up."""
    design = plain_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    panels = panels_of(design)
    cutback, sd = np.zeros(grid.shape), np.full(grid.shape, 1.0)
    # panel 3 rows up at 90 degrees: 450 to 600 mm; its top third, second part round
    up = (grid.height > 550.0) & (grid.height < 600.0)
    round_ = (grid.azimuth >= 82.5) & (grid.azimuth < 90.0)
    place = np.ix_(up, round_)
    cutback[place] = 12.0
    sd[place] = np.where(np.arange(round_.sum()) % 2, 1.0, 7.0)
    state = panel_state(panels, grid, cutback, sd, no_nodes(grid), read=NOTHING)
    panel, part = 3 * HOURS + 3, 2 * ACROSS + 1
    seven = np.mean(np.arange(round_.sum()) % 2 == 0)
    assert state.part[panel, part] == pytest.approx(12.0)
    assert state.part_sd[panel, part] == pytest.approx(
        np.sqrt(seven * 49.0 + 1.0 - seven)
    )
    others = np.ones(state.part.shape, dtype=bool)
    others[panel, part] = False
    assert state.part.shape == (panels.count, PARTS)
    assert (state.part[others] == 0.0).all()
    np.testing.assert_allclose(state.part_sd[others], 1.0)


def test_parts_make_up_their_panel_and_cover_it_each_once() -> None:
    design = plain_design()
    grid = make_grid(design, surveyed=(0.0, 1500.0))
    panels = panels_of(design)
    parts = part_owner(grid.height, grid.azimuth, panels.edge, HOURS)
    owner = panels.owner(grid.height, grid.azimuth)
    np.testing.assert_array_equal(parts // PARTS, owner)
    assert np.unique(parts).size == panels.count * PARTS
    state = told(design, known(design), surveyed=(0.0, 1500.0))
    held = np.bincount(parts.ravel(), grid.face_area.ravel()).reshape(-1, PARTS)
    mean = (held * state.part).sum(axis=1) / held.sum(axis=1)
    np.testing.assert_allclose(mean, state.cutback, rtol=1e-9)


def test_parts_of_a_panel_that_is_not_told_are_not_told() -> None:
    design = plain_design()
    state = told(design, known(design, (45.0, 1500.0)), surveyed=(45.0, 1500.0))
    assert np.isnan(state.part[:HOURS]).all()
    assert np.isfinite(state.part[HOURS:]).all()


# --- covariance ---------------------------------------------------------------------


@cache
def surveyed() -> tuple[RadialSurface, Nodes]:
    design = tapered_design()
    surface = reconstruct(worn_readings(design, azimuths=8, heights=6), design)
    return surface, make_nodes(surface)


def drawn_means(draws: Float, nodes: Nodes, state: PanelState, grid: Grid) -> Float:
    """Panel means of draws of the nodes, cell by cell; (p, draws)."""
    wall = grid.counted * grid.row_height[:, None] * grid.design_radius[:, None]
    owner = state.panels.owner(grid.height, grid.azimuth)
    held = (nodes.owner >= 0) & (wall > 0.0)
    means = np.zeros((state.panels.count, draws.shape[1]))
    for place in np.flatnonzero(np.isfinite(state.cutback)):
        cells = held & (owner == place)
        weight = wall[cells] / wall[cells].sum()
        means[place] = weight @ draws[nodes.owner[cells]]
    return means


def test_covariance_of_panel_means_agrees_with_draws_of_the_nodes() -> None:
    surface, nodes = surveyed()
    grid = surface.grid
    panels = panels_of(surface.design)
    state = survey_panels(surface, nodes)
    some = np.arange(nodes.mean.size)
    means = drawn_means(nodes.draws(some, 3000, seed=2), nodes, state, grid)
    seen = np.cov(means)
    told = np.isfinite(state.cutback)
    sd = np.sqrt(np.maximum(np.diag(state.covariance), 1e-30))
    away = (seen - state.covariance) / np.outer(sd, sd)
    # 3000 draws: an entry is known to sqrt(2 / 3000) = 2.6 % of both sds; 5 of those
    assert np.abs(away[np.ix_(told, told)]).max() < 0.13
    np.testing.assert_allclose(state.sd[told], sd[told])
    # neighbours go together: without that, a level would look surer than it is
    level = [i for i in range(panels.count) if told[i]][:HOURS]
    part = state.covariance[np.ix_(level, level)]
    assert part.sum() > 1.5 * np.trace(part)


def test_variance_of_the_whole_wall_is_that_of_the_nodes() -> None:
    surface, nodes = surveyed()
    grid = surface.grid
    panels = panels_of(surface.design)
    state = survey_panels(surface, nodes)
    told = np.isfinite(state.cutback)
    weight = np.where(told, state.area, 0.0) / state.area[told].sum()
    inside = told[panels.owner(grid.height, grid.azimuth)] & grid.surveyed
    cells = np.where(inside, grid.face_area, 0.0)
    direct = nodes.sd_of_sum(nodes.gather(cells / cells.sum()))
    assert np.sqrt(weight @ state.covariance @ weight) == pytest.approx(
        direct, rel=1e-9
    )
    # the net is as coarse as it is: best estimates are summed over the fine grid
    fine = float((np.nan_to_num(surface.cutback) * cells).sum() / cells.sum())
    mean = np.where(told, np.nan_to_num(state.cutback), 0.0)
    assert float(weight @ mean) == pytest.approx(fine, rel=1e-9)


def test_panels_that_something_was_read_in_are_told() -> None:
    """Eight azimuths from 0 by six heights, by hand."""
    surface, nodes = surveyed()
    state = survey_panels(surface, nodes)
    azimuth, height = surface.stations
    told = {(a % 360.0, h) for a, h in zip(azimuth, height, strict=True)}
    assert len(told) == surface.count
    edge = state.panels.edge
    for place in range(state.panels.count):
        row, hour = divmod(place, HOURS)
        inside = [
            edge[row] <= h < edge[row + 1] and (a - 30 * hour + 15) % 360 < 30
            for a, h in told
        ]
        assert state.read[place] == float(any(inside))
    assert 0 < state.read.sum() <= 48
