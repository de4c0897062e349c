"""After the repair: whether the wall is back on its drawing, and what went into it.

Every level, every zone of the survey before and every place that calls for work only
now is judged on its own by `conformity`; the wall is back on its drawing when all are
accepted, and not back when one is rejected.  What was not measured again of a zone may
lie anywhere: the zone is accepted only if it is back whatever that part does, and
rejected only if it is not.  A zone that no reading stands in cannot be judged, however
near to it others stand.  A reading that was left out of the fit may have met a patch
left short, so until it is read again the wall is not called back.

A level is judged by the radius of the circle of its area, since melting rate follows
the area; a zone by its mean deviation and the share of its face in tolerance.
"""

from __future__ import annotations

import numpy as np

from geom.compare import Findings
from geom.compare.extent import Extent
from geom.compare.nodes import make_nodes
from geom.compare.volume import gamma_quantity
from geom.design import Design
from geom.errors import InputError
from geom.parallel import on_one_thread
from geom.quantity import Quantity
from geom.readings.surveys import SurveyBefore, ZoneBefore
from geom.repair.acceptance.conformity import Decision
from geom.repair.acceptance.judge import RepairedWall, share_of
from geom.repair.acceptance.material import (
    MaterialBalance,
    WallBefore,
    material_balance,
    wall_before,
    zone_sd,
    zones_sd,
)
from geom.repair.acceptance.result import (
    MaterialTotals,
    Recheck,
    Verdict,
    ZoneCheck,
)
from geom.repair.assumptions import ASSUMED
from geom.repair.plan.daub import DryingSchedule, drying_schedule
from geom.surface import Grid, RadialSurface
from geom.surface.grid import BRICK_FACE
from geom.surface.radial import Rejected
from geom.units import Bool


@on_one_thread
def recheck(
    before: SurveyBefore, surface: RadialSurface, findings: Findings, design: Design
) -> Recheck:
    """Judge the wall after a repair.

    Parameters
    ----------
    surface : RadialSurface
        After the repair.
    findings : Findings
        Of that surface.

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
    if not (was.known & surface.grid.surveyed).any():
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
        openings=tuple(
            now.check_opening(opening, number)
            for number, opening in design.numbered_openings
        ),
        material=_material(before, was, now),
        left_out=tuple(reading.place for reading in surface.rejected),
        taper=taper_audit(surface, design),
        drying=_drying(before, design),
        diagnostics=findings.diagnostics,
    )


def _drying(before: SurveyBefore, design: Design) -> DryingSchedule | None:
    """How the daub of the plan before is dried; None where no plan tells of daub."""
    daub = before.repair.get("daub")
    return drying_schedule(daub, design.shop) if isinstance(daub, dict) else None


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
    face = now.check(mask, repaired=True)
    into = None
    if face.deviation is not None:
        sd = zone_sd(was, now.grid, mask, zone.cutback_mean.sd)
        into = material_balance(was, now.surface, now.nodes, mask, sd)
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
        new = share_of(np.where(mask, area, 0.0), fresh) > ASSUMED.new_share
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


def _material(
    before: SurveyBefore, was: WallBefore, now: RepairedWall
) -> MaterialTotals:
    grid = now.grid
    share = share_of(grid.whole_face * was.known, grid.surveyed)
    sd = before.net.sd * float(np.sqrt(share))
    seen = [z for z in before.zones if grid.patch[was.zone == z.id].any()]
    called = [z.volume for z in seen if z.action in ("brick", "daub")]
    return MaterialTotals(
        zones=_over_zones(before, seen, was, now) if seen else None,
        called_for=_sum_of(called, before.rebuild.sd) if called else None,
        planned=before.planned,
        wall=material_balance(was, now.surface, now.nodes, was.known, sd),
    )


def _over_zones(
    before: SurveyBefore, seen: list[ZoneBefore], was: WallBefore, now: RepairedWall
) -> MaterialBalance:
    masks = [was.zone == zone.id for zone in seen]
    sds = [
        zone_sd(was, now.grid, mask, zone.cutback_mean.sd)
        for zone, mask in zip(seen, masks, strict=True)
    ]
    union = np.any(masks, axis=0)
    sd = zones_sd(sds, before.rebuild.sd)
    return material_balance(was, now.surface, now.nodes, union, sd)


def _sum_of(volumes: list[Quantity], rebuild_sd: float) -> Quantity:
    sd = zones_sd([volume.sd for volume in volumes], rebuild_sd)
    return gamma_quantity(sum(volume.value for volume in volumes), sd)
