"""Where to measure next: the stations whose readings would tell most.

Given sizes and lengths, what a reading will do to the uncertainty of the wall does not
depend on what it will read.  With v the variance of cut-back at a station, n that of a
reading's error and c the covariance of the station with a target t, one more reading
takes c**2 / (v + n) off the variance of t, and the covariances of all other stations
follow by a change of rank one.  Stations are chosen one after the other, each the best
given those before it.

volume
    The target is the rebuild volume, made linear at the best estimate as in the
    budget: a cell counts by the probability that it is cut back.  What is stated of it
    now is the standard uncertainty of the findings, by the same joint draws; it is
    taken to shrink in the ratio in which that of the linear volume does.
brick
    The targets are the nodes of the wall.  A node is undecided while its probability
    of being past the brick threshold T is between 0.1 and 0.9, that is while its best
    estimate lies within z s of T, z from the distribution that the zones go by
    (`geom.compare.zones`).  A reading that leaves r**2 of the
    variance s**2 will move the best estimate by a normal amount of variance
    s**2 - r**2; the probability that it then lies within z r of T is a difference of
    two normal integrals.

References
----------
Rasmussen and Williams (2006), eq. 2.26 (the covariance given readings); its change by
one more is the Schur complement of one row.
Krause, A., Singh, A. and Guestrin, C. (2008). Near-optimal sensor placements in
Gaussian processes. JMLR 9, 235-284 (choosing one after the other; cited from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar, Literal, Protocol

import numpy as np

from geom.compare.assumptions import ASSUMED as COMPARE
from geom.compare.draws import draw_walls, prior_of
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.volume import rebuild_volume
from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.parallel import on_one_thread
from geom.quantity import Quantity
from geom.readings import CloudReadings, RodReadings
from geom.sampling.assumptions import ASSUMED
from geom.sampling.feasible import (
    FeasibleStations,
    feasible_stations,
    out_of_reach,
)
from geom.shown import Shown
from geom.stats.normal import heavy_quantile, hermite_excess
from geom.surface import Grid, RadialSurface, make_grid
from geom.surface.coverage import on_surveyed
from geom.surface.gp.covariance import GridCrossCovariance
from geom.surface.gp.kernels import Points2D, chord, height_distance
from geom.surface.gp.posterior import GPPosterior
from geom.units import Bool, Float

Aim = Literal["volume", "brick"]


_Z = heavy_quantile(1.0 - ASSUMED.undecided, COMPARE.zone_freedom)
_FAR = 5.0
_AT_ONCE = 256


@dataclass(frozen=True)
class StationCovariance:
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
    _posterior: GPPosterior
    _feasible: FeasibleStations
    _known_at: _Known

    def column(self, station: int) -> Float:
        """Covariance of all stations with one of them, mm2; shape (C,)."""
        height, azimuth = self._feasible.each()
        station_point = Points2D(azimuth[[station]], height[[station]])
        covariance = self._posterior.best.covariance
        prior = GridCrossCovariance(
            covariance, station_point, self._feasible.azimuth
        ).rows(self._feasible.height)
        here = self._known_at.subset(np.array([station]))
        return here.covariance_with(
            self._known_at, prior[:, self._feasible.free]
        ).ravel()


def station_covariance(
    posterior: GPPosterior, nodes: Nodes, feasible: FeasibleStations
) -> StationCovariance:
    """Covariances between a net of nodes and the stations that can be reached.

    As in `GPPosterior.joint`: the correlations of the best choice of sizes and lengths,
    the variances of all choices, and what their best estimates differ by.

    """
    free = np.flatnonzero(feasible.free)
    height, azimuth = feasible.each()
    stations = _known_at(posterior, feasible.height, feasible.azimuth).subset(free)
    wall = _known_at(posterior, nodes.height, nodes.azimuth)
    prior = GridCrossCovariance(
        posterior.best.covariance, Points2D(azimuth, height), nodes.azimuth
    ).rows(nodes.height)
    block = wall.covariance_with(stations, prior.reshape(free.size, -1).T)
    return StationCovariance(block, stations.variance, posterior, feasible, stations)


@dataclass(frozen=True)
class _Known:
    """What is known at p places.

    Attributes
    ----------
    known : array (n, p), mm
        Covariance with the readings, divided by their Cholesky factor.
    widening : array (p,)
        Standard deviation over all choices by that of the best.
    deviation : array (k, p), mm
        Best estimates of the other choices less their mean, by the root of their
        number.
    variance : array (p,), mm2
        In all.
    """

    known: Float
    widening: Float
    deviation: Float
    variance: Float

    def subset(self, index: np.ndarray) -> _Known:
        """At some of the places."""
        return _Known(
            self.known[:, index],
            self.widening[index],
            self.deviation[:, index],
            self.variance[index],
        )

    def covariance_with(self, other: _Known, prior: Float) -> Float:
        """Covariance with other places given the prior's; (p, p of the other)."""
        best = prior - self.known.T @ other.known
        best *= self.widening[:, None] * other.widening
        return best + self.deviation.T @ other.deviation


