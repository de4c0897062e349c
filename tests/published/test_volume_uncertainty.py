"""Volumes of change: what their uncertainty is made of, as published for terrain.

Anderson, S. W. (2019), "Uncertainty in quantitative analyses of topographic change:
error propagation and the role of thresholding", Earth Surface Processes and Landforms
44, 1015, as run by the USGS (jlogan-usgs/whiskeytown-dem-differencing, commit
f3d09102; metres): cells of L = 0.25 m, n = 682640 of them, random error 0.11584754 m,
partial sill 0.0071469 m2 and range 2.3546 m of a spherical variogram, systematic error
0.104254974 m; with 1.96 on the first two

    random      sqrt(n) L^2 s               11.725159819775277 m3
    correlated  0.79 a sqrt(n) L s          63.66416245931655 m3
    systematic  n L^2 s                     4448.03846571 m3
    together    root of the sum of squares  4448.509502899844 m3

gcd.riverscapes.net, Concepts, error propagation (which cites Brasington and others 2003
and Lane and others 2003): the error of a cell of the difference is sqrt(e_new^2 +
e_old^2), and of its volume that times its area.

The terrain is too large to be laid out cell by cell.  A piece of it is, on a torus, so
that no cell lies at an edge, and random and correlated parts grow from it as the root
of the number of cells.
"""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.nodes import Nodes
from geom.record.change.volumes import volume_change
from geom.units import Float
from tests.record.two_walls import Errors, coarse_difference, coarse_grid

SIDE, CELLS = 0.25, 682640
RANDOM, SILL, RANGE, SYSTEMATIC = 0.11584754, 0.0071469, 2.3546, 0.104254974
TOLD = (11.725159819775277, 63.66416245931655, 4448.03846571, 4448.509502899844)
#: Cells along each side of the piece: more than four ranges.
ALONG = 40


def nodes_of(covariance: Float) -> Nodes:
    count = len(covariance)
    one = np.ones(count)
    return Nodes(one[:1], one, one, 0.0 * one, covariance, np.arange(count)[None])


def sd_of_volume(covariance: Float) -> float:
    """Of the piece, m3."""
    return nodes_of(covariance).sd_of_sum(np.full(ALONG**2, SIDE**2))


def spherical() -> Float:
    """Correlation of a spherical variogram between the cells of the torus."""
    step = np.arange(ALONG)
    apart = np.minimum(step, ALONG - step) * SIDE
    away = np.hypot(*np.meshgrid(apart, apart)).ravel() / RANGE
    one = np.where(away < 1.0, 1.0 - 1.5 * away + 0.5 * away**3, 0.0)
    turned = one.reshape(ALONG, ALONG)
    rows = [
        np.roll(np.roll(turned, i, axis=0), j, axis=1).ravel()
        for i in range(ALONG)
        for j in range(ALONG)
    ]
    return np.stack(rows)


def test_random_and_correlated_parts_grow_as_the_root_of_the_cells() -> None:
    whole = np.sqrt(CELLS / ALONG**2)
    alone = (1.96 * RANDOM) ** 2 * np.eye(ALONG**2)
    assert whole * sd_of_volume(alone) == pytest.approx(TOLD[0], rel=1e-9)
    near = 1.96**2 * SILL * spherical()
    # 0.79 stands for sqrt(pi / 5) = 0.7927, and cells of a tenth of the range for an
    # integral: together less than 1 %
    assert whole * sd_of_volume(near) == pytest.approx(TOLD[1], rel=0.01)
    half = 1.96**2 * SILL * spherical() ** 2  # a correlation that dies away sooner
    assert whole * sd_of_volume(half) < 0.8 * TOLD[1]


def test_the_systematic_part_grows_as_the_cells() -> None:
    common = np.full((ALONG**2, ALONG**2), SYSTEMATIC**2)
    whole = CELLS / ALONG**2
    assert whole * sd_of_volume(common) == pytest.approx(TOLD[2], rel=1e-9)


def test_parts_add_up_in_their_squares() -> None:
    parts = [
        (1.96 * RANDOM) ** 2 * np.eye(ALONG**2),
        1.96**2 * SILL * spherical(),
        np.full((ALONG**2, ALONG**2), SYSTEMATIC**2),
    ]
    together = sd_of_volume(sum(parts))
    alone = [sd_of_volume(part) for part in parts]
    assert together == pytest.approx(np.sqrt(np.sum(np.square(alone))), rel=1e-9)
    assert TOLD[3] == pytest.approx(np.sqrt(np.sum(np.square(TOLD[:3]))), rel=1e-12)


def test_a_cell_of_the_difference_has_the_errors_of_both_surveys() -> None:
    old, new = Errors(3.0, 1e-3, 0.0), Errors(4.0, 1e-3, 0.0)
    flat = np.zeros(coarse_grid().shape)
    there = coarse_difference(flat, flat, old, new)
    np.testing.assert_allclose(there.sd, 5.0)
    # errors that do not hang together: a panel's volume has the root of the sum of
    # squares of its cells', each its area times 5 mm (to first order in 5 mm / 450 mm)
    here = there.patch * (there.owner == 30)
    area = here.sum() * 450.0
    alone = 5.0 * area / np.sqrt((here > 0.0).sum())
    assert volume_change(there, here).net.sd == pytest.approx(alone, rel=1e-3)
