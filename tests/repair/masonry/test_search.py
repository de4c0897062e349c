"""Where a piece may stand, next to what nothing may be laid into."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Shop
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import standard_bricks
from geom.repair.masonry.hollow import Hollow
from geom.repair.masonry.pieces import BrickPiece, pieces_of
from geom.repair.masonry.search import Stand, _least_room, _rows_of, _taps, stand
from geom.units import Bool, Float
from tests.walls import plain_design

DESIGN = plain_design(shop=Shop(bricks=standard_bricks("in")))
PIECES = pieces_of(DESIGN.shop.bricks)
HEIGHT = 300.0 + 10.0 * np.arange(40)
COLUMN, ROW = 30, 14


def never(reach: Float, piece: BrickPiece, stood: Stand) -> Bool:
    """Where it cannot stand in a hollow of some reach; (row, column)."""
    hollow = Hollow(HEIGHT, 40.0, 1.0, reach, reach, DESIGN)
    return _least_room(hollow, piece, stood, np.ones(HEIGHT.size, dtype=bool)) < 0.0


@pytest.mark.parametrize("number", range(len(PIECES)))
def test_no_piece_reaches_over_what_is_blocked_and_all_others_stand(
    number: int,
) -> None:
    piece = PIECES[number]
    open_, column, row = (np.full((40, 60), 600.0) for _ in range(3))
    column[:, COLUMN] = ASSUMED.blocked
    row[ROW] = ASSUMED.blocked
    stood = stand(HEIGHT, piece.up, DESIGN, 20.0)
    hollow = Hollow(HEIGHT, 40.0, 1.0, open_, open_, DESIGN)
    taps = _taps(hollow, piece, stood, np.ones(HEIGHT.size, dtype=bool))
    rows = _rows_of(hollow, stood)
    # a net is blocked past its ends
    whole = never(open_, piece, stood)
    assert not whole[: 40 - rows, taps : 60 - taps].any()
    assert whole[40 - rows :].all()
    there = np.flatnonzero(never(column, piece, stood)[5])
    inside = there[(there >= taps) & (there < 60 - taps)]
    assert inside.tolist() == list(range(COLUMN - taps, COLUMN + taps + 1))
    feet = np.flatnonzero(never(row, piece, stood)[: 40 - rows, COLUMN])
    assert feet.tolist() == list(range(max(0, ROW - rows), ROW + 1))
