"""Invented walls on a net of nodes, as known from readings of known noise.

A stationary normal process is conditioned on the readings, so that what a test plants
is all there is: no sizes learned, no datum bands, no rejected readings.
"""

from __future__ import annotations

import numpy as np

from geom.compare.nodes import Nodes
from geom.units import Float

RADIUS = 450.0
HEIGHTS = np.arange(22.5, 1300.0, 45.0)
AZIMUTHS = (np.arange(60) + 0.5) * 6.0
#: Size and lengths of the process, mm: wear, and the size of single bricks.
_WEAR, _REACH = 15.0, 200.0
_BRICKS, _BRICK = 2.0, 60.0


def covariance(left: Float, right: Float) -> Float:
    """Of cut-back at places (n, 2) of azimuth and height; (n, k), mm2."""
    turn = np.deg2rad(left[:, None, 0] - right[None, :, 0])
    chord = 2.0 * RADIUS * np.sin(0.5 * turn)
    apart = np.hypot(chord, left[:, None, 1] - right[None, :, 1])
    return np.asarray(
        _WEAR**2 * np.exp(-0.5 * (apart / _REACH) ** 2)
        + _BRICKS**2 * np.exp(-apart / _BRICK)
    )


def places_of_nodes() -> Float:
    """Azimuth and height of every node; (q, 2), azimuth running fastest."""
    height, azimuth = np.meshgrid(HEIGHTS, AZIMUTHS, indexing="ij")
    return np.stack([azimuth.ravel(), height.ravel()], axis=1)


def prior() -> Float:
    """Covariance of a node of the first column with every node; as `prior_of`."""
    places = places_of_nodes()
    table = covariance(places[:: AZIMUTHS.size], places)
    return table.reshape(HEIGHTS.size, HEIGHTS.size, AZIMUTHS.size)


def read_wall(
    places: Float, cutback: Float, *, noise: float = 1.5, seed: int = 0
) -> Nodes:
    """What readings with normal noise leave of the wall.

    Parameters
    ----------
    places : array (n, 2)
        Azimuth and height of the readings.
    cutback : array (n,), mm
        True at the readings.
    noise : float, mm
    seed : int
    """
    value = cutback + np.random.default_rng(seed).normal(0.0, noise, cutback.size)
    nodes = places_of_nodes()
    among = covariance(places, places) + noise**2 * np.eye(cutback.size)
    cross = covariance(nodes, places)
    pull = np.linalg.solve(among, cross.T).T
    return on_nodes(pull @ value, covariance(nodes, nodes) - pull @ cross.T)


def on_nodes(mean: Float, covariance: Float) -> Nodes:
    """A net whose fine cells are its nodes."""
    shape = (HEIGHTS.size, AZIMUTHS.size)
    return Nodes(
        height=HEIGHTS,
        azimuth=AZIMUTHS,
        design_radius=np.full(mean.size, RADIUS),
        mean=mean,
        covariance=0.5 * (covariance + covariance.T),
        owner=np.arange(mean.size).reshape(shape),
    )


def sheet(azimuths: int = 12, heights: int = 10) -> Float:
    """Places of evenly spread readings; (azimuths * heights, 2)."""
    around = np.arange(azimuths) * 360.0 / azimuths
    up = np.linspace(60.0, 1240.0, heights)
    return np.stack([np.tile(around, heights), np.repeat(up, azimuths)], axis=1)
