"""After the repair: whether the wall is back on its drawing, and what went into it.

Every level, every zone of the survey before and every place that calls for work only
now is judged on its own by `conformity`; the wall is back on its drawing when all are
accepted, and not back when one is rejected.  What was not measured again of a zone may
lie anywhere: the zone is accepted only if it is back whatever that part does, and
rejected only if it is not.  A reading that was left out of the fit may have met a patch
left short, so until it is read again the wall is not called back.

A level is judged by the radius of the circle of its area, since melting rate follows
the area; a zone by its mean deviation and the share of its face in tolerance.

The wall after a repair, and how a piece of its face is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare import Findings
from geom.compare.extent import Extent
from geom.compare.findings import Level
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.volume import positive
from geom.compare.zones import BRICK_FACE
from geom.design import Design
from geom.errors import InputError
from geom.parallel import on_one_thread_when_small
from geom.quantity import Quantity
from geom.readings.surveys import SurveyBefore, ZoneBefore
from geom.repair.acceptance.conformity import (
    FACE,
    REACH,
    Decision,
    chance_within,
    decide_face,
    face_state,
    judge,
    to_nearest_reading,
)
from geom.repair.acceptance.material import (
    Moved,
    WallBefore,
    moved,
    wall_before,
    whole_face,
    zone_sd,
    zones_sd,
)
from geom.repair.acceptance.result import (
    FaceCheck,
    LevelCheck,
    Material,
    Place,
    Recheck,
    Verdict,
    ZoneCheck,
)
from geom.surface import Grid, RadialSurface
from geom.surface.radial import Rejected
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


#: A zone of now is a place of its own if more than this of it lay in no zone before.
_NEW = 0.5


@on_one_thread_when_small(
    lambda before, surface, *_, **__: surface.count  # noqa: ARG005
)
def recheck(
    before: SurveyBefore, surface: RadialSurface, findings: Findings, design: Design
) -> Recheck:
    """Judge the wall after a repair.

    Parameters
    ----------
    before : SurveyBefore
    surface : RadialSurface
        After the repair.
    findings : Findings
        Of that surface.
    design : Design

    Returns
    -------
    Recheck

    Raises
    ------
    InputError
        If the two surveys have no wall in common.
    """
    from geom.repair.audit.taper import taper_audit

    was = wall_before(before, surface.grid)
    if not (was.rows & surface.grid.surveyed).any():
        raise _nothing_shared(before, surface.grid)
    now = RepairedWall(surface, make_nodes(surface), design.repair.tolerance)
    levels = tuple(now.check_level(level) for level in findings.levels)
    zones = (
        *(_check_zone(zone, was, now) for zone in before.zones),
        *_found_now(findings, before, was, now),
    )
    return Recheck(
        lining=findings.lining,
        title=findings.title,
        created=findings.created,
        version=findings.version,
        before_title=before.title,
        before_created=before.created,
        tolerance=now.tolerance,
        verdict=_verdict(
            [level.decision for level in levels] + [zone.decision for zone in zones],
            surface.rejected,
        ),
        levels=levels,
        zones=zones,
        material=_material(before, was, now),
        left_out=tuple(reading.place for reading in surface.rejected),
        taper=taper_audit(surface, design),
        warnings=findings.warnings,
    )


def _nothing_shared(before: SurveyBefore, grid: Grid) -> InputError:
    low, high = grid.surveyed_heights
    return InputError(
        f"the readings reach from {low:.0f} to {high:.0f} mm, the survey before from "
        f"{before.low:.0f} to {before.high:.0f} mm: they have no wall in common",
        cure="Measure the repaired wall where it was surveyed before",
    )


def _verdict(decisions: list[Decision], left_out: tuple[Rejected, ...]) -> Verdict:
    if "reject" in decisions:
        return "not back"
    if "cannot tell" in decisions or left_out:
        return "cannot tell"
    return "back on its drawing"


def _check_zone(zone: ZoneBefore, was: WallBefore, now: RepairedWall) -> ZoneCheck:
    mask = was.zone == zone.id
    face = now.check(mask)
    into = None
    if face.deviation is not None:
        sd = zone_sd(was, now.grid, mask, zone.cutback_mean.sd)
        into = moved(was, now.surface, now.nodes, mask, sd)
    return ZoneCheck(
        id=zone.id,
        action=zone.action,
        found_now=False,
        azimuth_from=zone.azimuth_from,
        azimuth_to=zone.azimuth_to,
        height_from=zone.height_from,
        height_to=zone.height_to,
        area=zone.area,
        face=face,
        moved=into,
        called_for=zone.volume,
    )


def _found_now(
    findings: Findings, before: SurveyBefore, was: WallBefore, now: RepairedWall
) -> list[ZoneCheck]:
    """Places that call for work now and did not before."""
    area = now.grid.face_area
    next_id = 1 + max((zone.id for zone in before.zones), default=0)
    made: list[ZoneCheck] = []
    for zone in findings.zones:
        mask = findings.maps.zone == zone.id
        fresh = mask & (was.zone == 0)
        new = share_of(np.where(mask, area, 0.0), fresh) > _NEW
        if new and area[fresh].sum() >= BRICK_FACE:
            made.append(_new_zone(next_id + len(made), zone.action, fresh, now))
    return made


def _new_zone(number: int, action: str, mask: Bool, now: RepairedWall) -> ZoneCheck:
    grid = now.grid
    return ZoneCheck(
        id=number,
        action=action,
        found_now=True,
        **vars(Extent.of(mask, grid)),
        area=float(grid.face_area[mask].sum()),
        face=now.check(mask),
    )


def _material(before: SurveyBefore, was: WallBefore, now: RepairedWall) -> Material:
    grid = now.grid
    covered = np.broadcast_to(was.rows[:, None], grid.shape)
    again = np.broadcast_to(grid.surveyed[:, None], grid.shape)
    share = share_of(whole_face(grid) * covered, again)
    sd = before.net.sd * float(np.sqrt(share))
    seen = [z for z in before.zones if grid.patch[was.zone == z.id].any()]
    called = [z.volume for z in seen if z.action in ("brick", "daub")]
    return Material(
        zones=_over_zones(before, seen, was, now) if seen else None,
        called_for=_sum_of(called, before.rebuild.sd) if called else None,
        planned=before.planned,
        wall=moved(was, now.surface, now.nodes, covered, sd),
    )


def _over_zones(
    before: SurveyBefore, seen: list[ZoneBefore], was: WallBefore, now: RepairedWall
) -> Moved:
    masks = [was.zone == zone.id for zone in seen]
    sds = [
        zone_sd(was, now.grid, mask, zone.cutback_mean.sd)
        for zone, mask in zip(seen, masks, strict=True)
    ]
    union = np.any(masks, axis=0)
    sd = zones_sd(sds, before.rebuild.sd)
    return moved(was, now.surface, now.nodes, union, sd)


def _sum_of(volumes: list[Quantity], rebuild_sd: float) -> Quantity:
    sd = zones_sd([volume.sd for volume in volumes], rebuild_sd)
    return positive(sum(volume.value for volume in volumes), sd)
