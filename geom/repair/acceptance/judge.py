"""The judge of a repaired wall: a face, a level, a place.

Neither the mean nor the worst place alone says whether a face is back on its drawing:
a hollow and a hump average out, and the worst place of a large face is hardly ever
settled.  So both are asked: that the mean deviation lies within tolerance, and that at
least nine tenths of the face does.  How errors hang together decides both, so the joint
posterior is drawn from; a cell moves with the node it belongs to.

Between readings the wall is inferred, and that it changes slowly is learned from the
readings themselves.  A patch put on by hand need not: one left short between two
readings shows in neither.  So a place counts as measured again only within 200 mm of a
reading, or of wall that a laser saw: the coverage of the survey.  A repaired zone ends
in a step, so of it only readings that stand in it tell: where none does, nothing of it
was measured.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from geom.compare.findings import Level
from geom.compare.nodes import Nodes, face_nodes
from geom.design import Opening
from geom.frame import to_cartesian, turn
from geom.quantity import Quantity
from geom.repair.acceptance.conformity import (
    Decision,
    conformance_probability,
    decide,
    judge,
)
from geom.repair.acceptance.result import (
    CheckPoint,
    EdgeCheck,
    FaceCheck,
    LevelCheck,
    OpeningCheck,
)
from geom.repair.assumptions import ASSUMED
from geom.surface import Grid, RadialSurface
from geom.units import Bool, Float


@dataclass(frozen=True)
class RepairedWall:
    """A surface with what it is judged by.

    Attributes
    ----------
    nodes : Nodes
        Of the surface.
    tolerance : float, mm
    """

    surface: RadialSurface
    nodes: Nodes
    tolerance: float

    @property
    def grid(self) -> Grid:
        """That of the surface; shape (m, k)."""
        return self.surface.grid

    @cached_property
    def distance(self) -> Float:
        """Distance of each cell from the nearest reading, mm; (m, k)."""
        return distance_to_reading(self.surface)

    @cached_property
    def measured(self) -> Bool:
        """Surveyed wall with a reading near enough; (m, k)."""
        wall = self.grid.surveyed & ~self.grid.opening
        return wall & (self.distance <= ASSUMED.reading_reach)

    def check(self, mask: Bool, *, repaired: bool = False) -> FaceCheck:
        """Judge a piece of face.

        Parameters
        ----------
        mask : bool array (m, k)
            Its cells, also those that were not measured.
        repaired : bool
            It is a zone of the repair: only readings that stand in it tell of it.
        """
        reached = self.reached_within(mask) if repaired else self.measured
        seen = mask & reached
        if not seen.any():
            return FaceCheck(
                0.0, None, None, None, None, "cannot tell", None, self._furthest(mask)
            )
        net = self._net(seen)
        state = face_state(self.surface, net, seen, self.tolerance)
        measured = share_of(self.grid.whole_face * mask, reached)
        decision = decide_face(state, measured)
        chance = np.where(seen, self._chance(), np.nan)
        measure_at, readings = None, None
        if decision == "cannot tell":
            if measured >= ASSUMED.face_share:
                readings = readings_to_decide(
                    self.surface, net, seen, self.tolerance, self._count_in(mask)
                )
            open_yet = np.where(seen, -np.abs(chance - 0.5), -np.inf)
            measure_at = (
                self._furthest(mask)
                if measured < ASSUMED.face_share
                else self._point(open_yet)
            )
        return FaceCheck(
            measured=measured,
            deviation=state.mean,
            deviation_chance=judge(state.mean, self.tolerance).chance,
            face_share=state.share,
            chance=state.chance,
            decision=decision,
            worst=self._point(np.where(seen, -chance, -np.inf)),
            measure_at=measure_at,
            readings=readings,
        )

    def check_level(self, level: Level) -> LevelCheck:
        """Judge a section; one of which too little was measured cannot be decided."""
        diameter, nominal = level.area_diameter, level.design_diameter
        deviation = Quantity(
            0.5 * (diameter.value - nominal),
            0.5 * diameter.sd,
            0.5 * (diameter.low95 - nominal),
            0.5 * (diameter.high95 - nominal),
        )
        judged = judge(deviation, self.tolerance)
        ring = self._ring(level.height)
        measured = self.share_measured(ring)
        decision = judged.decision if measured >= ASSUMED.face_share else "cannot tell"
        measure_at = None
        if decision == "cannot tell":
            sd = np.where(ring & self.grid.surveyed, self.surface.radius_sd, -np.inf)
            measure_at = (
                self._furthest(ring)
                if measured < ASSUMED.face_share
                else self._point(sd)
            )
        return LevelCheck(
            height=level.height,
            side=level.side,
            design_diameter=nominal,
            area_diameter=diameter,
            measured=measured,
            deviation=deviation,
            chance=judged.chance,
            decision=decision,
            measure_at=measure_at,
        )

    def check_opening(self, opening: Opening, number: int) -> OpeningCheck:
        """Judge the wall at an opening's edges, from readings near them alone.

        Parameters
        ----------
        number : int
            Among those of its kind.
        """
        grid, design = self.grid, self.surface.design
        radius = design.radius_at_opening(opening)
        height, azimuth = grid.height[:, None], grid.azimuth[None, :]
        off = beyond(opening, azimuth, height, radius)
        next_above = (
            np.abs(turn(opening.azimuth, azimuth)) <= (opening.half_angle(radius))
        ) & (height > opening.top)
        rim = ~grid.opening & (off > 0.0) & (off <= ASSUMED.opening_rim)
        # a lip that is drawn stands out of the profile and is judged by itself
        size = rim & ~next_above if opening.lip else rim
        read, read_height = self.surface.read_at
        outside = beyond(opening, read, read_height, radius)
        near = (outside > 0.0) & (outside <= ASSUMED.opening_reach)
        lip = None
        if opening.kind == "tuyere":
            above = near & (read_height > opening.top)
            lip = self._edge(next_above & rim & (off <= ASSUMED.lip), above, opening)
        return OpeningCheck(
            number=number,
            kind=opening.kind,
            azimuth=opening.azimuth,
            height=opening.height,
            size=self._edge(size, near, None),
            lip=lip,
        )

    def _edge(self, mask: Bool, near: Bool, lip_of: Opening | None) -> EdgeCheck:
        """Judge a strip of wall by some of the readings.

        Parameters
        ----------
        mask : bool array (m, k)
        near : bool array (n,)
            Which readings tell of it.
        lip_of : Opening or None
            The strip is its lip: how far that stands out is judged, on average.
        """
        azimuth, height = self.surface.read_at
        count = int(np.count_nonzero(near))
        seen = np.zeros_like(mask)
        if count:
            reach = distance_to(self.surface, azimuth[near], height[near])
            seen = mask & self.measured & (reach <= ASSUMED.opening_reach)
        if not seen.any():
            return EdgeCheck(count, 0.0, None, None, "measure")
        measured = share_of(self.grid.whole_face * mask, seen)
        state = face_state(self.surface, self._net(seen), seen, self.tolerance)
        deviation, decision = state.mean, decide_face(state, measured)
        if lip_of is not None:
            out = lip_of.lip - (self.grid.height - lip_of.top) / ASSUMED.lip_run_out
            area = np.where(seen, self.grid.face_area, 0.0)
            drawn = np.sum(area * np.maximum(out, 0.0)[:, None]) / area.sum()
            deviation = Quantity.normal(deviation.value + float(drawn), deviation.sd)
            decision = judge(deviation, self.tolerance).decision
        settled = decision == "reject" or measured >= ASSUMED.face_share
        return EdgeCheck(
            readings=count,
            measured=measured,
            deviation=deviation,
            chance=judge(deviation, self.tolerance).chance,
            decision="measure"
            if decision == "cannot tell" or not settled
            else decision,
        )

    def share_measured(self, mask: Bool) -> float:
        """Share of a piece of face that was measured."""
        return share_of(self.grid.whole_face * mask, self.measured)

    def reached_within(self, mask: Bool) -> Bool:
        """Measured wall near enough to a reading that stands in the mask; (m, k)."""
        azimuth, height = self.surface.read_at
        own = stand_in(self.grid, mask, azimuth, height)
        if not own.any():
            return np.zeros_like(mask)
        near = (
            distance_to(self.surface, azimuth[own], height[own])
            <= ASSUMED.reading_reach
        )
        return self.measured & near

    def _count_in(self, mask: Bool) -> int:
        """How many readings stand in a mask."""
        return int(stand_in(self.grid, mask, *self.surface.read_at).sum())

    def _net(self, mask: Bool) -> Nodes:
        """Nodes of a piece: its own, where the wall was not seen cell by cell."""
        if self.surface.seen is not None:
            return self.nodes
        return face_nodes(self.surface, mask)

    def _ring(self, height: float) -> Bool:
        """The surveyed row of wall nearest to a level; (m, k)."""
        there = self.grid.surveyed_rows
        off = np.where(there, np.abs(self.grid.height - height), np.inf)
        row = np.arange(off.size) == np.argmin(off)
        return np.asarray(row[:, None] & ~self.grid.opening)

    def _chance(self) -> Float:
        """That each cell is within tolerance; NaN where not surveyed."""
        sd, most = self.surface.radius_sd, self.tolerance
        return conformance_probability(self.surface.cutback, sd, -most, most)

    def _furthest(self, mask: Bool) -> CheckPoint:
        """Where a piece is furthest from every reading."""
        return self._point(np.where(mask & ~self.grid.opening, self.distance, -np.inf))

    def _point(self, field: Float) -> CheckPoint:
        """The cell where a field is greatest, as a place to tell of."""
        row, column = np.unravel_index(int(np.argmax(field)), field.shape)
        azimuth, height = self.grid.azimuth[column], self.grid.height[row]
        if not self.grid.surveyed[row, column]:
            return CheckPoint(float(azimuth), float(height), None, None)
        cutback = self.surface.cutback[row, column]
        here = Quantity.normal(cutback, self.surface.radius_sd[row, column])
        chance = judge(here, self.tolerance).chance
        return CheckPoint(float(azimuth), float(height), here, chance)


def beyond(opening: Opening, azimuth: Float, height: Float, radius: float) -> Float:
    """How far places lie outside an opening, along a face of that radius, mm.

    Zero within it; arrays broadcast, degrees and mm.
    """
    across = np.deg2rad(np.abs(turn(opening.azimuth, azimuth))) * radius
    up = np.abs(np.asarray(height) - opening.height)
    return np.asarray(
        np.hypot(
            np.maximum(across - 0.5 * opening.width, 0.0),
            np.maximum(up - 0.5 * opening.tall, 0.0),
        )
    )


def stand_in(grid: Grid, mask: Bool, azimuth: Float, height: Float) -> Bool:
    """Which places stand in a mask (m, k), or on the edge of one of its rows; (n,)."""
    count = grid.azimuth.size
    column = np.rint(azimuth * count / 360.0).astype(np.int64) % count
    above, below = (
        np.clip(np.searchsorted(grid.edge, height, side=side) - 1, 0, len(mask) - 1)
        for side in ("right", "left")
    )
    return np.asarray(mask[above, column] | mask[below, column])


def share_of(area: Float, mask: Bool) -> float:
    """Share of an area, given by cell, that lies in a mask."""
    whole = float(area.sum())
    return min(float(area[mask].sum()) / whole, 1.0) if whole > 0.0 else 0.0


@dataclass(frozen=True)
class FaceState:
    """How a piece of face lies to the drawing.

    Attributes
    ----------
    mean : Quantity, mm
        Of the deviation over the face, cut-back positive.
    share : Quantity, 0 to 1
        Of the face within tolerance.
    chance : float
        That the mean lies within tolerance and enough of the face does.
    means, shares : array (FACE_DRAWS,)
        Draws of both, jointly.
    tolerance : float, mm
    """

    mean: Quantity
    share: Quantity
    chance: float
    means: Float
    shares: Float
    tolerance: float


def face_state(
    surface: RadialSurface, nodes: Nodes, mask: Bool, tolerance: float, *, seed: int = 0
) -> FaceState:
    """Mean deviation and share in tolerance of a piece of surveyed face.

    Parameters
    ----------
    nodes : Nodes
        Of the surface.
    mask : bool array (m, k)
        Which cells; some of it must be surveyed wall.
    tolerance : float, mm
    seed : int
        Of the draws.

    Returns
    -------
    FaceState
        4,000 draws give a chance of 0.95 to 0.003.
    """
    area = np.where(mask, surface.grid.face_area, 0.0)
    held = area > 0.0
    part = area / area.sum()
    cutback, owner = surface.cutback[held], nodes.owner[held]
    weight = part[held]
    mean = float(np.sum(weight * cutback))
    # A cell moves with its node: s nodes own the cells, error is (s, FACE_DRAWS).
    owners, node = np.unique(owner, return_inverse=True)
    error = nodes.draws(owners, ASSUMED.face_draws, seed=seed)
    means = mean + np.bincount(node, weights=weight) @ error
    inside = np.zeros(ASSUMED.face_draws)
    for k in range(owners.size):
        own = node == k
        inside += _share_within(cutback[own], weight[own], error[k], tolerance)
    inside = np.minimum(inside, 1.0)
    good = (np.abs(means) <= tolerance) & (inside >= ASSUMED.face_share)
    return FaceState(
        mean=Quantity.normal(mean, nodes.sd_of_sum(nodes.gather(part))),
        share=Quantity.of_samples(inside),
        chance=float(good.mean()),
        means=means,
        shares=inside,
        tolerance=tolerance,
    )


def decide_face(state: FaceState, measured: float) -> Decision:
    """Decide on a face of which only a share was measured.

    Parameters
    ----------
    state : FaceState
        Of what was measured.
    measured : float, 0 to 1
        Share of the face.

    Returns
    -------
    {'accept', 'reject', 'cannot tell'}
        What was measured stands for the whole, its mean and its share in tolerance
        alike, once enough of it was: accepted if that is back.  Rejected if it is not
        though all the rest were in tolerance.
    """
    mean = np.abs(state.means) <= state.tolerance
    seen = measured * state.shares
    most = (mean | (measured < ASSUMED.face_share)) & (
        seen + 1.0 - measured >= ASSUMED.face_share
    )
    if decide(float(most.mean())) == "reject":
        return "reject"
    enough = measured >= ASSUMED.face_share and decide(state.chance) == "accept"
    return "accept" if enough else "cannot tell"


def readings_to_decide(
    surface: RadialSurface, nodes: Nodes, mask: Bool, tolerance: float, count: int
) -> int | None:
    """About how many readings more decide a face that is where it seems to be.

    Errors close in as that of the mean of so many readings does: errors that all
    readings share, such as the rod's centring, would close in less.

    Parameters
    ----------
    surface, nodes, mask, tolerance
        As for `face_state`.
    count : int
        Readings that stand in it.

    Returns
    -------
    int or None
        None where `most_readings` do not.
    """

    def decided(more: int) -> bool:
        closer = replace(nodes, covariance=nodes.covariance * count / (count + more))
        state = face_state(surface, closer, mask, tolerance)
        return decide(state.chance) != "cannot tell"

    tried = range(1, ASSUMED.most_readings + 1)
    first = bisect_left(tried, True, key=decided)
    return tried[first] if first < len(tried) else None


def _share_within(
    cutback: Float, weight: Float, error: Float, tolerance: float
) -> Float:
    """Weight of one node's cells within tolerance, for each of its draws."""
    order = np.argsort(cutback)
    cumulated = np.concatenate([[0.0], np.cumsum(weight[order])])
    upto = np.searchsorted(cutback[order], tolerance - error, side="right")
    below = np.searchsorted(cutback[order], -tolerance - error, side="left")
    return np.asarray(cumulated[upto] - cumulated[below])


def distance_to_reading(surface: RadialSurface) -> Float:
    """Distance across the drawn wall to the nearest reading, mm.

    Parameters
    ----------
    surface : RadialSurface
        Readings left out of its fit do not count, nor do datum bands by themselves;
        next to a cloud, only what the laser saw does.

    Returns
    -------
    array (m, k), mm
    """
    return distance_to(surface, *surface.read_at)


def distance_to(surface: RadialSurface, azimuth: Float, height: Float) -> Float:
    """Distance across the drawn wall to the nearest of some places, mm; (m, k).

    Parameters
    ----------
    azimuth : array (n,), degrees
    height : array (n,), mm
    """
    from scipy.spatial import cKDTree

    grid, design = surface.grid, surface.design
    radius = design.profile.radius_at(height)
    read = to_cartesian(azimuth, radius, height, design.azimuth_sense)
    cells = to_cartesian(
        grid.azimuth[None, :],
        grid.design_radius[:, None],
        grid.height[:, None],
        design.azimuth_sense,
    )
    distance, _ = cKDTree(read).query(cells)
    return np.asarray(distance, dtype=np.float64)
