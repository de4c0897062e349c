"""The mean square of scanned wall, against walls whose mean square is known."""

from __future__ import annotations

import numpy as np
import pytest

from geom.surface.cell_points import CellPoints

SHAPE, NOISE, GRAZING = (60, 120), 1.8, 0.3


def points_of(texture: float, seed: int) -> tuple[CellPoints, float]:
    """Points of a wall of some texture, and its own mean square."""
    rng = np.random.default_rng(seed)
    wall = texture * rng.standard_normal(SHAPE)
    count = rng.poisson(0.8, SHAPE)
    some = count > 0
    own = rng.normal(0.0, NOISE, (4 * count.max(), *SHAPE))[: count.max()]
    held = np.arange(count.max())[:, None, None] < count
    n = np.maximum(count, 1)
    mean = np.where(held, own, 0.0).sum(axis=0) / n
    squares = np.where(held, (own - mean) ** 2, 0.0).sum(axis=0)
    grazed = np.sqrt(GRAZING) * rng.standard_normal(SHAPE)
    freedom = np.maximum(count - 1.0, 0.0)
    points = CellPoints(
        some=some,
        cutback=np.where(some, wall + mean + grazed, 0.0),
        count=count.astype(np.float64),
        squares=squares,
        freedom=freedom,
        within=np.zeros(SHAPE),
        grazing=np.where(some, GRAZING, 0.0),
        systematic=np.zeros(SHAPE),
    )
    return points, float(np.mean(wall[some] ** 2))


@pytest.mark.parametrize("texture", [0.0, 0.7])
def test_the_walls_own_mean_square_is_found(texture: float) -> None:
    ratio = []
    for seed in range(60):
        points, true = points_of(texture, seed)
        found = points.about_nil(np.ones(SHAPE, dtype=bool))
        count = found.value.size
        sd = np.hypot(np.sqrt(found.variance.sum()) / count, found.common_sd)
        ratio.append((found.value.mean() - true) / sd)
    assert abs(np.mean(ratio)) < 0.4
    assert np.std(ratio) == pytest.approx(1.0, abs=0.25)


def test_cells_that_are_not_asked_have_no_say() -> None:
    points, _ = points_of(0.7, 1)
    asked = np.zeros(SHAPE, dtype=bool)
    asked[:, :30] = True
    found = points.about_nil(asked)
    assert found.some.sum() == found.value.size == (points.some & asked).sum()
    none = points.about_nil(np.zeros(SHAPE, dtype=bool))
    assert none.value.size == 0
    assert none.common_sd == 0.0
