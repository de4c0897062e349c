"""Gaps: wall between the lowest and the highest reading that no reading tells of."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.compare.extent import Extent, widest_run
from geom.document import OMITTED
from geom.surface import Grid
from geom.surface.grid import BRICK_FACE, components
from geom.units import Bool

#: A ring with a gap wider than this is not read round, degrees: a warning says so, and
#: no diameter is given of it.
WIDEST_GAP = 30.0


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
    return np.array([widest_run(row) <= WIDEST_GAP for row in unread])


def ring_read(grid: Grid, height: float) -> bool:
    """Whether the ring at a height between the readings is read round."""
    off = np.where(_between(grid), np.abs(grid.height - height), np.inf)
    return bool(read_round(grid)[int(np.argmin(off))])


def share_surveyed(grid: Grid) -> float:
    """Share of the wall between the lowest and the highest reading, 0 to 1."""
    whole = float(grid.whole_face[_between(grid)].sum())
    return float(grid.face_area.sum()) / whole if _unread(grid).any() else 1.0


def wide_gaps(gaps: tuple[Gap, ...]) -> tuple[Gap, ...]:
    """Those that go further round than `WIDEST_GAP`."""
    return tuple(gap for gap in gaps if gap.widest > WIDEST_GAP)


def _between(grid: Grid) -> Bool:
    rows = np.flatnonzero(grid.surveyed_rows)
    row = np.arange(grid.height.size)
    return np.asarray((row >= rows[0]) & (row <= rows[-1]))


def _unread(grid: Grid) -> Bool:
    return np.asarray(~grid.surveyed & ~grid.opening & _between(grid)[:, None])


def _widest(mask: Bool) -> float:
    return max(widest_run(row) for row in mask)
