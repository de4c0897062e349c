"""How the errors of stations hang together with those of the wall and of each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.nodes import Nodes
from geom.compare.reachable import Reach
from geom.surface.belief import Belief
from geom.surface.separation import Places
from geom.surface.toward_grid import TowardGrid
from geom.units import Float


@dataclass(frozen=True)
class Ties:
    """Covariances of cut-back given the readings, between q nodes and C stations.

    Attributes
    ----------
    block : array (q, C), mm2
        Of nodes and stations.
    variance : array (C,), mm2
        At the stations.
    """

    block: Float
    variance: Float
    _belief: Belief
    _reach: Reach
    _seen: _Seen

    def column(self, station: int) -> Float:
        """Covariance of all stations with one of them, mm2; shape (C,)."""
        height, azimuth = self._reach.each()
        one = Places(azimuth[[station]], height[[station]])
        covariance = self._belief.best.covariance
        prior = TowardGrid(covariance, one, self._reach.azimuth).rows(
            self._reach.height
        )
        here = self._seen.taken(np.array([station]))
        return here.tied(self._seen, prior[:, self._reach.free]).ravel()


def tie(belief: Belief, nodes: Nodes, reach: Reach) -> Ties:
    """Covariances between a net of nodes and the stations that can be reached.

    As in `Belief.jointly`: the correlations of the best choice of sizes and lengths,
    the variances of all choices, and what their best estimates differ by.

    Parameters
    ----------
    belief : Belief
    nodes : Nodes
    reach : Reach

    Returns
    -------
    Ties
    """
    free = np.flatnonzero(reach.free)
    height, azimuth = reach.each()
    stations = _seen(belief, reach.height, reach.azimuth).taken(free)
    wall = _seen(belief, nodes.height, nodes.azimuth)
    prior = TowardGrid(
        belief.best.covariance, Places(azimuth, height), nodes.azimuth
    ).rows(nodes.height)
    block = wall.tied(stations, prior.reshape(free.size, -1).T)
    return Ties(block, stations.variance, belief, reach, stations)


@dataclass(frozen=True)
class _Seen:
    """What is known at p places.

    Attributes
    ----------
    known : array (n, p), mm
        Covariance with the readings, divided by their Cholesky factor.
    widening : array (p,)
        Standard deviation over all choices by that of the best.
    away : array (k, p), mm
        Best estimates of the other choices less their mean, by the root of their
        number.
    variance : array (p,), mm2
        In all.
    """

    known: Float
    widening: Float
    away: Float
    variance: Float

    def taken(self, index: np.ndarray) -> _Seen:
        """At some of the places."""
        return _Seen(
            self.known[:, index],
            self.widening[index],
            self.away[:, index],
            self.variance[index],
        )

    def tied(self, other: _Seen, prior: Float) -> Float:
        """Covariance with other places given the prior's; (p, p of the other)."""
        best = prior - self.known.T @ other.known
        best *= self.widening[:, None] * other.widening
        return best + self.away.T @ other.away


def _seen(belief: Belief, height: Float, azimuth: Float) -> _Seen:
    """At every node of a net, azimuth running fastest."""
    best = belief.best
    cross = best.seen_from_net(height, azimuth)
    _, sd = best.on_grid(height, azimuth)
    drift, ratio = np.zeros((1, sd.size)), np.ones(sd.size)
    if belief.others:
        spread, wider = belief.spread(height, azimuth)
        drift, ratio = spread.reshape(len(belief.others), -1), wider.ravel()
    within = ratio * sd.ravel() ** 2
    away = (drift - drift.mean(axis=0)) / np.sqrt(drift.shape[0])
    return _Seen(
        known=best.unfactor @ cross,
        widening=np.sqrt(ratio),
        away=away,
        variance=within + np.sum(away**2, axis=0),
    )
