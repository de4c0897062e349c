"""``daubline next``: where to measure next."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import add_inputs, past_prior

if TYPE_CHECKING:
    from geom.design import Design
    from geom.sampling.stations import Advice, Aim

_MOST = 50

_NOW: dict[Aim, str] = {
    "volume": "Standard uncertainty of the rebuild volume",
    "brick": "Area where it is not settled whether brick is needed",
}
_AFTER: dict[Aim, str] = {
    "volume": "uncertainty once read",
    "brick": "not settled once read",
}


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "next",
        help="where to measure next",
        description="List the stations which, added to what is read, would make the "
        "repair most certain. Writes no file.",
    )
    add_inputs(it)
    it.add_argument(
        "--count",
        type=_count,
        default=5,
        metavar="K",
        help=f"how many stations, 1 to {_MOST} (default 5)",
    )
    it.add_argument(
        "--for",
        dest="aim",
        choices=("volume", "brick"),
        default="volume",
        help="what is to become certain: the rebuild volume (default), or where brick "
        "is needed",
    )
    it.add_argument("--json", action="store_true", help="print JSON, for machines")
    it.set_defaults(run=run)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= _MOST):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from 1 to {_MOST}")
    return int(text)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.design import load_design
    from geom.errors import InputError
    from geom.readings import load_readings

    design = load_design(asked.design)
    readings = load_readings(asked.readings, design)
    from geom.sampling.stations import next_stations, rod_only

    rod_only(readings)
    with Console(stderr=True).status("fitting the wall and weighing stations"):
        from geom.surface import reconstruct

        surface = reconstruct(readings, design, past=past_prior(asked.past, design))
        try:
            advice = next_stations(surface, readings, count=asked.count, aim=asked.aim)
        except InputError as fault:
            raise fault.at(file=asked.design) from fault
    if asked.json:
        print(_document(design, advice, len(readings)))  # noqa: T201
    else:
        _print_table(design, advice, f"{len(readings)} readings", asked.count)


def _print_table(design: Design, advice: Advice, read: str, count: int) -> None:
    from rich.console import Console
    from rich.table import Table

    from geom.views.cautions import CAUTIONS
    from geom.views.say import plain

    console = Console(highlight=False, soft_wrap=True, markup=False)
    console.print(f"Measure next: {plain(design.name)} ({read})")
    console.print(f"{_NOW[advice.aim]} now: {_amount(advice.aim, advice.now)}")
    if advice.stations:
        rows = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
        for heading in ("", "clock", "azimuth", "height", _AFTER[advice.aim]):
            rows.add_column(heading, no_wrap=True)
        for row in _rows(design, advice):
            rows.add_row(*row)
        console.print(rows)
        console.print(_remark(design, advice))
    if len(advice.stations) < count:
        console.print("No further single reading is expected to help.")
    console.print(f"Caution: {' '.join(CAUTIONS)}")


def _rows(design: Design, advice: Advice) -> list[tuple[str, ...]]:
    from geom.frame import clock_face
    from geom.units import say_both

    return [
        (
            str(rank),
            clock_face(station.azimuth, design.azimuth_sense),
            f"{station.azimuth:.5g} deg",
            say_both(station.height, design.length_unit)
            + (", again" if station.again else ""),
            _amount(advice.aim, station.after),
        )
        for rank, station in enumerate(advice.stations, 1)
    ]


def _amount(aim: Aim, value: float) -> str:
    """Say a volume or an area in metric and in the foundry's feet."""
    from geom.units import CUBIC_FOOT, LITRE, SQUARE_FOOT, SQUARE_METRE
    from geom.views.say import figures

    if aim == "volume":
        litres, feet = figures(value / LITRE), figures(value / CUBIC_FOOT)
        return f"{litres} litres ({feet} cu ft)"
    metres, feet = figures(value / SQUARE_METRE), figures(value / SQUARE_FOOT)
    return f"{metres} sq m ({feet} sq ft)"


def _remark(design: Design, advice: Advice) -> str:
    from geom.views.say import plain

    return (
        f"Clock seen from above, {plain(design.azimuth_zero, most=60)} at 12 o'clock; "
        f"heights above the {plain(design.height_zero, most=60)}. Each row is foretold "
        "for its reading and those of the rows above it, of a radius, with a standard "
        f"uncertainty of {advice.reading_sd:.1f} mm like the readings so far."
    )


def _document(design: Design, advice: Advice, count: int) -> str:
    """Write it as JSON; m3 or m2, mm, degrees."""
    import json

    from geom._version import __version__
    from geom.views.cautions import CAUTIONS

    size = 1e-9 if advice.aim == "volume" else 1e-6
    stations = [
        {
            "rank": rank,
            "azimuth": station.azimuth,
            "height": station.height,
            "again": station.again,
            "after": station.after * size,
        }
        for rank, station in enumerate(advice.stations, 1)
    ]
    told = {
        "schema": "daubline.next/1",
        "lining": design.name,
        "version": __version__,
        "for": advice.aim,
        "unit": "m3" if advice.aim == "volume" else "m2",
        "readings": count,
        "reading_sd": advice.reading_sd,
        "now": advice.now * size,
        "stations": stations,
        "caution": " ".join(CAUTIONS),
    }
    return json.dumps(told, indent=1, ensure_ascii=False)
