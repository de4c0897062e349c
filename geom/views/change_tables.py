"""What the page of a change says in boxes and rows: text, the shop's unit first."""

from __future__ import annotations

from dataclasses import dataclass

from geom.design import Design
from geom.frame import clock_face
from geom.record.changed import Change, PieceChange
from geom.record.pieces import Piece
from geom.units import say_both
from geom.views.change_words import (
    FINEST,
    capital,
    net_volume,
    say_mean,
    say_mean_ends,
    told_by,
)
from geom.views.words import (
    say_area,
    say_clock,
    say_from,
    say_heights,
    say_span,
    say_volume,
    say_volume_interval,
)


@dataclass(frozen=True)
class PieceRow:
    """One piece of wall as it is told; text throughout."""

    name: str
    small: str
    call: str
    mean: str
    mean_interval: str
    lost: str
    lost_interval: str
    restored: str
    restored_interval: str


def facts(change: Change, design: Design) -> list[tuple[str, str, str]]:
    """Name, value, and interval or remark."""
    volume, unit = change.volume, design.length_unit
    net, side = net_volume(change)
    rows = [
        (
            name,
            say_volume(part.value, design),
            f"95 %: {say_volume_interval(part, design)}",
        )
        for name, part in (
            (f"{capital(side)} on balance", net),
            ("Lost in all", volume.lost),
            ("Put back in all", volume.restored),
        )
    ]
    for name, spot in (
        ("Greatest loss shown", change.greatest_loss),
        ("Most put back, shown", change.greatest_gain),
    ):
        if spot is not None:
            size = say_both(abs(spot.change.value), unit, finest=FINEST)
            clock = clock_face(spot.azimuth, design.azimuth_sense)
            rows.append((name, size, f"{clock}, {say_from(spot.height, design)}"))
    low, high = change.grid.surveyed_heights
    least = say_both(change.detection, unit, finest=FINEST)
    return [
        *rows,
        ("Told from", least, "at any one place, 95 % sure"),
        (
            "Compared wall",
            say_area(change.areas.compared, design),
            f"from {say_heights(low, high, design)}",
        ),
    ]


def piece_rows(pieces: tuple[PieceChange, ...], design: Design) -> list[PieceRow]:
    """Pieces of wall as rows of a table; levels and zones with the highest first."""
    if pieces and pieces[0].piece.kind != "side":
        pieces = pieces[::-1]
    return [_row(one, design) for one in pieces]


def _row(one: PieceChange, design: Design) -> PieceRow:
    name, small = _place(one.piece, design)
    lost, restored = one.volume.lost, one.volume.restored
    mean = say_mean(one.mean.value, design)
    return PieceRow(
        name=name,
        small=small,
        call=told_by(one.mean),
        mean=mean if mean.startswith(("-", "0")) else f"+{mean}",
        mean_interval=say_mean_ends(one.mean, design),
        lost=say_volume(lost.value, design),
        lost_interval=say_volume_interval(lost, design),
        restored=say_volume(restored.value, design),
        restored_interval=say_volume_interval(restored, design),
    )


def _place(piece: Piece, design: Design) -> tuple[str, str]:
    heights = say_span(piece.height_from, piece.height_to, design)
    if piece.name:
        return capital(piece.name), heights
    if piece.kind == "side":
        middle = piece.azimuth_from + 0.5 * (
            (piece.azimuth_to - piece.azimuth_from) % 360.0
        )
        clock = capital(say_clock(piece, design))
        return clock_face(middle, design.azimuth_sense), clock
    low, high = piece.height_from, piece.height_to
    return heights, f"{low:.0f} to {high:.0f} mm"
