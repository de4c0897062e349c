"""What the pictures of a page are drawn from: numbers packed small, as text."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.compare.findings import ACTIONS, Findings
from geom.compare.zones import chance_beyond
from geom.design import Design
from geom.surface.grid import Grid
from geom.surface.radial import RadialSurface
from geom.units import MM_PER, Float
from geom.views.charts import colours
from geom.views.charts.figure import nice_step
from geom.views.charts.survey_maps import DOUBT
from geom.views.charts.unrolled import MOST_DOTS
from geom.views.say import plain, say_clock

if TYPE_CHECKING:
    from markupsafe import Markup

    from geom.repair import RepairPlan

#: Lengths are given in steps of this, mm; ample for what is read in millimetres.
STEP = 0.02
_MISSING = -32768


@dataclass(frozen=True)
class HeatView:
    """One survey as a page shows it; arrays (m, k) as in `Maps`.

    Attributes
    ----------
    cutback, sd : array, mm
    chance : array, 0 to 1
    zones : dict
        By the number of each zone, what `zone_places` says.
    dots : list of (azimuth, height)
        Where rod readings are.
    """

    name: str
    cutback: Float
    sd: Float
    chance: Float
    action: NDArray[np.int8]
    zone: NDArray[np.int64]
    zones: dict[str, dict[str, Any]]
    dots: list[tuple[float, float]]

    @classmethod
    def without_zones(
        cls,
        name: str,
        cutback: Float,
        sd: Float,
        action: NDArray[np.int8],
        *,
        threshold: float,
        dots: Sequence[tuple[float, float]] = (),
    ) -> HeatView:
        """One whose zones are not shown; ``threshold`` is that of brick, mm."""
        chance = chance_beyond(cutback, sd, threshold)
        zone = np.zeros(cutback.shape, dtype=np.int64)
        return cls(name, cutback, sd, chance, action, zone, {}, _rounded(dots))


def _rounded(dots: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(round(a, 2), round(h, 1)) for a, h in dots]


def heat_view(
    surface: RadialSurface, findings: Findings, dots: Sequence[tuple[float, float]]
) -> HeatView:
    """The one survey of a report; ``dots`` are azimuths and heights of readings."""
    maps = findings.maps
    return HeatView(
        name=plain(findings.title),
        cutback=maps.cutback,
        sd=maps.cutback_sd,
        chance=maps.p_brick,
        action=maps.action,
        zone=maps.zone,
        zones=zone_places(findings, surface.design),
        dots=_rounded(dots[:MOST_DOTS]),
    )


def zone_places(findings: Findings, design: Design) -> dict[str, dict[str, Any]]:
    """Row and column of the deepest cell of every zone, and where it is in words."""
    places = {}
    depth = findings.maps.cutback
    for zone in findings.zones:
        inside = findings.maps.zone == zone.id
        if not inside.any():
            continue
        proud = -1.0 if zone.action == "chip" else 1.0
        place = int(np.argmax(np.where(inside, proud * depth, -np.inf)))
        row, column = divmod(place, depth.shape[1])
        words = say_clock(zone, design)
        places[str(zone.id)] = {"row": row, "column": column, "words": words}
    return places


def bricks_data(plan: RepairPlan) -> dict[str, str] | None:
    """Corners of every brick of a plan, and whether it is cut; None without any.

    A curved brick is several boxes.  Corners are eight of height (mm), azimuth
    (degrees) and radius (mm), as `PlacedBrick.corners` has them.
    """
    bricks = [
        brick
        for zone in plan.zones
        if zone.brickwork is not None
        for brick in zone.brickwork.bricks
    ]
    if not bricks:
        return None
    parts = [brick.blocks() for brick in bricks]
    corners = np.concatenate(parts)
    cut = np.repeat([not brick.piece.whole for brick in bricks], [*map(len, parts)])
    return {
        "corners": _packed(corners.astype("<f4")),
        "cut": _packed(cut.astype(np.uint8)),
    }


def wall_data(
    design: Design,
    grid: Grid,
    heats: Sequence[HeatView],
    *,
    bricks: dict[str, str] | None = None,
) -> Markup:
    """All that the pictures need, as JSON that is safe inside a script element.

    Parameters
    ----------
    grid : Grid
        That all heats are given on.
    heats : sequence of HeatView
        In order; the last is shown first.
    bricks : dict, optional
        What `bricks_data` says.
    """
    from markupsafe import Markup

    contents = {
        **_frame(design),
        **_drawn(design, grid),
        **_colours(design, grid),
        "heats": [_heat(view) for view in heats],
        "bricks": bricks,
        "start": _start(heats),
    }
    text = json.dumps(contents, allow_nan=False, ensure_ascii=True)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def _frame(design: Design) -> dict[str, Any]:
    return {
        "unit": design.length_unit,
        "sense": design.azimuth_sense,
        "zero": plain(design.azimuth_zero, most=40),
        "heightZero": plain(design.height_zero, most=60),
        "shell": design.shell_radius,
        "threshold": design.repair.brick_threshold,
        "tolerance": design.repair.tolerance,
        "doubt": DOUBT * design.repair.brick_threshold,
    }


def _drawn(design: Design, grid: Grid) -> dict[str, Any]:
    low, high = design.profile.bottom, design.profile.top
    radii = (float(grid.design_radius.min()) * 0.8, float(grid.design_radius.max()) * 2)
    return {
        "columns": int(grid.azimuth.size),
        "edge": [round(float(mm), 3) for mm in grid.edge],
        "height": [round(float(mm), 3) for mm in grid.height],
        "design": [round(float(mm), 3) for mm in grid.design_radius],
        "open": _packed(grid.opening.astype(np.uint8)),
        "openings": [
            {
                "kind": plain(hole.kind, most=40),
                "azimuth": hole.azimuth,
                "height": hole.height,
                "tall": hole.tall,
                "half": hole.half_angle(design.radius_at_opening(hole)),
            }
            for hole in design.openings
        ],
        "heightTicks": _ticks(low, high, design, about=8),
        "radiusTicks": _ticks(*radii, design, about=10),
    }


def _ticks(low: float, high: float, design: Design, *, about: int) -> list[float]:
    unit = design.length_unit
    one = float(MM_PER[unit])
    step = nice_step((high - low) / one / about, unit) * one
    first = np.ceil(low / step - 1e-9) * step
    return [float(place) for place in np.arange(first, high + 1e-6, step)]


def _colours(design: Design, grid: Grid) -> dict[str, Any]:
    low, high = colours.cutback_limits(design.repair.brick_threshold)
    left = None
    if design.shell_radius is not None:
        thinnest = design.shell_radius - float(grid.design_radius.max())
        left = _scale(colours.remaining_table(), 0.0, max(thinnest, 1.0))
    return {
        "notSurveyed": colours.NOT_SURVEYED,
        "opening": colours.OPENING,
        "actions": list(ACTIONS),
        "looks": {name: vars(look) for name, look in colours.ACTION_STYLES.items()},
        "scales": {
            "cutback": _scale(colours.cutback_table(), low, high),
            "left": left,
            "sd": _scale(colours.uncertainty_table(), 0.0, 0.25 * high),
            "chance": _scale(colours.probability_table(), 0.0, 100.0),
        },
    }


def _scale(table: Float, low: float, high: float) -> dict[str, Any]:
    return {"low": low, "high": high, "table": _packed(np.rint(table).astype(np.uint8))}


def _heat(view: HeatView) -> dict[str, Any]:
    chance = np.where(np.isnan(view.chance), 2.55, view.chance)
    return {
        "name": view.name,
        "cutback": _lengths(view.cutback),
        "sd": _lengths(view.sd),
        "chance": _packed(np.rint(100.0 * chance).astype(np.uint8)),
        "action": _packed(view.action.astype(np.int8)),
        "zone": _packed(view.zone.astype("<u2")),
        "zones": view.zones,
        "dots": view.dots,
    }


def _lengths(values: Float) -> dict[str, Any]:
    steps = np.rint(np.nan_to_num(values) / STEP)
    clipped = np.clip(steps, _MISSING + 1, -_MISSING - 1)
    packed = np.where(np.isnan(values), _MISSING, clipped).astype("<i2")
    return {"step": STEP, "data": _packed(packed)}


def _packed(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")


def _start(heats: Sequence[HeatView]) -> dict[str, int]:
    """Where the mark stands at first: the deepest place of all surveys."""
    depths = np.stack([heat.cutback for heat in heats])
    depths = np.where(np.isnan(depths), -np.inf, depths)
    _, row, column = np.unravel_index(int(np.argmax(depths)), depths.shape)
    return {"row": int(row), "column": int(column)}
