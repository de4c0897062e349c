"""What a survey found, in rows: for the report, and short for the terminal.

Text throughout, the shop's unit first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from geom.compare.extent import Gap
from geom.compare.findings import (
    ACTIONS,
    NO_CALL,
    Action,
    Diagnostic,
    Findings,
    Level,
    Zone,
)
from geom.design import DatumBand, Design
from geom.design.text_file import join_words
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.repair import RepairPackage, RepairPlan
from geom.surface.radial import (
    AtStep,
    BandAxisOff,
    BandsOff,
    Contradicted,
    DoubtedBand,
    InFront,
    InOpenings,
    ManyLeftOut,
    NoDatumBand,
    Outlying,
    PastBesideCloud,
    PastSurveys,
    PoseAsStated,
    RadialSurface,
    Rejected,
    RowsApart,
)
from geom.units import say_both
from geom.views.say import (
    WORK,
    plain,
    say_area,
    say_change_percent,
    say_clock,
    say_cubic_metres,
    say_degrees,
    say_from,
    say_heights,
    say_interval,
    say_length_interval,
    say_volume,
    say_volume_interval,
    say_volume_within,
    say_wear,
    upfirst,
)
from geom.views.tables.openings import taper_lines
from geom.views.tables.repair import order_words, repair_warnings, say_sure
from geom.views.tables.support import stop_warnings

#: What each action asks for.  Common practice, no source.
TASKS: dict[Action, str] = {
    "brick": "Take out loose lining and lay fire brick in the hollow, set in daub.",
    "daub": "Clean to sound lining, wet it, and daub in layers up to the drawing.",
    "chip": "Chip off what stands proud, down to the drawing.",
    "measure again": "Too uncertain to call. Take more readings here, then decide.",
    "leave": "Within tolerance of the drawing. Nothing to do.",
}


@dataclass(frozen=True)
class ZoneRow:
    """One zone; text throughout."""

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
        for zone in sorted(
            findings.of_action(action), key=lambda zone: (-zone.volume.value, zone.id)
        )
    ]


def _zone_row(zone: Zone, design: Design) -> ZoneRow:
    kind, depth = _depth(zone)
    return ZoneRow(
        id=str(zone.id),
        action=zone.action,
        clock=say_clock(zone, design),
        degrees=say_degrees(zone, design),
        heights=say_heights(zone.height_from, zone.height_to, design),
        area=say_area(zone.area, design),
        volume=say_volume(zone.volume.value, design),
        volume_interval=say_volume_interval(zone.volume, design),
        depth=f"{kind} {say_interval(depth, design.length_unit)[0]}",
        depth_interval=say_interval(depth, design.length_unit)[1],
    )


def _depth(zone: Zone) -> tuple[str, Quantity]:
    """A zone's depth and what it is; of build-up, how far it stands proud."""
    if zone.action != "chip":
        return "greatest anywhere in it", zone.cutback_max
    return "proud, on average", -zone.cutback_mean


def finding_rows(findings: Findings, design: Design) -> list[tuple[str, str, str]]:
    """What was found: its name, the value, and the 95 % interval or a remark."""
    volume, deepest = findings.volume, findings.deepest
    rows = [
        _volume_row("Rebuild volume", volume.rebuild, design),
        _volume_row("Build-up to take off", volume.buildup, design),
        _length_row("Greatest cut-back anywhere", deepest.cutback, design),
    ]
    if deepest.remaining_lining is not None:
        least = deepest.remaining_lining
        rows.append(_length_row("Least lining left anywhere", least, design))
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    surveyed, readings = findings.surveyed, findings.readings
    kinds = ", ".join(plain(kind, most=40) for kind in readings.kinds)
    return [
        *rows,
        (
            "Best surface is deepest at",
            f"{clock}, {say_from(deepest.height, design)}",
            f"azimuth {deepest.azimuth:.0f}°; best surface there: "
            f"{say_both(best_at_deepest(findings), design.length_unit)}",
        ),
        (
            "Surveyed wall",
            say_area(surveyed.area, design),
            f"{_share(surveyed.share)}"
            f"from {say_heights(surveyed.height_from, surveyed.height_to, design)}",
        ),
        (
            "Readings",
            f"{readings.count:,} ({kinds})",
            f"{readings.rejected:,} left out",
        ),
    ]


