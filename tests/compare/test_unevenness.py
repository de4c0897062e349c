"""How uneven wall is within nodes, against mean squares written out."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from geom.compare.assumptions import ASSUMED
from geom.compare.unevenness import (
    NodeSquares,
    Unevenness,
    squares_near_nil,
    wall_unevenness,
)
from geom.surface.cell_points import SquaresAboutNil
from geom.units import Float
from tests.repair.known_wall import KnownWall, known_surface
from tests.walls import no_points, plain_design

#: Four nodes of 1,000 cells; one value a cell is not asked.
SIZE, EACH = 4, 1000
SHAPE = SIZE, EACH + 1
OWNER = np.repeat(np.arange(SIZE), EACH + 1).reshape(SHAPE)


def squares_of(square: float, sd: float = 1e-6) -> SquaresAboutNil:
    some = np.ones(SHAPE, dtype=bool)
    some[:, -1] = False
    count = SIZE * EACH
    return SquaresAboutNil(
        some, np.full(count, square), np.full(count, count * sd**2), np.zeros(count), 0
    )


def surface_of(apart: float, own: float) -> Any:
    """Cells that differ from their node's mean, which is 0.5 mm, by turns."""
    turn = np.where(np.arange(EACH + 1) % 2, 1.0, -1.0) * apart
    turn[-1] = 0.0
    return cast(
        "Any",
        SimpleNamespace(
            cutback=0.5 + np.broadcast_to(turn, SHAPE),
            radius_sd=np.full(SHAPE, np.sqrt(0.01 + own)),
            grid=SimpleNamespace(face_area=np.ones(SHAPE)),
        ),
    )


def found(square: float, apart: float, own: float, sd: float = 1e-6):
    return wall_unevenness(
        surface_of(apart, own), OWNER, np.full(SIZE, 0.01), squares_of(square, sd)
    )


def test_what_the_estimate_lacks_every_cell_has_at_least(monkeypatch) -> None:
    from geom.compare import unevenness

    monkeypatch.setattr(unevenness, "ASSUMED", replace(ASSUMED, near_form=0.0))
    # 0.25 of the node, 0.01 of its error, 0.09 of cells, 0.16 of theirs: 0.51
    for one in found(0.81, 0.3, 0.16):
        assert one.share == pytest.approx(1.0)
        # 0.30 lacks: cells are unsure by 0.16 + 0.30
        assert one.least == pytest.approx(0.46, rel=1e-3)
    # 0.385 is wanted: half of 0.25 that cells have and are unsure by
    for one in found(0.385, 0.3, 0.16):
        assert one.share == pytest.approx(np.sqrt(0.5), rel=2e-3)
        assert one.least == 0.0
    # less than the nodes alone: all cells are their node's mean
    assert {(one.share, one.least) for one in found(0.1, 0.3, 0.16)} == {(0.0, 0.0)}


def test_it_is_as_unsure_as_the_mean_square_is() -> None:
    sure, unsure = found(0.51, 0.3, 0.16, 0.01), found(0.51, 0.3, 0.16, 0.2)
    for several in (sure, unsure):
        assert several[2].share == pytest.approx(1.0, abs=0.01)
        assert [one.share for one in several] == sorted(one.share for one in several)
        assert [one.least for one in several] == sorted(one.least for one in several)
    assert sure[0].share > unsure[0].share
    assert sure[-1].least < unsure[-1].least


def test_few_cells_are_not_asked() -> None:
    usual = tuple(Unevenness(share, 0.0) for share in ASSUMED.node_unevenness)
    some = squares_of(0.5)
    few = replace(some, value=some.value[: ASSUMED.near_cells - 1])
    surface, sd = surface_of(0.3, 0.16), np.full(SIZE, 0.01)
    assert wall_unevenness(surface, OWNER, sd, few) == usual
    assert wall_unevenness(surface, OWNER, sd, None) == usual
    assert wall_unevenness(surface, OWNER, sd, some) != usual


def test_squares_are_summed_by_node() -> None:
    some = squares_of(0.5, 0.1)
    shared = replace(some, systematic=np.full(some.value.size, 0.2), common_sd=0.03)
    nodes = NodeSquares.of(shared, OWNER, SIZE)
    np.testing.assert_allclose(nodes.total, EACH * (0.5 - 0.2))
    np.testing.assert_allclose(nodes.count, EACH)
    assert nodes.variance.sum() == pytest.approx((SIZE * EACH * 0.1) ** 2)
    assert nodes.common_sd == pytest.approx(np.hypot(0.03, 0.2 * np.sqrt(2.0)))


def test_nodes_next_to_deep_wall_are_not_asked() -> None:
    def flank(azimuth: Float, height: Float) -> Float:
        return np.asarray(0.0 * azimuth + np.where(height > 700.0, 20.0, 0.5))

    def apart(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        return 0.01 * ((a == a2) & (h == h2))

    surface = known_surface(plain_design(), KnownWall(flank, apart))
    grid = surface.grid
    everywhere = np.ones(grid.shape, dtype=bool)
    points = replace(
        no_points(grid.shape),
        some=everywhere,
        count=np.ones(grid.shape),
        freedom=np.ones(grid.shape),
    )
    seen = cast(
        "Any",
        SimpleNamespace(
            posterior=SimpleNamespace(cell_points=points), seen=everywhere, grid=grid
        ),
    )
    rows = np.clip((grid.height // 100.0).astype(int), 0, 14)
    owner = rows[:, None] * 2 + np.zeros(grid.shape, dtype=int)
    mean = np.where(np.arange(15) >= 7, 20.0, 0.5)[:, None] * np.ones(2)
    asked = squares_near_nil(seen, owner, mean)
    assert asked is not None
    # of the seven rows below the edge the last lies next to it
    assert asked.some[rows < 6].all()
    assert not asked.some[rows >= 6].any()
    assert squares_near_nil(surface, owner, mean) is None
