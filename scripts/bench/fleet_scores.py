"""What a survey of the fleet stated, held against the truth and against peers.

Every figure is kept as name, stated value, true value, whether the 95 % interval holds
it, and its interval score (Gneiting and Raftery 2007, eq. 43).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import fleet_peers as peers
import numpy as np
from fleet_surveys import Wall
from fleet_walls import Float
from numpy.typing import NDArray

import geom

K95 = 1.959964
LITRE = 1e-6
#: Fine net on which extremes of the truth are looked for, degrees and mm.
_TURN, _RISE = 0.5, 5.0
#: Places across a cell, and up it, by which the truth is averaged over its area: an
#: upright edge between the middles of two cells is as far in error as they are apart.
_WITHIN = 4


def _figure(record: dict[str, Any], name: str, q: Any, true: float) -> None:
    low, high = float(q.low95), float(q.high95)
    score = high - low + 40.0 * (max(low - true, 0.0) + max(true - high, 0.0))
    tiny = 1e-9 + 1e-6 * abs(true)
    record.setdefault("figures", []).append(
        [
            name,
            float(q.value),
            float(true),
            bool(low - tiny <= true <= high + tiny),
            score,
        ]
    )


@dataclass(frozen=True)
class Seen:
    """The surveyed wall as the tool grids it, and what is true there.

    Attributes
    ----------
    true : array (m, k), mm
        Cut-back in the middles of the tool's own cells.
    mean : array (m, k), mm
        Over their area.
    seen : bool array (m, k)
        Surveyed wall outside the openings.
    patch : array (m, k), radian mm
    lost, proud : array (m, k), mm2 per radian
        Sections beyond the drawing and within it, means over the cells' area.
    fine : array (p, q), mm
        Cut-back on a finer net.
    zone : int array (p, q)
        Zone of each of its places.
    held : bool array (p, q)
    fine_radius : array (p, q), mm
    """

    true: Float
    mean: Float
    seen: NDArray[np.bool_]
    patch: Float
    lost: Float
    proud: Float
    fine: Float
    zone: NDArray[np.int64]
    held: NDArray[np.bool_]
    fine_radius: Float


def look(wall: Wall, surface: Any, findings: Any) -> Seen:
    """Lay the truth on the tool's grid and on a finer one."""
    grid, maps = surface.grid, findings.maps
    azimuth, height = grid.azimuth[None, :], grid.height[:, None]
    true = wall.cutback(azimuth, height) + 0.0 * azimuth
    seen = np.isfinite(maps.cutback) & ~grid.opening & (grid.patch > 0.0)
    fine_at = np.arange(0.0, 360.0, _TURN)[None, :]
    low, high = float(findings.surveyed.height_from), float(findings.surveyed.height_to)
    fine_up = np.arange(low, high, _RISE)[:, None]
    fine = wall.cutback(fine_at, fine_up) + 0.0 * fine_at
    row = np.searchsorted(grid.edge, fine_up[:, 0]) - 1
    row = np.clip(row, 0, grid.height.size - 1)
    step = 360.0 / grid.azimuth.size
    column = np.round(fine_at[0] / step).astype(int) % grid.azimuth.size
    net = np.ix_(row, column)
    mean, lost, proud = _over_cells(wall, grid)
    return Seen(
        true=true,
        mean=mean,
        seen=seen,
        patch=np.where(seen, grid.patch, 0.0),
        lost=lost,
        proud=proud,
        fine=fine,
        zone=maps.zone[net],
        held=seen[net] & ~wall.open_at(fine_at, fine_up),
        fine_radius=fine + wall.drawn(fine_up),
    )


def _over_cells(wall: Wall, grid: Any) -> tuple[Float, Float, Float]:
    """Means over the area of each cell: cut-back, section lost, section proud."""
    part = (np.arange(_WITHIN) + 0.5) / _WITHIN - 0.5
    at = grid.azimuth[:, None] + part * 360.0 / grid.azimuth.size
    up = grid.height[:, None] + part * grid.row_height[:, None]
    fine = wall.cutback(at.reshape(1, -1) % 360.0, up.reshape(-1, 1))
    fine = fine + np.zeros((up.size, at.size))
    drawn = np.repeat(grid.design_radius, _WITHIN)[:, None]
    section = drawn * fine + 0.5 * fine**2

    def mean(field: Float) -> Float:
        rows, columns = grid.height.size, grid.azimuth.size
        return field.reshape(rows, _WITHIN, columns, _WITHIN).mean(axis=(1, 3))

    return mean(fine), mean(np.maximum(section, 0.0)), mean(np.maximum(-section, 0.0))


def score(
    record: dict[str, Any], wall: Wall, surface: Any, findings: Any, pose: Any
) -> None:
    """Put every figure of a survey beside the truth."""
    at = look(wall, surface, findings)
    _volumes(record, findings.volume, at)
    _points(record, surface, findings.maps, at)
    _extremes(record, wall, findings.deepest, at)
    if at.seen.any(axis=0).all():
        _levels(record, wall, findings.levels)
    for zone in findings.zones:
        _zone(record, zone, surface.grid, findings.maps.zone, at)
    if pose is not None and findings.datum is not None:
        _pose(record, findings.datum, pose)
    record["_true"], record["_place"] = at.true, at.seen
    record["_mean"], record["_up"] = findings.maps.cutback, surface.grid.height


