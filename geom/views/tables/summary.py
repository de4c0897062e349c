"""Rows of the short summary in the terminal."""

from __future__ import annotations

from pathlib import Path

from geom.compare import ACTIONS, Findings
from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.repair import Works
from geom.surface import RadialSurface
from geom.units import CUBIC_FOOT, LITRE, say_both


def summary_rows(
    design: Design,
    surface: RadialSurface,
    findings: Findings,
    works: Works,
    out: Path,
) -> list[tuple[str, str]]:
    """Name and words of each line."""
    rows = [
        ("Survey", f"{findings.title} ({findings.readings.count:,} readings)"),
        ("Rebuild volume", say_volume(findings.volume.rebuild)),
        ("Deepest point", _deepest(design, findings)),
        ("Zones", _zones(findings)),
        *_repair(design, works),
    ]
    rows += [("Left out", f"{r.place}: {r.why}") for r in surface.rejected]
    rows += [("Warning", words) for words in findings.warnings]
    return [
        *rows,
        ("Files", f"{out}: start with report.html; print repair-sheet.pdf"),
        ("Caution", "nobody climbs in before the cautions on the repair sheet are met"),
    ]


def say_volume(volume: Quantity) -> str:
    """A volume with its interval, in litres and cubic feet."""
    litres, feet = volume.times(1.0 / LITRE), volume.times(1.0 / CUBIC_FOOT)
    return (
        f"{litres.value:.1f} litres ({feet.value:.2f} cu ft), "
        f"95 % between {litres.low95:.1f} and {litres.high95:.1f} litres"
    )


def _deepest(design: Design, findings: Findings) -> str:
    point, unit = findings.deepest, design.length_unit
    clock = clock_face(point.azimuth, design.azimuth_sense)
    depth, low, high = (
        say_both(mm, unit)
        for mm in (point.cutback.value, point.cutback.low95, point.cutback.high95)
    )
    words = (
        f"{depth} cut back, 95 % between {low} and {high}; at {clock} seen from above "
        f"with the {design.azimuth_zero} at 12 ({point.azimuth:.0f} degrees), "
        f"{say_both(point.height, unit)} above the {design.height_zero}"
    )
    if point.remaining_lining is None:
        return words
    return f"{words}; {say_both(point.remaining_lining.value, unit)} left to the shell"


def _zones(findings: Findings) -> str:
    counted = [(len(findings.of_action(a)), a) for a in ACTIONS if a != "leave"]
    return ", ".join(f"{n} {a}" for n, a in counted if n) or "none: leave the wall"


def _repair(design: Design, works: Works) -> list[tuple[str, str]]:
    """What to order, and which tuyeres slag runs into."""
    from geom.views.tables.repair import order_words, say_sure, taper_words

    order, tuyeres = order_words(works.plan, design), taper_words(works.taper)
    rows = [("Order", f"{order} ({say_sure(works.plan)} sure)")] if order else []
    return rows + ([("Tuyeres", f"slag {tuyeres}")] if tuyeres else [])