def _known_at(posterior: GPPosterior, height: Float, azimuth: Float) -> _Known:
    """At every node of a net, azimuth running fastest."""
    best = posterior.best
    cross = best.cross_covariance_with_net(height, azimuth)
    sd = best.sd_on(height, azimuth)
    drift, ratio = np.zeros((1, sd.size)), np.ones(sd.size)
    if posterior.samples:
        spread, wider = posterior.hyperparameter_spread(height, azimuth)
        drift, ratio = spread.reshape(len(posterior.samples), -1), wider.ravel()
    within = ratio * sd.ravel() ** 2
    deviation = (drift - drift.mean(axis=0)) / np.sqrt(drift.shape[0])
    return _Known(
        known=best.whitened(cross),
        widening=np.sqrt(ratio),
        deviation=deviation,
        variance=within + np.sum(deviation**2, axis=0),
    )


@dataclass(frozen=True)
class Station:
    """A place to set the rod to.

    Attributes
    ----------
    azimuth : float, degrees
    height : float, mm
    after : float
        What is left once this and all stations before it are read: standard
        uncertainty of the rebuild volume, mm3, or expected undecided area, mm2.
    is_repeat : bool
        Whether it was read before, or stands earlier in the list.
    """

    azimuth: float
    height: float
    after: float
    is_repeat: bool


@dataclass(frozen=True)
class Advice(Shown):
    """Where to measure next.

    Attributes
    ----------
    aim : {'volume', 'brick'}
    now : float
        Before any of it is read; mm3 or mm2 as ``after`` of the stations.
    reading_sd : float, mm
        Standard uncertainty that one more reading is taken to have.
    stations : tuple of Station
        Most telling first; fewer than asked for where no more would help.
    unread : bool
        Whether wall counts that nobody has read.
    """

    _units: ClassVar[str] = "mm3 or mm2, mm"

    aim: Aim
    now: float
    reading_sd: float
    stations: tuple[Station, ...]
    unread: bool = False

    def _lines(self) -> Iterator[str]:
        names = {"volume": "rebuild volume", "brick": "wall in doubt"}
        scale, unit = (1e-6, "L") if self.aim == "volume" else (1e-6, "m2")
        yield f"Advice: {names[self.aim]}, now {self.now * scale:.3g} {unit}"
        for one in self.stations:
            again = "; read before" if one.is_repeat else ""
            yield (
                f"{one.azimuth:g} degrees, {one.height:g} mm up: then "
                f"{one.after * scale:.3g} {unit}{again}"
            )


@on_one_thread
def next_stations(
    surface: RadialSurface,
    readings: RodReadings | CloudReadings,
    *,
    count: int = 5,
    aim: Aim = "volume",
    nodes: Nodes | None = None,
) -> Advice:
    """Choose the stations whose readings would tell most.

    All wall between the lowest and the highest reading counts, also what is not
    surveyed because no reading stands near; beyond them, see `_to_weigh`.

    Parameters
    ----------
    readings : RodReadings or CloudReadings
        Those the surface was made from.
    count : int
        Stations asked for.
    aim : {'volume', 'brick'}
        What is to become certain: the rebuild volume, or where brick is needed.
    nodes : Nodes, optional
        Of the surface, if they are at hand.

    Raises
    ------
    InputError
        If the steps of the design's rod leave no station, or a laser has seen the wall.
    """
    readings, posterior = rod_only(readings), surface.posterior.fitted
    if surface.seen is not None:
        raise TypeError(
            "the surface was made from a point cloud, the readings were not"
        )
    surface, feasible, unread = _to_weigh(surface, readings)
    nodes = make_nodes(surface) if nodes is None or unread else nodes
    covariance = station_covariance(posterior, nodes, feasible)
    goal = _goal(surface, nodes, aim)
    error = _reading_variance(surface, posterior)
    chosen = list(_chosen(goal, covariance, error, count))
    height, azimuth = feasible.each()
    picks = [pick for pick, _ in chosen]
    is_repeat = _read_before(readings, azimuth[picks], height[picks])
    stations = tuple(
        Station(
            azimuth=float(azimuth[pick]),
            height=float(height[pick]),
            after=after,
            is_repeat=bool(is_repeat[k]) or pick in picks[:k],
        )
        for k, (pick, after) in enumerate(chosen)
    )
    return Advice(aim, goal.now, float(np.sqrt(error)), stations, unread=unread)


