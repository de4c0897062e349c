"""Whether a scanned face is as drawn, or of a texture that averages out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from geom.compare.assumptions import ASSUMED
from geom.compare.nodes import Nodes
from geom.units import Float

#: The standard normal distribution's 95 % point.
_ONE_SIDED = 1.645


def without_texture(
    nodes: Nodes,
    sound: Float,
    patch: Callable[[NDArray[np.float32]], NDArray[np.float32]],
) -> Float:
    """Probability that scanned patches are sound, given how nodes differ.

    Averages over patches do not tell wall as drawn from a face whose unevenness
    averages out.  The nodes of a patch do: by how they differ from each other, and the
    cells within by how they lie about the drawing, against what faces of some textures
    would make them.  How much wall has one is learned from all patches together.

    Parameters
    ----------
    sound : array (rows, columns)
        By averages over patches.
    patch : callable
        Means over patches about every node; (rows, columns, n) to the same.

    Returns
    -------
    array (rows, columns)
        Never more than ``sound``.
    """
    shape = sound.shape
    # a node against the next but one: what the whole wall is off by falls out
    index = np.arange(sound.size).reshape(shape)
    other = np.roll(index, -2, axis=1)
    table, mean = nodes.covariance, nodes.mean
    off = mean[index] - mean[other]
    variance = table[index, index] + table[other, other] - 2.0 * table[index, other]
    variance = np.maximum(variance, 1e-6)
    # where that hides a texture, a face with one is drawn worn and proud by it
    alone = variance / np.maximum(table[index, index] + table[other, other], 1e-6)
    count = ASSUMED.texture_apart * 2.0 * np.pi * _reach_in_nodes(nodes)
    logs = []
    by_squares = _by_squares(nodes, patch)
    for texture in ASSUMED.textures:
        wider = variance + 2.0 * texture**2
        each = 0.5 * (np.log(variance / wider) + off**2 * (1 / variance - 1 / wider))
        each *= np.minimum(alone, 1.0)
        by_nodes = count * patch(each.astype(np.float32)[:, :, None])[:, :, 0]
        logs.append(by_nodes + by_squares(texture))
    likelihood = np.exp(np.clip(logs, -50.0, 50.0))
    # patches that overlap count for as many as they are worth
    return sound * _smooth(likelihood, sound / _worth(nodes))


def _smooth(likelihood: Float, weight: Float) -> Float:
    """Probability that places have no texture, how many do being learned from all.

    Groups share the places (Efron 2008): smooth ones, and those of each texture.  How
    large each group is, is found by expectation and maximisation, begun and held by one
    place of which half is smooth.

    Parameters
    ----------
    likelihood : array (textures, rows, columns)
        Of each texture over none.
    weight : array (rows, columns)
        What a place counts for.
    """
    first = np.concatenate([[0.5], np.full(len(likelihood), 0.5 / len(likelihood))])
    both = np.concatenate([np.ones((1, *weight.shape)), likelihood])
    share = first
    for _ in range(ASSUMED.texture_rounds):
        each = share[:, None, None] * both
        each /= each.sum(axis=0)
        share = (first + np.sum(weight * each, axis=(1, 2))) / (1.0 + weight.sum())
    each = share[:, None, None] * both
    return np.asarray(each[0] / each.sum(axis=0))


def _worth(nodes: Nodes) -> float:
    """Nodes that a mean over a patch, by a normal kernel, is worth."""
    return max(4.0 * np.pi * _reach_in_nodes(nodes), 1.0)


def _reach_in_nodes(nodes: Nodes) -> float:
    """Square of a patch's reach, in the area of a node."""
    rise = float(nodes.height[1] - nodes.height[0])
    arc = float(nodes.design_radius.mean()) * 2.0 * np.pi / nodes.azimuth.size
    return ASSUMED.texture_reach**2 / (rise * arc)


def _by_squares(
    nodes: Nodes, patch: Callable[[NDArray[np.float32]], NDArray[np.float32]]
) -> Callable[[float], Float]:
    """Log likelihood of a texture over none, by the mean squares over patches."""
    squares = nodes.squares
    shape = nodes.height.size, nodes.azimuth.size
    if squares is None:
        return lambda _: np.zeros(shape)

    def over(field: Float) -> Float:
        return np.asarray(
            patch(field.reshape(*shape, 1).astype(np.float32))[:, :, 0], dtype=float
        )

    worth = _worth(nodes)
    count = over(squares.count)
    asked = count > 1.0 / worth
    cells = np.where(asked, count, 1.0)
    # what all patches are off by alike must not bear itself out from patch to patch
    mean = over(squares.total) / cells - _ONE_SIDED * squares.common_sd
    variance = over(squares.variance) / (worth * cells**2) + 1e-12

    def log_likelihood(texture: float) -> Float:
        square = texture**2
        found = (2.0 * mean * square - square**2) / (2.0 * variance)
        return np.where(asked, found, 0.0)

    return log_likelihood
