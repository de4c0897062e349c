"""What to do where: zones with one action each.

A cell's action follows from probabilities, not from the best surface alone:

brick
    cut-back is more likely than not past the brick threshold, in a piece that holds a
    core where that is 80 % sure;
measure again
    brick can neither be called nor ruled out: it is at least 10 % likely, no brick
    piece holds the cell, and the standard uncertainty there is more than a quarter of
    the threshold, so another reading would help; or the piece is more likely than not
    past the threshold and has no core;
daub
    more likely than not cut back past the tolerance, in a piece with an 80 % core;
chip
    the same for build-up standing proud by more than the tolerance;
leave
    everything else.

Pieces smaller than the face of one standard brick, 9 x 2 1/2 in, make no zone.  The
four probabilities are our own choice, no source.

How sure the wall is at a place is itself learned from the few readings about it, so a
probability is that of Student's t, scaled to the standard deviation there: its 95 %
interval is that of the normal, but it takes sides sooner within and has longer tails,
as losses with edges have.  How stated and true shares agree is in docs/benchmarks.md.

How far a loss reaches between stations no reading tells: a hollow of one station may be
a brick or four.  The process smooths over that, so its zones' volumes and means are
taken times a factor whose logarithm has the coefficient of error of an area that is
found by counting grid points, `area_error`.

References
----------
Gundersen, H. J. G. & Jensen, E. B. (1987). The efficiency of systematic sampling in
stereology and its prediction. J. Microscopy 147, 229-263: the coefficient of error of
an area from a count of points, after Matérn (from memory).
Canny, J. (1986). A computational approach to edge detection. IEEE PAMI 8(6), 679-698,
section VI (thresholding with hysteresis).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geom.compare.assumptions import ASSUMED
from geom.compare.draws import WallDraws
from geom.compare.extent import Extent
from geom.compare.extremes import maximum_quantity
from geom.compare.findings import ACTIONS, NO_CALL, Action, Zone
from geom.compare.volume import buildup_volume, excess, rebuild_volume
from geom.design import RepairRules
from geom.quantity import K95, Quantity
from geom.stats.normal import heavy_exceedance
from geom.surface import Grid
from geom.surface.grid import (
    BRICK_FACE,
    components,
    drop_small,
    hysteresis_threshold,
)
from geom.units import Bool, Float, Int

ROUND_SHAPE = 2.0 * np.sqrt(np.pi)
#: Actions that make zones, in the order these are numbered.
_IN_ORDER: tuple[Action, ...] = ("brick", "daub", "chip", "measure again")


def chance_beyond(cutback: Float, sd: Float, limit: float) -> Float:
    """Probability that cut-back exceeds a limit, mm, at each place; NaN stays NaN."""
    return heavy_exceedance(cutback, sd, limit, ASSUMED.zone_freedom)


def call_actions(
    grid: Grid, cutback: Float, sd: Float, rules: RepairRules
) -> NDArray[np.int8]:
    """The action of every cell.

    Returns
    -------
    int8 array (m, k)
        Index into `ACTIONS`; `NO_CALL` where not surveyed or an opening.
    """
    wall = grid.surveyed & ~grid.opening
    past = _chance(wall, chance_beyond(cutback, sd, rules.brick_threshold))
    worn = _chance(wall, chance_beyond(cutback, sd, rules.tolerance))
    proud = _chance(wall, chance_beyond(-cutback, sd, rules.tolerance))
    brick = _zone_mask(grid, past >= ASSUMED.sure, past >= ASSUMED.likely)
    unsure = wall & (sd > 0.25 * rules.brick_threshold) & (past >= ASSUMED.possible)
    again = _large(grid, (unsure | (past >= ASSUMED.likely)) & ~brick)
    daub = _zone_mask(
        grid, worn >= ASSUMED.sure, (worn >= ASSUMED.likely) & ~brick & ~again
    )
    chip = _zone_mask(grid, proud >= ASSUMED.sure, (proud >= ASSUMED.likely) & ~again)
    action = np.where(wall, 0, NO_CALL).astype(np.int8)
    action[daub] = ACTIONS.index("daub")
    action[chip] = ACTIONS.index("chip")
    action[again] = ACTIONS.index("measure again")
    action[brick] = ACTIONS.index("brick")
    return action


def area_error(points: float) -> float:
    """Coefficient of error of an area from how many points of a grid hit it.

    ``sqrt(0.0724 (b / sqrt(a))) n**(-3/4)`` for boundary b and area a.

    Examples
    --------
    >>> round(area_error(1.0), 2), round(area_error(16.0), 3)
    (0.51, 0.063)
    """
    hits = max(points, ASSUMED.zone_points)
    return float(np.sqrt(0.0724 * ROUND_SHAPE) * hits**-0.75)


def find_zones(
    grid: Grid,
    cutback: Float,
    sd: Float,
    action: NDArray[np.int8],
    walls: WallDraws,
    *,
    read: Float | None = None,
) -> tuple[tuple[Zone, ...], Int]:
    """Zones of every action but ``leave``, largest volume first within an action.

    Parameters
    ----------
    read : array (m, k), optional
        Readings in each cell.  Without it the edges of zones are taken as known.

    Returns
    -------
    zones : tuple of Zone
        Numbered from 1.
    number : int array (m, k)
        Zone of each cell, 0 where none.
    """
    fields = _Fields(grid, cutback, sd, walls, read)
    found: list[tuple[Zone, Bool]] = []
    for name in _IN_ORDER:
        masks = components(action == ACTIONS.index(name))
        made = [(_zone(fields, mask, name), mask) for mask in masks]
        found += sorted(made, key=lambda pair: -pair[0].volume.value)
    number = np.zeros(grid.shape, dtype=np.int64)
    zones = []
    for k, (zone, mask) in enumerate(found, start=1):
        number[mask] = k
        zones.append(replace(zone, id=k))
    return tuple(zones), number


@dataclass(frozen=True)
class _Fields:
    """What every zone is computed from."""

    grid: Grid
    cutback: Float
    sd: Float
    walls: WallDraws
    read: Float | None

    def with_its_reach(self, quantity: Quantity, mask: Bool) -> Quantity:
        """A volume or mean of a zone, unsure also of how far the loss reaches."""
        if self.read is None:
            return quantity
        return quantity.by_factor(area_error(float(self.read[mask].sum())))


def _zone(fields: _Fields, mask: Bool, action: Action) -> Zone:
    grid, cutback, sd = fields.grid, fields.cutback, fields.sd
    walls, nodes = fields.walls, fields.walls.nodes
    patch = np.where(mask, grid.patch, 0.0)
    area = np.where(mask, grid.face_area, 0.0)
    inward = action == "chip"
    total = (buildup_volume if inward else rebuild_volume)(
        grid, cutback, sd, patch=patch
    )
    share = area / area.sum()
    mean = float(np.sum(share[mask] * cutback[mask]))
    sign = -1.0 if inward else 1.0
    outward = np.where(mask, sign * cutback, -np.inf)
    worst = int(np.argmax(outward))
    single = float(outward.flat[worst] - K95 * sd.flat[worst])
    greatest = walls.greatest(outward, sign=sign, sd=sd)
    most = maximum_quantity(greatest, single)
    return Zone(
        id=0,
        action=action,
        **vars(Extent.of(mask, grid)),
        area=float(area.sum()),
        # a zone is worn, or proud, by the process too: its volume is the plan's
        volume=fields.with_its_reach(
            Quantity.of_samples(
                excess(walls, grid, cutback, sd, patch, inward=inward, part=True),
                value=total,
            ),
            mask,
        ).not_below(0.0),
        cutback_max=-most if inward else most,
        cutback_mean=fields.with_its_reach(
            Quantity.normal(mean, nodes.sd_of_sum(nodes.gather(share))), mask
        ),
    )


def _chance(wall: Bool, chance: Float) -> Float:
    return np.where(wall, np.nan_to_num(chance), 0.0)


def _zone_mask(grid: Grid, core: Bool, body: Bool) -> Bool:
    return _large(grid, hysteresis_threshold(core, body))


def _large(grid: Grid, mask: Bool) -> Bool:
    return drop_small(mask, grid.face_area, BRICK_FACE)
