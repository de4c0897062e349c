"""Blocks of points that tell several cells at once, and the errors these share.

Where a cell has too few points the block around it tells it, and all other such cells
of the block: its error does not average away over them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array

T = TypeVar("T", bound=np.generic)

#: Sides of blocks from which a cell is estimated, in cells; divisors of the columns.
STEPS = (1, 3, 6)


@dataclass(frozen=True)
class SharedErrors:
    """Errors that cells have in common because one block of points tells them all.

    Attributes
    ----------
    block : int array (p, m, k)
        Number of the block that tells a cell, in each of p set-ups; -1 where its own
        points do, or none.
    step : int array (p, m, k)
        Side of that block in cells; 1 where ``block`` is -1.
    share : array (p, m, k)
        What that set-up counts for in the cell; 0 where ``block`` is -1.
    sd : array (p, m, k), mm
        Standard uncertainty of the block's mean.
    """

    block: Int
    step: Int
    share: Float
    sd: Float

    @classmethod
    def none(cls, shape: tuple[int, int]) -> SharedErrors:
        """Of one set-up whose cells are all told by their own points."""
        field = np.zeros((1, *shape))
        block = np.full(field.shape, -1)
        return cls(block, np.ones(field.shape, dtype=np.int64), field, field)

    @classmethod
    def joined(cls, parts: Sequence[SharedErrors], share: Float) -> SharedErrors:
        """Those of several set-ups, one after the other; ``share`` is (p, m, k)."""
        first = np.cumsum([0, *(int(s.block.max(initial=-1)) + 1 for s in parts)])
        block = [
            np.where(s.block >= 0, s.block + start, -1)
            for s, start in zip(parts, first[:-1], strict=True)
        ]
        return cls(
            np.concatenate(block),
            np.concatenate([s.step for s in parts]),
            np.concatenate([s.share for s in parts]) * share,
            np.concatenate([s.sd for s in parts]),
        )

    def without(self, hidden: Bool) -> SharedErrors:
        """The same with some cells taken as not seen."""
        return replace(
            self,
            block=np.where(hidden, -1, self.block),
            step=np.where(hidden, 1, self.step),
            share=np.where(hidden, 0.0, self.share),
        )

    def variance(self) -> Float:
        """Of each cell, mm2; (m, k)."""
        return np.asarray(((self.share * self.sd) ** 2).sum(axis=0))

    def slopes(self, owner: Int, weight: Float, count: int) -> csr_array:
        """What each block's error, in standard deviations, adds to sums over cells.

        Parameters
        ----------
        owner : int array (m, k)
            Sum that a cell belongs to, -1 for none.
        weight : array (m, k)
            Of a cell in it.
        count : int
            Number of sums.

        Returns
        -------
        sparse array (count, blocks)
        """
        from scipy.sparse import csr_array

        held = (self.block >= 0) & (owner >= 0)
        each = np.nan_to_num(weight * self.share * self.sd)[held]
        to = np.broadcast_to(owner, held.shape)[held]
        size = count, int(self.block.max(initial=-1)) + 1
        return csr_array((each, (to, self.block[held])), shape=size)

    def unevenness(self, field: Float) -> Float:
        """How far a field lies off its mean over the block that tells a cell; (m, k).

        Nothing where a cell's own points tell it.
        """
        off = np.zeros(field.shape)
        for side in STEPS[1:]:
            inside = field - to_cells(_over_blocks(field, side), side, field.shape)
            part = np.where(self.step == side, self.share, 0.0).sum(axis=0)
            off += np.where(part > 0.0, part * inside, 0.0)
        return np.nan_to_num(off)


def _over_blocks(field: Float, side: int) -> Float:
    """Means of the known cells of blocks; NaN where none is known."""
    rows, columns = field.shape
    padded = np.pad(field, ((0, -rows % side), (0, 0)), constant_values=np.nan)
    # axes: row of blocks, row in it, column of blocks, column in it
    blocks = padded.reshape(-1, side, columns // side, side)
    known = np.isfinite(blocks).sum(axis=(1, 3))
    total = np.nansum(blocks, axis=(1, 3))
    return np.where(known > 0, total / np.maximum(known, 1), np.nan)


def to_cells(field: NDArray[T], step: int, shape: tuple[int, int]) -> NDArray[T]:
    """A field of blocks told for each of their cells."""
    rows, columns = shape
    tall = np.repeat(field, step, axis=0)[:rows]
    return np.repeat(tall, step, axis=1)[:, :columns]
