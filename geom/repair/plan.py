"""From findings to a plan: what comes off, what is cut, what goes in.

What each volume of the account is, all as expected under the uncertainty of the wall:

rebuild, build-up
    between the drawn face and the wall, over all the surveyed wall less its openings,
    as in the findings.
share
    part of a cell that is a zone's own.  Courses of brick take theirs first, whatever
    zone it was in; brick zones that meet are clipped in the order of the findings;
    every other zone keeps the rest of its cells.  No cell is given away twice.
cut
    sound lining behind the drawn face that is cut out so that brickwork fits: what is
    between the wall, or the drawn face where the wall stands proud, and the seat.
bricks
    as laid, cut pieces as long as they are, without breakage.
joints
    the ring of brickwork, from its hot face to its back, less the bricks: flat joints
    and wedges alike.
before
    brickwork that stands before the drawn face, where the shop allows it.
daub
    all else that goes in.  In a daub zone, its rebuild volume; in a brick zone, what
    covers and beds the brick and what courses leave of the seat.
chip
    build-up of chip zones and of what brickwork takes up.
left, proud
    rebuild volume and build-up that the plan leaves: where nothing is called for, where
    it has to be measured again, where no listed brick fits, hollows in chip zones and
    lumps in daub zones.

So the account closes:

    bricks + joints + daub = rebuild - left + cut + before
    chip = build-up - proud

The uncertainty of a zone's daub is that of how deep the wall is gone, its extent being
marked on the wall; in a brick zone daub carries all of it, bricks being whole numbers,
and little is left, the seat being cut to measure.  The order list asks more: where
brick ends and daub begins is not sure either, so it rests on plans for drawn walls
(`geom.repair.need`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geom.compare.findings import Findings
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.volume import positive
from geom.design import Design
from geom.repair.bond import bonds_of
from geom.repair.bricks import bricks_of
from geom.repair.daub import Daub, daub_for
from geom.repair.divide import Marked, Plot, divide
from geom.repair.joint import joint_sd
from geom.repair.need import need_by_rule, need_of, walls_drawn
from geom.repair.order import order_list
from geom.repair.planned import Account, RepairPlan, ZonePlan
from geom.repair.wall import Wall
from geom.repair.zone_plan import daub_pull, filled_with_daub, plan_zone
from geom.surface import RadialSurface
from geom.surface.threads import on_one_thread_when_small
from geom.units import LITRE, Float, Int

#: Walls drawn for the order list: they give the sd of a need to 11 %.
DRAWS = 40
_ORDER_OF_WORK = ("chip", "brick", "daub")


@on_one_thread_when_small(lambda surface, *_, **__: surface.count)
def plan_repair(
    surface: RadialSurface,
    findings: Findings,
    design: Design,
    *,
    draws: int = DRAWS,
    seed: int = 0,
) -> RepairPlan:
    """Plan the repair of a wall.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
        Of that surface.
    design : Design
    draws : int
        How many walls the order list rests on.
    seed : int
        Of the draws.

    Returns
    -------
    RepairPlan
    """
    wall = Wall(surface.grid, surface.cutback, surface.radius_sd, design)
    nodes = make_nodes(surface)
    bricks = bricks_of(design)
    bonds = bonds_of(bricks)
    marked = [
        Marked(zone.id, zone.action, findings.maps.zone == zone.id)
        for zone in findings.zones
    ]
    plots = divide(wall, marked, bonds)
    zones = [plan_zone(wall, nodes, plot) for plot in plots if plot.share.any()]
    drawn = [
        need_by_rule(one, bonds)
        for one in walls_drawn(surface, nodes, draws, seed=seed)
    ]
    worked = [zone for zone in zones if zone.action in _ORDER_OF_WORK]
    return RepairPlan(
        lining=findings.lining,
        title=findings.title,
        zones=tuple(
            sorted(
                worked,
                key=lambda z: (_ORDER_OF_WORK.index(z.action), z.height_from, z.id),
            )
        ),
        daub=_all_daub(wall, nodes, plots, zones),
        order=order_list(need_of(wall, plots), drawn, bricks, design.shop),
        confidence=design.shop.confidence,
        account=_account(wall, plots),
        notes=_notes(wall, plots),
        owner=_owner(plots, surface.grid.shape),
    )


def _all_daub(
    wall: Wall, nodes: Nodes, plots: Sequence[Plot], zones: Sequence[ZonePlan]
) -> Daub:
    """The daub of all zones together, their errors hanging together."""
    filled = [plot for plot in plots if filled_with_daub(plot)]
    pull = sum((daub_pull(wall, nodes, plot) for plot in filled), np.zeros((4, 1)))
    parts = [zone.daub for zone in zones if zone.daub is not None]
    volume = sum(plot.daub(wall) for plot in filled)
    return daub_for(
        positive(volume, joint_sd(nodes, pull)),
        wall.design.shop.mix,
        thickness=max((part.thickness for part in parts), default=0.0),
        face=sum(part.wash_area for part in parts),
    )


def _account(wall: Wall, plots: Sequence[Plot]) -> Account:
    gone, proud = wall.gone, wall.proud
    everywhere = np.ones(wall.grid.shape)
    filled = [plot for plot in plots if filled_with_daub(plot)]
    cleared = [plot for plot in plots if plot.action == "chip" or plot.laid]
    laid = [plot.laid for plot in plots if plot.laid is not None]
    return Account(
        rebuild=wall.summed(everywhere, gone),
        buildup=wall.summed(everywhere, proud),
        left=wall.summed(_rest(everywhere, filled), gone),
        proud=wall.summed(_rest(everywhere, cleared), proud),
        chip=sum(wall.summed(plot.share, proud) for plot in cleared),
        cut=sum(one.cut for one in laid),
        before=sum(one.before for one in laid),
        bricks=sum(one.counted.volume for one in laid),
        joints=sum(one.joints for one in laid),
        daub=sum(plot.daub(wall) for plot in filled),
    )


def _rest(everywhere: Float, plots: Sequence[Plot]) -> Float:
    return np.asarray(everywhere - sum(plot.share for plot in plots))


def _notes(wall: Wall, plots: Sequence[Plot]) -> tuple[str, ...]:
    """What a reader has to know of zones that the plan leaves."""
    words = []
    for plot in plots:
        litres = plot.rebuild(wall) / LITRE
        if plot.action == "measure again":
            words.append(
                f"Zone {plot.id} has to be measured again: it is not settled whether "
                f"it needs brick. Its {litres:.1f} litres are not in this plan."
            )
        elif plot.why and plot.share.any():
            words.append(
                f"Zone {plot.id}: no listed brick fits. Its {litres:.1f} litres are "
                "not in this plan."
            )
        elif not plot.share.any():
            words.append(f"Zone {plot.id} is taken up by the brickwork beside it.")
    return tuple(words)


def _owner(plots: Sequence[Plot], shape: tuple[int, int]) -> Int:
    owner, most = np.zeros(shape, dtype=np.int64), np.zeros(shape)
    for plot in plots:
        more = plot.share > most
        owner[more], most[more] = plot.id, plot.share[more]
    return owner