def _to_weigh(
    surface: RadialSurface, readings: RodReadings
) -> tuple[RadialSurface, FeasibleStations, bool]:
    """The wall whose uncertainty counts, and the stations that can be reached.

    Where stations that can be reached lie far from every reading, all of the drawing
    between the lowest and the highest of them counts, with what the prior says of it:
    unread wall attracts.  Else it is the wall between the readings.

    Returns
    -------
    surface : RadialSurface
    feasible : FeasibleStations
        Without those that nobody could reach.
    unread : bool
        Whether wall counts that nobody has read.
    """
    design, grid = surface.design, surface.grid
    ends = design.profile.bottom + ASSUMED.margin, design.profile.top - ASSUMED.margin
    whole = _without_unreachable(feasible_stations(design, *ends), readings, design)
    height, azimuth = whole.each()
    read_azimuth, read_height = surface.read_at
    apart = np.hypot(
        chord(azimuth, read_azimuth, design.profile.mean_radius),
        height_distance(height, read_height),
    )
    if float(apart.min(axis=1).max()) <= ASSUMED.unread_distance:
        inside = feasible_stations(design, *grid.surveyed_heights)
        inside = _without_unreachable(inside, readings, design)
        # wall that no reading tells of is part of what is to become certain
        ring = grid.all_round()
        gaps = bool(np.any(ring.surveyed != grid.surveyed))
        return (_on_grid(surface, ring) if gaps else surface), inside, gaps
    low, high = float(height.min()), float(height.max())
    wider = make_grid(
        design,
        surveyed=(low, high),
        spacing=float(grid.row_height.max()),
        columns=grid.azimuth.size,
    )
    return _on_grid(surface, wider), whole, True


def _on_grid(surface: RadialSurface, grid: Grid) -> RadialSurface:
    """The same wall on a grid that counts more of it as surveyed."""
    cutback, sd = on_surveyed(surface.posterior.fitted, grid)
    radius = cutback + grid.design_radius[:, None]
    return replace(surface, grid=grid, radius=radius, radius_sd=sd)


def _without_unreachable(
    feasible: FeasibleStations, readings: RodReadings, design: Design
) -> FeasibleStations:
    """Without the stations marked as such, and those as near as hang with them.

    Raises
    ------
    InputError
        If none is left.
    """
    shut = out_of_reach(
        readings, feasible.azimuth[None, :], feasible.height[:, None], design
    )
    free = feasible.free & ~shut
    if not free.any():
        raise InputError(
            "every station that the rod's steps leave is marked as out of reach",
            cure="Take out no access where a rod can be set by now",
        )
    return replace(feasible, free=free)


def rod_only(readings: RodReadings | CloudReadings) -> RodReadings:
    """Refuse readings with a point cloud among them.

    Raises
    ------
    InputError
        If there is one.
    """
    if isinstance(readings, RodReadings):
        return readings
    raise cloud_error(readings.clouds[0].name)


def cloud_error(name: str) -> InputError:
    """Make the error of a point cloud where rod readings are asked for."""
    cure = "Survey the cloud and look at map.png for wall that the laser did not see"
    if name.lower().endswith(".csv"):
        cure += "; if it is a rod sheet, name its columns in the first row"
    what = "where to measure next is worked out for rod readings only"
    return InputError(what, file=name, cure=cure)


class Goal(Protocol):
    """What is to become certain; it has t targets."""

    @property
    def now(self) -> float:
        """What is left as it is."""

    def toward(self, block: Float) -> Float:
        """Covariance of targets with stations from that of nodes; (q, C) to (t, C)."""

    def after(self, gone: Float) -> Float:
        """What is left if variance ``gone`` (t, C) is taken off the targets; (C,)."""


def _goal(surface: RadialSurface, nodes: Nodes, aim: Aim) -> Goal:
    if aim == "volume":
        return VolumeGoal.of(surface, nodes)
    limit = surface.design.repair.brick_threshold
    return BrickGoal.of(surface.grid, nodes, limit)


