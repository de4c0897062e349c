"""The pieces of wall that a step is looked for in, as shapes on the table of panels.

All round: the whole wall, its zones, and bands of one to three rows of panels.  To one
side: the whole height and the zones, over one to six neighbouring sides.  In the whole
wall and its zones, all round, a step may be even, so many mm more everywhere, or in
proportion to what each row wears.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.panels import HOURS
from geom.frame import wrap
from geom.record.pieces import Kind, Piece, Pieces
from geom.record.waves import WAVES
from geom.units import Bool, Float, Int

#: Rows of a band and sides of a span, at most.
_BAND, _SPAN = 3, 6
#: Share of a zone's rows that must be told.
_ENOUGH = 0.8
#: Pieces that a step may be in to one side only, or in proportion to wear.
_LARGE: tuple[Kind, ...] = ("wall", "zone")


@dataclass(frozen=True)
class TrialPieces:
    """Shapes of a step that is 1 mm high on average; those all round come first.

    Attributes
    ----------
    pieces : tuple of Piece, h
        What each shape is a step of.  One that is even and one in proportion to wear
        are two shapes of one piece.
    round : array (a, rows)
        Heights of the step row by row, for the shapes all round.
    tall : array (t, rows), 0 or 1
        Rows of the shapes to one side.
    sides : array (u, HOURS), 0 or 1
        Sides of each span; every one is tried with every ``tall``, h = a + t * u.
    """

    pieces: tuple[Piece, ...]
    round: Float
    tall: Float
    sides: Float

    @cached_property
    def spans(self) -> Float:
        """The spans in waves; shape (u, waves)."""
        return self.sides @ WAVES

    def on_panels(self, shape: int) -> Float:
        """Height of the step on every panel; shape (rows, HOURS)."""
        if shape < len(self.round):
            return np.repeat(self.round[shape][:, None], HOURS, axis=1)
        tall, span = divmod(shape - len(self.round), len(self.sides))
        return np.asarray(self.tall[tall][:, None] * self.sides[span][None, :])


def trial_pieces(pieces: Pieces, rows: Int, usual: Float) -> TrialPieces:
    """Shapes to try on some rows of panels.

    Parameters
    ----------
    pieces : Pieces
    rows : int array (r,)
        Which rows of panels are told.
    usual : array (r,), mm per heat
        What each of them wears.
    """
    levels = [pieces.pieces[i] for i in pieces.of_kind("level")]
    kept = [levels[row] for row in rows]
    large = [pieces.pieces[i] for kind in _LARGE for i in pieces.of_kind(kind)]
    large = [one for one in large if _held(one, levels, kept)]
    named = [(one, _within(one, kept)) for one in large]
    taken = {tuple(inside) for _, inside in named}
    bands = [band for band in _bands(rows, kept) if tuple(band[1]) not in taken]
    uneven = [(one, _in_proportion(inside, usual)) for one, inside in named]
    shapes = [*named, *uneven, *bands]
    sides, reach = _spans()
    return TrialPieces(
        pieces=(
            *(one for one, _ in shapes),
            *(_sided(one, *ends) for one, _ in named for ends in reach),
        ),
        round=np.array([height for _, height in shapes], dtype=np.float64),
        tall=np.array([inside for _, inside in named], dtype=np.float64),
        sides=sides,
    )


def _held(one: Piece, levels: list[Piece], kept: list[Piece]) -> bool:
    """Whether enough of it is told; of the whole wall, whatever is."""
    told = _within(one, kept).sum()
    return bool(
        told and (one.kind == "wall" or told >= _ENOUGH * _within(one, levels).sum())
    )


def _within(one: Piece, levels: list[Piece]) -> Bool:
    """Which rows lie in a piece."""
    middle = np.array([0.5 * (row.height_from + row.height_to) for row in levels])
    return np.asarray((middle > one.height_from) & (middle < one.height_to))


def _in_proportion(inside: Bool, usual: Float) -> Float:
    """As the rows wear, 1 on average over those inside; even where none wears."""
    like = np.maximum(usual, 0.0) * inside
    total = float(like.sum())
    return like * inside.sum() / total if total > 0.0 else inside.astype(np.float64)


def _bands(rows: Int, kept: list[Piece]) -> list[tuple[Piece, Bool]]:
    """Neighbouring rows together."""
    found = []
    for many in range(1, _BAND + 1):
        for first in range(len(kept) - many + 1):
            last = first + many - 1
            if rows[last] - rows[first] == many - 1:
                low, high = kept[first].height_from, kept[last].height_to
                inside = np.zeros(len(kept), dtype=np.bool_)
                inside[first : last + 1] = True
                found.append((Piece("level", "", low, high, 0.0, 360.0), inside))
    return found


def _spans() -> tuple[Float, list[tuple[float, float]]]:
    """Neighbouring sides together, and where each span begins and ends."""
    wide = 360.0 / HOURS
    sides, reach = [], []
    for many in range(1, _SPAN + 1):
        for first in range(HOURS):
            row = np.zeros(HOURS)
            row[np.arange(first, first + many) % HOURS] = 1.0
            sides.append(row)
            start = float(wrap(first * wide - 0.5 * wide))
            end = float(wrap((first + many - 1) * wide + 0.5 * wide))
            reach.append((start, end))
    return np.array(sides), reach


def _sided(one: Piece, start: float, end: float) -> Piece:
    kind: Kind = "side" if one.kind == "wall" else "panel"
    return Piece(kind, "", one.height_from, one.height_to, start, end)
