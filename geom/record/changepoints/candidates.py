"""The pieces of wall that a step is looked for in, as shapes on the table of panels.

All round: the whole wall, its zones, and bands of one to three rows of panels.  To one
side: the whole height and the zones, over one to six neighbouring sides.  In the whole
wall and its zones, all round, a step may be even, so many mm more everywhere, or in
proportion to what each row wears.

How high a step of each shape is, spell by spell, and how well that is known.

For wear y of the panels and a step of shape x, as surveys show it, the height is
``f' y / f' x`` with weights ``f = (S + D)^-1 x``.  With the scatter S alone that were
generalised least squares, which fails where a step is not just of the shape; D, what S
has on its diagonal, lets the step differ from it from row to row and wave to wave.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.panels import HOURS
from geom.frame import wrap
from geom.record.changepoints.covariance import BASIS, ORDER, TableCovariance
from geom.record.regions import Kind, Region, Regions
from geom.units import Bool, Float, Int

#: Rows of a band and sides of a span, at most.
_BAND, _SPAN = 3, 6
#: Share of a zone's rows that must be told.
_ENOUGH = 0.8
#: Pieces that a step may be in to one side only, or in proportion to wear.
_LARGE: tuple[Kind, ...] = ("wall", "zone")


@dataclass(frozen=True)
class CandidateRegions:
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

    regions: tuple[Region, ...]
    round: Float
    tall: Float
    sides: Float

    @cached_property
    def spans(self) -> Float:
        """The spans in waves; shape (u, waves)."""
        return self.sides @ BASIS

    def on_panels(self, shape: int) -> Float:
        """Height of the step on every panel; shape (rows, HOURS)."""
        if shape < len(self.round):
            return np.repeat(self.round[shape][:, None], HOURS, axis=1)
        tall, span = divmod(shape - len(self.round), len(self.sides))
        return np.asarray(self.tall[tall][:, None] * self.sides[span][None, :])


def candidate_regions(regions: Regions, rows: Int, usual: Float) -> CandidateRegions:
    """Shapes to try on some rows of panels.

    Parameters
    ----------
    pieces : Pieces
    rows : int array (r,)
        Which rows of panels are told.
    usual : array (r,), mm per heat
        What each of them wears.
    """
    levels = [regions.regions[i] for i in regions.of_kind("level")]
    kept = [levels[row] for row in rows]
    large = [regions.regions[i] for kind in _LARGE for i in regions.of_kind(kind)]
    large = [one for one in large if _held(one, levels, kept)]
    named = [(one, _within(one, kept)) for one in large]
    taken = {tuple(inside) for _, inside in named}
    bands = [band for band in _bands(rows, kept) if tuple(band[1]) not in taken]
    uneven = [(one, _in_proportion(inside, usual)) for one, inside in named]
    shapes = [*named, *uneven, *bands]
    sides, reach = _spans()
    return CandidateRegions(
        regions=(
            *(one for one, _ in shapes),
            *(_sided(one, *ends) for one, _ in named for ends in reach),
        ),
        round=np.array([height for _, height in shapes], dtype=np.float64),
        tall=np.array([inside for _, inside in named], dtype=np.float64),
        sides=sides,
    )


def _held(one: Region, levels: list[Region], kept: list[Region]) -> bool:
    """Whether enough of it is told; of the whole wall, whatever is."""
    told = _within(one, kept).sum()
    return bool(
        told and (one.kind == "wall" or told >= _ENOUGH * _within(one, levels).sum())
    )


def _within(one: Region, levels: list[Region]) -> Bool:
    """Which rows lie in a piece."""
    middle = np.array([0.5 * (row.height_from + row.height_to) for row in levels])
    return np.asarray((middle > one.height_from) & (middle < one.height_to))


def _in_proportion(inside: Bool, usual: Float) -> Float:
    """As the rows wear, 1 on average over those inside; even where none wears."""
    like = np.maximum(usual, 0.0) * inside
    total = float(like.sum())
    return like * inside.sum() / total if total > 0.0 else inside.astype(np.float64)


def _bands(rows: Int, kept: list[Region]) -> list[tuple[Region, Bool]]:
    """Neighbouring rows together."""
    found = []
    for many in range(1, _BAND + 1):
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
    for many in range(1, _SPAN + 1):
        for first in range(HOURS):
            row = np.zeros(HOURS)
            row[np.arange(first, first + many) % HOURS] = 1.0
            sides.append(row)
            start = float(wrap(first * wide - 0.5 * wide))
            end = float(wrap((first + many - 1) * wide + 0.5 * wide))
            reach.append((start, end))
    return np.array(sides), reach


def _sided(one: Region, start: float, end: float) -> Region:
    kind: Kind = "side" if one.kind == "wall" else "panel"
    return Region(kind, "", one.height_from, one.height_to, start, end)


@dataclass(frozen=True)
class ContrastWeights:
    """Weights that tell heights of steps; b records, h shapes.

    Attributes
    ----------
    level : array (b, rows, a)
        Of rings, for the shapes all round.
    up : array (b, orders, rows, t)
        Up the wall, for the shapes to one side.
    spans : array (b, u, waves)
        Round it, as surveys show them.
    reach : array (b, h)
        ``f' x``.
    """

    level: Float
    up: Float
    spans: Float
    reach: Float

    @classmethod
    def of(cls, trial: CandidateRegions, scatter: TableCovariance) -> ContrastWeights:
        """Weights for some scatter."""
        own = np.einsum("bmii->bmi", scatter.table)
        inverse = np.linalg.inv(scatter.table + np.eye(own.shape[2]) * own[..., None])
        # all round only the mean of a ring counts, which is one wave
        level = np.sqrt(HOURS) * inverse[:, 0] @ trial.round.T
        round_ = np.sqrt(HOURS) * np.einsum("ar,bra->ba", trial.round, level)
        up = inverse @ trial.tall.T
        spans = trial.spans * scatter.blunt[:, None, :]
        tall = np.einsum("tr,bmrt->btm", trial.tall, up)[..., ORDER]
        sided = tall @ np.swapaxes(spans**2, 1, 2)
        reach = np.concatenate([round_, sided.reshape(len(own), -1)], axis=1)
        return cls(level, up, spans, reach)

    def contrasts(self, off: Float) -> Float:
        """Heights; (b, n, rows, waves) to (b, n, h), mm."""
        count, n = off.shape[:2]
        level = off[..., 0] @ self.level
        felt = np.einsum("bnrw,bwrt->bntw", off, self.up[:, ORDER], optimize=True)
        sided = felt.reshape(count, -1, ORDER.size) @ np.swapaxes(self.spans, 1, 2)
        both = np.concatenate([level, sided.reshape(count, n, -1)], axis=2)
        return np.asarray(both / self.reach[:, None])

    def variance(self, scatter: TableCovariance) -> Float:
        """Of heights in a spell of weight 1, ``f' S f / (f' x)^2``; (b, h), mm2."""
        table, count = scatter.table, len(self.reach)
        round_ = np.sum(self.level * (table[:, 0] @ self.level), axis=1)
        tall = np.swapaxes(np.sum(self.up * (table @ self.up), axis=2), 1, 2)
        sided = tall[..., ORDER] @ np.swapaxes(self.spans**2, 1, 2)
        both = np.concatenate([round_, sided.reshape(count, -1)], axis=1)
        return np.asarray(both / self.reach**2)
