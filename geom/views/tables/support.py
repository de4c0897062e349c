"""What holds the stack up while brick is set, in words: stop, segments, full rings.

Text throughout, the shop's unit first.
"""

from __future__ import annotations

from geom.design import Design
from geom.frame import clock_face
from geom.repair import RepairPackage
from geom.repair.masonry.relining import RelinedBand, Relining
from geom.repair.masonry.support import LeastBehind, Stop
from geom.units import say_both, say_length
from geom.views.say import (
    plain,
    say_from,
    say_heights,
)

#: What a stop says first, wherever it stands.
STOP = "The stack above needs support: a competent person decides"
#: The same where it is not settled that the wall is burnt.
MAYBE = "The stack above may need support: a competent person decides"
#: And last.
_UNTIL = "No lining is opened before that is settled."
_TIMES = "\N{MULTIPLICATION SIGN}"
#: How the segments of a zone are worked.
_ORDER = "One segment at a time: open it, set it, daub it, let it set, then the next."


def stop_head(works: RepairPackage) -> str:
    """What a stop says first; empty where there is none."""
    reasons = {stop.reason for stop in works.support.stops}
    if not reasons:
        return ""
    return MAYBE if reasons == {"possible"} else STOP


def stop_lines(works: RepairPackage, design: Design) -> list[str]:
    """What there is to decide before any lining is opened; empty where no stop is."""
    stops = works.support.stops
    if not stops:
        return []
    return [*(_say_stop(stop, design) for stop in stops), _UNTIL]


def stop_warnings(works: RepairPackage, design: Design) -> list[str]:
    """The stop in one line, for lists of warnings; empty where there is none."""
    lines = stop_lines(works, design)
    return [f"Stop. {stop_head(works)}. {' '.join(lines)}"] if lines else []


def support_warnings(works: RepairPackage, design: Design) -> list[str]:
    """That too little lining is left behind a seat; empty where enough is."""
    behind = works.support.behind
    if behind is None or behind.kept:
        return []
    return [f"Behind the brick: {_say_behind(behind, design)}."]


def _say_stop(stop: Stop, design: Design) -> str:
    share = f"{100.0 * stop.share:.0f} %"
    zero = plain(design.height_zero, most=60)
    where = f"{say_heights(stop.height_from, stop.height_to, design)} above {zero}"
    if stop.reason == "opened":
        return f"Brick is to be set round {share} of the wall at {where}."
    if stop.reason == "burnt":
        return f"The wall is past the brick line round {share} of it at {where}."
    return (
        f"The wall may be past the brick line round {share} of it at {where}: measure "
        "it again first."
    )


def segment_words(works: RepairPackage, design: Design) -> str:
    """How much wall is open at once, and that segments wait for each other."""
    support = works.support
    tall = say_both(support.height_most, design.length_unit)
    return (
        f"{_ORDER} Open at once: no more than {support.arc_most:g} degrees of arc and "
        f"{tall} of height."
    )


def support_rows(works: RepairPackage, design: Design) -> list[tuple[str, str]]:
    """How much of the wall brickwork opens, and what is left behind it."""
    support, unit = works.support, design.length_unit
    if not support.segments:
        return []
    rows = [
        (
            "Brick in all",
            f"longest arc {support.open_arc:.0f}°, "
            f"{100.0 * support.open_share:.0f} % of the wall round at one height, "
            f"{say_both(support.open_height, unit)} tall at most; in "
            f"{len(support.segments)} segments",
        )
    ]
    if support.behind is not None:
        rows.append(("Behind the seats", _say_behind(support.behind, design)))
    return rows


def _say_behind(behind: LeastBehind, design: Design) -> str:
    unit = design.length_unit
    clock = clock_face(behind.azimuth, design.azimuth_sense)
    words = (
        f"least lining {say_both(behind.lining, unit)}, at {clock}, "
        f"{say_from(behind.height, design)}"
    )
    if behind.wanted is None:
        return words
    side = "the shop wants" if behind.kept else "LESS than the shop wants:"
    return f"{words}; {side} {say_length(behind.wanted, unit)}"


def relining_rows(band: RelinedBand, design: Design) -> list[tuple[str, str, str]]:
    """The ways to line a band anew: bricks of a course, courses, bricks in all."""
    return [_relining_row(way, design) for way in band.ways]


def _relining_row(way: Relining, design: Design) -> tuple[str, str, str]:
    unit = design.length_unit
    each, total = [], []
    for brick in way.bricks:
        count = f"{brick.least}"
        if brick.most > brick.least:
            count += f" to {brick.most}"
        name = plain(brick.name, most=50)
        each.append(f"{count} {_TIMES} {name}")
        total.append(f"{brick.needed} {_TIMES} {name}")
    courses = f"{way.courses} of {say_length(way.course, unit)}"
    return " + ".join(each), courses, ", ".join(total)


def relining_words(band: RelinedBand, design: Design) -> str:
    """What the rows of a band are."""
    zero = plain(design.height_zero, most=60)
    where = f"{say_heights(band.height_from, band.height_to, design)} above {zero}"
    if not band.ways:
        return (
            f"Lined anew all round, {where}: no standard brick turns these rings in "
            "the room before the shell."
        )
    deep = say_length(band.ways[0].build, design.length_unit)
    return (
        f"If it is decided to line it anew all round, {where}, {deep} deep: one of "
        "these, breakage counted."
    )
