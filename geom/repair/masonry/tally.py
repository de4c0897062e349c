"""Bricks counted as they are ordered: whole ones, halves, what breaks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from geom.document import OMITTED
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.masonry.rings import EXACT


@dataclass(frozen=True)
class BrickCount:
    """How many of one brick.

    Attributes
    ----------
    name : str
        As it is ordered.
    whole : int
        Laid as they are.
    pieces : int
        Halves.
    for_pieces : int
        Bricks that the halves are cut from, two of each.
    breakage : int
        On top.
    each : float, mm3
        Volume of one.
    """

    name: str
    whole: int
    pieces: int
    for_pieces: int
    breakage: int
    each: float = field(metadata=OMITTED)

    @property
    def needed(self) -> int:
        """Whole and for cutting, with breakage."""
        return self.whole + self.for_pieces + self.breakage


def count_pieces(
    pieces: Iterable[BrickPiece], breakage: float
) -> tuple[BrickCount, ...]:
    """Count pieces brick by brick, in the order of their names.

    Parameters
    ----------
    pieces : iterable of BrickPiece
    breakage : float
        Share on top; rounded up for each brick.

    Examples
    --------
    >>> half = BrickPiece("split", 0.5, 100.0, 100.0, 100.0, 30.0)
    >>> count_pieces([half] * 3, 0.05)[0].needed
    3
    """
    counts: Counter[BrickPiece] = Counter(pieces)
    found = []
    for name in sorted({piece.name for piece in counts}):
        own = {piece: n for piece, n in counts.items() if piece.name == name}
        whole = sum(n for piece, n in own.items() if piece.whole)
        halves = sum(own.values()) - whole
        taken = whole + -(-halves // 2)
        one = next(iter(own))
        found.append(
            BrickCount(
                name=name,
                whole=whole,
                pieces=halves,
                for_pieces=-(-halves // 2),
                breakage=int(np.ceil(breakage * taken - EXACT)),
                each=one.volume / one.part,
            )
        )
    return tuple(found)
