"""The wall after a repair, and how a piece of its face is judged."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.findings import Level
from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.repair.checked import FaceCheck, LevelCheck, Place
from geom.repair.conformity import chance_within, judge
from geom.repair.face import FACE, decide_face, face_state
from geom.repair.nearest import REACH, to_nearest_reading
from geom.repair.put_in import whole_face
from geom.surface import Grid, RadialSurface
from geom.units import Bool, Float


@dataclass(frozen=True)
class RepairedWall:
    """A surface with what it is judged by.

    Attributes
    ----------
    surface : RadialSurface
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
    def away(self) -> Float:
        """Distance of each cell from the nearest reading, mm; (m, k)."""
        return to_nearest_reading(self.surface)

    @cached_property
    def measured(self) -> Bool:
        """Surveyed wall with a reading near enough; (m, k)."""
        wall = self.grid.surveyed[:, None] & ~self.grid.opening
        return wall & (self.away <= REACH)

    def check(self, mask: Bool) -> FaceCheck:
        """Judge a piece of face.

        Parameters
        ----------
        mask : bool array (m, k)
            Its cells, also those that were not measured.
        """
        seen = mask & self.measured
        if not seen.any():
            return FaceCheck(
                0.0, None, None, None, None, "cannot tell", None, self._furthest(mask)
            )
        state = face_state(self.surface, self.nodes, seen, self.tolerance)
        measured = self.share_measured(mask)
        decision = decide_face(state, measured)
        chance = np.where(seen, self._chance(), np.nan)
        measure_at = None
        if decision == "cannot tell":
            open_yet = np.where(seen, -np.abs(chance - 0.5), -np.inf)
            measure_at = (
                self._furthest(mask) if measured < FACE else self._place(open_yet)
            )
        return FaceCheck(
            measured=measured,
            deviation=state.mean,
            deviation_chance=judge(state.mean, self.tolerance).chance,
            face_share=state.share,
            chance=state.chance,
            decision=decision,
            worst=self._place(np.where(seen, -chance, -np.inf)),
            measure_at=measure_at,
        )

    def check_level(self, level: Level) -> LevelCheck:
        """Judge a section; one of which too little was measured cannot be told."""
        diameter, drawn = level.area_diameter, level.design_diameter
        deviation = Quantity(
            0.5 * (diameter.value - drawn),
            0.5 * diameter.sd,
            0.5 * (diameter.low95 - drawn),
            0.5 * (diameter.high95 - drawn),
        )
        judged = judge(deviation, self.tolerance)
        ring = self._ring(level.height)
        measured = self.share_measured(ring)
        decision = judged.decision if measured >= FACE else "cannot tell"
        measure_at = None
        if decision == "cannot tell":
            sd = np.where(ring, self.surface.radius_sd, -np.inf)
            measure_at = self._furthest(ring) if measured < FACE else self._place(sd)
        return LevelCheck(
            height=level.height,
            side=level.side,
            design_diameter=drawn,
            area_diameter=diameter,
            measured=measured,
            deviation=deviation,
            chance=judged.chance,
            decision=decision,
            measure_at=measure_at,
        )

    def share_measured(self, mask: Bool) -> float:
        """Share of a piece of face that was measured."""
        return share_of(whole_face(self.grid) * mask, self.measured)

    def _ring(self, height: float) -> Bool:
        """The surveyed row of wall nearest to a level; (m, k)."""
        away = np.where(self.grid.surveyed, np.abs(self.grid.height - height), np.inf)
        row = np.arange(away.size) == np.argmin(away)
        return np.asarray(row[:, None] & ~self.grid.opening)

    def _chance(self) -> Float:
        """That each cell is within tolerance; NaN where not surveyed."""
        sd, most = self.surface.radius_sd, self.tolerance
        return chance_within(self.surface.cutback, sd, -most, most)

    def _furthest(self, mask: Bool) -> Place:
        """Where a piece is furthest from every reading."""
        return self._place(np.where(mask & ~self.grid.opening, self.away, -np.inf))

    def _place(self, field: Float) -> Place:
        """The cell where a field is greatest, as a place to tell of."""
        row, column = np.unravel_index(int(np.argmax(field)), field.shape)
        azimuth, height = self.grid.azimuth[column], self.grid.height[row]
        if not self.grid.surveyed[row]:
            return Place(float(azimuth), float(height), None, None)
        cutback = self.surface.cutback[row, column]
        here = Quantity.normal(cutback, self.surface.radius_sd[row, column])
        chance = judge(here, self.tolerance).chance
        return Place(float(azimuth), float(height), here, chance)


def share_of(area: Float, mask: Bool) -> float:
    """Share of an area, told by cell, that lies in a mask."""
    whole = float(area.sum())
    return min(float(area[mask].sum()) / whole, 1.0) if whole > 0.0 else 0.0
