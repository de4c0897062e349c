"""``daubline sheet``: a blank rod sheet with the stations of a survey."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geom.design import Design
    from geom.sampling.plan import Climb

_AZIMUTHS, _HEIGHTS, _STATIONS = (4, 72), (2, 60), (1, 50)
_USUAL_COUNT = 5


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "sheet",
        help="a blank rod sheet to print and to fill in",
        description="Choose the stations of a survey and write a blank rod sheet: "
        "rod-sheet.pdf to print and take along, rod-sheet.xlsx to type the readings "
        "into, which survey reads.",
    )
    it.add_argument("design", type=Path, metavar="DESIGN", help="design file (TOML)")
    it.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="made if new"
    )
    it.add_argument("--overwrite", action="store_true", help="allow a DIR with files")
    it.add_argument("--title", default="", metavar="TEXT", help="of the survey")
    it.add_argument(
        "--azimuths",
        type=_between(*_AZIMUTHS),
        metavar="N",
        help="how many, evenly round (default: about every 30 degrees, on the rod's "
        "steps)",
    )
    it.add_argument(
        "--heights",
        type=_between(*_HEIGHTS),
        metavar="N",
        help="how many, twice as close over the melting zone as elsewhere (default: "
        "every 150 mm there, 300 mm elsewhere, and beside corners of the profile)",
    )
    it.add_argument(
        "--from",
        dest="readings",
        type=Path,
        nargs="+",
        default=[],
        metavar="READINGS",
        help="rod sheets read so far: instead of the whole wall, the stations that "
        "would tell most, as next lists them",
    )
    it.add_argument(
        "--count",
        type=_between(*_STATIONS),
        metavar="K",
        help=f"with --from: how many stations (default {_USUAL_COUNT})",
    )
    it.set_defaults(run=run)


def _between(low: int, high: int) -> Callable[[str], int]:
    def count(text: str) -> int:
        if not (text.isascii() and text.isdigit() and low <= int(text[:9]) <= high):
            raise argparse.ArgumentTypeError(
                f"{text!r} is not a number from {low} to {high}"
            )
        return int(text)

    return count


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design

    _refuse_both(asked)
    check_directory(asked.out, overwrite=asked.overwrite)
    design = load_design(asked.design)
    from geom.views.outputs import refuse_written_on, write_rod_sheet

    refuse_written_on(asked.out)
    climb = _second(asked, design) if asked.readings else _first(asked, design)
    with atomic_directory(asked.out, overwrite=asked.overwrite) as folder:
        write_rod_sheet(folder, design, climb, title=asked.title)
    _tell(design, climb, asked.out)


def _refuse_both(asked: argparse.Namespace) -> None:
    from geom.errors import InputError

    if asked.count is not None and not asked.readings:
        raise InputError(
            "--count is for a second climb",
            cure="Name the readings with --from, or use --heights and --azimuths",
        )
    if asked.readings and (asked.heights or asked.azimuths):
        raise InputError(
            "--heights and --azimuths are for a sheet of the whole wall",
            cure="Leave them out, or leave out --from",
        )


def _first(asked: argparse.Namespace, design: Design) -> Climb:
    from geom.errors import InputError
    from geom.sampling.plan import first_climb

    try:
        return first_climb(design, azimuths=asked.azimuths, heights=asked.heights)
    except InputError as fault:
        raise fault.at(file=asked.design) from fault


def _second(asked: argparse.Namespace, design: Design) -> Climb:
    from rich.console import Console

    from geom.errors import InputError
    from geom.readings import load_readings
    from geom.sampling.plan import second_climb
    from geom.sampling.stations import next_stations, rod_only

    readings = load_readings(asked.readings, design)
    rod_only(readings)
    with Console(stderr=True).status("fitting the wall and weighing stations"):
        from geom.surface import reconstruct

        surface = reconstruct(readings, design)
        try:
            count = asked.count or _USUAL_COUNT
            advice = next_stations(surface, readings, count=count)
        except InputError as fault:
            raise fault.at(file=asked.design) from fault
    return second_climb(design, advice)


def _tell(design: Design, climb: Climb, out: Path) -> None:
    from rich.console import Console

    from geom.views.outputs import PAPER, WORKBOOK
    from geom.views.say import plain

    rows, columns = climb.asked.shape
    what = f"{climb.count} stations"
    if not climb.second:
        what += f" at {rows} heights and {columns} azimuths, clear of openings"
    console = Console(highlight=False, soft_wrap=True, markup=False)
    console.print(f"Rod sheet: {plain(design.name)}: {what}")
    console.print(f"Print {out / PAPER}; type the readings into {out / WORKBOOK}")
    console.print("Caution: nobody climbs in before the cautions on page 1 are met")
