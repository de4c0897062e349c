"""One survey: ``survey`` makes it, ``view`` shows it, ``day`` plans its repair.

``recheck`` follows the repair.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli import inputs
from geom.cli.occasion import add_occasion
from geom.cli.record import (
    add_to_record,
    refuse_before_work,
    refuse_incomplete_occasion,
)
from geom.errors import InputError
from geom.views.names import DAY_FILES, FILES, RECHECK_FILES, STILL_FORMS, SURVEYED

if TYPE_CHECKING:
    from geom.design import Design
    from geom.parallel import Second
    from geom.repair import DayPlan
    from geom.repair.acceptance.result import Recheck


def add_survey(commands: Any) -> None:
    """Add ``daubline survey``: readings to findings and files."""
    parser = inputs.add_command(
        commands,
        "survey",
        _survey,
        help="readings to findings, maps, meshes, report and repair sheet",
        description="Compare readings of a lining with its drawing and write every "
        "finding into a folder.",
    )
    inputs.add_inputs(parser)
    inputs.add_output(parser, title="of the survey, e.g. a heat number")
    parser.add_argument(
        "--stills",
        action="append",
        default=[],
        choices=STILL_FORMS,
        help="also write map, sections and the wall in the round for papers, in this "
        "form; may be given several times",
    )
    inputs.add_json(parser, "findings.json")
    inputs.add_cloud_options(parser)
    group = parser.add_argument_group(
        "record", "add the survey to the record of its lining, which is started if new"
    )
    group.add_argument(
        "--record", type=Path, metavar="DIR", help="needs --heat, --date and --stage"
    )
    add_occasion(group, required=False)


def _survey(options: argparse.Namespace) -> None:
    from geom.parallel import second_process
    from geom.views import drawn

    _refuse_past_as_out(options.past, options.out)
    refuse_incomplete_occasion(options)
    inputs.check_out(options, SURVEYED)
    with second_process() as second:
        second.begin(drawn.get_ready, None)
        _survey_drawn_by(second, options)


def _survey_drawn_by(second: Second, options: argparse.Namespace) -> None:
    from geom.design import load_design
    from geom.parallel import give_memory_back
    from geom.views import drawn

    design = load_design(options.design)
    if options.record is not None:
        refuse_before_work(options)
    with inputs.progress_bar(options.quiet) as bar:
        task = bar.add_task("reading", total=4 + len(FILES))

        def tick(next_up: str) -> None:
            bar.update(task, advance=1, description=next_up)

        readings = inputs.read_readings(options.readings, design, options)
        past = inputs.past_prior(options.past, design)
        tick("fitting the wall")
        from geom.surface import reconstruct

        def describe(next_up: str) -> None:
            bar.update(task, description=next_up)

        surface = reconstruct(
            readings, design, past=past, tick=describe, cluster=options.cluster
        )
        tick("comparing with the drawing")
        from geom.compare import assess
        from geom.compare.nodes import forget_nodes

        findings = assess(surface, design, title=options.title)
        give_memory_back()
        wall = drawn.begin_wall(second, readings, surface, findings)
        tick("planning the repair")
        from geom.repair import plan_repair, prepare_repair

        plan = plan_repair(surface, findings, design)
        planned = wall.with_plan(plan)
        works = prepare_repair(surface, findings, design, plan=plan)
        drawings = planned.with_repair(works)
        forget_nodes(surface)
        give_memory_back()
        tick("writing files")
        from geom.views.outputs import write_survey

        write_survey(
            options.out,
            readings,
            surface,
            findings,
            works=works,
            drawings=drawings,
            stills=options.stills,
            overwrite=options.overwrite,
            tick=tick,
        )
    if options.record is not None:
        add_to_record(options)
    if options.json:
        inputs.print_file(options.out / "findings.json")
    elif not options.quiet:
        from geom.views.tables.survey import terminal_rows

        inputs.print_rows(terminal_rows(design, surface, findings, works, options.out))


def _refuse_past_as_out(folders: list[Path], out: Path) -> None:
    if out.resolve() in [folder.resolve() for folder in folders]:
        raise InputError(
            "is both --out and --past: the past survey would be lost", file=out
        )


def add_view(commands: Any) -> None:
    """Add ``daubline view``: the wall in a window of its own."""
    parser = inputs.add_command(
        commands,
        "view",
        _view,
        help="turn the wall in a window: sections, picking, every field",
        description="Open a survey in a window on this machine's screen. Click on the "
        "wall to read off the place; the sliders leave off the top or one half; keys "
        "change what it is coloured by.",
    )
    inputs.add_design(parser)
    parser.add_argument(
        "survey", type=Path, metavar="DIR", help="output folder of daubline survey"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.png",
        help="draw into this file instead, on a machine without a screen",
    )


def _view(options: argparse.Namespace) -> None:
    from geom.design import load_design
    from geom.views.window import draw_window, open_window, refuse_no_screen

    design = load_design(options.design)
    if options.out is not None:
        draw_window(options.survey, design, options.out)
        inputs.print_lines([f"Wrote {options.out}"])
        return
    refuse_no_screen()
    open_window(options.survey, design).plotter.show()


def add_day(commands: Any) -> None:
    """Add ``daubline day``: the day of a repair, step by step."""
    parser = inputs.add_command(
        commands,
        "day",
        _day,
        help="the day of the repair: steps, times, batches, cautions",
        description="Lay out the day of the repair that a survey calls for, from "
        "cooling to kindling: what is done in which order, how long it takes the "
        "crew, when to mix which batch, and what to mind at each step.",
    )
    inputs.add_design(parser)
    parser.add_argument(
        "survey", type=Path, metavar="DIR", help="output folder of daubline survey"
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="write day.pdf there; made if new"
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="allow a DIR with files"
    )
    inputs.add_json(parser)


def _day(options: argparse.Namespace) -> None:
    from geom.design import load_design
    from geom.repair import plan_day

    if options.out is not None:
        inputs.check_out(options, DAY_FILES)
    design = load_design(options.design)
    day = plan_day(options.survey, design)
    if options.out is not None:
        from geom.views.outputs import write_day

        write_day(options.out, day, design, overwrite=options.overwrite)
    if options.json:
        from geom.views.documents import day_document

        inputs.print_document(day_document(day, design))
    else:
        _print_day(day, design)


def _print_day(day: DayPlan, design: Design) -> None:
    from geom.views.cautions import CAUTIONS
    from geom.views.say import plain
    from geom.views.tables.day import batch_rows, day_lines, day_rows

    inputs.print_lines(
        [
            f"Day of the repair: {plain(design.name)}",
            *day_lines(day, design),
            "Steps, in hours and minutes after blast off:",
        ]
    )
    for row in day_rows(day, design):
        amount = f": {row.amount}" if row.amount else ""
        takes = f" ({row.takes})" if row.takes else ""
        inputs.print_lines(
            [
                f"{row.number:>2}. {row.begins:>6}  {row.what}{amount}{takes}",
                f"            Mind: {row.caution}",
            ]
        )
    if day.batches:
        heading = ("Batch", "Layer", "How much", "Mix, h:min", "Used by")
        inputs.print_table(heading, batch_rows(day, design))
    inputs.print_lines([f"Caution: {' '.join(CAUTIONS[:2])}"])


def add_strickle(commands: Any) -> None:
    """Add ``daubline strickle``: a template of the drawn face."""
    parser = inputs.add_command(
        commands,
        "strickle",
        _strickle,
        help="a template of the drawn face, for a sweep board or gauge",
        description="Draw the face between two heights as a template with the rod's "
        "settings on it: PDF (full size on sheets that are joined), SVG or DXF.",
    )
    inputs.add_design(parser)
    for end, words in (("from", "lower"), ("to", "upper")):
        parser.add_argument(
            f"--{end}",
            dest=f"height_{end}",
            required=True,
            metavar="H",
            help=f"{words} height, in the design file's unit",
        )
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="FILE",
        help="ending in .pdf, .svg or .dxf",
    )
    parser.add_argument(
        "--scale", default="1", metavar="1:N", help="of the full size (default 1:1)"
    )
    parser.add_argument(
        "--overwrite", action="store_true", help="put it in the place of FILE"
    )


def _strickle(options: argparse.Namespace) -> None:
    from geom.atomic import atomic_write
    from geom.design import load_design
    from geom.units import to_mm
    from geom.views.paper.strickle import FORMS, strickle_bytes

    forms = {f".{form}": form for form in FORMS}
    form = forms.get(options.out.suffix.lower())
    if form is None:
        cure = "Let its name end in .pdf, .svg or .dxf"
        raise InputError(
            "is no kind of file that is drawn", file=options.out, cure=cure
        )
    if options.out.exists() and not options.overwrite:
        cure = "Name another file, or add --overwrite"
        raise InputError("is there already", file=options.out, cure=cure)
    design = load_design(options.design)
    low, high = (
        to_mm(
            _number(f"--{end}", getattr(options, f"height_{end}")), design.length_unit
        )
        for end in ("from", "to")
    )
    over, _, under = options.scale.replace("/", ":").partition(":")
    parts = [_number("--scale", part) for part in (over, under or "1")]
    if parts[1] <= 0.0:
        raise InputError(f"--scale {options.scale} is none", cure="Write 1:8")
    content = strickle_bytes(design, low, high, form=form, scale=parts[0] / parts[1])
    try:
        atomic_write(options.out, content)
    except OSError as fault:
        cure = "Name a file in a folder that is there and may be written"
        raise InputError("cannot be written", file=options.out, cure=cure) from fault
    inputs.print_lines([f"Strickle: {options.out}. {_SIZE_FIRST}"])


#: What to look at on paper before wood is cut.
_SIZE_FIRST = "Check its size before it is cut out: printers shrink pages"


def _number(option: str, text: str) -> float:
    """A number of the command line, decimal or a trade fraction."""
    from geom.units import parse_number

    try:
        return parse_number(text)
    except ValueError as fault:
        cure = 'Write a number such as 18.5, or a fraction in quotes: "18 1/2"'
        raise InputError(f"{option}: {fault}", cure=cure) from None


def add_recheck(commands: Any) -> None:
    """Add ``daubline recheck``: is the repaired wall back on its drawing."""
    parser = inputs.add_command(
        commands,
        "recheck",
        _recheck,
        help="after the repair: is the wall back on its drawing",
        description="Judge readings of the repaired wall against its drawing, level by "
        "level and zone by zone of the survey before, tell what was put in, and write "
        "recheck.json and certificate.pdf.",
    )
    inputs.add_design(parser)
    inputs.add_readings(
        parser, "of the repaired wall: rod sheets and point clouds, as for survey"
    )
    parser.add_argument(
        "--before",
        type=Path,
        required=True,
        metavar="DIR",
        help="output folder of the survey before the repair",
    )
    inputs.add_output(parser, title="of the recheck")
    inputs.add_json(parser, "recheck.json")
    inputs.add_cloud_options(parser)


def _recheck(options: argparse.Namespace) -> None:
    from geom.design import load_design
    from geom.readings.surveys import load_survey_before

    inputs.check_out(options, RECHECK_FILES)
    design = load_design(options.design)
    before = load_survey_before(options.before, design)
    readings = inputs.read_readings(options.readings, design, options)
    with inputs.waiting("fitting the repaired wall", quiet=options.quiet):
        from geom.compare import assess
        from geom.repair.acceptance.recheck import recheck
        from geom.surface import reconstruct

        surface = reconstruct(
            readings, design, repaired=before, cluster=options.cluster
        )
        findings = assess(surface, design, title=options.title)
        result = recheck(before, surface, findings, design)
        from geom.views.outputs import write_recheck

        write_recheck(options.out, result, design, overwrite=options.overwrite)
    if options.json:
        inputs.print_file(options.out / "recheck.json")
    elif not options.quiet:
        _print_recheck(design, result, options.out)


def _print_recheck(design: Design, result: Recheck, out: Path) -> None:
    from geom.views.say import plain
    from geom.views.tables.recheck import (
        VERDICTS,
        material_lines,
        opening_lines,
        release_words,
        verdict_lines,
    )
    from geom.views.tables.survey import say_diagnostics

    inputs.print_lines(
        [
            f"Recheck: {plain(design.name)}: {VERDICTS[result.verdict]}",
            *verdict_lines(result, design),
            *opening_lines(result, design),
            *material_lines(result, design),
            release_words(result, design),
            *(
                f"Warning: {words}"
                for words in say_diagnostics(result.diagnostics, design)
            ),
            f"Files: {out}: print certificate.pdf and have it signed",
            "Caution: back on its drawing is not safe to run; see the cautions",
        ]
    )
