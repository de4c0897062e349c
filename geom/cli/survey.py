"""``daubline survey``: readings to findings and files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_cloud_options,
    add_inputs,
    add_json,
    add_output,
    past_prior,
    print_file,
    print_rows,
    read_readings,
)
from geom.cli.occasions import (
    add_occasion,
    add_to_record,
    refuse_before_work,
    refuse_incomplete_occasion,
)
from geom.views.names import FILES, STILL_FORMS, SURVEYED

if TYPE_CHECKING:
    from rich.progress import Progress


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "survey",
        help="readings to findings, maps, meshes, report and repair sheet",
        description="Compare readings of a lining with its drawing and write every "
        "finding into a folder.",
    )
    add_inputs(parser)
    add_output(parser, title="of the survey, e.g. a heat number")
    parser.add_argument(
        "--stills",
        action="append",
        default=[],
        choices=STILL_FORMS,
        help="also write map, sections and the wall in the round for papers, in this "
        "form; may be given several times",
    )
    add_json(parser, "findings.json")
    add_cloud_options(parser)
    group = parser.add_argument_group(
        "record", "add the survey to the record of its lining, which is started if new"
    )
    group.add_argument(
        "--record", type=Path, metavar="DIR", help="needs --heat, --date and --stage"
    )
    add_occasion(group, required=False)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design

    _refuse_past_as_out(options.past, options.out)
    refuse_incomplete_occasion(options)
    check_directory(options.out, overwrite=options.overwrite, ours=SURVEYED)
    design = load_design(options.design)
    if options.record is not None:
        refuse_before_work(options, design)
    with progress_bar(options.quiet) as bar:
        task = bar.add_task("reading", total=4 + len(FILES))

        def tick(next_up: str) -> None:
            bar.update(task, advance=1, description=next_up)

        readings = read_readings(options.readings, design, options)
        past = past_prior(options.past, design)
        tick("fitting the wall")
        from geom.surface import reconstruct

        def describe(next_up: str) -> None:
            bar.update(task, description=next_up)

        surface = reconstruct(
            readings, design, past=past, tick=describe, cluster=options.cluster
        )
        tick("comparing with the drawing")
        from geom.compare import assess

        findings = assess(surface, design, title=options.title)
        tick("planning the repair")
        from geom.repair import prepare_repair

        works = prepare_repair(surface, findings, design)
        tick("writing files")
        from geom.views.charts.stills import write_stills
        from geom.views.outputs import write_files

        with atomic_directory(
            options.out, overwrite=options.overwrite, ours=SURVEYED
        ) as folder:
            write_files(
                folder,
                design=design,
                readings=readings,
                surface=surface,
                findings=findings,
                works=works,
                tick=tick,
            )
            write_stills(
                folder, readings, surface, findings, forms=options.stills, tick=describe
            )
    if options.record is not None:
        add_to_record(options)
    if options.json:
        print_file(options.out / "findings.json")
    elif not options.quiet:
        from geom.views.tables.survey import terminal_rows

        print_rows(terminal_rows(design, surface, findings, works, options.out))


def _refuse_past_as_out(folders: list[Path], out: Path) -> None:
    from geom.errors import InputError

    if out.resolve() in [folder.resolve() for folder in folders]:
        raise InputError(
            "is both --out and --past: the past survey would be lost", file=out
        )


def progress_bar(quiet: bool) -> Progress:
    """What is being done and how far it is, on standard error; gone when it ends."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    return Progress(
        TextColumn("{task.description:<28}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=quiet,
    )
