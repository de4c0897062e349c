"""What is stated of a recheck: its verdict, its levels and zones, its material."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.repair.acceptance.conformity import Decision
from geom.repair.acceptance.result import (
    CheckPoint,
    FaceCheck,
    LevelCheck,
    Recheck,
    Verdict,
    ZoneCheck,
)
from geom.repair.assumptions import ASSUMED as REPAIR
from geom.units import say_length
from geom.views.say import (
    plain,
    say_hours,
    say_mark,
    say_volume,
    say_volume_interval,
    upfirst,
)

VERDICTS: dict[Verdict, str] = {
    "back on its drawing": "BACK ON ITS DRAWING",
    "not back": "NOT BACK ON ITS DRAWING",
    "cannot tell": "CANNOT TELL YET",
}
RESULTS: dict[Decision, str] = {
    "accept": "back",
    "reject": "NOT BACK",
    "cannot tell": "cannot tell",
}
#: Deviations from here on are worded to 1/8 in, mm.
_COARSE = 25.4
#: How many places the verdict names before it counts the rest.
_NAMED = 3
#: Characters of where a reading is written.
_LONGEST = 50


def verdict_lines(recheck: Recheck, design: Design) -> list[str]:
    """What the verdict rests on: what is off, and where to read once more."""
    off = [_say_zone(z, design) for z in recheck.zones if z.decision == "reject"]
    off += [
        f"the level at {_say_level(level, design)}"
        for level in recheck.levels
        if level.decision == "reject"
    ]
    again = [f"{_say_reading(place)} (left out)" for place in recheck.left_out]
    wanted = {f"zone {zone.id}": zone.face.readings for zone in recheck.zones}
    again += [
        f"{_say_place(place, design)} ({what}{_say_more(wanted.get(what))})"
        for what, place in recheck.open_points()
    ]
    lines = [f"Not back: {_some(off)}."] if off else []
    lines += [f"Measure at: {_some(again)}."] if again else []
    return lines or ["Every level and every zone is within tolerance."]


def _say_more(readings: int | None) -> str:
    """How many readings would decide a zone, as far as that can be found.

    Examples
    --------
    >>> _say_more(1), _say_more(3), _say_more(None)
    (': 1 reading more in it', ': about 3 readings more in it', '')
    """
    if readings is None:
        return ""
    many = "1 reading" if readings == 1 else f"about {readings} readings"
    return f": {many} more in it"


def _some(words: list[str]) -> str:
    more = len(words) - _NAMED
    return "; ".join(words[:_NAMED]) + (
        f"; and {more} more, see recheck.json" if more > 0 else ""
    )


def _say_reading(place: str) -> str:
    """Where a reading is written: the sheet's name cut at its beginning, not the row.

    Examples
    --------
    >>> _say_reading("sheets/rod.csv, row 14")
    'rod.csv, row 14'
    """
    name = plain(place.rsplit("/", 1)[-1])
    return name if len(name) <= _LONGEST else f"…{name[1 - _LONGEST :]}"


def _say_level(level: LevelCheck, design: Design) -> str:
    side = f" {level.side}" if level.side else ""
    return say_length(level.height, design.length_unit) + side


def _say_zone(zone: ZoneCheck, design: Design) -> str:
    words = f"zone {zone.id} ({'new, ' if zone.found_now else ''}{zone.action})"
    if zone.face.worst is None:
        return words
    return f"{words}, worst at {_say_place(zone.face.worst, design)}"


def _say_place(place: CheckPoint, design: Design) -> str:
    clock = clock_face(place.azimuth, design.azimuth_sense)
    return f"{clock}, height {say_length(place.height, design.length_unit)}"


#: What is stated of an opening's size and of a lip.
_SIZE = {"accept": "its size", "reject": "NOT its size", "measure": "measure its size"}
_LIP = {"accept": "lip there", "reject": "lip NOT there", "measure": "measure the lip"}


def opening_lines(recheck: Recheck, design: Design) -> list[str]:
    """Each opening: is it its size, is the lip there; those alike in one line."""
    alike: dict[str, list[str]] = {}
    for check in recheck.openings:
        words = _SIZE[check.size.decision]
        if check.lip is not None:
            words += f", {_LIP[check.lip.decision]}"
        clock = clock_face(check.azimuth, design.azimuth_sense)
        name = f"{plain(check.kind, most=30)} {check.number} ({clock})"
        alike.setdefault(words, []).append(name)
    return [f"{upfirst(', '.join(names))}: {words}." for words, names in alike.items()]


@dataclass(frozen=True)
class CheckRow:
    """What is stated of one check, and its decision."""

    cells: tuple[str, str, str, str]
    decision: Decision


def fit_rows(rows: list[CheckRow], most: int) -> list[CheckRow]:
    """As many rows as there is room for, those that are not back first of all."""
    if not rows:
        return [CheckRow(("none", "", "", ""), "accept")]
    if len(rows) <= most:
        return rows
    order: tuple[Decision, ...] = ("reject", "cannot tell", "accept")
    ranked = sorted(range(len(rows)), key=lambda k: order.index(rows[k].decision))
    kept, left = sorted(ranked[: most - 1]), ranked[most - 1 :]
    worst = rows[left[0]].decision
    count = f"{len(left)} more"
    return [rows[k] for k in kept] + [CheckRow((count, "", "", RESULTS[worst]), worst)]


def level_row(level: LevelCheck, design: Design) -> CheckRow:
    """One level in the table."""
    height = say_mark(level.height, design.length_unit)
    name = f"{height} {level.side}".strip()
    return _row(name, level.deviation, level.chance, level, design)


def zone_row(zone: ZoneCheck, design: Design) -> CheckRow:
    """One zone in the table; where it is stands on the repair sheet."""
    action = "unsure" if zone.action == "measure again" else zone.action
    name = f"{zone.id} {'new' if zone.found_now else action}"
    return _row(name, zone.face.deviation, zone.face.chance, zone.face, design)


def _row(
    name: str,
    deviation: Quantity | None,
    chance: float | None,
    check: LevelCheck | FaceCheck,
    design: Design,
) -> CheckRow:
    """How far off and how likely in tolerance; or how little of it was read."""
    decision = check.decision
    enough = check.measured >= REPAIR.face_share or decision == "reject"
    if deviation is None or chance is None or not enough:
        cells = "", f"{percent(check.measured)} read"
    else:
        cells = _say_off(deviation, design), _say_chance(chance)
    return CheckRow((name, *cells, RESULTS[decision]), decision)


def _say_off(deviation: Quantity, design: Design) -> str:
    finest = 16 if abs(deviation.value) < _COARSE else 8
    text = say_mark(deviation.value, design.length_unit, finest=finest)
    return text if text.startswith("-") or text.strip("0.") == "" else f"+{text}"


def _say_chance(chance: float) -> str:
    if chance > 0.99:
        return "> 99\u00a0%"
    return "< 1\u00a0%" if chance < 0.01 else percent(chance)


def percent(share: float) -> str:
    """A share in percent, on one line."""
    return f"{100.0 * share:.0f}\u00a0%"


def material_lines(recheck: Recheck, design: Design) -> list[str]:
    """What was put in, against what was planned or called for."""
    material = recheck.material
    lines = []
    if material.zones is not None:
        into = material.zones.put_in
        lines.append(
            f"Put in over the zones: {say_volume(into.value, design)}, 95 % sure: "
            f"{say_volume_interval(into, design)}. {_planned(recheck, design)}"
        )
    net = material.wall.net
    lines.append(
        f"All wall, put in less taken off: {say_volume(net.value, design)}, 95 % sure: "
        f"{say_volume_interval(net, design)}."
    )
    return lines


def release_words(recheck: Recheck, design: Design) -> str:
    """That nothing is released before drying is signed for, and how it is dried."""
    drying = recheck.drying
    words = "the supplier's schedule"
    if drying is not None:
        hot = _say_temperatures([hold.temperature for hold in drying.holds], design)
        own = (
            f"set {say_hours(drying.set_hours)}, held "
            f"{say_hours(drying.holds[-1].hours)} each at {hot}"
        )
        theirs = plain(drying.supplier, most=30)
        words = f"{theirs}: {own}" if theirs else f"{words}, or: {own}"
    return f"NOT RELEASED until drying is signed: by {words}; no steam showing."


def _say_temperatures(celsius: Sequence[float], design: Design) -> str:
    """Temperatures in the shop's own unit; of more than four the first and the last.

    ``250, 500, 700, 1000 °F`` in inches.
    """
    inches = design.length_unit == "in"
    hot = [10.0 * round(0.18 * c + 3.2) if inches else c for c in celsius]
    marks = [f"{each:.0f}" for each in hot]
    if len(marks) > 4:
        marks = [f"{len(marks)} points from {marks[0]} to {marks[-1]}"]
    return f"{', '.join(marks)} {'°F' if inches else '°C'}"


def _planned(recheck: Recheck, design: Design) -> str:
    planned, called = recheck.material.planned, recheck.material.called_for
    if planned is not None:
        return f"Planned: {say_volume(planned, design)}."
    if called is not None:
        return f"Called for: {say_volume(called.value, design)}."
    return "None was called for."
