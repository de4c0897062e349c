"""``daubline recheck``: is the repaired wall back on its drawing."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_cloud_options,
    add_design,
    add_json,
    add_output,
    add_readings,
    print_file,
    print_lines,
    read_readings,
)

if TYPE_CHECKING:
    from geom.design import Design
    from geom.repair.acceptance.result import Recheck


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "recheck",
        help="after the repair: is the wall back on its drawing",
        description="Judge readings of the repaired wall against its drawing, level by "
        "level and zone by zone of the survey before, tell what was put in, and write "
        "recheck.json and certificate.pdf.",
    )
    add_design(parser)
    add_readings(
        parser, "of the repaired wall: rod sheets and point clouds, as for survey"
    )
    parser.add_argument(
        "--before",
        type=Path,
        required=True,
        metavar="DIR",
        help="output folder of the survey before the repair",
    )
    add_output(parser, title="of the recheck")
    add_json(parser, "recheck.json")
    add_cloud_options(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design
    from geom.readings.surveys import load_survey_before
    from geom.views.names import RECHECK_FILES

    check_directory(options.out, overwrite=options.overwrite, ours=RECHECK_FILES)
    design = load_design(options.design)
    before = load_survey_before(options.before, design)
    readings = read_readings(options.readings, design, options)
    with Console(stderr=True, quiet=options.quiet).status("fitting the repaired wall"):
        from geom.compare import assess
        from geom.repair.acceptance.recheck import recheck
        from geom.surface import reconstruct

        surface = reconstruct(
            readings, design, repaired=before, cluster=options.cluster
        )
        findings = assess(surface, design, title=options.title)
        result = recheck(before, surface, findings, design)
        from geom.views.outputs import write_recheck

        with atomic_directory(
            options.out, overwrite=options.overwrite, ours=RECHECK_FILES
        ) as folder:
            write_recheck(folder, result, design)
    if options.json:
        print_file(options.out / "recheck.json")
    elif not options.quiet:
        _print_summary(design, result, options.out)


def _print_summary(design: Design, result: Recheck, out: Path) -> None:
    from geom.views.say import plain
    from geom.views.tables.recheck import VERDICTS, material_lines, verdict_lines

    print_lines(
        [
            f"Recheck: {plain(design.name)}: {VERDICTS[result.verdict]}",
            *verdict_lines(result, design),
            *material_lines(result, design),
            *(f"Warning: {words}" for words in result.warnings),
            f"Files: {out}: print certificate.pdf and have it signed",
            "Caution: back on its drawing is not safe to run; see the cautions",
        ]
    )
