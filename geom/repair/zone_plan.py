"""The plan of one zone, from what is its own."""

from __future__ import annotations

import numpy as np

from geom.compare.nodes import Nodes
from geom.compare.regions import columns_spanned
from geom.compare.volume import positive
from geom.compare.zones import ALL_ROUND
from geom.quantity import Quantity
from geom.repair.brickwork import LayUp
from geom.repair.chipping import Chipping, openings_fouled, stop_at
from geom.repair.daub import Daub, daub_for
from geom.repair.divide import Plot
from geom.repair.joint import joint_sd, pull_beyond
from geom.repair.planned import ZonePlan
from geom.repair.wall import Wall
from geom.units import Bool, Float, say_both, say_length


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
