"""Candidate regions of a change point, as shapes on the table of panels.

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
from geom.record.assumptions import ASSUMED
from geom.record.changepoints.table import BASIS
from geom.record.regions import Kind, Region, Regions
from geom.units import Bool, Float, Int

#: Pieces that a step may be in to one side only, or in proportion to wear.
_LARGE: tuple[Kind, ...] = ("wall", "zone")


@dataclass(frozen=True)
class CandidateRegions:
    """Shapes of a step that is 1 mm high on average; those all round come first.

    Attributes
    ----------
    regions : tuple of Region, h
        What each shape is a step of.  One that is even and one in proportion to wear
        are two shapes of one piece.
    rings : array (a, rows)
        Heights of the step row by row, for the shapes all round.
    sectors : array (t, rows), 0 or 1
        Rows of the shapes to one side.
    sides : array (u, HOURS), 0 or 1
        Sides of each span; every one is tried with every sector, h = a + t * u.
    """

    regions: tuple[Region, ...]
    rings: Float
    sectors: Float
    sides: Float

    @cached_property
    def spans(self) -> Float:
        """The spans in waves; shape (u, waves)."""
        return self.sides @ BASIS

    def on_panels(self, candidate: int) -> Float:
        """Height of the step on every panel; shape (rows, HOURS)."""
        if candidate < len(self.rings):
            return np.repeat(self.rings[candidate][:, None], HOURS, axis=1)
        tall, span = divmod(candidate - len(self.rings), len(self.sides))
        return np.asarray(self.sectors[tall][:, None] * self.sides[span][None, :])


def candidate_regions(regions: Regions, rows: Int, row_mean: Float) -> CandidateRegions:
    """Shapes to try on some rows of panels.

    Parameters
    ----------
    rows : int array (r,)
        Which rows of panels are surveyed.
    row_mean : array (r,), mm per heat
        What each of them wears.
    """
    levels = regions.named("level")
    kept = [levels[row] for row in rows]
    large = [r for r in regions.named(*_LARGE) if _held(r, levels, kept)]
    named = [(region, _within(region, kept)) for region in large]
    taken = {tuple(inside) for _, inside in named}
    bands = [band for band in _bands(rows, kept) if tuple(band[1]) not in taken]
    uneven = [(region, _in_proportion(inside, row_mean)) for region, inside in named]
    shapes = [*named, *uneven, *bands]
    sides, reach = _spans()
    return CandidateRegions(
        regions=(
            *(region for region, _ in shapes),
            *(_sided(region, *ends) for region, _ in named for ends in reach),
        ),
        rings=np.array([height for _, height in shapes], dtype=np.float64),
        sectors=np.array([inside for _, inside in named], dtype=np.float64),
        sides=sides,
    )


def _held(region: Region, levels: list[Region], kept: list[Region]) -> bool:
    """Whether enough of it is surveyed; of the whole wall, whatever is."""
    covered = _within(region, kept).sum()
    return bool(
        covered
        and (
            region.kind == "wall"
            or covered >= ASSUMED.zone_covered * _within(region, levels).sum()
        )
    )


def _within(region: Region, levels: list[Region]) -> Bool:
    """Which rows lie in a piece."""
    middle = np.array([row.mid_height for row in levels])
    return np.asarray((middle > region.height_from) & (middle < region.height_to))


def _in_proportion(inside: Bool, row_mean: Float) -> Float:
    """As the rows wear, 1 on average over those inside; even where none wears."""
    wear = np.maximum(row_mean, 0.0) * inside
    total = float(wear.sum())
    return wear * inside.sum() / total if total > 0.0 else inside.astype(np.float64)


def _bands(rows: Int, kept: list[Region]) -> list[tuple[Region, Bool]]:
    """Neighbouring rows together."""
    found = []
    for many in range(1, ASSUMED.band_rows + 1):
        for first in range(len(kept) - many + 1):
            last = first + many - 1
            if rows[last] - rows[first] == many - 1:
                low, high = kept[first].height_from, kept[last].height_to
                inside = np.zeros(len(kept), dtype=np.bool_)
                inside[first : last + 1] = True
                found.append((Region("level", "", low, high, 0.0, 360.0), inside))
    return found


def _spans() -> tuple[Float, list[tuple[float, float]]]:
    """Neighbouring sides together, and where each span begins and ends."""
    wide = 360.0 / HOURS
    sides, reach = [], []
    for many in range(1, ASSUMED.span_sides + 1):
        for first in range(HOURS):
            row = np.zeros(HOURS)
            row[np.arange(first, first + many) % HOURS] = 1.0
            sides.append(row)
            start = float(wrap(first * wide - 0.5 * wide))
            end = float(wrap((first + many - 1) * wide + 0.5 * wide))
            reach.append((start, end))
    return np.array(sides), reach


def _sided(region: Region, start: float, end: float) -> Region:
    kind: Kind = "side" if region.kind == "wall" else "panel"
    return Region(kind, "", region.height_from, region.height_to, start, end)