def deciding_rows(
    findings: Findings, works: RepairPackage, design: Design
) -> list[tuple[str, str, str]]:
    """The five figures that decide: name, value, and its interval or a remark."""
    unit, deepest = design.length_unit, findings.deepest
    greatest, ends = say_interval(deepest.cutback, unit)
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    rows = [
        (
            "Rebuild",
            say_volume(findings.volume.rebuild.value, design),
            f"95 %: {say_volume_interval(findings.volume.rebuild, design)}",
        ),
        (
            "Greatest cut-back anywhere",
            greatest,
            f"95 %: {ends}; the best surface is deepest at {clock}, "
            f"{say_from(deepest.height, design)}",
        ),
    ]
    if deepest.remaining_lining is None:
        proud = findings.volume.buildup
        interval = f"95 %: {say_volume_interval(proud, design)}"
        rows.append(("Build-up to take off", say_volume(proud.value, design), interval))
    else:
        least, ends = say_interval(deepest.remaining_lining, unit)
        rows.append(("Least lining left anywhere", least, f"95 %: {ends}"))
    rows.append(("Zones", _zone_counts(findings), ""))
    return [*rows, _call_off(works.plan, design)]


def _call_off(plan: RepairPlan, design: Design) -> tuple[str, str, str]:
    """Bricks, and under them what is weighed."""
    if not plan.order:
        return "Call off", "nothing", ""
    bricks = [line for line in plan.order if line.unit == "bricks"]
    loose = [line for line in plan.order if line.unit != "bricks"]
    first, second = (
        order_words(replace(plan, order=tuple(part)), design)
        for part in (bricks, loose)
    )
    sure = f"{say_sure(plan)} sure to be enough"
    return "Call off", first or second, f"{second}; {sure}" if first else sure


def _share(share: float) -> str:
    """How much of the wall between the readings was read; nothing of all of it."""
    return "" if share > 0.995 else f"{100.0 * share:.0f} % of the wall "


def best_at_deepest(findings: Findings) -> float:
    """Cut-back of the best surface where it is deepest, mm."""
    maps = findings.maps
    return float(np.max(maps.cutback[maps.action != NO_CALL]))


def closing_rows(findings: Findings, design: Design) -> list[tuple[str, str]]:
    """Where the rebuild volume lies: in zones, and in the rest; the last is the sum."""
    names: dict[Action, str] = {
        "brick": "zones to brick",
        "daub": "zones to daub",
        "measure again": "zones to measure again",
    }
    parts = {
        words: sum((zone.volume.value for zone in findings.of_action(action)), 0.0)
        for action, words in names.items()
    }
    whole = findings.volume.rebuild.value
    rest = whole - sum(parts.values())
    rows = [(upfirst(words), volume) for words, volume in parts.items() if volume]
    rows += [
        ("Wall left as it is: within tolerance, or too little of it for a zone", rest),
        ("Rebuild volume", whole),
    ]
    return [(name, say_volume(volume, design)) for name, volume in rows]


def _volume_row(name: str, volume: Quantity, design: Design) -> tuple[str, str, str]:
    value = say_volume(volume.value, design)
    interval = say_volume_interval(volume, design)
    return name, value, f"{interval}; {say_cubic_metres(volume)}"


def _length_row(name: str, length: Quantity, design: Design) -> tuple[str, str, str]:
    value, ends = say_interval(length, design.length_unit)
    return name, value, ends


def level_rows(findings: Findings, design: Design) -> list[tuple[str, str, str, str]]:
    """Height, drawn diameter, diameter of the same area, and change of area."""
    return [_level_row(level, design) for level in findings.levels]


