"""``daubline recheck``: is the repaired wall back on its drawing."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_cloud_options,
    add_json,
    add_output,
    print_file,
    read_readings,
)

if TYPE_CHECKING:
    from geom.design import Design
    from geom.repair.acceptance.result import Recheck


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "recheck",
        help="after the repair: is the wall back on its drawing",
        description="Judge readings of the repaired wall against its drawing, level by "
        "level and zone by zone of the survey before, tell what was put in, and write "
        "recheck.json and certificate.pdf.",
    )
    it.add_argument("design", type=Path, metavar="DESIGN", help="design file (TOML)")
    it.add_argument(
        "readings",
        type=Path,
        nargs="+",
        metavar="READINGS",
        help="of the repaired wall: rod sheets and point clouds, as for survey",
    )
    it.add_argument(
        "--before",
        type=Path,
        required=True,
        metavar="DIR",
        help="output folder of the survey before the repair",
    )
    add_output(it, title="of the recheck")
    add_json(it, "recheck.json")
    add_cloud_options(it)
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design
    from geom.readings.surveys import load_survey_before

    check_directory(asked.out, overwrite=asked.overwrite)
    design = load_design(asked.design)
    before = load_survey_before(asked.before, design)
    readings = read_readings(asked.readings, design, asked)
    with Console(stderr=True, quiet=asked.quiet).status("fitting the repaired wall"):
        from geom.compare import assess
        from geom.repair.acceptance.recheck import recheck
        from geom.surface import reconstruct

        surface = reconstruct(readings, design, cluster=asked.cluster)
        findings = assess(surface, design, title=asked.title)
        found = recheck(before, surface, findings, design)
        from geom.views.outputs import write_recheck

        with atomic_directory(asked.out, overwrite=asked.overwrite) as folder:
            write_recheck(folder, found, design)
    if asked.json:
        print_file(asked.out / "recheck.json")
    elif not asked.quiet:
        _tell(design, found, asked.out)


def _tell(design: Design, found: Recheck, out: Path) -> None:
    from rich.console import Console

    from geom.views.say import plain
    from geom.views.tables.recheck import VERDICTS, material_lines, verdict_lines

    console = Console(highlight=False, soft_wrap=True, markup=False)
    console.print(f"Recheck: {plain(design.name)}: {VERDICTS[found.verdict]}")
    for line in verdict_lines(found, design) + material_lines(found, design):
        console.print(line)
    for words in found.warnings:
        console.print(f"Warning: {words}")
    console.print(f"Files: {out}: print certificate.pdf and have it signed")
    console.print("Caution: back on its drawing is not safe to run; see the cautions")
