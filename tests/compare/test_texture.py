"""Whether a face that is sound on average is uneven from node to node."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import softmax

from geom.compare.assumptions import ASSUMED
from geom.compare.texture import _smooth, without_texture
from geom.compare.unevenness import NodeSquares
from geom.units import Float

SHAPE, SD, RADIUS, RISE = (2, 12), 0.4, 450.0, 45.0


def nodes_of(mean: Float, beside: float = 0.0, squares: Any = None) -> Any:
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
            azimuth=np.arange(SHAPE[1]) * 360.0 / SHAPE[1],
            squares=squares,
            design_radius=np.full(SHAPE[0], RADIUS),
        ),
    )


def itself(field: NDArray[np.float32]) -> NDArray[np.float32]:
    return field


def logs_by_hand(off: float, variance: float, weight: float) -> list[float]:
    """Log likelihood of every texture over none, at one node."""
    arc = 2.0 * np.pi * RADIUS / SHAPE[1]
    count = (
        ASSUMED.texture_apart * 2.0 * np.pi * ASSUMED.texture_reach**2 / (RISE * arc)
    )
    logs = []
    for texture in ASSUMED.textures:
        wider = variance + 2.0 * texture**2
        log = 0.5 * (np.log(variance / wider) + off**2 * (1 / variance - 1 / wider))
        logs.append(count * weight * log)
    return logs


def by_hand(logs: list[float]) -> float:
    """Chance of a smooth face that had even odds, all nodes being alike.

    Shares of smooth places and of each texture maximise the likelihood of all together
    with that of one place known to be half smooth; found by a library.
    """
    likelihood = np.exp(np.clip([0.0, *logs], -50.0, 50.0))
    textures = len(logs)
    first = np.array([0.5, *[0.5 / textures] * textures])
    arc = 2.0 * np.pi * RADIUS / SHAPE[1]
    worth = max(4.0 * np.pi * ASSUMED.texture_reach**2 / (RISE * arc), 1.0)
    weight = 0.5 * SHAPE[0] * SHAPE[1] / worth

    def misfit(log_share: Float) -> float:
        share = softmax(log_share)
        return -float(weight * np.log(share @ likelihood) + first @ np.log(share))

    share = softmax(minimize(misfit, np.log(first), tol=1e-12).x)
    return float(0.5 * share[0] / (share @ likelihood))


def test_a_node_is_held_against_the_next_but_one() -> None:
    """Nodes that go up and down in turn agree with the next but one."""
    turns = np.tile([1.0, -1.0], SHAPE[1] // 2) * np.ones(SHAPE)
    even = np.full(SHAPE, 0.5)
    alike = without_texture(nodes_of(turns), even, itself)
    expected = by_hand(logs_by_hand(0.0, 2.0 * SD**2, 1.0))
    assert alike == pytest.approx(np.full(SHAPE, expected), rel=2e-3)
    assert (alike > 0.35).all()
    slow = np.tile([0.0, 0.0, 1.2, 1.2], SHAPE[1] // 4) * np.ones(SHAPE)
    found = without_texture(nodes_of(slow), even, itself)
    expected = by_hand(logs_by_hand(1.2, 2.0 * SD**2, 1.0))
    assert found == pytest.approx(np.full(SHAPE, expected), rel=0.02)
    assert (found < 0.1).all()


@pytest.mark.parametrize(("beside", "weight"), [(0.5, 0.5), (-0.3, 1.0)])
def test_nodes_that_err_together_tell_less_and_never_more(
    beside: float, weight: float
) -> None:
    slow = np.tile([0.0, 0.0, 1.2, 1.2], SHAPE[1] // 4) * np.ones(SHAPE)
    found = without_texture(nodes_of(slow, beside), np.full(SHAPE, 0.5), itself)
    by = by_hand(logs_by_hand(1.2, 2.0 * SD**2 * (1.0 - beside), weight))
    assert found == pytest.approx(np.full(SHAPE, by), rel=0.02)


@pytest.mark.parametrize(("square", "textured"), [(0.0, False), (0.36, True)])
def test_cells_within_nodes_tell_a_texture_that_nodes_average_out(
    square: float, textured: bool
) -> None:
    """Nodes at nil all round: only the squares of their cells differ."""
    size, cells, each = SHAPE[0] * SHAPE[1], 40.0, 2.0 * 1.0**2
    squares = NodeSquares(
        total=np.full(size, cells * square),
        variance=np.full(size, cells * each),
        count=np.full(size, cells),
        common_sd=0.01,
    )
    nodes = nodes_of(np.zeros(SHAPE), squares=squares)
    alone = without_texture(nodes_of(np.zeros(SHAPE)), np.full(SHAPE, 0.5), itself)
    found = without_texture(nodes, np.full(SHAPE, 0.5), itself)
    # closed form: normal likelihoods of the mean square over a patch
    arc = 2.0 * np.pi * RADIUS / SHAPE[1]
    worth = max(4.0 * np.pi * ASSUMED.texture_reach**2 / (RISE * arc), 1.0)
    variance, least = each / (worth * cells), square - 1.645 * 0.01
    logs = [
        own + (least**2 - (least - texture**2) ** 2) / (2.0 * variance)
        for own, texture in zip(
            logs_by_hand(0.0, 2.0 * SD**2, 1.0), ASSUMED.textures, strict=True
        )
    ]
    assert found == pytest.approx(np.full(SHAPE, by_hand(logs)), rel=0.02)
    if textured:
        assert (found < 0.001).all()
    else:
        assert (found > alone).all()


def test_how_much_wall_has_a_texture_is_learned_from_all_of_it() -> None:
    """What is doubtful of one place is not where all the others have a texture."""
    doubtful = np.ones((1, 2, 12))
    weight = np.full((2, 12), 0.5)
    others = doubtful.copy()
    others[:, :, 1:] = 50.0
    smooth = doubtful.copy()
    smooth[:, :, 1:] = 0.02
    assert _smooth(doubtful, weight)[0, 0] == pytest.approx(0.5)
    assert _smooth(others, weight)[0, 0] < 0.15
    assert _smooth(smooth, weight)[0, 0] > 0.85
