"""From a surface to findings: the whole comparison with the drawing.

The budget of the rebuild volume makes it linear at the best estimate, where a cell
counts by the probability that it is cut back, and splits the variance of that sum by
its sources.

References
----------
JCGM 100:2008 (GUM), 5.1 (combined uncertainty) and annex H (budgets).
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from geom._version import __version__
from geom.compare.draws import draw_walls, prior_of
from geom.compare.extent import ring_gaps, share_surveyed, wide_gaps
from geom.compare.extremes import deepest_point
from geom.compare.findings import (
    BudgetLine,
    DatumPose,
    Findings,
    Maps,
    ReadingsSummary,
    Surveyed,
)
from geom.compare.levels import section_levels
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.panels import survey_panels
from geom.compare.volume import volumes
from geom.compare.zones import call_actions, chance_beyond, find_zones
from geom.datum import Pose as CloudPose
from geom.design import Design
from geom.parallel import on_one_thread
from geom.stats.normal import hermite_excess
from geom.surface import Posterior, RadialSurface
from geom.units import Float


def volume_budget(
    posterior: Posterior,
    nodes: Nodes,
    patch: Float,
    typical_sd: float,
) -> tuple[BudgetLine, ...]:
    """Lines of the budget, greatest share first; the shares add up to 1.

    Parameters
    ----------
    patch : array (q,), radian mm
    typical_sd : float, mm
        Of cut-back over the surveyed wall, given next to the wall's own line.
    """
    slope = hermite_excess(nodes.mean, nodes.sd, nodes.design_radius)[0]
    weight = patch * slope / np.maximum(nodes.sd, 1e-9)
    shares = posterior.sources_of_sum(nodes.height, nodes.azimuth, weight, typical_sd)
    whole = sum(share.variance for share in shares)
    lines = [
        BudgetLine(s.source, s.kind, s.sd, s.unit, s.variance / whole) for s in shares
    ]
    return tuple(sorted(lines, key=lambda line: -line.share_of_volume_variance))


@on_one_thread
def assess(
    surface: RadialSurface,
    design: Design,
    *,
    title: str | None = None,
    created: datetime | None = None,
) -> Findings:
    """Compare a surface with its drawing.

    Parameters
    ----------
    title : str, optional
        Of the survey; default the lining's name.
    created : datetime, optional
        Default now.

    Returns
    -------
    Findings
    """
    grid, cutback, sd = surface.grid, surface.cutback, surface.radius_sd
    nodes = make_nodes(surface)
    low, high = grid.surveyed_heights
    with ThreadPoolExecutor(1) as thread:  # what draws take is in libraries: no lock
        drawn = thread.submit(draw_walls, nodes, prior_of(surface, nodes))
        maps = maps_of(surface, design)
        levels = section_levels(surface, low, high)
        panels = survey_panels(surface, nodes)
        typical = float(np.sqrt(np.nanmean(sd**2)))
        budget = volume_budget(
            surface.posterior, nodes, nodes.gather(grid.patch), typical
        )
        walls = drawn.result()
    zones, number = find_zones(
        grid, cutback, sd, maps.action, walls, read=surface.readings_in_cells
    )
    gaps = ring_gaps(grid)
    moment = datetime.now(UTC) if created is None else created
    return Findings(
        lining=design.name,
        title=design.name if title is None else title,
        created=moment.isoformat(timespec="seconds"),
        version=__version__,
        readings=ReadingsSummary(
            surface.count,
            len(surface.rejected) + surface.points_left_out,
            surface.kinds,
        ),
        surveyed=Surveyed(
            low, high, float(grid.face_area.sum()), share_surveyed(grid), gaps
        ),
        datum=_datum(surface.poses),
        volume=volumes(grid, cutback, sd, walls),
        deepest=deepest_point(surface, walls),
        levels=levels,
        zones=zones,
        budget=budget,
        diagnostics=surface.diagnostics + wide_gaps(gaps),
        maps=replace(maps, zone=number),
        surface=surface,
        panels=panels,
    )


def maps_of(surface: RadialSurface, design: Design) -> Maps:
    """What a surface alone says of each cell; no zones yet."""
    grid, cutback, sd = surface.grid, surface.cutback, surface.radius_sd
    return Maps(
        cutback=cutback,
        cutback_sd=sd,
        p_brick=chance_beyond(cutback, sd, design.repair.brick_threshold),
        action=call_actions(grid, cutback, sd, design.repair),
        zone=np.zeros(grid.shape, dtype=np.int64),
        surveyed=grid.surveyed.copy(),
    )


def _datum(poses: Sequence[CloudPose]) -> DatumPose | None:
    """Where the first cloud was found; in all of one frame it is the only one."""
    if not poses:
        return None
    pose = poses[0]
    offset, tilt = pose.sd[:2], pose.sd[2:]
    return DatumPose(
        offset_x=pose.offset_x,
        offset_y=pose.offset_y,
        tilt_x=pose.tilt_x,
        tilt_y=pose.tilt_y,
        sd_offset=float(np.sqrt(np.mean(offset**2))),
        sd_tilt=float(np.sqrt(np.mean(tilt**2))),
    )
