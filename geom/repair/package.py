"""All that is worked out for the repair of one wall, in one thing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from geom.compare.findings import Findings
from geom.design import Design
from geom.document import fields_document
from geom.repair.audit.melting import WornMelting, worn_melting
from geom.repair.audit.sand_bottom import SandBottom, sand_bottom
from geom.repair.audit.taper import TuyereAudit, taper_audit
from geom.repair.masonry.relining import RelinedBand, relined_bands
from geom.repair.masonry.support import Support
from geom.repair.plan.opened import plan_support
from geom.repair.plan.plan import plan_repair
from geom.repair.plan.result import RepairPlan
from geom.surface import RadialSurface


@dataclass(frozen=True)
class RepairPackage:
    """What there is to do, and to look at, before the next heat.

    Attributes
    ----------
    plan : RepairPlan
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
    """

    plan: RepairPlan
    support: Support
    relining: tuple[RelinedBand, ...]
    taper: tuple[TuyereAudit, ...]
    melting: WornMelting | None
    bottom: SandBottom | None

    def to_dict(self) -> dict[str, Any]:
        """What ``findings.json`` holds under ``repair``."""
        document: dict[str, Any] = fields_document(self)
        document = document.pop("plan") | document
        del document["lining"], document["title"]
        return document


def prepare_repair(
    surface: RadialSurface, findings: Findings, design: Design
) -> RepairPackage:
    """Work out the repair of a wall.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
        Of that surface.
    design : Design

    Returns
    -------
    RepairPackage
        The same input gives the same numbers.
    """
    plan = plan_repair(surface, findings, design)
    support = plan_support(plan, surface, findings, design)
    return RepairPackage(
        plan=plan,
        support=support,
        relining=relined_bands(design, support.stops),
        taper=taper_audit(surface, design),
        melting=worn_melting(surface, findings, design),
        bottom=sand_bottom(design, surface=surface),
    )
