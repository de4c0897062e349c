"""Before and while a wall is measured: ``next``, ``sheet`` and ``desk``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli import inputs
from geom.errors import InputError, errors_at
from geom.views.names import PAPER, SHEET_FILES, WORKBOOK

if TYPE_CHECKING:
    from geom.design import Design
    from geom.desk.server import RequestGuard
    from geom.desk.session import DeskSession
    from geom.sampling.plan import SamplingPlan
    from geom.sampling.stations import Advice, Aim

#: Stations that are listed unless a number is given, and the most there can be.
_USUAL_COUNT, _MOST_STATIONS = 5, 50
_AZIMUTHS, _HEIGHTS = (4, 72), (2, 60)
#: Always the same one, so that a page that is open finds the desk again.
_PORT, _MOST_PORT = 8417, 65535


def add_next(commands: Any) -> None:
    """Add ``daubline next``: where to measure next."""
    parser = inputs.add_command(
        commands,
        "next",
        _next,
        help="where to measure next",
        description="List the stations which, added to what is read, would make the "
        "repair most certain. Writes no file.",
    )
    inputs.add_inputs(parser)
    parser.add_argument(
        "--count",
        type=inputs.number_between(1, _MOST_STATIONS),
        default=_USUAL_COUNT,
        metavar="K",
        help=f"how many stations, 1 to {_MOST_STATIONS} (default {_USUAL_COUNT})",
    )
    parser.add_argument(
        "--for",
        dest="aim",
        choices=("volume", "brick"),
        default="volume",
        help="what is to become certain: the rebuild volume (default), or where brick "
        "is needed",
    )
    inputs.add_json(parser)


def _next(options: argparse.Namespace) -> None:
    from geom.design import load_design

    design = load_design(options.design)
    advice, readings = _weigh_stations(
        options, design, count=options.count, aim=options.aim, past=options.past
    )
    if options.json:
        from geom.views.documents import stations_document

        inputs.print_document(stations_document(design, advice, readings))
    else:
        _print_stations(design, advice, readings, options.count)


def _weigh_stations(
    options: argparse.Namespace,
    design: Design,
    *,
    count: int,
    aim: Aim = "volume",
    past: list[Path],
) -> tuple[Advice, int]:
    """The stations that would tell most, and how many readings there are so far."""
    from geom.readings import load_readings
    from geom.readings.load import is_cloud
    from geom.sampling.stations import cloud_error, next_stations, rod_only

    for name in map(str, options.readings):
        if is_cloud(name):
            raise cloud_error(name)
    readings = load_readings(options.readings, design)
    rod_only(readings)
    with inputs.waiting("fitting the wall and weighing stations"):
        from geom.surface import reconstruct

        surface = reconstruct(readings, design, past=inputs.past_prior(past, design))
        with errors_at(file=options.design):
            advice = next_stations(surface, readings, count=count, aim=aim)
    return advice, len(readings)


def _print_stations(design: Design, advice: Advice, readings: int, count: int) -> None:
    from geom.views.cautions import CAUTIONS
    from geom.views.tables.stations import (
        station_heading,
        station_lines,
        station_remark,
        station_rows,
    )

    inputs.print_lines(station_lines(design, advice, readings))
    if advice.stations:
        inputs.print_table(station_heading(advice), station_rows(design, advice))
        inputs.print_lines([station_remark(design, advice)])
    if len(advice.stations) < count:
        inputs.print_lines(["No further single reading is expected to help."])
    inputs.print_lines([f"Caution: {' '.join(CAUTIONS)}"])


def add_sheet(commands: Any) -> None:
    """Add ``daubline sheet``: a blank rod sheet with the stations of a survey."""
    parser = inputs.add_command(
        commands,
        "sheet",
        _sheet,
        help="a blank rod sheet to print and to fill in",
        description="Choose the stations of a survey and write a blank rod sheet: "
        "rod-sheet.pdf to print and take along, rod-sheet.xlsx to type the readings "
        "into, which survey reads.",
    )
    inputs.add_design(parser)
    inputs.add_folder(parser)
    parser.add_argument("--title", default="", metavar="TEXT", help="of the survey")
    parser.add_argument(
        "--azimuths",
        type=inputs.number_between(*_AZIMUTHS),
        metavar="N",
        help="how many, evenly round (default: about every 30 degrees, on the rod's "
        "steps)",
    )
    parser.add_argument(
        "--heights",
        type=inputs.number_between(*_HEIGHTS),
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
        type=inputs.number_between(1, _MOST_STATIONS),
        metavar="K",
        help=f"with --from: how many stations (default {_USUAL_COUNT})",
    )


def _sheet(options: argparse.Namespace) -> None:
    from geom.design import load_design

    _refuse_both(options)
    inputs.check_out(options, SHEET_FILES)
    design = load_design(options.design)
    from geom.views.outputs import refuse_filled_in, write_rod_sheet

    refuse_filled_in(options.out)
    plan = _plan(options, design)
    with inputs.write_out(options, SHEET_FILES) as folder:
        write_rod_sheet(folder, design, plan, title=options.title)
    _print_plan(design, plan, options.out)


def _refuse_both(options: argparse.Namespace) -> None:
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


def _plan(options: argparse.Namespace, design: Design) -> SamplingPlan:
    from geom.sampling.plan import follow_up_plan, initial_plan

    if options.readings:
        count = options.count or _USUAL_COUNT
        advice, _ = _weigh_stations(options, design, count=count, past=[])
        return follow_up_plan(design, advice)
    with errors_at(file=options.design):
        return initial_plan(
            design,
            azimuths=options.azimuths,
            heights=options.heights,
            columns=options.columns,
        )


def _print_plan(design: Design, plan: SamplingPlan, out: Path) -> None:
    from geom.views.say import plain

    rows, columns = plan.requested.shape
    what = f"{plan.count} stations"
    if not plan.second:
        what += f" at {rows} heights and {columns} azimuths, clear of openings"
        if plan.staggered:
            what += ", rows turned against each other"
    inputs.print_lines(
        [
            f"Rod sheet: {plain(design.name)}: {what}",
            f"Print {out / PAPER}; type the readings into {out / WORKBOOK}",
            "Caution: nobody climbs in before the cautions on page 1 are met",
        ]
    )


def add_desk(commands: Any) -> None:
    """Add ``daubline desk``: readings typed at the furnace, the wall following."""
    parser = inputs.add_command(
        commands,
        "desk",
        _desk,
        help="a page to type readings into, the calls following",
        description="Open a page on this machine where rod readings are typed as they "
        "are taken. Each is kept in the sheet at once; the wall and the calls follow. "
        "survey reads the sheet as it is. Ctrl-C ends it.",
    )
    inputs.add_design(parser)
    parser.add_argument(
        "--sheet",
        type=Path,
        required=True,
        metavar="FILE.csv",
        help="rod sheet that is written, made if new and continued if there",
    )
    parser.add_argument(
        "--port",
        type=inputs.number_between(0, _MOST_PORT),
        default=_PORT,
        metavar="N",
        help=f"of the address (default {_PORT}); 0: any that is free",
    )
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        metavar="HOST",
        help="address to stand at (default 127.0.0.1: this machine only); with "
        "another, anybody on that network can write into the sheet",
    )
    inputs.add_past(
        parser, "output folder of an earlier survey of this lining, as for survey"
    )


def _desk(options: argparse.Namespace) -> None:
    from geom.desk.server import need_server

    need_server()
    from geom.design import load_design
    from geom.desk.server import RequestGuard, open_listener, serve
    from geom.desk.session import DeskSession

    design = load_design(options.design)
    past = inputs.past_prior(options.past, design)
    desk = DeskSession(design, options.design, options.sheet, past=past)
    listener = open_listener(options.host, options.port)
    guard = RequestGuard.of(listener, options.host)
    try:
        _print_address(desk, listener, guard)
        serve(desk, listener, guard)
    except KeyboardInterrupt:
        print(f"Closed. Every reading that was kept is in {options.sheet}")
    finally:
        listener.close()


def _print_address(desk: DeskSession, listener: Any, guard: RequestGuard) -> None:
    from geom.desk.server import address_of
    from geom.views.say import count_of, plain

    readings = count_of(len(desk.now.entry_ids), "reading")
    inputs.print_lines([f"Desk: {plain(desk.design.name)}: {readings}"])
    address = address_of(listener, guard)
    if not guard.local:
        inputs.print_lines(
            [
                f"Warning: --host {guard.host}: whoever has the address below can read "
                "and write this sheet from that network. Nothing is encrypted."
            ]
        )
        if sys.stdout.isatty():
            import segno

            segno.make(address, micro=False).terminal(compact=True)
    inputs.print_lines(
        [
            "Caution: nobody climbs in before the cautions on the page are met",
            f"Open {address} in a browser; Ctrl-C ends it",
        ]
    )
