"""Pictures of a record's wear."""

from __future__ import annotations

from collections.abc import Sequence

from geom.design import Design
from geom.record.common_grid import record_grid
from geom.record.deepest_found import Depth
from geom.record.pieces import Piece, Pieces
from geom.record.steps import Step
from geom.record.wear import Wear
from geom.views.wear_bars import Bars, level_bars_png, side_bars_png
from geom.views.wear_map import WearMap, doubt_png, wear_map_png, wear_png
from geom.views.wear_times import Mark, depth_times_png, zone_times_png
from geom.views.words import plain

#: Share of the lower of two pieces that must lie beside the other.
_BESIDE = 0.5


def wear_pictures(
    wear: Wear, design: Design, depths: Sequence[Depth]
) -> dict[str, bytes]:
    """All pictures of the page, as PNG, by name.

    Parameters
    ----------
    wear : Wear
    design : Design
    depths : sequence of Depth
        As each heat left the wall; may be empty.
    """
    told, pieces = wear_map_of(wear, design), wear.pieces
    long = wear.rates["heat"].long
    bars = [Bars("", long)]
    marks = [mark for step in wear.steps for mark in marks_of(step, pieces)]
    made = {
        "wear": wear_png(told),
        "doubt": doubt_png(told),
        "levels": level_bars_png(design, pieces, bars, per="heat"),
        "sides": side_bars_png(design, pieces, bars, per="heat"),
        "zones": zone_times_png(design, wear.series, long, marks),
    }
    if depths:
        made["depths"] = depth_times_png(design, depths)
    return made


def still_png(wear: Wear, design: Design) -> bytes:
    """wear-map.png: wear and how well it is known, to hand on by itself."""
    first, last = wear.spells[0].start.heat + 1, wear.spells[-1].end.heat
    title = f"{plain(wear.title, most=70)}: heats {first} to {last}"
    return wear_map_png(wear_map_of(wear, design), title=title)


def wear_map_of(wear: Wear, design: Design) -> WearMap:
    """Mean wear per heat of the whole wall."""
    found = wear.maps.per_heat
    return WearMap(design, record_grid(design), found.rate, found.sd, "heat")


def marks_of(step: Step, pieces: Pieces) -> list[Mark]:
    """The zones that a step lies in."""
    shown = pieces.of_kind("zone") or pieces.of_kind("wall")
    heat = step.first.start.heat + 1
    return [Mark(i, heat) for i in shown if _beside(step.piece, pieces.pieces[i])]


def _beside(one: Piece, other: Piece) -> bool:
    """Whether two pieces lie at much the same heights."""
    shared = min(one.height_to, other.height_to) - max(
        one.height_from, other.height_from
    )
    lower = min(p.height_to - p.height_from for p in (one, other))
    return shared >= _BESIDE * lower
