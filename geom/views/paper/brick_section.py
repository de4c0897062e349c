"""A level section through brickwork, seen from above: cover, brick and what is left.

Drawn as it is looked at from inside: the bore below, the shell above.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.frame import turn, wrap
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.plan.result import ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import Float
from geom.views.paper.brick_drawing import (
    DAUB,
    Kind,
    brick_shapes,
    kinds_of,
    scale_bar,
)
from geom.views.paper.style import BOLD
from geom.views.say import span

if TYPE_CHECKING:
    from reportlab.graphics.shapes import Drawing

#: Never taller than this, points, and never more of the ring than this, degrees.
_TALL, _MOST = 190.0, 110.0
#: Kept free below, points, and behind the wall where no shell is drawn, mm.
_BELOW, _BEHIND = 20.0, 100.0
_LINING = 0.68
#: Bore kept free before the drawn face, for labels, points.
_BORE = 20.0
_TYPE = 12.0


@dataclass(frozen=True)
class _Frame:
    """Where the wall is on paper: azimuths about a middle one, the axis below."""

    middle: float
    reach: float
    way: float
    scale: float
    x0: float
    y0: float

    def points(self, azimuth: Float, radius: Float) -> Float:
        """Points of the wall on paper, (n, 2)."""
        off = self.way * np.deg2rad(turn(self.middle, azimuth))
        across, up = radius * np.sin(off), radius * np.cos(off)
        return np.stack([self.x0 + self.scale * across, self.y0 + self.scale * up], 1)


def busiest_height(bricks: Sequence[PlacedBrick]) -> float:
    """The height at which most bricks are met, mm: the lowest such, mid-way up."""
    ends = sorted({b.foot for b in bricks} | {b.top for b in bricks})
    middles = [0.5 * (low + high) for low, high in itertools.pairwise(ends)]
    return max(middles, key=lambda at: sum(b.foot < at < b.top for b in bricks))


def level_section(
    zone: ZonePlan, surface: RadialSurface, *, height: float, width: float
) -> Drawing | None:
    """The wall of a zone cut at a height; None without brickwork.

    Parameters
    ----------
    height : float, mm
    width : float, points
    """
    from reportlab.graphics.shapes import Drawing, Polygon, PolyLine
    from reportlab.lib import colors

    if zone.brickwork is None:
        return None
    row = int(
        np.clip(
            np.searchsorted(surface.grid.edge, height) - 1, 0, surface.height.size - 1
        )
    )
    bricks = [b for b in zone.brickwork.bricks if b.foot < height < b.top]
    wall = _Wall.of(zone, bricks, surface, row)
    frame, tall = _frame(wall, surface, width)
    made = Drawing(width, tall)
    for inner, outer, grey in (
        (wall.gone, wall.back, _LINING),
        (wall.drawn, wall.gone, DAUB),
    ):
        ring = np.concatenate(
            [frame.points(wall.azimuth, inner), frame.points(wall.azimuth, outer)[::-1]]
        )
        made.add(
            Polygon(
                ring.ravel().tolist(),
                fillColor=colors.Color(grey, grey, grey),
                strokeColor=None,
                strokeWidth=0,
            )
        )
    kinds = kinds_of(zone.brickwork.bricks)
    for brick in bricks:
        if abs(float(turn(wall.middle, brick.azimuth))) > 0.5 * wall.reach:
            continue
        for part in _brick(brick, kinds[brick.piece], height, frame):
            made.add(part)
    lines = ((wall.drawn, 1.2, [5, 3]), (wall.gone, 1.2, None), (wall.back, 2.6, None))
    for radius, thick, dashes in lines:
        if radius is wall.back and surface.design.shell_radius is None:
            continue
        made.add(
            PolyLine(
                frame.points(wall.azimuth, radius).ravel().tolist(),
                strokeColor=colors.black,
                strokeWidth=thick,
                strokeDashArray=dashes,
            )
        )
    bar = scale_bar(surface.design, frame.scale, most=0.3 * width, right=width - 4.0)
    for part in bar:
        made.add(part)
    return made


@dataclass(frozen=True)
class _Wall:
    """One row of the wall over a zone; radii in mm, azimuths about ``middle``."""

    middle: float
    reach: float
    azimuth: Float
    drawn: Float
    gone: Float
    back: Float

    @classmethod
    def of(
        cls,
        zone: ZonePlan,
        bricks: Sequence[PlacedBrick],
        surface: RadialSurface,
        row: int,
    ) -> _Wall:
        reach = min(span(zone) + 10.0, _MOST)
        middle = float(wrap(zone.azimuth_from + 0.5 * span(zone)))
        if span(zone) > reach:
            middle = _densest([b.azimuth for b in bricks], reach)
        azimuth = middle + np.linspace(-0.5, 0.5, max(int(2 * reach), 2) + 1) * reach
        design = float(surface.grid.design_radius[row])
        around = surface.grid.azimuth
        measured = np.nan_to_num(surface.radius[row], nan=design)
        gone = np.interp(
            wrap(azimuth), np.append(around, 360.0), np.append(measured, measured[0])
        )
        shell = surface.design.shell_radius
        behind = np.max(gone) + _BEHIND if shell is None else shell
        return cls(
            middle=middle,
            reach=reach,
            azimuth=azimuth,
            drawn=np.full(azimuth.size, design),
            gone=np.maximum(gone, design),
            back=np.full(azimuth.size, behind),
        )


def _frame(wall: _Wall, surface: RadialSurface, width: float) -> tuple[_Frame, float]:
    """The largest scale at which the wall fits, and how tall the drawing is."""
    way = 1.0 if surface.design.azimuth_sense == "clockwise" else -1.0
    outer, inner = float(wall.back[0]), float(wall.drawn[0])
    half = np.deg2rad(0.5 * wall.reach)
    across, low = 2.0 * outer * float(np.sin(half)), inner * float(np.cos(half))
    scale = min((width - 8.0) / across, _TALL / (outer - low))
    frame = _Frame(
        middle=wall.middle,
        reach=wall.reach,
        way=way,
        scale=scale,
        x0=0.5 * width,
        y0=_BELOW + _BORE - scale * low,
    )
    return frame, _BELOW + _BORE + scale * (outer - low) + 3.0


def _densest(azimuths: Sequence[float], reach: float) -> float:
    """The middle of the stretch that holds most of some azimuths, degrees."""
    at = np.sort(wrap(np.array(azimuths)))
    held = [int(np.sum(wrap(at - first) <= reach)) for first in at]
    first = float(at[int(np.argmax(held))])
    last = float(np.max(wrap(at - first)[wrap(at - first) <= reach]))
    return float(wrap(first + 0.5 * last))


def _brick(
    brick: PlacedBrick, kind: Kind, height: float, frame: _Frame
) -> Iterator[Any]:
    """A brick cut level, and its label in the bore before it."""
    from reportlab.graphics.shapes import String

    azimuth, radius = brick.level_outline(height).T
    yield from brick_shapes(frame.points(azimuth, radius), brick, "")
    if brick.skin > 1:
        return
    before = radius.min() - 0.75 * _BORE / frame.scale
    ((x, y),) = frame.points(np.array([brick.azimuth]), np.array([before]))
    words = f"{brick.course + 1}{kind.letter}"
    yield String(
        float(x),
        float(y) - 0.36 * _TYPE,
        words,
        fontName=BOLD,
        fontSize=_TYPE,
        textAnchor="middle",
    )
