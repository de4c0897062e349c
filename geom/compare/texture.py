"""Whether a scanned face is as drawn, or of a texture that averages out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from geom.compare.assumptions import ASSUMED
from geom.compare.nodes import Nodes
from geom.units import Float


def without_texture(
    nodes: Nodes,
    sound: Float,
    patch: Callable[[NDArray[np.float32]], NDArray[np.float32]],
) -> Float:
    """Probability that scanned patches are sound, given how nodes differ.

    Averages over patches do not tell wall as drawn from a face whose unevenness
    averages out.  The nodes of a patch do: by how they differ from each other, against
    what faces of some textures would make them, whose likelihoods are averaged.

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
    rise = float(nodes.height[1] - nodes.height[0])
    arc = float(nodes.design_radius.mean()) * 2.0 * np.pi / shape[1]
    count = (
        ASSUMED.texture_apart * 2.0 * np.pi * ASSUMED.texture_reach**2 / (rise * arc)
    )
    logs = []
    for texture in ASSUMED.textures:
        wider = variance + 2.0 * texture**2
        each = 0.5 * (np.log(variance / wider) + off**2 * (1 / variance - 1 / wider))
        each *= np.minimum(alone, 1.0)
        logs.append(count * patch(each.astype(np.float32)[:, :, None])[:, :, 0])
    likelihood = np.mean(np.exp(np.clip(logs, -50.0, 50.0)), axis=0)
    odds = sound / np.maximum(1.0 - sound, 1e-12) / np.maximum(likelihood, 1.0)
    return np.asarray(odds / (1.0 + odds))
