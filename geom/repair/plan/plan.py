"""From findings to a plan: what comes off, what is cut, what goes in.

What each volume of the account is, all as expected under the uncertainty of the wall:

rebuild, build-up
    between the drawn face and the wall, over all the surveyed wall less its openings,
    as in the findings.
share
    part of a cell that is a zone's own.  Courses of brick take theirs first, whatever
    zone it was in; brick zones that meet are clipped in the order of the findings;
    every other zone keeps the rest of its cells.  No cell is handed out twice.
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
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from geom.compare.extent import Extent
from geom.compare.findings import Findings, Volume
from geom.compare.nodes import Nodes, make_nodes
from geom.compare.volume import gamma_quantity
from geom.design import Design
from geom.parallel import on_one_thread
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.repair.audit.sand_bottom import sand_bottom
from geom.repair.masonry.bricks import bricks_of
from geom.repair.masonry.layup import LayUp
from geom.repair.masonry.pieces import pieces_of
from geom.repair.plan.chipping import Chipping, openings_fouled, stop_at
from geom.repair.plan.daub import Daub, daub_for, layers
from geom.repair.plan.openings import (
    bricks_for,
    opening_demands,
    opening_works,
)
from geom.repair.plan.order import (
    Packing,
    chosen_errors,
    demand_of,
    order_list,
    posterior_walls,
    quick_demand,
)
from geom.repair.plan.partition import ZoneMask, ZoneShare, partition
from geom.repair.plan.result import (
    Account,
    BackFill,
    ChipFirst,
    LayerLimit,
    NoBrickFits,
    NotPlanned,
    OpeningMet,
    RepairPlan,
    StepMet,
    ZoneNote,
    ZonePlan,
)
from geom.repair.wall import Wall
from geom.surface import RadialSurface
from geom.units import Bool, Float, Int

#: Standard deviations of cut and daub below this are none, mm3.
_LEAST_SD = 1e-3


def daub_pull(wall: Wall, nodes: Nodes, zone: ZoneShare) -> Float:
    """What each node pulls at the daub of a zone, mm3; (4, q)."""
    patch = wall.grid.patch
    if zone.layup is None:
        return nodes.hermite(nodes.gather(zone.share * patch))
    bricked = np.minimum(zone.layup.covered, zone.share)
    bare = nodes.hermite(nodes.gather((zone.share - bricked) * patch))
    return bare + _behind(wall, nodes, zone.layup)


def _behind(wall: Wall, nodes: Nodes, layup: LayUp) -> Float:
    """What each node pulls at the volume behind brick, mm3; (4, q)."""
    patch = nodes.gather(layup.covered * wall.grid.patch)
    deep = nodes.gather(layup.covered * wall.grid.patch * layup.seat)
    depth = np.divide(deep, patch, out=np.zeros_like(patch), where=patch > 0.0)
    return nodes.hermite(patch, depth=depth)


def plan_zone(wall: Wall, nodes: Nodes, zone: ZoneShare) -> ZonePlan:
    """Work one zone out.

    Parameters
    ----------
    nodes : Nodes
        For the joint uncertainty of its volumes.
    zone : ZoneShare
        With a share of some cell.
    """
    grid, layup = wall.grid, zone.layup
    own = (zone.share > 0.0) & (grid.counted > 0.0)
    area = float(np.sum(zone.share * grid.face_area))
    return ZonePlan(
        id=zone.id,
        action=zone.action,
        **vars(Extent.of(own, grid)),
        area=area,
        deepest=float(max(np.max(wall.cutback[own], initial=0.0), 0.0)),
        rebuild=zone.rebuild(wall),
        buildup=wall.summed(zone.share, wall.proud),
        chip=_chip(wall, nodes, zone, own) if zone.action == "chip" else None,
        brickwork=layup,
        cut=None if layup is None else _cut(wall, nodes, layup),
        daub=_daub(wall, nodes, zone, own, area) if zone.filled else None,
        notes=tuple(_notes(wall, zone, own)),
        share=zone.share,
    )


def _cut(wall: Wall, nodes: Nodes, layup: LayUp) -> Quantity:
    patch = nodes.gather(layup.covered * wall.grid.patch)
    pull = nodes.hermite(patch) - _behind(wall, nodes, layup)
    return gamma_quantity(layup.cut, nodes.sd_of(pull, least=_LEAST_SD))


def _daub(wall: Wall, nodes: Nodes, zone: ZoneShare, own: Bool, area: float) -> Daub:
    layup = zone.layup
    if layup is None:
        thickness = float(max(np.max(wall.cutback[own]), 0.0))
    else:
        thickness = layup.thickest
    sd = nodes.sd_of(daub_pull(wall, nodes, zone), least=_LEAST_SD)
    return daub_for(
        gamma_quantity(zone.daub(wall), sd),
        wall.design.shop.mix,
        thickness=thickness,
        face=area,
    )


def _chip(wall: Wall, nodes: Nodes, zone: ZoneShare, own: Bool) -> Chipping:
    grid = wall.grid
    patch = nodes.gather(zone.share * grid.patch)
    extent = Extent.of(own, grid)
    low, high = extent.height_from, extent.height_to
    height, radius = stop_at(wall.design, low, high)
    worst = np.argmin(np.where(own, wall.cutback, np.inf))
    thick = Quantity.normal(-wall.cutback.flat[worst], wall.sd.flat[worst])
    return Chipping(
        volume=gamma_quantity(
            wall.summed(zone.share, wall.proud),
            nodes.sd_of_excess(patch, inward=True),
        ),
        thickness=thick.not_below(0.0),
        stop_height=height,
        stop_radius=radius,
        fouled=openings_fouled(grid, own, wall.design),
    )


def _notes(wall: Wall, zone: ZoneShare, own: Bool) -> Iterator[ZoneNote]:
    """What the mason has to know next to the numbers."""
    design, layup = wall.design, zone.layup
    if zone.action == "brick" and layup is None:
        deepest = float(np.max(wall.cutback[own]))
        yield NoBrickFits(layers(deepest, design.shop.mix))
    layer_most = design.shop.mix.layer_most
    if layup is None and np.max(wall.cutback[own]) > layer_most:
        yield LayerLimit(layer_most)
    if zone.action in {"chip", "measure again"}:
        return
    for hole in openings_fouled(wall.grid, own, design):
        yield OpeningMet(hole.kind, hole.azimuth)
    if layup is None:
        return
    if layup.bed_thickest > design.shop.brickwork.bed_most:
        yield BackFill(layup.bed_thickest)
    extent = Extent.of(own, wall.grid)
    low, high = extent.height_from, extent.height_to
    for step in design.profile.steps:
        if low < step < high:
            yield StepMet(float(step))
    if float(np.min(wall.cutback[own])) < -design.repair.tolerance:
        yield ChipFirst()


_ORDER_OF_WORK = ("chip", "brick", "daub")


def _in_order_of_work(zone: ZonePlan) -> tuple[int, float, int]:
    """Chip top down, for what falls; brick and daub bottom up."""
    height = -zone.height_to if zone.action == "chip" else zone.height_from
    return _ORDER_OF_WORK.index(zone.work), height, zone.id


@on_one_thread
def plan_repair(
    surface: RadialSurface,
    findings: Findings,
    design: Design,
    *,
    draws: int = ASSUMED.plan_draws,
    seed: int = 0,
) -> RepairPlan:
    """Plan the repair of a wall.

    Parameters
    ----------
    findings : Findings
        Of that surface.
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
    pieces = pieces_of(bricks)
    marked = [
        ZoneMask(zone.id, zone.action, findings.maps.zone == zone.id)
        for zone in findings.zones
    ]
    with ThreadPoolExecutor(1) as thread:  # what draws take is in libraries: no lock
        errors = thread.submit(chosen_errors, wall, nodes, draws, seed=seed)
        shares = partition(wall, marked, pieces)
        zones = [plan_zone(wall, nodes, zone) for zone in shares if zone.share.any()]
        packing = Packing.of(wall, shares, pieces)
    walls = posterior_walls(surface, nodes, errors.result())
    openings = opening_works(design)
    bottom = sand_bottom(design, surface=surface)
    sand = None if bottom is None else bottom.sand
    besides, *drawn = opening_demands(openings, sand, draws, seed=seed)
    demands = [
        quick_demand(likely, packing).plus(more)
        for likely, more in zip(walls, drawn, strict=True)
    ]
    worked = [zone for zone in zones if zone.action in _ORDER_OF_WORK]
    return RepairPlan(
        lining=findings.lining,
        title=findings.title,
        zones=tuple(sorted(worked, key=_in_order_of_work)),
        daub=_all_daub(wall, nodes, shares, zones),
        openings=openings,
        order=order_list(
            demand_of(wall, shares).plus(besides),
            demands,
            bricks,
            design.shop,
            besides=bricks_for(openings, breakage=design.shop.brickwork.breakage),
        ),
        confidence=design.shop.confidence,
        account=_account(wall, shares, findings.volume),
        notes=tuple(_not_planned(wall, shares)),
        owner=_owner(shares, surface.grid.shape),
    )


