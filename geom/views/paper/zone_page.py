"""A page of the repair sheet for each zone: chip, brick or daub."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.compare.findings import Action
from geom.design import Design
from geom.repair import RepairPackage
from geom.repair.plan.chipping import Chipping
from geom.repair.plan.daub import Daub
from geom.repair.plan.result import ZonePlan
from geom.surface.radial import RadialSurface
from geom.units import say_both
from geom.views.charts.colours import ACTION_STYLES
from geom.views.paper.brick_page import brick_rows, brickwork
from geom.views.paper.style import BODY, paragraph, ruled_table, signature_lines
from geom.views.say import plain, say_volume, say_volume_interval
from geom.views.tables.repair import (
    daub_rows,
    job_of,
    say_short,
    say_zone_note,
)
from geom.views.tables.survey import TASKS

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: Width of the column of names, points.
_NAME = 118.0


def zone_page(
    zone: ZonePlan, works: RepairPackage, surface: RadialSurface, *, width: float
) -> list[Flowable]:
    """Everything about one zone.

    Parameters
    ----------
    zone : ZonePlan
    works : RepairPackage
        That it is of.
    surface : RadialSurface
        That was planned for.
    width : float, points
        Of the text on a page.
    """
    from reportlab.platypus import KeepTogether

    design = surface.design
    job = job_of(zone, design)
    zero = plain(design.height_zero, most=40)
    where = [
        ("Where", f"{job.clock}; azimuth {job.degrees}"),
        ("Height", f"{job.heights} above {zero}; area {job.area}"),
    ]
    story = [
        paragraph(f"Zone {zone.id}: {_word(zone.work)}", 22, bold=True, after=2),
        paragraph(TASKS[zone.work], BODY, after=6),
    ]
    if zone.chip is not None:
        story += [_facts([*where, *_chip_rows(zone.chip, design)], width)]
    elif zone.brickwork is not None:
        rows = [*where, *brick_rows(zone, zone.brickwork, works, design)]
        story += [_facts(rows, width), *brickwork(zone, works, surface, width=width)]
    else:
        story += [_facts(where, width)]
    if zone.daub is not None and zone.brickwork is None:
        story += _daub(zone.daub, design, width)
    if zone.brickwork is None:
        story += _stops(zone, design, width)
    return [*story, *_notes(zone, design), KeepTogether(signature_lines("Done by"))]


def _word(action: Action) -> str:
    return ACTION_STYLES[action].word.upper()


def _facts(rows: list[tuple[str, str]], width: float) -> Flowable:
    cells: list[list[str | list[Flowable] | Flowable]] = [
        [[paragraph(name, BODY, bold=True, after=0)], words] for name, words in rows
    ]
    table = ruled_table((), cells, widths=[_NAME, width - _NAME])
    table.spaceAfter = 8.0
    return table


def _chip_rows(chip: Chipping, design: Design) -> list[tuple[str, str]]:
    unit, thick = design.length_unit, chip.thickness
    rows = [
        (
            "Take off",
            f"{say_volume(chip.volume.value, design)}; 95 % sure: "
            f"{say_volume_interval(chip.volume, design)}",
        ),
        (
            "Proudest",
            f"{say_both(thick.value, unit)}; 95 % sure: "
            f"{say_short(thick.low95, unit)} to {say_both(thick.high95, unit)}",
        ),
        (
            "STOP",
            f"when the rod reads {say_both(chip.stop_radius, unit)} at "
            f"{say_both(chip.stop_height, unit)}; go no deeper",
        ),
    ]
    if chip.fouled:
        holes = ", ".join(
            f"{plain(hole.kind, most=30)} at {hole.azimuth:.0f}°"
            for hole in chip.fouled
        )
        rows.append(("Clear too", holes))
    return rows


def _daub(daub: Daub, design: Design, width: float) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    return [
        KeepTogether(
            [
                paragraph("Daub", 16, bold=True, after=2),
                _facts(daub_rows(daub, design), width),
            ]
        )
    ]


def _stops(zone: ZonePlan, design: Design, width: float) -> list[Flowable]:
    """What the rod reads on the finished face, at both ends and at every corner."""
    from reportlab.platypus import KeepTogether

    unit, profile = design.length_unit, design.profile
    low, high = zone.height_from, zone.height_to
    inside = profile.corners[(profile.corners > low) & (profile.corners < high)]
    rows = []
    for height in sorted({low, 0.5 * (low + high), high, *inside.tolist()}):
        below = float(profile.radius_at(height, side="below"))
        above = float(profile.radius_at(height))
        ends = (
            [above]
            if height == low
            else [below]
            if height == high or below == above
            else [below, above]
        )
        radii = " below, ".join(say_both(radius, unit) for radius in ends)
        rows.append(
            (say_both(height, unit), radii + (" above" if len(ends) > 1 else ""))
        )
    verb = "Stop when the rod reads" if zone.chip is not None else "Done at"
    zero = plain(design.height_zero, most=40)
    table = ruled_table(
        (f"Height above {zero}", f"{verb} (R, from the axis)"),
        rows,
        widths=[0.45 * width, 0.55 * width],
    )
    return [KeepTogether([paragraph("The drawn face", 16, bold=True, after=2), table])]


def _notes(zone: ZonePlan, design: Design) -> list[Flowable]:
    from reportlab.platypus import Spacer

    if not zone.notes:
        return []
    notes = [say_zone_note(note, design.length_unit) for note in zone.notes]
    return [
        Spacer(1, 8),
        paragraph("Mind", 16, bold=True, after=2),
        *(paragraph(f"• {plain(words, most=400)}", BODY, after=3) for words in notes),
    ]