def _volumes(record: dict[str, Any], volume: Any, at: Seen) -> None:
    rebuild = LITRE * float(np.sum(at.patch * at.lost))
    buildup = LITRE * float(np.sum(at.patch * at.proud))
    _figure(record, "rebuild", volume.rebuild.times(LITRE), rebuild)
    _figure(record, "buildup", volume.buildup.times(LITRE), buildup)
    _figure(record, "net", volume.net.times(LITRE), rebuild - buildup)


def _points(record: dict[str, Any], surface: Any, maps: Any, at: Seen) -> None:
    seen, weight = at.seen, at.patch[at.seen] / at.patch.sum()
    off, sd = (at.true - maps.cutback)[seen], maps.cutback_sd[seen]
    miss = np.maximum(np.abs(off) - K95 * sd, 0.0)
    record["points"] = [
        float(np.sum(weight * (np.abs(off) <= K95 * sd + 1e-9))),
        float(np.sqrt(np.sum(weight * off**2))),
        float(np.sum(weight * (2.0 * K95 * sd + 40.0 * miss))),
    ]
    past = (at.true > surface.design.repair.brick_threshold)[seen]
    stated = maps.p_brick[seen]
    tenth = np.minimum((stated * 10).astype(int), 9)
    record["p_brick"] = [
        np.bincount(tenth, weights=weight * value, minlength=10).tolist()
        for value in (np.ones_like(stated), stated, past)
    ]


def _extremes(record: dict[str, Any], wall: Wall, deepest: Any, at: Seen) -> None:
    _figure(record, "deepest", deepest.cutback, float(at.fine[at.held].max()))
    shell = wall.furnace.shell * wall.furnace.mm
    left = float(shell - at.fine_radius[at.held].max())
    _figure(record, "lining left", deepest.remaining_lining, left)


def _levels(record: dict[str, Any], wall: Wall, levels: Any) -> None:
    around = np.arange(0.0, 360.0, 0.5)
    for level in levels:
        if level.side != "below":
            radius = wall.radius(around, np.array(level.height))
            true = 2.0 * float(np.sqrt(np.mean(radius**2)))
            _figure(record, "area diameter", level.area_diameter, true)


def _zone(record: dict[str, Any], zone: Any, grid: Any, number: Any, at: Seen) -> None:
    mask = (number == zone.id) & at.seen
    fine = (at.zone == zone.id) & at.held
    if not (mask.any() and fine.any()):
        return
    sign = -1.0 if zone.action == "chip" else 1.0
    beyond = at.proud if zone.action == "chip" else at.lost
    volume = LITRE * float(np.sum(at.patch[mask] * beyond[mask]))
    _figure(record, "zone volume", zone.volume.times(LITRE), volume)
    most = sign * float((sign * at.fine[fine]).max())
    _figure(record, "zone maximum", zone.cutback_max, most)
    area = grid.face_area[mask]
    mean = float(np.sum(area * at.mean[mask]) / area.sum())
    _figure(record, "zone mean", zone.cutback_mean, mean)


def _pose(record: dict[str, Any], found: Any, pose: Any) -> None:
    for name in ("offset_x", "offset_y", "tilt_x", "tilt_y"):
        kind = name[:-2]
        stated = geom.Quantity.normal(
            getattr(found, name), getattr(found, f"sd_{kind}")
        )
        _figure(record, f"pose {kind}", stated, getattr(pose, name))


def against_peers(
    record: dict[str, Any], readings: Any, design: Any, noise: float
) -> None:
    """Add what peers make of the same readings, at some of the grid's places."""
    seen, true = record["_place"], record["_true"]
    at, up = np.asarray(readings.azimuth), np.asarray(readings.height)
    value = np.asarray(readings.value) - design.profile.radius_at(up)
    flat = peers.Flat(design.profile.mean_radius, at, up, value)
    rows, columns = np.nonzero(seen)
    some = np.random.default_rng(0).permutation(rows.size)[:4000]
    rows, columns = rows[some], columns[some]
    grid_at = np.arange(seen.shape[1]) * 360.0 / seen.shape[1]
    place_at, place_up = grid_at[columns], record["_up"][rows]
    hidden = true[rows, columns]
    found = {
        "thin plate": peers.thin_plate(flat, place_at, place_up),
        "end areas": peers.end_areas(flat, place_at, place_up),
    }
    if at.size <= 260:
        found["Verde"] = peers.verde_spline(flat, place_at, place_up)
        mean, sd = peers.gaussian_process(flat, noise, place_at, place_up)
        found["scikit-learn"] = mean
        miss = np.maximum(np.abs(hidden - mean) - K95 * sd, 0.0)
        record["peer score"] = float(np.mean(2.0 * K95 * sd + 40.0 * miss))
        record["peer held"] = float(np.mean(np.abs(hidden - mean) <= K95 * sd))
    record["peers"] = {
        name: float(np.sqrt(np.mean((mean - hidden) ** 2)))
        for name, mean in found.items()
    }
    own = record["_mean"][rows, columns]
    record["own rmse"] = float(np.sqrt(np.mean((own - hidden) ** 2)))
