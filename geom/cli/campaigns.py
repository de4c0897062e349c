"""``daubline campaigns``: one campaign of a furnace against another."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import add_output

if TYPE_CHECKING:
    from geom.record.campaigns.compare import Comparison


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "campaigns",
        help="two campaigns: which wears the wall less, and where",
        description="Compare the wear of two campaigns of one record, or of two "
        "records of linings of one drawing: per tonne, hour or heat, level by level "
        "and side by side, and what their repairs took. Writes campaigns.json and "
        "campaigns.html.",
    )
    it.add_argument(
        "records",
        type=Path,
        nargs="+",
        metavar="RECORD",
        help="folder of a record; two where the second campaign is of another",
    )
    it.add_argument(
        "--first", required=True, metavar="NAME", help="campaign to measure against"
    )
    it.add_argument(
        "--second", required=True, metavar="NAME", help="the other campaign"
    )
    it.add_argument(
        "--by",
        choices=("tonne", "hour", "heat"),
        default="tonne",
        help="what wear is divided by: tonnes of iron melted (default), hours on "
        "blast, heats",
    )
    add_output(it, title="of the comparison")
    it.add_argument(
        "--json", action="store_true", help="print campaigns.json instead of a summary"
    )
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.errors import InputError

    if len(asked.records) > 2:
        raise InputError(
            f"{len(asked.records)} records were named, not one or two",
            cure="Compare two at a time",
        )
    check_directory(asked.out, overwrite=asked.overwrite)
    with Console(stderr=True, quiet=asked.quiet).status("comparing campaigns") as wait:
        from geom.record.campaigns.compare import compare_campaigns
        from geom.record.store.store import open_record
        from geom.views.outputs import campaigns_document, write_campaigns

        records = [open_record(folder) for folder in asked.records]
        told = compare_campaigns(
            (records[0], asked.first),
            (records[-1], asked.second),
            by=asked.by,
            title=asked.title,
            tick=lambda words: wait.update(f"comparing campaigns: {words}"),
        )
        with atomic_directory(asked.out, overwrite=asked.overwrite) as folder:
            write_campaigns(folder, told)
    if asked.json:
        print(campaigns_document(told).decode("utf-8"), end="")  # noqa: T201
    elif not asked.quiet:
        _tell(told, asked.out)


def _tell(told: Comparison, out: Path) -> None:
    """Say the main differences in a few lines on standard output."""
    from rich.console import Console

    from geom.views.tables.campaigns import headline

    console = Console(highlight=False, soft_wrap=True, markup=False)
    for words in headline(told):
        console.print(words)
    for words in told.cautions:
        console.print(f"Mind: {words}.")
    console.print(f"Files: {out}: start with campaigns.html")
