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
    read_readings,
)
from geom.cli.occasions import (
    add_occasion,
    add_to_record,
    refuse_early,
    refuse_half_told,
)

if TYPE_CHECKING:
    from rich.progress import Progress

    from geom.compare import Findings
    from geom.design import Design
    from geom.repair import RepairPackage
    from geom.surface import RadialSurface


_FILES = 9


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "survey",
        help="readings to findings, maps, meshes, report and repair sheet",
        description="Compare readings of a lining with its drawing and write every "
        "finding into a folder.",
    )
    add_inputs(it)
    add_output(it, title="of the survey, e.g. a heat number")
    it.add_argument(
        "--stills",
        action="append",
        default=[],
        choices=("svg", "pdf", "png"),
        help="also write map, sections and the wall in the round for papers, in this "
        "form; may be given several times",
    )
    add_json(it, "findings.json")
    add_cloud_options(it)
    kept = it.add_argument_group(
        "record", "add the survey to the record of its lining, which is started if new"
    )
    kept.add_argument(
        "--record", type=Path, metavar="DIR", help="needs --heat, --date and --stage"
    )
    add_occasion(kept, required=False)
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design

    _refuse_past_as_out(asked.past, asked.out)
    refuse_half_told(asked)
    check_directory(asked.out, overwrite=asked.overwrite)
    design = load_design(asked.design)
    if asked.record is not None:
        refuse_early(asked, design)
    with progress_bar(asked.quiet) as bar:
        task = bar.add_task("reading", total=4 + _FILES)

        def tick(next_up: str) -> None:
            bar.update(task, advance=1, description=next_up)

        readings = read_readings(asked.readings, design, asked)
        past = past_prior(asked.past, design)
        tick("fitting the wall")
        from geom.surface import reconstruct

        def tell(next_up: str) -> None:
            bar.update(task, description=next_up)

        surface = reconstruct(
            readings, design, past=past, tick=tell, cluster=asked.cluster
        )
        tick("comparing with the drawing")
        from geom.compare import assess

        findings = assess(surface, design, title=asked.title)
        tick("planning the repair")
        from geom.repair import prepare_repair

        works = prepare_repair(surface, findings, design)
        tick("writing files")
        from geom.views import write_files
        from geom.views.charts.stills import write_stills

        with atomic_directory(asked.out, overwrite=asked.overwrite) as folder:
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
                folder, readings, surface, findings, forms=asked.stills, tick=tell
            )
    if asked.record is not None:
        add_to_record(asked)
    if asked.json:
        print_file(asked.out / "findings.json")
    elif not asked.quiet:
        _print_summary(design, surface, findings, works, asked.out)


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


def _print_summary(
    design: Design,
    surface: RadialSurface,
    findings: Findings,
    works: RepairPackage,
    out: Path,
) -> None:
    """Say the main findings in a few lines on standard output."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from geom.views.tables.survey import terminal_rows

    rows = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    rows.add_column(style="bold", no_wrap=True)
    rows.add_column()
    for name, words in terminal_rows(design, surface, findings, works, out):
        rows.add_row(name, escape(words))
    Console(highlight=False, soft_wrap=True).print(rows)
