"""How far a piece of wall reaches, up and round, its outline, and gaps: wall unread.

A gap is wall between the lowest and the highest reading that no reading tells of.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from geom.compare.assumptions import ASSUMED
from geom.design import Design, Opening
from geom.document import OMITTED
from geom.shown import Shown
from geom.surface import Grid
from geom.surface.grid import BRICK_FACE, components
from geom.units import Bool

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

#: ``azimuth_to`` of what goes all round, ``azimuth_from`` being 0: the pinned range of
#: azimuth leaves out 360 itself.
ALL_ROUND = 359.999


@dataclass(frozen=True)
class Extent(Shown):
    """Between which azimuths and heights a piece of wall lies.

    Attributes
    ----------
    azimuth_from, azimuth_to : float, degrees
        ``azimuth_from`` > ``azimuth_to`` where it crosses azimuth 0; what goes all
        round has 0 and `ALL_ROUND`.
    height_from, height_to : float, mm
    """

    _units: ClassVar[str] = "mm, mm2, mm3, degrees"

    azimuth_from: float
    azimuth_to: float
    height_from: float
    height_to: float

    @classmethod
    def of(cls, mask: Bool, grid: Grid) -> Extent:
        """Of a connected piece of a grid: the edges of its outermost cells.

        Parameters
        ----------
        mask : bool array (m, k)
            With at least one cell.
        """
        first, last, all_round = columns_spanned(mask)
        rows = np.flatnonzero(mask.any(axis=1))
        half = 180.0 / grid.azimuth.size
        start = float((grid.azimuth[first] - half) % 360.0)
        end = float((grid.azimuth[last] + half) % 360.0)
        return Extent(
            azimuth_from=0.0 if all_round else start,
            azimuth_to=ALL_ROUND if all_round else end,
            height_from=float(grid.edge[rows[0]]),
            height_to=float(grid.edge[rows[-1] + 1]),
        )


def columns_spanned(mask: Bool) -> tuple[int, int, bool]:
    """First and last column of a piece, going round, and whether it goes all round.

    Examples
    --------
    >>> columns_spanned(np.array([[True, False, False, True]]))
    (3, 0, False)
    """
    held = np.flatnonzero(mask.any(axis=0))
    columns = mask.shape[1]
    if held.size == columns:
        return 0, columns - 1, True
    gap = np.diff(np.append(held, held[0] + columns))
    widest = int(np.argmax(gap))
    return int(held[(widest + 1) % held.size]), int(held[widest]), False


def widest_run(held: Bool) -> float:
    """How far round the longest run of held columns goes, degrees.

    Parameters
    ----------
    held : bool array (k,)
        Evenly round the ring.

    Examples
    --------
    >>> widest_run(np.array([True, False, True, True]))
    270.0
    """
    columns = held.size
    free = np.flatnonzero(~held)
    if not free.size:
        return 360.0
    apart = np.diff(np.append(free, free[0] + columns)) - 1
    return float(apart.max() * 360.0 / columns)


def outline(mask: Bool, grid: Grid) -> BaseGeometry:
    """Cells of a grid as one area of the unrolled wall, cut at azimuth 0.

    Parameters
    ----------
    mask : bool array (m, k)

    Returns
    -------
    Polygon or MultiPolygon
        x is azimuth from 0 to 360 degrees, y height in mm; empty for no cell.
    """
    from shapely import box, union_all

    half = 180.0 / grid.azimuth.size
    # Runs of cells along each row: +1 where one begins, -1 behind its end.
    ends = np.diff(np.pad(mask.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    (row, first), (_, behind) = np.nonzero(ends == 1), np.nonzero(ends == -1)
    start, end = 2.0 * half * first - half, 2.0 * half * behind - half
    runs = box(start, grid.edge[row], end, grid.edge[row + 1])
    return cut_at_seam(union_all(runs))


def opening_outline(hole: Opening, design: Design) -> BaseGeometry:
    """An opening as `outline` has zones."""
    from shapely import box

    wide, tall = hole.half_angle(design.radius_at_opening(hole)), 0.5 * hole.tall
    azimuth, height = hole.azimuth, hole.height
    return cut_at_seam(
        box(azimuth - wide, height - tall, azimuth + wide, height + tall)
    )


def cut_at_seam(area: BaseGeometry) -> BaseGeometry:
    """An area that may reach past azimuth 0 or 360, brought back between them."""
    from shapely import box, union_all
    from shapely.affinity import translate

    if area.is_empty:
        return area
    _, low, _, high = area.bounds
    once = box(0.0, low, 360.0, high)
    turns = (translate(area, turn) for turn in (-360.0, 0.0, 360.0))
    # Where it only touches the seam a line is left over: buffer(0) keeps areas alone.
    return union_all([turned.intersection(once) for turned in turns]).buffer(0.0)


@dataclass(frozen=True)
class Gap(Extent):
    """A piece of wall that was not read.

    Attributes
    ----------
    widest : float, degrees
        How far round it goes where it is widest.
    """

    widest: float = field(metadata=OMITTED)


def ring_gaps(grid: Grid) -> tuple[Gap, ...]:
    """The gaps of a survey, the largest first; less than a brick face is none."""
    gap = _unread(grid)
    face = grid.whole_face
    masks = [mask for mask in components(gap) if face[mask].sum() >= BRICK_FACE]
    masks.sort(key=lambda mask: -float(face[mask].sum()))
    return tuple(
        Gap(**vars(Extent.of(mask, grid)), widest=_widest(mask)) for mask in masks
    )


def read_round(grid: Grid) -> Bool:
    """Rows that are surveyed round the ring but for narrow gaps; (m,)."""
    unread = ~grid.surveyed & ~grid.opening
    return np.array([widest_run(row) <= ASSUMED.widest_gap for row in unread])


def ring_read(grid: Grid, height: float) -> bool:
    """Whether the ring at a height between the readings is read round."""
    off = np.where(_between(grid), np.abs(grid.height - height), np.inf)
    row = int(np.argmin(off))
    unread = ~grid.surveyed[row] & ~grid.opening[row]
    return widest_run(unread) <= ASSUMED.widest_gap


def share_surveyed(grid: Grid) -> float:
    """Share of the wall between the lowest and the highest reading, 0 to 1."""
    whole = float(grid.whole_face[_between(grid)].sum())
    return float(grid.face_area.sum()) / whole if _unread(grid).any() else 1.0


def wide_gaps(gaps: tuple[Gap, ...]) -> tuple[Gap, ...]:
    """Those that go further round than `widest_gap`."""
    return tuple(gap for gap in gaps if gap.widest > ASSUMED.widest_gap)


def _between(grid: Grid) -> Bool:
    rows = np.flatnonzero(grid.surveyed_rows)
    row = np.arange(grid.height.size)
    return np.asarray((row >= rows[0]) & (row <= rows[-1]))


def _unread(grid: Grid) -> Bool:
    return np.asarray(~grid.surveyed & ~grid.opening & _between(grid)[:, None])


def _widest(mask: Bool) -> float:
    return max(widest_run(row) for row in mask)