def _all_daub(
    wall: Wall, nodes: Nodes, shares: Sequence[ZoneShare], zones: Sequence[ZonePlan]
) -> Daub:
    """The daub of all zones together, their errors hanging together."""
    filled = [zone for zone in shares if zone.filled]
    pull = sum((daub_pull(wall, nodes, zone) for zone in filled), np.zeros((4, 1)))
    parts = [zone.daub for zone in zones if zone.daub is not None]
    volume = sum(zone.daub(wall) for zone in filled)
    return daub_for(
        gamma_quantity(volume, nodes.sd_of(pull, least=_LEAST_SD)),
        wall.design.shop.mix,
        thickness=max((part.thickness for part in parts), default=0.0),
        face=sum(part.wash_area for part in parts),
    )


def _account(wall: Wall, shares: Sequence[ZoneShare], volume: Volume) -> Account:
    """What becomes of every volume that the findings state.

    What is called for is summed over the zones; what is left is the rest of the
    findings' rebuild and build-up, whose draws take doubt on either side of the drawing
    for less than the process itself does.
    """
    gone, proud = wall.gone, wall.proud
    everywhere = np.ones(wall.grid.shape)
    filled = [zone for zone in shares if zone.filled]
    cleared = [zone for zone in shares if zone.action == "chip" or zone.layup]
    layups = [zone.layup for zone in shares if zone.layup is not None]
    to_fill = wall.summed(everywhere - _rest(everywhere, filled), gone)
    to_clear = wall.summed(everywhere - _rest(everywhere, cleared), proud)
    left = max(volume.rebuild.value - to_fill, 0.0)
    standing = max(volume.buildup.value - to_clear, 0.0)
    return Account(
        rebuild=to_fill + left,
        buildup=to_clear + standing,
        left=left,
        proud=standing,
        chip=sum(wall.summed(zone.share, proud) for zone in cleared),
        cut=sum(layup.cut for layup in layups),
        before=sum(layup.before for layup in layups),
        bricks=sum(layup.volume for layup in layups),
        joints=sum(layup.joints for layup in layups),
        daub=sum(zone.daub(wall) for zone in filled),
    )


def _rest(everywhere: Float, shares: Sequence[ZoneShare]) -> Float:
    return np.asarray(everywhere - sum(zone.share for zone in shares))


def _not_planned(wall: Wall, zones: Sequence[ZoneShare]) -> Iterator[NotPlanned]:
    """Zones that the plan leaves."""
    for zone in zones:
        if zone.action == "measure again":
            yield NotPlanned(zone.id, "measure again", zone.rebuild(wall))
        elif not zone.share.any():
            yield NotPlanned(zone.id, "taken up", zone.rebuild(wall))


def _owner(shares: Sequence[ZoneShare], shape: tuple[int, int]) -> Int:
    owner, most = np.zeros(shape, dtype=np.int64), np.zeros(shape)
    for zone in shares:
        more = zone.share > most
        owner[more], most[more] = zone.id, zone.share[more]
    return owner
