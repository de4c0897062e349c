"""``daubline campaigns``: one campaign of a furnace against another."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_json,
    add_output,
    add_records,
    print_document,
    print_lines,
)

if TYPE_CHECKING:
    from geom.record.campaigns.compare import Comparison


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "campaigns",
        help="two campaigns: which wears the wall less, and where",
        description="Compare the wear of two campaigns of one record, or of two "
        "records of linings of one drawing: per tonne, hour or heat, level by level "
        "and side by side, and what their repairs took. Writes campaigns.json and "
        "campaigns.html.",
    )
    add_records(
        parser, "folder of a record; two where the second campaign is of another"
    )
    parser.add_argument(
        "--first", required=True, metavar="NAME", help="campaign to measure against"
    )
    parser.add_argument(
        "--second", required=True, metavar="NAME", help="the other campaign"
    )
    parser.add_argument(
        "--by",
        choices=("tonne", "hour", "heat"),
        default="tonne",
        help="what wear is divided by: tonnes of iron melted (default), hours on "
        "blast, heats",
    )
    add_output(parser, title="of the comparison")
    add_json(parser, "campaigns.json")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.errors import InputError
    from geom.views.names import CAMPAIGN_FILES

    if len(options.records) > 2:
        raise InputError(
            f"{len(options.records)} records were named, not one or two",
            cure="Compare two at a time",
        )
    check_directory(options.out, overwrite=options.overwrite, ours=CAMPAIGN_FILES)
    with Console(stderr=True, quiet=options.quiet).status(
        "comparing campaigns"
    ) as wait:
        from geom.record.campaigns.compare import compare_campaigns
        from geom.record.store.store import open_record
        from geom.views.documents import campaigns_document
        from geom.views.outputs import write_campaigns

        records = [open_record(folder) for folder in options.records]
        comparison = compare_campaigns(
            (records[0], options.first),
            (records[-1], options.second),
            by=options.by,
            title=options.title,
            tick=lambda words: wait.update(f"comparing campaigns: {words}"),
        )
        with atomic_directory(
            options.out, overwrite=options.overwrite, ours=CAMPAIGN_FILES
        ) as folder:
            write_campaigns(folder, comparison)
    if options.json:
        print_document(campaigns_document(comparison))
    elif not options.quiet:
        _print_summary(comparison, options.out)


def _print_summary(comparison: Comparison, out: Path) -> None:
    """Say the main differences in a few lines on standard output."""
    from geom.views.tables.campaigns import comparison_cautions, headline

    print_lines(
        [
            *headline(comparison),
            *(f"Mind: {words}." for words in comparison_cautions(comparison)),
            f"Files: {out}: start with campaigns.html",
        ]
    )