def _level_row(level: Level, design: Design) -> tuple[str, str, str, str]:
    unit = design.length_unit
    side = f", just {level.side}" if level.side else ""
    return (
        say_both(level.height, unit) + side,
        say_both(level.design_diameter, unit),
        say_length_interval(level.area_diameter, design),
        say_change_percent(level.area_change_percent),
    )


def budget_rows(findings: Findings, design: Design) -> list[tuple[str, str, str, str]]:
    """Source, how it was judged, its size, and its share of the volume's variance."""
    return [
        (
            plain(line.source),
            line.kind,
            say_wear(line.sd, design.length_unit)
            if line.unit == "mm"
            else f"{line.sd:.3g} {plain(line.unit, most=20)}",
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
            plain(say_rejected(reading, unit)),
        )
        for reading in surface.rejected
    ]


def terminal_rows(
    design: Design,
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
    out: Path,
) -> list[tuple[str, str]]:
    """The short summary in the terminal: name and words of each line."""
    rows = [
        *(("STOP", words) for words in stop_warnings(works, design)),
        ("Survey", f"{findings.title} ({findings.readings.count:,} readings)"),
        ("Rebuild volume", say_volume_within(findings.volume.rebuild, design)),
        *_deepest(design, findings),
        ("Zones", _zone_counts(findings)),
        *_repair(design, works),
    ]
    unit = design.length_unit
    rows += [
        ("Left out", f"{r.place}: {say_rejected(r, unit)}") for r in surface.rejected
    ]
    warnings = [
        *repair_warnings(works, design),
        *say_diagnostics(findings.diagnostics, design),
    ]
    rows += [("Warning", words) for words in warnings]
    return [
        *rows,
        ("Files", f"{out}: start with report.html; print repair-sheet.pdf"),
        ("Caution", "nobody climbs in before the cautions on the repair sheet are met"),
    ]


def _deepest(design: Design, findings: Findings) -> list[tuple[str, str]]:
    """The greatest and the least anywhere, apart from where the best surface has it."""
    point, unit = findings.deepest, design.length_unit
    clock = clock_face(point.azimuth, design.azimuth_sense)
    rows = [
        ("Greatest cut-back", f"{_within(point.cutback, unit)}, anywhere on the wall"),
        (
            "Deepest place",
            f"{say_both(best_at_deepest(findings), unit)} by the best surface, at "
            f"{clock} seen from above with the {design.azimuth_zero} at 12 "
            f"({point.azimuth:.0f} degrees), {say_both(point.height, unit)} above the "
            f"{design.height_zero}",
        ),
    ]
    if point.remaining_lining is not None:
        least = _within(point.remaining_lining, unit)
        rows.append(("Least lining left", f"{least}, anywhere on the wall"))
    return rows


def _within(length: Quantity, unit: str) -> str:
    value, ends = say_interval(length, unit)
    return f"{value}, 95 %: {ends}"


def _zone_counts(findings: Findings) -> str:
    counted = [(len(findings.of_action(a)), a) for a in ACTIONS if a != "leave"]
    return ", ".join(f"{n} {a}" for n, a in counted if n) or "none: leave the wall"


def _repair(design: Design, works: RepairPackage) -> list[tuple[str, str]]:
    """What to order, and what to do at the tuyeres."""
    order, tuyeres = order_words(works.plan, design), taper_lines(works.taper, design)
    rows = [("Order", f"{order} ({say_sure(works.plan)} sure)")] if order else []
    return rows + ([("Tuyeres", " ".join(tuyeres))] if tuyeres else [])


def say_rejected(rejected: Rejected, unit: str) -> str:
    """Why a reading was left out."""
    read = f"{rejected.kind} reads {say_both(rejected.value, unit, finest=16)}"
    match rejected.reason:
        case Contradicted(others):
            also = join_words(
                (f"{say_both(mm, unit, finest=16)} ({place})" for place, mm in others),
                last="and",
            )
            return f"{read}; the same station was also read as {also}"
        case Outlying(sd):
            meant, give = (
                say_both(mm, unit, finest=16) for mm in (rejected.expected, 2.0 * sd)
            )
            return f"{read}; from the others {meant} is expected, give or take {give}"


