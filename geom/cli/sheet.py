"""``daubline sheet``: a blank rod sheet with the stations of a survey."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_design,
    add_folder,
    number_between,
    print_lines,
)

if TYPE_CHECKING:
    from geom.design import Design
    from geom.sampling.plan import SamplingPlan

_AZIMUTHS, _HEIGHTS, _STATIONS = (4, 72), (2, 60), (1, 50)
_USUAL_COUNT = 5


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "sheet",
        help="a blank rod sheet to print and to fill in",
        description="Choose the stations of a survey and write a blank rod sheet: "
        "rod-sheet.pdf to print and take along, rod-sheet.xlsx to type the readings "
        "into, which survey reads.",
    )
    add_design(parser)
    add_folder(parser)
    parser.add_argument("--title", default="", metavar="TEXT", help="of the survey")
    parser.add_argument(
        "--azimuths",
        type=number_between(*_AZIMUTHS),
        metavar="N",
        help="how many, evenly round (default: about every 30 degrees, on the rod's "
        "steps)",
    )
    parser.add_argument(
        "--heights",
        type=number_between(*_HEIGHTS),
        metavar="N",
        help="how many, twice as close over the melting zone as elsewhere (default: "
        "every 150 mm there, 300 mm elsewhere, and beside corners of the profile)",
    )
    parser.add_argument(
        "--columns",
        action="store_true",
        help="the same azimuths on every row (default: rows are turned against each "
        "other, so that upright streaks are met, and stand close to sills and lips of "
        "the tuyeres)",
    )
    parser.add_argument(
        "--from",
        dest="readings",
        type=Path,
        nargs="+",
        default=[],
        metavar="READINGS",
        help="rod sheets read so far: instead of the whole wall, the stations that "
        "would tell most, as next lists them",
    )
    parser.add_argument(
        "--count",
        type=number_between(*_STATIONS),
        metavar="K",
        help=f"with --from: how many stations (default {_USUAL_COUNT})",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design
    from geom.views.names import SHEET_FILES

    _refuse_both(options)
    check_directory(options.out, overwrite=options.overwrite, ours=SHEET_FILES)
    design = load_design(options.design)
    from geom.views.outputs import refuse_filled_in, write_rod_sheet

    refuse_filled_in(options.out)
    plan = _second(options, design) if options.readings else _first(options, design)
    with atomic_directory(
        options.out, overwrite=options.overwrite, ours=SHEET_FILES
    ) as folder:
        write_rod_sheet(folder, design, plan, title=options.title)
    _print_summary(design, plan, options.out)


def _refuse_both(options: argparse.Namespace) -> None:
    from geom.errors import InputError

    if options.count is not None and not options.readings:
        raise InputError(
            "--count is for a second climb",
            cure="Name the readings with --from, or use --heights and --azimuths",
        )
    if options.readings and (options.heights or options.azimuths or options.columns):
        raise InputError(
            "--heights, --azimuths and --columns are for a sheet of the whole wall",
            cure="Leave them out, or leave out --from",
        )


def _first(options: argparse.Namespace, design: Design) -> SamplingPlan:
    from geom.errors import InputError
    from geom.sampling.plan import initial_plan

    try:
        return initial_plan(
            design,
            azimuths=options.azimuths,
            heights=options.heights,
            columns=options.columns,
        )
    except InputError as fault:
        raise fault.at(file=options.design) from fault


def _second(options: argparse.Namespace, design: Design) -> SamplingPlan:
    from rich.console import Console

    from geom.errors import InputError
    from geom.readings import load_readings
    from geom.sampling.plan import follow_up_plan
    from geom.sampling.stations import next_stations, rod_only

    readings = load_readings(options.readings, design)
    rod_only(readings)
    with Console(stderr=True).status("fitting the wall and weighing stations"):
        from geom.surface import reconstruct

        surface = reconstruct(readings, design)
        try:
            count = options.count or _USUAL_COUNT
            advice = next_stations(surface, readings, count=count)
        except InputError as fault:
            raise fault.at(file=options.design) from fault
    return follow_up_plan(design, advice)


def _print_summary(design: Design, plan: SamplingPlan, out: Path) -> None:
    from geom.views.names import PAPER, WORKBOOK
    from geom.views.say import plain

    rows, columns = plan.requested.shape
    what = f"{plan.count} stations"
    if not plan.second:
        what += f" at {rows} heights and {columns} azimuths, clear of openings"
        if plan.staggered:
            what += ", rows turned against each other"
    print_lines(
        [
            f"Rod sheet: {plain(design.name)}: {what}",
            f"Print {out / PAPER}; type the readings into {out / WORKBOOK}",
            "Caution: nobody climbs in before the cautions on page 1 are met",
        ]
    )