@dataclass(frozen=True)
class VolumeGoal:
    """The rebuild volume.

    Attributes
    ----------
    weight : array (q,), mm2
        Change of the volume with cut-back at the nodes.
    variance : float, mm6
        Of the volume made linear.
    now : float, mm3
        Standard uncertainty as the findings state it; it is taken to shrink in the same
        ratio.
    """

    weight: Float
    variance: float
    now: float

    @classmethod
    def of(cls, surface: RadialSurface, nodes: Nodes) -> VolumeGoal:
        """Of a surface and its nodes."""
        grid, known = surface.grid, (surface.cutback, surface.radius_sd)
        patch = nodes.gather(grid.patch)
        slope = hermite_excess(nodes.mean, nodes.sd, nodes.design_radius)[0]
        weight = patch * slope / np.maximum(nodes.sd, 1e-9)
        walls = draw_walls(nodes, prior_of(surface, nodes))
        drawn = walls.excess(patch, rebuild_volume(grid, *known))
        stated = Quantity.of_samples(drawn).sd
        return cls(weight, nodes.sd_of_sum(weight) ** 2, stated)

    def toward(self, block: Float) -> Float:
        """One target: the volume."""
        return (self.weight @ block)[None, :]

    def after(self, gone: Float) -> Float:
        """Standard uncertainty left, mm3."""
        left = np.maximum(1.0 - gone[0] / self.variance, 0.0)
        return np.asarray(self.now * np.sqrt(left))


@dataclass(frozen=True)
class BrickGoal:
    """The area where brick is undecided.

    Attributes
    ----------
    kept : bool array (q,)
        Nodes whose call is not beyond all doubt; t are true.
    off : array (t,), mm
        Best estimate less the threshold.
    variance : array (t,), mm2
    area : array (t,), mm2
    """

    kept: Bool
    off: Float
    variance: Float
    area: Float

    @classmethod
    def of(cls, grid: Grid, nodes: Nodes, limit: float) -> BrickGoal:
        """Of a surface's grid and nodes, and the brick threshold."""
        area = nodes.gather(grid.face_area)
        off = nodes.mean - limit
        kept = (area > 0.0) & (np.abs(off) < (_Z + _FAR) * nodes.sd)
        return cls(kept, off[kept], nodes.sd[kept] ** 2, area[kept])

    @property
    def now(self) -> float:
        """Undecided area as it is, mm2."""
        return float(self.area[np.abs(self.off) < _Z * np.sqrt(self.variance)].sum())

    def toward(self, block: Float) -> Float:
        """Each kept node is a target."""
        return block[self.kept]

    def after(self, gone: Float) -> Float:
        """Expected undecided area, mm2."""
        parts = [
            self.area @ self._undecided(gone[:, k : k + _AT_ONCE])
            for k in range(0, gone.shape[1], _AT_ONCE)
        ]
        return np.concatenate(parts)

    def _undecided(self, gone: Float) -> Float:
        """Probability that a node will be undecided; (t, C)."""
        from scipy.special import ndtr

        left = np.sqrt(np.maximum(self.variance[:, None] - gone, 0.0))
        moved = np.sqrt(np.maximum(gone, 1e-18))
        off, band = self.off[:, None], _Z * left
        return np.asarray(ndtr((band - off) / moved) - ndtr((-band - off) / moved))


def _chosen(
    goal: Goal, covariance: StationCovariance, error: float, count: int
) -> Iterator[tuple[int, float]]:
    """Stations one after the other, each with what is left after it."""
    toward, variance = goal.toward(covariance.block), covariance.variance.copy()
    gone = np.zeros((toward.shape[0], 1))
    before: list[Float] = []
    left = goal.now
    for _ in range(count):
        value = goal.after(gone + toward**2 / (variance + error))
        pick = int(np.argmin(value))
        if not value[pick] < left:
            return
        left = float(value[pick])
        yield pick, left
        root = np.sqrt(variance[pick] + error)
        column = covariance.column(pick) - sum(old * old[pick] for old in before)
        column, pull = column / root, toward[:, pick] / root
        gone = gone + pull[:, None] ** 2
        toward = toward - np.outer(pull, column)
        variance = np.maximum(variance - column**2, 0.0)
        before.append(column)


def _reading_variance(surface: RadialSurface, posterior: GPPosterior) -> float:
    """Mean variance of the readings so far, mm2.

    Stand-ins for sound wall come after the readings and are none.
    """
    kept = surface.count - len(surface.rejected)
    return float(np.mean(posterior.noise.variance[:kept]))


def _read_before(readings: RodReadings, azimuth: Float, height: Float) -> Bool:
    """Stations that a reading was taken at, also by the far end of a diameter."""
    across = readings.is_kind("diameter")
    read_azimuth = np.append(readings.azimuth, readings.azimuth[across] + 180.0)
    read_height = np.append(readings.height, readings.height[across])
    same_azimuth = np.abs(turn(read_azimuth, azimuth[:, None])) < ASSUMED.same_azimuth
    same_height = np.abs(read_height - height[:, None]) < ASSUMED.same_height
    return np.asarray(np.any(same_azimuth & same_height, axis=1))
