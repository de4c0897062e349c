"""``daubline change``: what changed from one survey to another."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from geom.cli.inputs import (
    add_design,
    add_json,
    add_output,
    print_document,
    print_rows,
)


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "change",
        help="two surveys: what the wall lost and got back",
        description="Compare two surveys of one lining: where wall was lost or put "
        "back, how much, and from what on these surveys can tell it. Writes "
        "change.json, change.nc, change.png and change.html.",
    )
    add_design(parser)
    survey = "output folder of a survey, or a survey file of a record"
    parser.add_argument(
        "first", type=Path, metavar="FROM", help=f"the survey first made: {survey}"
    )
    parser.add_argument(
        "last", type=Path, metavar="TO", help=f"the survey last made: {survey}"
    )
    add_output(parser, title="of the comparison")
    add_json(parser, "change.json")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design
    from geom.views.names import CHANGE_FILES

    _refuse_one_survey(options.first, options.last)
    check_directory(options.out, overwrite=options.overwrite, ours=CHANGE_FILES)
    design = load_design(options.design)
    with Console(stderr=True, quiet=options.quiet).status("comparing the surveys"):
        from geom.record.change.compare import compare_walls
        from geom.record.store.survey_file import load_wall
        from geom.views.outputs import write_change

        start, end = (load_wall(path, design) for path in (options.first, options.last))
        change = compare_walls(start, end, title=options.title)
        with atomic_directory(
            options.out, overwrite=options.overwrite, ours=CHANGE_FILES
        ) as folder:
            write_change(folder, change, design)
    if options.json:
        from geom.views.documents import change_document

        print_document(change_document(change, design))
    elif not options.quiet:
        from geom.views.tables.change import terminal_rows

        print_rows(terminal_rows(change, design, options.out))


def _refuse_one_survey(first: Path, last: Path) -> None:
    from geom.errors import InputError

    if first.resolve() == last.resolve():
        raise InputError(
            "is both FROM and TO", file=first, cure="Name two surveys of the lining"
        )
