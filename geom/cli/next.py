"""``daubline next``: where to measure next."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_inputs,
    add_json,
    number_between,
    past_prior,
    plain_console,
)

if TYPE_CHECKING:
    from geom.design import Design
    from geom.sampling.stations import Advice

_MOST = 50


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "next",
        help="where to measure next",
        description="List the stations which, added to what is read, would make the "
        "repair most certain. Writes no file.",
    )
    add_inputs(parser)
    parser.add_argument(
        "--count",
        type=number_between(1, _MOST),
        default=5,
        metavar="K",
        help=f"how many stations, 1 to {_MOST} (default 5)",
    )
    parser.add_argument(
        "--for",
        dest="aim",
        choices=("volume", "brick"),
        default="volume",
        help="what is to become certain: the rebuild volume (default), or where brick "
        "is needed",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.design import load_design
    from geom.errors import InputError
    from geom.readings import load_readings

    design = load_design(options.design)
    readings = load_readings(options.readings, design)
    from geom.sampling.stations import next_stations, rod_only

    rod_only(readings)
    with Console(stderr=True).status("fitting the wall and weighing stations"):
        from geom.surface import reconstruct

        surface = reconstruct(readings, design, past=past_prior(options.past, design))
        try:
            advice = next_stations(
                surface, readings, count=options.count, aim=options.aim
            )
        except InputError as fault:
            raise fault.at(file=options.design) from fault
    if options.json:
        from geom.views.tables.stations import stations_document

        print(stations_document(design, advice, len(readings)))  # noqa: T201
    else:
        _print_table(design, advice, len(readings), options.count)


def _print_table(design: Design, advice: Advice, readings: int, count: int) -> None:
    from rich.table import Table

    from geom.views.cautions import CAUTIONS
    from geom.views.tables.stations import (
        station_heading,
        station_lines,
        station_remark,
        station_rows,
    )

    console = plain_console()
    for line in station_lines(design, advice, readings):
        console.print(line)
    if advice.stations:
        table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
        for heading in station_heading(advice):
            table.add_column(heading, no_wrap=True)
        for row in station_rows(design, advice):
            table.add_row(*row)
        console.print(table)
        console.print(station_remark(design, advice))
    if len(advice.stations) < count:
        console.print("No further single reading is expected to help.")
    console.print(f"Caution: {' '.join(CAUTIONS)}")
