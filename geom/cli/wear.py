"""Heat after heat: ``change`` of two surveys, ``wear``, and two ``campaigns``."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli import inputs
from geom.cli.console import print_json
from geom.errors import InputError
from geom.views.names import CAMPAIGN_FILES, CHANGE_FILES, WEAR_FILES

if TYPE_CHECKING:
    from geom.record.campaigns.compare import Comparison
    from geom.record.store.store import Record


def add_change(commands: Any) -> None:
    """Add ``daubline change``: what changed from one survey to another."""
    parser = inputs.add_command(
        commands,
        "change",
        _change,
        help="two surveys: what the wall lost and got back",
        description="Compare two surveys of one lining: where wall was lost or put "
        "back, how much, and from what on these surveys can tell it. Writes "
        "change.json, change.nc, change.png and change.html.",
    )
    inputs.add_design(parser)
    survey = "output folder of a survey, or a survey file of a record"
    parser.add_argument(
        "first", type=Path, metavar="FROM", help=f"the survey first made: {survey}"
    )
    parser.add_argument(
        "last", type=Path, metavar="TO", help=f"the survey last made: {survey}"
    )
    inputs.add_output(parser, title="of the comparison")
    inputs.add_json(parser, "change.json")


def _change(options: argparse.Namespace) -> None:
    from geom.design import load_design

    if options.first.resolve() == options.last.resolve():
        raise InputError(
            "is both FROM and TO",
            file=options.first,
            cure="Name two surveys of the lining",
        )
    inputs.check_out(options, CHANGE_FILES)
    design = load_design(options.design)
    with inputs.waiting("comparing the surveys", quiet=options.quiet):
        from geom.record.change.compare import compare_surveys
        from geom.views.outputs import write_change

        change = compare_surveys(
            options.first, options.last, design, title=options.title
        )
        write_change(options.out, change, design, overwrite=options.overwrite)
    if options.json:
        inputs.print_file(options.out / "change.json")
    elif not options.quiet:
        from geom.views.tables.change import terminal_rows

        inputs.print_rows(terminal_rows(change, design, options.out))


def add_wear(commands: Any) -> None:
    """Add ``daubline wear``: how a lining wears, and how long it lasts."""
    parser = inputs.add_command(
        commands,
        "wear",
        _wear,
        help="how fast a lining wears, where, and for how many heats it lasts",
        description="Study the wear of a campaign from its record: rates per heat, "
        "hour and tonne, steps, one-sided wear, heats until limits are passed, and "
        "maps of wear cell by cell. Writes wear.json, wear.nc and what people look at.",
    )
    inputs.add_records(
        parser, "folder of a record; each of several furnaces gets a folder of its own"
    )
    parser.add_argument(
        "--campaign", metavar="NAME", help="which campaign (default: the latest)"
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="sum the surveys on the workers of this Dask scheduler, which must find "
        "the record under the same name; local: on workers of this machine",
    )
    inputs.add_json(parser, "wear.json")
    inputs.add_output(parser, title="of the study")


def _wear(options: argparse.Namespace) -> None:
    from geom.parallel import second_process
    from geom.views.drawn import get_ready_for_wear

    with (
        second_process() as second,
        inputs.waiting("opening the record", quiet=options.quiet) as wait,
    ):
        second.begin(get_ready_for_wear, None)
        from geom.record.store.store import open_record

        records = [open_record(folder) for folder in options.records]
        targets = _targets(options.out, records)
        for target in targets:
            inputs.check_out(options, WEAR_FILES, target)
        from geom.record.study import study_wear
        from geom.views.outputs import write_wear
        from geom.views.pages.wear_pictures import BegunPages

        pages = [
            BegunPages(record, record.of_campaign(options.campaign), second)
            for record in records
        ]

        def tick(words: str) -> None:
            wait.update(f"studying wear: {words}")

        studies = [
            study_wear(
                record,
                campaign=options.campaign,
                title=options.title,
                cluster=options.cluster,
                tick=tick,
                show=begun.draw,
            )
            for record, begun in zip(records, pages, strict=True)
        ]
        for wear, record, target, begun in zip(
            studies, records, targets, pages, strict=True
        ):
            write_wear(
                target,
                wear,
                record,
                begun=begun,
                overwrite=options.overwrite,
                tick=tick,
            )
    if options.json:
        _print_json(targets)
    elif not options.quiet:
        from geom.views.tables.wear import summary_lines

        for wear, record, target in zip(studies, records, targets, strict=True):
            inputs.print_lines(summary_lines(wear, record.design))
            inputs.print_lines([f"Files: {target}: start with wear.html"])


def _targets(out: Path, records: list[Record]) -> list[Path]:
    """Where each record's files go: each of several has a folder of its own."""
    if len(records) == 1:
        return [out]
    names = [_as_folder(record.design.name) for record in records]
    for k, name in enumerate(names):
        if name in names[:k]:
            raise InputError(
                f"is of a lining called as that of {records[names.index(name)].folder}",
                file=records[k].folder,
                cure="Study records of one lining by themselves",
            )
    return [out / name for name in names]


def _as_folder(lining: str) -> str:
    """Letters, digits and hyphens only.

    Examples
    --------
    >>> _as_folder("Cupola No. 2 (north)")
    'cupola-no-2-north'
    """
    return re.sub(r"\W+", "-", lining.casefold()).strip("-_") or "lining"


def _print_json(folders: list[Path]) -> None:
    """One document, or a list of them."""
    texts = [(folder / "wear.json").read_text("utf-8").rstrip() for folder in folders]
    print_json((texts[0] if len(texts) == 1 else f"[{', '.join(texts)}]") + "\n")


def add_campaigns(commands: Any) -> None:
    """Add ``daubline campaigns``: one campaign of a furnace against another."""
    parser = inputs.add_command(
        commands,
        "campaigns",
        _campaigns,
        help="two campaigns: which wears the wall less, and where",
        description="Compare the wear of two campaigns of one record, or of two "
        "records of linings of one drawing: per tonne, hour or heat, level by level "
        "and side by side, and what their repairs took. Writes campaigns.json and "
        "campaigns.html.",
    )
    inputs.add_records(
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
    inputs.add_output(parser, title="of the comparison")
    inputs.add_json(parser, "campaigns.json")


def _campaigns(options: argparse.Namespace) -> None:

    if len(options.records) > 2:
        raise InputError(
            f"{len(options.records)} records were named, not one or two",
            cure="Compare two at a time",
        )
    inputs.check_out(options, CAMPAIGN_FILES)
    with inputs.waiting("comparing campaigns", quiet=options.quiet) as wait:
        from geom.record.campaigns.compare import compare_campaigns
        from geom.record.store.store import open_record
        from geom.views.outputs import write_campaigns

        records = [open_record(folder) for folder in options.records]
        comparison = compare_campaigns(
            (records[0], options.first),
            (records[-1], options.second),
            by=options.by,
            title=options.title,
            tick=lambda words: wait.update(f"comparing campaigns: {words}"),
        )
        write_campaigns(options.out, comparison, overwrite=options.overwrite)
    if options.json:
        inputs.print_file(options.out / "campaigns.json")
    elif not options.quiet:
        _print_comparison(comparison, options.out)


def _print_comparison(comparison: Comparison, out: Path) -> None:
    from geom.views.tables.campaigns import comparison_cautions, headline

    inputs.print_lines(
        [
            headline(comparison),
            *(f"Mind: {words}." for words in comparison_cautions(comparison)),
            f"Files: {out}: start with campaigns.html",
        ]
    )
