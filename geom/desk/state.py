"""The state of the desk as the page shows it, in words and numbers, as JSON."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from geom.compare.findings import NO_CALL
from geom.design import Design
from geom.desk.actions import StationActions, coarse_grid, find_station
from geom.desk.entries import SheetEntry
from geom.desk.session import DeskSession, DeskState
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.readings.sheets.plausibility import MAX_RATIO, MIN_RATIO
from geom.sampling.plan import onward_of
from geom.stats.partial_moments import exceedance_probability
from geom.units import parse_number, say_both, say_length, to_mm
from geom.views.charts.colours import ACTION_STYLES
from geom.views.pages.viewer_data import HeatView, wall_data
from geom.views.paper.rod_marks import marks_at, say_mark, say_setting
from geom.views.say import plain

_AGAIN = ACTION_STYLES["measure again"].word


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
        "stations": _stations(now, design),
        "telling": [
            _place(design, station.azimuth, station.height) for station in now.suggested
        ],
        "entries": _entries(now, design),
        "wall": json.loads(_wall_data(now, design)),
    }


def _row(design: Design, height: float) -> dict[str, Any]:
    """A height of the board with what is drawn there."""
    unit = design.length_unit
    drawn = float(design.profile.radius_at(height))
    marks = marks_at(design, height)
    shell = design.shell_radius
    most = MAX_RATIO * drawn if shell is None else shell
    return {
        "text": say_setting(height, unit),
        "mm": round(height, 4),
        "both": say_length(height, "mm"),
        "drawn": marks.drawn,
        "go": marks.go,
        "brick": marks.brick,
        "drawnMm": round(drawn, 4),
        "least": round(MIN_RATIO * drawn, 4),
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


def _stations(now: DeskState, design: Design) -> list[list[dict[str, Any] | None]]:
    """A row per height, a station per azimuth; None where there is no wall."""
    texts: dict[tuple[int, int], list[str]] = {}
    doubted: dict[tuple[int, int], list[bool]] = {}
    if now.readings is not None:
        by_mark = {entry.id: entry for entry in now.entries}
        places = zip(now.readings.azimuth, now.readings.height, strict=True)
        for mark, (azimuth, height) in zip(now.entry_ids, places, strict=True):
            place = find_station(now.board, float(azimuth), float(height))
            if place is not None:
                texts.setdefault(place, []).append(plain(by_mark[mark].texts[2]))
                doubted.setdefault(place, []).append(mark in now.outliers)
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
                }
            )
        stations.append(line)
    return stations


def _place_of(
    entry: SheetEntry, now: DeskState, design: Design
) -> tuple[int, int] | None:
    """Row and column of an entry on the board, if it stands on it."""
    try:
        azimuth, height = (
            parse_number(text, decimal_comma="." not in text)
            for text in entry.texts[:2]
        )
    except ValueError:
        return None
    return find_station(now.board, azimuth, to_mm(height, design.length_unit))


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
        "between": say_between(cutback, design),
        "mm": round(cutback.value, 2),
        "sd": round(cutback.sd, 2),
    }


def say_cutback(mm: float, design: Design) -> str:
    """How far the wall is off its drawing, in words.

    Examples
    --------
    ``cut back 1 1/4 in (32 mm)``, ``stands proud 3/8 in (10 mm)``, ``on its drawing``
    """
    unit = design.length_unit
    if say_mark(abs(mm), unit) == say_mark(0.0, unit):
        return "on its drawing"
    side = "cut back" if mm > 0.0 else "stands proud"
    return f"{side} {say_both(abs(mm), unit)}"


def say_between(cutback: Quantity, design: Design) -> str:
    """The 95 % interval of a cut-back, in the shop's unit; less than 0 stands proud.

    Examples
    --------
    ``1 to 1 1/2 in``
    """
    unit = design.length_unit
    return f"{say_mark(cutback.low95, unit)} to {say_length(cutback.high95, unit)}"


def _entries(now: DeskState, design: Design) -> list[dict[str, Any]]:
    return [
        {
            "id": entry.id,
            "azimuth": plain(entry.texts[0]),
            "height": plain(entry.texts[1]),
            "text": plain(entry.texts[2]),
            "note": plain(entry.texts[3]),
            "withdrawn": entry.withdrawn,
            "where": _entry_place(entry.texts, design),
            "slip": plain(now.outliers.get(entry.id, ""), most=300),
        }
        for entry in now.entries
    ]


def _entry_place(texts: tuple[str, str, str, str], design: Design) -> str:
    """Where a reading was taken: clock face and height."""
    try:
        azimuth, height = (
            parse_number(text, decimal_comma="." not in text) for text in texts[:2]
        )
    except ValueError:
        return f"{texts[0]}°, {texts[1]} {design.length_unit}"
    unit = design.length_unit
    clock = clock_face(azimuth, design.azimuth_sense)
    return f"{clock}, {say_setting(to_mm(height, unit), unit)} {unit}"


def _wall_data(now: DeskState, design: Design) -> str:
    """The unrolled picture's numbers, as `wall_data` packs them."""
    dots = []
    if now.readings is not None:
        places = zip(now.readings.azimuth, now.readings.height, strict=True)
        dots = [(round(float(a), 2), round(float(h), 1)) for a, h in places]
    if now.actions is None:
        grid = coarse_grid(None, design)
        cutback = sd = np.full(grid.shape, np.nan)
        action = np.full(grid.shape, NO_CALL, dtype=np.int8)
    else:
        grid, action = now.actions.grid, now.actions.action
        cutback, sd = now.actions.cutback, now.actions.sd
    view = HeatView(
        name="",
        cutback=cutback,
        sd=sd,
        chance=exceedance_probability(cutback, sd, design.repair.brick_threshold),
        action=action,
        zone=np.zeros(grid.shape, dtype=np.int64),
        zones={},
        dots=dots,
    )
    return str(wall_data(design, grid, [view]))