def say_diagnostics(
    diagnostics: Iterable[Diagnostic], design: Design
) -> tuple[str, ...]:
    """What has to be known of a survey, a sentence or two each."""
    return tuple(_say_diagnostic(found, design) for found in diagnostics)


def _say_diagnostic(found: Diagnostic, design: Design) -> str:  # noqa: PLR0911, PLR0912
    unit = design.length_unit
    match found:
        case Rejected():
            return (
                f"{found.place}: {say_rejected(found, unit)}. Left out; measure again "
                "there, and add the new reading."
            )
        case Gap():
            low, high = (
                say_both(h, unit) for h in (found.height_from, found.height_to)
            )
            return (
                f"No reading tells of the wall {_round(found)}, heights {low} to "
                f"{high}: it is not surveyed, and nothing is counted, called or "
                "ordered there."
            )
        case AtStep(count):
            return (
                f"{count} readings stand exactly at a step of the profile and were "
                "compared with the part above it."
            )
        case InOpenings(places):
            more = f" and {len(places) - 5} more" if len(places) > 5 else ""
            return (
                f"Left out, because there is no wall in an opening: "
                f"{'; '.join(places[:5])}{more}."
            )
        case DoubtedBand(band):
            return (
                f"The datum band {_from_to(band, unit)} reads off its drawing and was "
                "not taken as sound."
            )
        case RowsApart(low, high):
            between = f"{say_both(low, unit)} and {say_both(high, unit)}"
            return (
                f"No row was read between {between}, where the melting zone may lie: a "
                "ring burnt between two rows is not seen, not called for and not "
                "ordered. Read a row between them before ordering."
            )
        case PastSurveys(count, used):
            return _say_past(count, used=used)
        case PastBesideCloud():
            return "Past surveys are not used with a point cloud."
        case NoDatumBand(sd):
            return (
                "The design names no datum band: the axis was found on the whole wall, "
                "as if what is sound of it were on its drawing, with a standard "
                f"uncertainty of {say_wear(sd, unit)}."
            )
        case PoseAsStated(cloud, sd):
            return (
                f"{cloud}: too few points to find the axis on; the cloud was taken to "
                f"stand as stated, to {say_both(sd, unit)}."
            )
        case BandsOff(bias):
            side = "wider" if bias > 0 else "narrower"
            return (
                f"The datum bands read {say_both(abs(bias), unit)} {side} than drawn: "
                "check the bands, or the scanner's range."
            )
        case BandAxisOff(band, offset, tilt):
            return (
                f"The datum band {_from_to(band, unit)} has an axis of its own: "
                f"{say_both(offset, unit)} and {tilt:.2f}° off the axis that the cloud "
                "was laid on, more than both are uncertain by. Check the band, and "
                "whether the scanner moved."
            )
        case InFront(cells, distance):
            return (
                f"In {cells:,} cells something stood more than "
                f"{say_both(distance, unit)} in front of the wall, or only dust was "
                "seen; what is behind is inferred."
            )
        case ManyLeftOut(share):
            return f"{100.0 * share:.0f} % of the laser points were not taken for wall."


def _from_to(band: DatumBand, unit: str) -> str:
    return f"from {say_both(band.low, unit)} to {say_both(band.high, unit)}"


def _round(gap: Gap) -> str:
    if gap.widest >= 359.0:
        return "all round"
    return f"from azimuth {gap.azimuth_from:.0f}° to {gap.azimuth_to:.0f}°"


def _say_past(count: int, *, used: bool) -> str:
    past = "One past survey was" if count == 1 else f"{count} past surveys were"
    if used:
        return (
            f"{past} used with the readings. Where the lining was changed since, "
            "survey it without."
        )
    return (
        f"{past} not used: the readings do not bear out that this wall wore as before."
    )
