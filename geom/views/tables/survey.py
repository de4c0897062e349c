"""What the report and the sheet say in rows: text only, the shop's unit first."""

from __future__ import annotations

from dataclasses import dataclass

from geom.compare.findings import Action, Findings, Level, Zone
from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.surface.radial import RadialSurface
from geom.units import say_both
from geom.views.say import (
    WORK,
    plain,
    say_area,
    say_clock,
    say_cubic_metres,
    say_degrees,
    say_from,
    say_heights,
    say_length_interval,
    say_volume,
    say_volume_interval,
)

#: What each action asks for.  Common practice, no source.
TASKS: dict[Action, str] = {
    "brick": "Cut back to sound lining and lay fire brick out to the drawing.",
    "daub": "Clean to sound lining, wet it, and daub in layers up to the drawing.",
    "chip": "Chip off what stands proud, down to the drawing.",
    "measure again": "Too uncertain to call. Take more readings here, then decide.",
    "leave": "Within tolerance of the drawing. Nothing to do.",
}


@dataclass(frozen=True)
class ZoneRow:
    """One zone as it is told; text throughout."""

    id: str
    action: Action
    clock: str
    degrees: str
    heights: str
    area: str
    volume: str
    volume_interval: str
    depth: str
    depth_interval: str


def zone_rows(findings: Findings, design: Design) -> list[ZoneRow]:
    """Zones with work in them, in its order, the largest volume of each kind first."""
    return [
        _zone_row(zone, design)
        for action in WORK
        for zone in sorted(findings.of_action(action), key=_largest_first)
    ]


def _largest_first(zone: Zone) -> tuple[float, int]:
    return -zone.volume.value, zone.id


def _zone_row(zone: Zone, design: Design) -> ZoneRow:
    how, depth = _depth(zone)
    return ZoneRow(
        id=str(zone.id),
        action=zone.action,
        clock=say_clock(zone, design),
        degrees=say_degrees(zone, design),
        heights=say_heights(zone.height_from, zone.height_to, design),
        area=say_area(zone.area, design),
        volume=say_volume(zone.volume.value, design),
        volume_interval=say_volume_interval(zone.volume, design),
        depth=f"{how} {say_both(depth.value, design.length_unit)}",
        depth_interval=say_heights(depth.low95, depth.high95, design),
    )


def _depth(zone: Zone) -> tuple[str, Quantity]:
    """What to say of a zone's depth; of build-up, how far it stands proud."""
    if zone.action != "chip":
        return "deepest", zone.cutback_max
    mean = zone.cutback_mean
    return "proud, on average", Quantity(
        -mean.value, mean.sd, -mean.high95, -mean.low95
    )


def summary_rows(findings: Findings, design: Design) -> list[tuple[str, str, str]]:
    """What was found: its name, the value, and the 95 % interval or a remark."""
    volume, deepest = findings.volume, findings.deepest
    rows = [
        _volume_row("Rebuild volume", volume.rebuild, design),
        _volume_row("Build-up to take off", volume.buildup, design),
        _length_row("Deepest cut-back", deepest.cutback, design),
    ]
    if deepest.remaining_lining is not None:
        rows.append(_length_row("Least lining left", deepest.remaining_lining, design))
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    seen, taken = findings.surveyed, findings.readings
    kinds = ", ".join(plain(kind, most=40) for kind in taken.kinds)
    return [
        *rows,
        (
            "Deepest point",
            f"{clock}, {say_from(deepest.height, design)}",
            f"azimuth {deepest.azimuth:.0f}°",
        ),
        (
            "Surveyed wall",
            say_area(seen.area, design),
            f"from {say_heights(seen.height_from, seen.height_to, design)}",
        ),
        ("Readings", f"{taken.count:,} ({kinds})", f"{taken.rejected:,} left out"),
    ]


def _volume_row(name: str, volume: Quantity, design: Design) -> tuple[str, str, str]:
    value = say_volume(volume.value, design)
    interval = say_volume_interval(volume, design)
    return name, value, f"{interval}; {say_cubic_metres(volume)}"


def _length_row(name: str, length: Quantity, design: Design) -> tuple[str, str, str]:
    value = say_both(length.value, design.length_unit)
    return name, value, say_heights(length.low95, length.high95, design)


def level_rows(findings: Findings, design: Design) -> list[tuple[str, str, str, str]]:
    """Height, drawn diameter, diameter of the same area, and change of area."""
    return [_level_row(level, design) for level in findings.levels]


def _level_row(level: Level, design: Design) -> tuple[str, str, str, str]:
    unit = design.length_unit
    side = f", just {level.side}" if level.side else ""
    change = level.area_change_percent
    value, low, high = (
        f"{round(part, 1) + 0.0:+.1f}"
        for part in (change.value, change.low95, change.high95)
    )
    return (
        say_both(level.height, unit) + side,
        say_both(level.design_diameter, unit),
        say_length_interval(level.area_diameter, design),
        f"{value} %; 95 %: {low} to {high} %",
    )


def budget_rows(findings: Findings) -> list[tuple[str, str, str, str]]:
    """Source, how it was judged, its size, and its share of the volume's variance."""
    return [
        (
            plain(line.source),
            line.kind,
            f"{line.sd:.3g} {plain(line.unit, most=20)}",
            f"{100.0 * line.share_of_volume_variance:.0f} %",
        )
        for line in findings.budget
    ]


def rejected_rows(surface: RadialSurface) -> list[tuple[str, str, str, str]]:
    """Readings left out: where written, what was read, what was expected, why."""
    unit = surface.design.length_unit
    return [
        (
            plain(reading.place),
            say_both(reading.value, unit),
            say_both(reading.expected, unit),
            plain(reading.why),
        )
        for reading in surface.rejected
    ]
