"""The page and the state of the desk that it shows, in words and numbers, as JSON.

The page is one document with its own style and script, and the worker that keeps it.
The content security policy names style and script by their hashes, so that nothing
that was typed can run; the page may speak with the desk that sent it and nobody else.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from geom.compare.findings import NO_CALL
from geom.design import Design
from geom.desk.actions import (
    StationActions,
    coarse_grid,
    find_station,
    find_stations,
)
from geom.desk.entries import SheetEntry
from geom.desk.session import DeskSession, DeskState
from geom.frame import Sense, clock_face
from geom.readings.assumptions import ASSUMED as READINGS
from geom.repair.acceptance.conformity import judge
from geom.sampling.plan import onward_of
from geom.units import UNIT_NAMES, parse_number, say_both, say_length, to_mm
from geom.views.cautions import CAUTIONS
from geom.views.charts.colours import ACTION_STYLES
from geom.views.pages.page import policy_hash, render, viewer_file
from geom.views.pages.viewer_data import HeatView, wall_data
from geom.views.say import plain, say_mark, say_sense, say_span, say_zero
from geom.views.tables.recheck import VERDICTS, release_words, verdict_lines
from geom.views.tables.stations import marks_at, say_setting
from geom.views.tables.survey import say_rejected

#: In the order they need each other: what all pictures share, then the desk's own.
_SHARED = ("wall.js", "say.js", "paint.js", "place.js", "unrolled.js")
_OWN = (
    "numbers.js",
    "kept.js",
    "sender.js",
    "clock.js",
    "keys.js",
    "board.js",
    "entries.js",
    "desk.js",
)
_FRACTIONS = ("1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8")
#: Tolerances past which a reading by itself keeps its station from being accepted.
_FAR = 2.0
_AGAIN = ACTION_STYLES["measure again"].word


@dataclass(frozen=True)
class DeskPage:
    """What a browser is given.

    Attributes
    ----------
    document, worker : bytes
        HTML and JavaScript, UTF-8.
    policy : str
        Content security policy of the document.
    """

    document: bytes
    worker: bytes
    policy: str


def make_page(desk: DeskSession) -> DeskPage:
    """The page of a desk; every text is escaped."""
    from markupsafe import Markup

    style = _own("desk.css")
    script = "\n".join([*map(viewer_file, _SHARED), *map(_own, _OWN)])
    script = script.replace("</script", "<\\/script")
    document = render(
        "geom.desk",
        "page",
        "desk.html.jinja",
        style=Markup(style),
        script=Markup(script),
        key=desk.key,
        file=plain(desk.name, most=60),
        cautions=CAUTIONS,
        **_design_words(desk.design),
    )
    policy = (
        "default-src 'none'; connect-src 'self'; worker-src 'self'; img-src data:; "
        f"script-src '{policy_hash(script)}'; style-src '{policy_hash(style)}'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return DeskPage(document.encode("utf-8"), _own("worker.js").encode("utf-8"), policy)


def _design_words(design: Design) -> dict[str, object]:
    unit = design.length_unit
    return {
        "lining": plain(design.name, most=80),
        "unit": unit,
        "unit_words": UNIT_NAMES[unit],
        "fractions": _FRACTIONS if unit == "in" else (),
        "zero": say_zero(design),
        "azimuth_zero": plain(design.azimuth_zero, most=40),
        "sense": say_sense(design),
        "height_zero": plain(design.height_zero, most=60),
        "threshold": say_both(design.repair.brick_threshold, unit),
    }


def _own(name: str) -> str:
    return files("geom.desk").joinpath("page", name).read_text("utf-8")


def state(desk: DeskSession) -> dict[str, Any]:
    """The desk as the page shows it."""
    now, design = desk.now, desk.design
    return {
        "sheet": desk.key,
        "file": plain(desk.name),
        "version": now.version,
        "fit": now.actions.fit if now.actions else "none",
        "fitting": now.fitting,
        "trouble": plain(now.fit_error, most=300),
        "lacks": now.missing,
        "count": len(now.entry_ids),
        "rows": [_row(design, float(height)) for height in now.board.height],
        "columns": [_column(design, float(azimuth)) for azimuth in now.board.azimuth],
        "stations": _stations(desk),
        "telling": [
            _place(design, station.azimuth, station.height) for station in now.suggested
        ],
        "recheck": _recheck(desk),
        "entries": _entries(now, design),
        "wall": json.loads(_wall_data(now, design)),
    }


def _row(design: Design, height: float) -> dict[str, Any]:
    """A height of the board with what is drawn there."""
    unit = design.length_unit
    drawn = float(design.profile.radius_at(height))
    marks = marks_at(design, height)
    shell = design.shell_radius
    most = READINGS.greatest_radius_share * drawn if shell is None else shell
    return {
        "text": say_setting(height, unit),
        "mm": round(height, 4),
        "both": say_length(height, "mm"),
        "drawn": marks.drawn,
        "go": marks.go,
        "brick": marks.brick,
        "drawnMm": round(drawn, 4),
        "least": round(READINGS.least_radius_share * drawn, 4),
        "most": round(most, 4),
    }


def _column(design: Design, azimuth: float) -> dict[str, Any]:
    return {
        "text": f"{azimuth:.6g}",
        "clock": clock_face(azimuth, design.azimuth_sense),
        "onward": round(onward_of(design, azimuth), 4),
    }


def _place(design: Design, azimuth: float, height: float) -> dict[str, Any]:
    """A station with its own row and column, for one that may be off the board."""
    return {"row": _row(design, height), "column": _column(design, azimuth)}


def _recheck(desk: DeskSession) -> dict[str, Any] | None:
    """The verdict on a repair so far, in words; None where none is checked."""
    if desk.before is None:
        return None
    found = desk.now.rechecked
    if found is None:
        return {"verdict": "", "lines": [], "late": False}
    lines = [*verdict_lines(found, desk.design), release_words(found, desk.design)]
    lines = [line.replace(", see recheck.json", "") for line in lines]
    return {
        "verdict": VERDICTS[found.verdict],
        "lines": [plain(line, most=600) for line in lines],
        "late": desk.now.fitting,
    }


def _judged(
    desk: DeskSession, place: tuple[int, int], slip: bool, *, far: bool
) -> dict[str, Any]:
    """Whether a station of a repaired wall is within tolerance, in words."""
    actions = desk.now.actions
    station = None if actions is None else actions.station(*place)
    if desk.before is None or station is None:
        return {}
    tolerance = desk.design.repair.tolerance
    decision = "cannot tell" if slip else judge(station[1], tolerance).decision
    if far and decision == "accept":  # the others outvote it until it is read again
        decision = "cannot tell"
    within = say_both(tolerance, desk.design.length_unit)
    words = {
        "accept": f"Accept: within {within} of its drawing",
        "reject": f"Reject: not within {within} of its drawing",
        "cannot tell": f"Cannot tell whether within {within}: read it again",
    }
    return {"decision": decision, "judged": words[decision]}


def _stations(desk: DeskSession) -> list[list[dict[str, Any] | None]]:
    """A row per height, a station per azimuth; None where there is no wall."""
    now, design = desk.now, desk.design
    texts: dict[tuple[int, int], list[str]] = {}
    doubted: dict[tuple[int, int], list[bool]] = {}
    unsettled: set[tuple[int, int]] = set()
    if now.readings is not None:
        by_mark = {entry.id: entry for entry in now.entries}
        drawn = design.profile.radius_at(now.readings.height)
        far = np.abs(now.readings.value - drawn) > _FAR * design.repair.tolerance
        places = find_stations(now.board, now.readings.azimuth, now.readings.height)
        for mark, place, off in zip(now.entry_ids, places, far, strict=True):
            if place is not None:
                texts.setdefault(place, []).append(plain(by_mark[mark].as_typed))
                doubted.setdefault(place, []).append(mark in now.outliers)
                if off:
                    unsettled.add(place)
    for entry in now.entries:
        place = _place_of(entry, now, design) if entry.no_access else None
        if place is not None and not entry.withdrawn:
            texts.setdefault(place, []).append(plain(entry.texts[2]))
    stations: list[list[dict[str, Any] | None]] = []
    for row in range(now.board.height.size):
        line: list[dict[str, Any] | None] = []
        for column in range(now.board.azimuth.size):
            place = (row, column)
            if not now.board.requested[place] and place not in texts:
                line.append(None)
                continue
            slip = doubted.get(place, [False])[-1]
            line.append(
                {
                    "read": texts.get(place, []),
                    **_station_words(now.actions, place, slip, design),
                    **_judged(desk, place, slip, far=place in unsettled),
                }
            )
        stations.append(line)
    return stations


def _place_of(
    entry: SheetEntry, now: DeskState, design: Design
) -> tuple[int, int] | None:
    """Row and column of an entry on the board, if it stands on it."""
    place = _parse_place(*entry.texts[:2], design.length_unit)
    return None if place is None else find_station(now.board, *place)


def _parse_place(
    azimuth_text: str, height_text: str, unit: str
) -> tuple[float, float] | None:
    """Azimuth, degrees, and height, mm, if they can be read."""
    try:
        azimuth, height = (
            parse_number(text, decimal_comma="." not in text)
            for text in (azimuth_text, height_text)
        )
    except ValueError:
        return None
    return azimuth, to_mm(height, unit)


def _station_words(
    actions: StationActions | None, place: tuple[int, int], slip: bool, design: Design
) -> dict[str, Any]:
    """Call and cut-back of a station, in words."""
    station = None if actions is None else actions.station(*place)
    if station is None:
        return {"call": "measure again", "word": _AGAIN} if slip else {}
    action, cutback = station
    action = "measure again" if slip else action
    return {
        "call": action,
        "word": ACTION_STYLES[action].word,
        "cutback": say_cutback(cutback.value, design),
        "between": say_span(cutback.low95, cutback.high95, design),
        "mm": round(cutback.value, 2),
        "sd": round(cutback.sd, 2),
    }


def say_cutback(mm: float, design: Design) -> str:
    """How far the wall is off its drawing, in words.

    ``cut back 1 1/4 in (32 mm)``, ``stands proud 3/8 in (10 mm)``, ``on its drawing``
    """
    unit = design.length_unit
    if say_mark(abs(mm), unit) == say_mark(0.0, unit):
        return "on its drawing"
    side = "cut back" if mm > 0.0 else "stands proud"
    return f"{side} {say_both(abs(mm), unit)}"


def _entries(now: DeskState, design: Design) -> list[dict[str, Any]]:
    return [
        {
            "id": entry.id,
            "azimuth": plain(entry.texts[0]),
            "height": plain(entry.texts[1]),
            "text": plain(entry.as_typed),
            "note": plain(entry.texts[3]),
            "withdrawn": entry.withdrawn,
            "where": _place_words(
                *entry.texts[:2], design.length_unit, design.azimuth_sense
            ),
            "slip": _slip(now, entry, design),
        }
        for entry in now.entries
    ]


def _slip(now: DeskState, entry: SheetEntry, design: Design) -> str:
    """Why a reading was left out of the fit; empty where it was not."""
    rejected = now.outliers.get(entry.id)
    if rejected is None:
        return ""
    return plain(say_rejected(rejected, design.length_unit), most=300)


@lru_cache(maxsize=8192)  # every entry of the sheet, at every change of it
def _place_words(azimuth_text: str, height_text: str, unit: str, sense: Sense) -> str:
    """Where a reading was taken: clock face and height."""
    place = _parse_place(azimuth_text, height_text, unit)
    if place is None:
        return f"{azimuth_text}°, {height_text} {unit}"
    azimuth, height = place
    return f"{clock_face(azimuth, sense)}, {say_setting(height, unit)} {unit}"


def _wall_data(now: DeskState, design: Design) -> str:
    """The unrolled picture's numbers, as `wall_data` packs them."""
    dots: list[tuple[float, float]] = []
    if now.readings is not None:
        azimuth, height = now.readings.azimuth, now.readings.height
        dots = list(zip(azimuth.tolist(), height.tolist(), strict=True))
    if now.actions is None:
        grid = coarse_grid(None, design)
        cutback = sd = np.full(grid.shape, np.nan)
        action = np.full(grid.shape, NO_CALL, dtype=np.int8)
    else:
        grid, action = now.actions.grid, now.actions.action
        cutback, sd = now.actions.cutback, now.actions.sd
    threshold = design.repair.brick_threshold
    view = HeatView.without_zones(
        "", cutback, sd, action, threshold=threshold, dots=dots
    )
    return str(wall_data(design, grid, [view]))
