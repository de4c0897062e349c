"""Whether a face that is sound on average is uneven from node to node."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from numpy.typing import NDArray

from geom.compare.assumptions import ASSUMED
from geom.compare.texture import without_texture
from geom.units import Float

SHAPE, SD, RADIUS, RISE = (2, 12), 0.4, 450.0, 45.0


def nodes_of(mean: Float, beside: float = 0.0) -> Any:
    """Nodes that each err by themselves, or with the next but one too."""
    size = SHAPE[0] * SHAPE[1]
    table = np.eye(size) * SD**2
    for row in range(SHAPE[0]):
        for k in range(SHAPE[1]):
            one, other = row * SHAPE[1] + k, row * SHAPE[1] + (k + 2) % SHAPE[1]
            table[one, other] = table[other, one] = beside * SD**2
    return cast(
        "Any",
        SimpleNamespace(
            covariance=table,
            mean=mean.ravel(),
            height=np.array([0.0, RISE]),
            design_radius=np.full(SHAPE[0], RADIUS),
        ),
    )


def itself(field: NDArray[np.float32]) -> NDArray[np.float32]:
    return field


def by_hand(off: float, variance: float, weight: float) -> float:
    """Chance of a smooth face that had even odds, at one node."""
    arc = 2.0 * np.pi * RADIUS / SHAPE[1]
    count = (
        ASSUMED.texture_apart * 2.0 * np.pi * ASSUMED.texture_reach**2 / (RISE * arc)
    )
    ratios = []
    for texture in ASSUMED.textures:
        wider = variance + 2.0 * texture**2
        log = 0.5 * (np.log(variance / wider) + off**2 * (1 / variance - 1 / wider))
        ratios.append(np.exp(np.clip(count * weight * log, -50.0, 50.0)))
    return float(1.0 / (1.0 + max(np.mean(ratios), 1.0)))


def test_a_node_is_held_against_the_next_but_one() -> None:
    """Nodes that go up and down in turn agree with the next but one."""
    turns = np.tile([1.0, -1.0], SHAPE[1] // 2) * np.ones(SHAPE)
    even = np.full(SHAPE, 0.5)
    assert without_texture(nodes_of(turns), even, itself) == pytest.approx(even)
    slow = np.tile([0.0, 0.0, 1.2, 1.2], SHAPE[1] // 4) * np.ones(SHAPE)
    found = without_texture(nodes_of(slow), even, itself)
    assert found == pytest.approx(np.full(SHAPE, by_hand(1.2, 2.0 * SD**2, 1.0)))
    assert (found < 0.2).all()


@pytest.mark.parametrize(("beside", "weight"), [(0.5, 0.5), (-0.3, 1.0)])
def test_nodes_that_err_together_tell_less_and_never_more(
    beside: float, weight: float
) -> None:
    slow = np.tile([0.0, 0.0, 1.2, 1.2], SHAPE[1] // 4) * np.ones(SHAPE)
    found = without_texture(nodes_of(slow, beside), np.full(SHAPE, 0.5), itself)
    by = by_hand(1.2, 2.0 * SD**2 * (1.0 - beside), weight)
    assert found == pytest.approx(np.full(SHAPE, by), rel=1e-4)
