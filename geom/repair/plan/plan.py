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
(`geom.repair.plan.order`).

The plan of one zone, from what is its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geom.compare.findings import Findings
from geom.compare.nodes import Nodes, joint_sd, make_nodes, pull_beyond
from geom.compare.volume import positive
from geom.compare.zones import ALL_ROUND, columns_spanned
from geom.design import Design
from geom.parallel import on_one_thread_when_small
from geom.quantity import Quantity
from geom.repair.masonry.bonds import bonds_of
from geom.repair.masonry.bricks import bricks_of
from geom.repair.masonry.layup import LayUp
from geom.repair.plan.chipping import Chipping, openings_fouled, stop_at
from geom.repair.plan.daub import Daub, daub_for
from geom.repair.plan.order import need_by_rule, need_of, order_list, walls_drawn
from geom.repair.plan.partition import Marked, Plot, divide
from geom.repair.plan.result import Account, RepairPlan, ZonePlan
from geom.repair.wall import Wall
from geom.surface import RadialSurface
from geom.units import LITRE, Bool, Float, Int, say_both, say_length


def filled_with_daub(plot: Plot) -> bool:
    """Whether daub goes into a zone, with brick or by itself."""
    return plot.planned and plot.action != "chip"


def daub_pull(wall: Wall, nodes: Nodes, plot: Plot) -> Float:
    """What each node pulls at the daub of a zone, mm3; (4, q)."""
    patch = plot.share * wall.grid.patch
    return pull_beyond(nodes, patch, plot.laid.seat if plot.laid else 0.0)


def plan_zone(wall: Wall, nodes: Nodes, plot: Plot) -> ZonePlan:
    """Work one zone out.

    Parameters
    ----------
    wall : Wall
    nodes : Nodes
        For the joint uncertainty of its volumes.
    plot : Plot
        With a share of some cell.
    """
    grid, laid = wall.grid, plot.laid
    own = (plot.share > 0.0) & (grid.counted > 0.0)
    area = float(np.sum(plot.share * grid.face_area))
    low, high = _heights(wall, own, laid)
    first, last, all_round = columns_spanned(own)
    half = 180.0 / grid.azimuth.size
    return ZonePlan(
        id=plot.id,
        action=plot.action,
        azimuth_from=0.0 if all_round else float((grid.azimuth[first] - half) % 360.0),
        azimuth_to=ALL_ROUND
        if all_round
        else float((grid.azimuth[last] + half) % 360.0),
        height_from=low,
        height_to=high,
        area=area,
        rebuild=plot.rebuild(wall),
        buildup=wall.summed(plot.share, wall.proud),
        chip=_chip(wall, nodes, plot, own) if plot.action == "chip" else None,
        brickwork=laid,
        cut=None if laid is None else _cut(wall, nodes, plot, laid),
        daub=_daub(wall, nodes, plot, own, area) if filled_with_daub(plot) else None,
        notes=tuple(_notes(wall, plot, own)),
        share=plot.share,
    )


def _heights(wall: Wall, own: Bool, laid: LayUp | None) -> tuple[float, float]:
    if laid is not None:
        return laid.courses[0].low, laid.courses[-1].high
    rows = np.flatnonzero(own.any(axis=1))
    return float(wall.grid.edge[rows[0]]), float(wall.grid.edge[rows[-1] + 1])


def _cut(wall: Wall, nodes: Nodes, plot: Plot, laid: LayUp) -> Quantity:
    patch = plot.share * wall.grid.patch
    pull = pull_beyond(nodes, patch, 0.0) - pull_beyond(nodes, patch, laid.seat)
    return positive(laid.cut, joint_sd(nodes, pull))


def _daub(wall: Wall, nodes: Nodes, plot: Plot, own: Bool, area: float) -> Daub:
    laid = plot.laid
    if laid is None:
        thickness = float(max(np.max(wall.cutback[own]), 0.0))
    else:
        thickness = max(laid.cover, laid.bed_most)
    return daub_for(
        positive(plot.daub(wall), joint_sd(nodes, daub_pull(wall, nodes, plot))),
        wall.design.shop.mix,
        thickness=thickness,
        face=area,
    )


def _chip(wall: Wall, nodes: Nodes, plot: Plot, own: Bool) -> Chipping:
    grid = wall.grid
    patch = nodes.gather(plot.share * grid.patch)
    height, radius = stop_at(wall.design, *_heights(wall, own, None))
    worst = np.argmin(np.where(own, wall.cutback, np.inf))
    thick = Quantity.normal(-wall.cutback.flat[worst], wall.sd.flat[worst])
    return Chipping(
        volume=positive(
            wall.summed(plot.share, wall.proud), nodes.sd_of_excess(patch, inward=True)
        ),
        thickness=thick.not_below(0.0),
        stop_height=height,
        stop_radius=radius,
        fouled=openings_fouled(grid, own, wall.design),
    )


def _notes(wall: Wall, plot: Plot, own: Bool) -> list[str]:
    """What the mason has to know beside the numbers."""
    grid, design, laid = wall.grid, wall.design, plot.laid
    unit = design.length_unit
    words = [f"No listed brick fits: {'; '.join(plot.why)}."] if plot.why else []
    deepest = float(max(np.max(wall.cutback[own]), 0.0))
    if plot.action == "daub" and deepest > design.shop.mix.layer_most:
        words.append(
            f"Daub goes on in layers of {say_length(design.shop.mix.layer_most, unit)} "
            "at most, each stiff before the next."
        )
    if plot.action == "chip":
        return words
    words += [
        f"It meets the {hole.kind} at {hole.azimuth:.0f} degrees: work round a former."
        for hole in openings_fouled(grid, own, design)
    ]
    if laid is None:
        return words
    low, high = laid.courses[0].low, laid.courses[-1].high
    words += [
        f"The profile steps at {say_both(float(step), unit)}: cut the bricks to it."
        for step in design.profile.steps
        if low < step < high
    ]
    if float(np.min(wall.cutback[own])) < -design.repair.tolerance:
        words.append("Chip off first what stands proud of the drawing there.")
    return words


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
        notes=_plan_notes(wall, plots),
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


def _plan_notes(wall: Wall, plots: Sequence[Plot]) -> tuple[str, ...]:
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
