"""Where to measure next, in rows for people and as a document for machines."""

from __future__ import annotations

import json

from geom._version import __version__
from geom.design import Design
from geom.frame import clock_face
from geom.sampling.stations import Advice, Aim
from geom.units import (
    CUBIC_FOOT,
    LITRE,
    SQUARE_FOOT,
    SQUARE_METRE,
    say_both,
)
from geom.views.cautions import CAUTIONS
from geom.views.say import figures, plain

_NOW: dict[Aim, str] = {
    "volume": "Standard uncertainty of the rebuild volume",
    "brick": "Area where it is not settled whether brick is needed",
}
_AFTER: dict[Aim, str] = {
    "volume": "uncertainty once read",
    "brick": "not settled once read",
}


def station_lines(design: Design, advice: Advice, readings: int) -> list[str]:
    """What stands over the rows: which lining, and how uncertain it is now."""
    lines = [
        f"Measure next: {plain(design.name)} ({readings} readings)",
        f"{_NOW[advice.aim]} now: {_amount(advice.aim, advice.now)}",
    ]
    if advice.unread:
        lines.append("Wall that nobody has read counts in it, as it is expected to be.")
    return lines


def station_heading(advice: Advice) -> tuple[str, ...]:
    """Headings of `station_rows`."""
    return "", "clock", "azimuth", "height", _AFTER[advice.aim]


def station_rows(design: Design, advice: Advice) -> list[tuple[str, ...]]:
    """Rank, clock, azimuth, height and what is left once it is read."""
    return [
        (
            str(rank),
            clock_face(station.azimuth, design.azimuth_sense),
            f"{station.azimuth:.5g} deg",
            say_both(station.height, design.length_unit)
            + (", again" if station.is_repeat else ""),
            _amount(advice.aim, station.after),
        )
        for rank, station in enumerate(advice.stations, 1)
    ]


def _amount(aim: Aim, value: float) -> str:
    """Say a volume or an area in metric and in the foundry's feet."""
    if aim == "volume":
        litres, feet = figures(value / LITRE), figures(value / CUBIC_FOOT)
        return f"{litres} litres ({feet} cu ft)"
    metres, feet = figures(value / SQUARE_METRE), figures(value / SQUARE_FOOT)
    return f"{metres} sq m ({feet} sq ft)"


def station_remark(design: Design, advice: Advice) -> str:
    """How the rows are read, and what reading they are foretold for."""
    return (
        f"Clock seen from above, {plain(design.azimuth_zero, most=60)} at 12 o'clock; "
        f"heights above the {plain(design.height_zero, most=60)}. Each row is foretold "
        "for its reading and those of the rows above it, of a radius, with a standard "
        f"uncertainty of {advice.reading_sd:.1f} mm like the readings so far."
    )


def stations_document(design: Design, advice: Advice, count: int) -> str:
    """The ``daubline.next/1`` document as JSON; m3 or m2, mm, degrees."""
    size = 1e-9 if advice.aim == "volume" else 1e-6
    stations = [
        {
            "rank": rank,
            "azimuth": station.azimuth,
            "height": station.height,
            "again": station.is_repeat,
            "after": station.after * size,
        }
        for rank, station in enumerate(advice.stations, 1)
    ]
    document = {
        "schema": "daubline.next/1",
        "lining": design.name,
        "version": __version__,
        "for": advice.aim,
        "unit": "m3" if advice.aim == "volume" else "m2",
        "readings": count,
        "reading_sd": advice.reading_sd,
        "now": advice.now * size,
        "unread": advice.unread,
        "stations": stations,
        "caution": " ".join(CAUTIONS),
    }
    return json.dumps(document, indent=1, ensure_ascii=False)
