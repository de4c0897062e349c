"""Survey error of a mean rate that comes back in every heat.

The same stations read a wall that wears much the same every heat, so part of what a
survey errs by beside and between its readings is the same every time.  It cancels in
what changes, and stays in any mean, however many heats that is of.
"""

from __future__ import annotations

import numpy as np

from geom.record.pieces import ALL_ROUND, Piece, Pieces
from geom.record.scatter import SHARE
from geom.units import Bool, Float


def comes_back(piece: Piece, pieces: Pieces, worn: Float) -> float:
    """Variance of the mean wear of a piece in a heat that no heats average out, mm2.

    Parameters
    ----------
    piece : Piece
        One of the record's, or neighbouring ones together.
    pieces : Pieces
    worn : array (n, s), mm2
        Stated variance of every piece in every spell, of the survey of the worn wall
        alone: a wall put back is much the same everywhere, and little of what its
        survey misses comes back.  NaN where not surveyed.
    """
    known = np.isfinite(worn)
    total = np.where(known, worn, 0.0).sum(axis=0)
    usual = np.where(
        known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan
    )
    if piece in pieces.pieces:
        own = float(usual[pieces.pieces.index(piece)])
        if np.isfinite(own):
            return SHARE * own
    return SHARE * _at_most(piece, pieces, usual)


def _at_most(piece: Piece, pieces: Pieces, usual: Float) -> float:
    """Stated variance of neighbouring pieces together, bounded from that of each.

    To what the ring of their rows errs by comes what sides err by beside that, which
    hangs together up the wall as rings do.
    """
    levels = list(pieces.of_kind("level"))
    middle = [_middle(pieces.pieces[i]) for i in levels]
    rows = [
        level
        for level, height in zip(levels, middle, strict=True)
        if piece.height_from < height < piece.height_to
    ]
    inside = pieces.member[rows].sum(axis=0) > 0.0
    single = _mean(usual[rows])
    ring = _of_ring(pieces, usual, inside)
    together = ring if np.isfinite(ring) else single
    if piece.kind in ALL_ROUND:
        return together
    panels = np.array(pieces.of_kind("panel"))[inside]
    beside = max(_mean(usual[panels]) - single, 0.0)
    alike = min(together / single, 1.0) if single > 0.0 else 1.0
    return together + alike * beside


def _middle(piece: Piece) -> float:
    return 0.5 * (piece.height_from + piece.height_to)


def _of_ring(pieces: Pieces, usual: Float, inside: Bool) -> float:
    """Of the piece all round that is just those panels; NaN where none is told."""
    for kind in ALL_ROUND:
        for i in pieces.of_kind(kind):
            if np.array_equal(pieces.member[i] > 0.0, inside):
                return float(usual[i])
    return float("nan")


def _mean(values: Float) -> float:
    """Of what is known; 0 where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0
