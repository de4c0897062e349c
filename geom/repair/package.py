"""All that is worked out for the repair of one wall, in one thing.

What a plan opens of the wall, brick by brick, and whether there is a stop.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from geom.compare.assumptions import ASSUMED as COMPARE
from geom.compare.findings import ACTIONS, Findings
from geom.design import Design
from geom.document import as_document, fields_document
from geom.frame import wrap
from geom.repair.audit.melting import (
    RunSettings,
    WornMelting,
    run_settings,
    worn_melting,
)
from geom.repair.audit.sand_bottom import SandBottom, sand_bottom
from geom.repair.audit.taper import TuyereAudit, taper_audit
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.masonry.relining import RelinedBand, relined_bands
from geom.repair.masonry.support import Seat, Support, burnt_rows, support_of
from geom.repair.plan.daub import DryingSchedule, drying_schedule
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan
from geom.shown import Shown
from geom.surface import RadialSurface


def plan_support(
    plan: RepairPlan, surface: RadialSurface, findings: Findings, design: Design
) -> Support:
    """What the brickwork of a plan opens, its segments, and whether there is a stop.

    Parameters
    ----------
    findings : Findings
        Of that surface.
    """
    past = findings.maps.action == ACTIONS.index("brick")
    may_be = past | (np.nan_to_num(findings.maps.p_brick) >= COMPARE.possible)
    grid = surface.grid
    return support_of(
        [*seats_of(plan, surface)],
        design.shop.brickwork,
        shell_radius=design.shell_radius,
        least_lining=design.least_lining,
        burnt=burnt_rows(past, grid.counted, grid.edge),
        possible=burnt_rows(may_be, grid.counted, grid.edge),
    )


def seats_of(plan: RepairPlan, surface: RadialSurface) -> Iterator[Seat]:
    """The seats of all bricks of a plan, zone by zone in order of work."""
    for zone in plan.zones:
        if zone.brickwork is not None:
            for brick in zone.brickwork.bricks:
                yield seat_of(brick, zone.id, surface)


def seat_of(brick: PlacedBrick, zone: int, surface: RadialSurface) -> Seat:
    """The seat of one brick: its corners, and the wall where that is gone deeper."""
    height, azimuth, radius = brick.corners().T
    turned = wrap(azimuth - brick.azimuth + 180.0) - 180.0
    low, high = float(height.min()), float(height.max())
    first, last = (
        float(wrap(brick.azimuth + end)) for end in (turned.min(), turned.max())
    )
    wall = _wall_behind(surface, low, high, first, float(np.ptp(turned)))
    return Seat(
        zone=zone,
        azimuth_from=first,
        azimuth_to=last,
        height_from=low,
        height_to=high,
        back=max(float(radius.max()), brick.deepest, wall),
    )


def _wall_behind(
    surface: RadialSurface, low: float, high: float, first: float, arc: float
) -> float:
    """The greatest radius of the wall, as best known, in the cells of a seat."""
    grid = surface.grid
    rows = (grid.edge[1:] > low) & (grid.edge[:-1] < high)
    columns = wrap(grid.azimuth - first) <= arc
    met = surface.radius[np.ix_(rows, columns)]
    return float(np.nanmax(met, initial=0.0))


@dataclass(frozen=True)
class RepairPackage(Shown):
    """What there is to do, and to look at, before the next heat.

    Attributes
    ----------
    support : Support
        What brickwork opens of the wall, and in what order.
    relining : tuple of RelinedBand
        Of the bands under a stop.
    taper : tuple of TuyereAudit
        In the order of the design file.
    melting : WornMelting or None
        None where no ring was read round.
    bottom : SandBottom or None
        None where the design names no tap hole.
    drying : DryingSchedule or None
        None where nothing is daubed.
    settings : RunSettings or None
        None where the shop tells nothing of its melting, or no ring was read round.
    """

    _units: ClassVar[str] = "mm, mm2, mm3, degrees"

    plan: RepairPlan
    support: Support
    relining: tuple[RelinedBand, ...]
    taper: tuple[TuyereAudit, ...]
    melting: WornMelting | None
    bottom: SandBottom | None
    drying: DryingSchedule | None
    settings: RunSettings | None

    def to_dict(self) -> dict[str, Any]:
        """What ``findings.json`` holds under ``repair``."""
        document: dict[str, Any] = fields_document(self)
        document = document.pop("plan") | document
        del document["lining"], document["title"]
        return document


def prepare_repair(
    surface: RadialSurface,
    findings: Findings,
    design: Design,
    *,
    plan: RepairPlan | None = None,
) -> RepairPackage:
    """Work out the repair of a wall.

    Parameters
    ----------
    findings : Findings
        Of that surface.
    plan : RepairPlan, optional
        From `plan_repair` of the same, where that is there already.

    Returns
    -------
    RepairPackage
        The same input gives the same numbers.
    """
    if plan is None:
        plan = plan_repair(surface, findings, design)
    support = plan_support(plan, surface, findings, design)
    melting = worn_melting(surface, findings, design)
    bottom = sand_bottom(design, surface=surface)
    on_axis = 0.0 if bottom is None else bottom.middle
    return RepairPackage(
        plan=plan,
        support=support,
        relining=relined_bands(design, support.stops),
        taper=taper_audit(surface, design),
        melting=melting,
        bottom=bottom,
        drying=drying_schedule(as_document(plan.daub), design.shop),
        settings=run_settings(melting, surface, design, bottom=on_axis),
    )
