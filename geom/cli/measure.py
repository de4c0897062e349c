"""Before a wall is measured and meanwhile.

``design``, ``check``, ``next``, ``sheet`` and ``desk``.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli import inputs
from geom.errors import InputError, errors_at
from geom.views.names import PAPER, SHEET_FILES, WORKBOOK

if TYPE_CHECKING:
    from geom.design import Design
    from geom.desk.server import RequestGuard
    from geom.desk.session import DeskSession
    from geom.readings import RodReadings
    from geom.sampling.plan import SamplingPlan
    from geom.sampling.stations import Advice, Aim

#: Stations that are listed unless a number is given, and the most there can be.
_USUAL_COUNT, _MOST_STATIONS = 5, 50
_AZIMUTHS, _HEIGHTS = (4, 72), (2, 60)
#: Always the same one, so that a page that is open finds the desk again.
_PORT, _MOST_PORT = 8417, 65535


#: Of a new design file: what is asked, how it is answered, and the usual answer.
_QUESTIONS: dict[str, tuple[str, str, str]] = {
    "name": ("name of the lining", "Cupola 3", ""),
    "unit": ("unit of all lengths", "in, mm, cm or m", ""),
    "azimuth_zero": ("what azimuth 0, 12 on the clock, looks at", "tap hole", ""),
    "azimuth_sense": (
        "which way azimuth grows, seen from above",
        "clockwise or counterclockwise",
        "",
    ),
    "height_zero": ("what heights count from", "bottom plate", ""),
    "profile": (
        "hot face as drawn, bottom up, radius at height",
        "18 at 0, 18 at 72, 19 at 72, 19 at 96",
        "",
    ),
    "shell": ("radius of the steel, inside", "27", ""),
    "tuyeres": ("how many tuyeres, evenly round", "6", "0"),
    "tuyere": (
        "a tuyere: width x tall at height of its centre, hour of the first",
        "5 x 3 1/2 at 26, 1",
        "",
    ),
    "tap_hole": ("tap hole: width x tall at height, hour", "3 x 3 at 6, 12", ""),
    "slag_hole": ("slag hole: width x tall at height, hour", "2 x 2 at 17, 6", ""),
    "datum_band": ("band of wall known to be sound, two heights", "84 to 96", ""),
}


def add_design_file(commands: Any) -> None:
    """Add ``daubline design``: a new design file from a dozen answers."""
    parser = inputs.add_command(
        commands,
        "design",
        _design,
        help="a new design file, asked for question by question",
        description="Write a new design file with comments, and a picture of its "
        "profile. What no option says is asked at the terminal.",
    )
    parser.add_argument(
        "--new", type=Path, required=True, metavar="FILE.toml", help="the design file"
    )
    for key, (text, example, usual) in _QUESTIONS.items():
        more = f"; default {usual}" if usual else ""
        parser.add_argument(
            f"--{key.replace('_', '-')}",
            metavar="TEXT",
            help=f"{text}, as {example!r}{more}",
        )
    parser.add_argument(
        "--overwrite", action="store_true", help="put it in the place of FILE.toml"
    )


def _design(options: argparse.Namespace) -> None:
    from geom.design.template import design_text

    path: Path = options.new
    picture = path.with_suffix(".png")
    if path.suffix != ".toml":
        cure = f"Name it {path.stem}.toml"
        raise InputError("a design file ends in .toml", file=path, cure=cure)
    _refuse_there([path, picture], overwrite=options.overwrite)
    answers: dict[str, str] = {}
    for key in _QUESTIONS:
        given = getattr(options, key)
        ask = given is None and sys.stdin.isatty()
        if key == "tuyere" and answers["tuyeres"] == "0":
            ask = False
        answers[key] = _ask(key) if ask else given or _QUESTIONS[key][2]
    text = design_text(answers)
    with tempfile.TemporaryDirectory() as folder:
        from geom.design import load_design

        made = Path(folder) / path.name
        made.write_text(text, "utf-8")
        try:
            design = load_design(made)
        except InputError as fault:
            raise InputError(fault.what, place=fault.place, cure=fault.cure) from None
    from geom.views.charts.sections import drawn_wall

    _write(path, text.encode("utf-8"))
    _write(picture, drawn_wall(design))
    inputs.print_lines(
        [
            f"Design: {path}. Look at it, and at {picture}, before it is used",
            f"Then: daubline sheet {path} --out DIR, for a rod sheet to fill in",
        ]
    )


def _ask(key: str) -> str:
    """An answer typed at the terminal; asked again until it is one."""
    from geom.design.template import ANSWERS, NEEDED

    text, example, usual = _QUESTIONS[key]
    leave = usual or ("" if key in NEEDED else "none")
    more = f"; Enter: {leave}" if leave else ""
    while True:
        answer = input(f"{text} (for example {example}{more}): ").strip() or usual
        if not answer and key not in NEEDED:
            return ""
        try:
            ANSWERS[key](answer)
        except InputError as fault:
            print(fault, file=sys.stderr)
            continue
        return answer


def _refuse_there(paths: list[Path], *, overwrite: bool) -> None:
    for path in paths:
        if path.exists() and not overwrite:
            cure = "Name another file, or add --overwrite"
            raise InputError("is there already", file=path, cure=cure)


def _write(path: Path, content: bytes) -> None:
    from geom.atomic import atomic_write

    try:
        atomic_write(path, content)
    except OSError as fault:
        cure = "Name a file in a folder that is there and may be written"
        raise InputError("cannot be written", file=path, cure=cure) from fault


#: More faults than these are counted only.
_MOST_FAULTS = 50


def add_check(commands: Any) -> None:
    """Add ``daubline check``: all that is wrong with a drawing and its sheets."""
    parser = inputs.add_command(
        commands,
        "check",
        _check,
        help="all that is wrong with a design file and rod sheets, and a picture",
        description="Read a design file and rod sheets of it, say all that is wrong "
        "with them at once, and draw profile and stations as far as they can be read.",
    )
    inputs.add_design(parser)
    parser.add_argument(
        "readings", type=Path, nargs="*", metavar="READINGS", help="rod sheets"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.png",
        help="the picture (default: named after DESIGN, here, and drawn anew)",
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="put it in the place of FILE.png"
    )


def _check(options: argparse.Namespace) -> None:
    from geom.design.file import design_faults
    from geom.readings.load import reading_faults

    picture = options.out or Path(f"{options.design.stem}-check.png")
    if picture.suffix != ".png":
        raise InputError("a picture ends in .png", file=picture)
    _refuse_there([picture], overwrite=options.overwrite or options.out is None)
    design, faults = design_faults(options.design)
    lines: list[str] = []
    readings, more = reading_faults(options.readings, design)
    faults += more
    if design is not None:
        from geom.views.charts.sections import drawn_wall

        _write(picture, drawn_wall(design, readings if options.readings else None))
        lines = [*_say_drawing(design, readings), f"Picture: {picture}"]
    inputs.print_lines(lines)
    for fault in faults[:_MOST_FAULTS]:
        print(f"daubline: {fault}", file=sys.stderr)
    if faults:
        what = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        if len(faults) > _MOST_FAULTS:
            what += f", the first {_MOST_FAULTS} of them above"
        raise InputError(what, cure="Mend what is named, and check again")
    inputs.print_lines(["Nothing is wrong that can be seen from here."])


def _say_drawing(design: Design, readings: RodReadings) -> list[str]:
    """What was read, shortly, to be held against the paper."""
    from geom.units import say_both
    from geom.views.say import count_of, plain, say_heights, say_sense

    profile = design.profile
    low, high = float(profile.radius.min()), float(profile.radius.max())
    unit, tuyeres = design.length_unit, len(design.tuyeres)
    radius = say_both(low, unit) if low == high else say_heights(low, high, design)
    lines = [
        f"Design: {plain(design.name)}: heights "
        f"{say_heights(profile.bottom, profile.top, design)}, radius {radius}, "
        f"{count_of(tuyeres, 'tuyere')}, "
        f"{count_of(len(design.openings) - tuyeres, 'hole')}",
        say_sense(design),
    ]
    if len(readings):
        shut = readings.no_access.azimuth.size
        lines.append(
            f"Readings: {len(readings)} ({', '.join(readings.kinds)}) at "
            f"{len(set(readings.height.round(3)))} heights"
            + (f"; {count_of(shut, 'station')} without access" if shut else "")
        )
    return lines


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
        "every 150 mm there, 300 mm elsewhere, and next to corners of the profile)",
    )
    parser.add_argument(
        "--columns",
        action="store_true",
        help="the same azimuths on every row (default: rows are turned against each "
        "other, so that upright streaks are met, and stand close to sills and lips of "
        "the tuyeres)",
    )
    parser.add_argument(
        "--readings",
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
        help=f"with --readings: how many stations (default {_USUAL_COUNT})",
    )


def _sheet(options: argparse.Namespace) -> None:
    from geom.design import load_design

    _refuse_both(options)
    inputs.check_out(options, SHEET_FILES)
    design = load_design(options.design)
    from geom.views.outputs import refuse_filled_in, write_rod_sheet

    refuse_filled_in(options.out)
    plan = _plan(options, design)
    write_rod_sheet(
        options.out, design, plan, title=options.title, overwrite=options.overwrite
    )
    _print_plan(design, plan, options.out)


def _refuse_both(options: argparse.Namespace) -> None:
    if options.count is not None and not options.readings:
        raise InputError(
            "--count is for a second climb",
            cure="Name them with --readings, or use --heights and --azimuths",
        )
    if options.readings and (options.heights or options.azimuths or options.columns):
        raise InputError(
            "--heights, --azimuths and --columns are for a sheet of the whole wall",
            cure="Leave them out, or leave out --readings",
        )


def _plan(options: argparse.Namespace, design: Design) -> SamplingPlan:
    from geom.sampling.plan import plan_next_stations, plan_stations

    if options.readings:
        count = options.count or _USUAL_COUNT
        advice, _ = _weigh_stations(options, design, count=count, past=[])
        return plan_next_stations(design, advice)
    with errors_at(file=options.design):
        return plan_stations(
            design,
            azimuths=options.azimuths,
            heights=options.heights,
            columns=options.columns,
        )


def _print_plan(design: Design, plan: SamplingPlan, out: Path) -> None:
    from geom.sampling.plan import rows_short
    from geom.views.say import plain
    from geom.views.tables.stations import say_rows_short

    rows, columns = plan.requested.shape
    what = f"{plan.count} stations"
    if not plan.second:
        what += f" at {rows} heights and {columns} azimuths, clear of openings"
        if plan.staggered:
            what += ", rows turned against each other"
    short = rows_short(design, plan)
    inputs.print_lines(
        [
            f"Rod sheet: {plain(design.name)}: {what}",
            *([] if short is None else [say_rows_short(short, design.length_unit)]),
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
    parser.add_argument(
        "--recheck",
        type=Path,
        metavar="DIR",
        help="after a repair: output folder of the survey before it, to tell while "
        "you read whether the wall is back on its drawing",
    )


_KEPT = "Every reading that was kept is in"
_NOT_BEGUN = "No reading was typed: there is no sheet"


def _desk(options: argparse.Namespace) -> None:
    from geom.desk.server import need_server, run_desk

    need_server()
    from geom.design import load_design

    if options.recheck and options.past:
        raise InputError(
            "--recheck judges by the readings alone",
            cure="Leave out --past, or leave out --recheck",
        )
    past = inputs.past_prior(options.past, load_design(options.design))
    try:
        run_desk(
            options.design,
            options.sheet,
            past=past,
            before=options.recheck,
            host=options.host,
            port=options.port,
            opened=_print_address,
        )
    except KeyboardInterrupt:
        kept = options.sheet.exists()
        print(f"Closed. {_KEPT if kept else _NOT_BEGUN} {options.sheet}")


def _print_address(desk: DeskSession, address: str, guard: RequestGuard) -> None:
    from geom.views.say import count_of, plain

    readings = count_of(len(desk.now.entry_ids), "reading")
    inputs.print_lines([f"Desk: {plain(desk.design.name)}: {readings}"])
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
