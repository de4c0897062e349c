"""``daubline wear``: how a lining wears, heat after heat, and how long it lasts."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import add_json, add_output, add_records, print_lines

if TYPE_CHECKING:
    from geom.record.store.store import Record
    from geom.record.study import Wear


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "wear",
        help="how fast a lining wears, where, and for how many heats it lasts",
        description="Study the wear of a campaign from its record: rates per heat, "
        "hour and tonne, steps, one-sided wear, heats until limits are passed, and "
        "maps of wear cell by cell. Writes wear.json, wear.nc and what people look at.",
    )
    add_records(
        parser,
        "folder of a record; each of several furnaces gets a folder of its own",
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
    add_json(parser, "wear.json")
    add_output(parser, title="of the study")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.views.names import WEAR_FILES

    with Console(stderr=True, quiet=options.quiet).status("opening the record") as wait:
        from geom.record.store.store import open_record

        records = [open_record(folder) for folder in options.records]
        targets = _targets(options.out, records)
        for target in targets:
            check_directory(target, overwrite=options.overwrite, ours=WEAR_FILES)
        from geom.record.study import study
        from geom.views.outputs import write_wear_files

        def tick(words: str) -> None:
            wait.update(f"studying wear: {words}")

        studies = [
            study(
                record,
                campaign=options.campaign,
                title=options.title,
                cluster=options.cluster,
                tick=tick,
            )
            for record in records
        ]
        for wear, record, target in zip(studies, records, targets, strict=True):
            with atomic_directory(
                target, overwrite=options.overwrite, ours=WEAR_FILES
            ) as folder:
                write_wear_files(folder, wear, record, tick)
    if options.json:
        _print_json(studies, records)
    elif not options.quiet:
        for wear, record, target in zip(studies, records, targets, strict=True):
            _print_summary(wear, record, target)


def _targets(out: Path, records: list[Record]) -> list[Path]:
    """Where each record's files go: each of several has a folder of its own."""
    from geom.errors import InputError

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


def _print_json(studies: list[Wear], records: list[Record]) -> None:
    """One document, or a list of them."""
    from geom.views.documents import wear_document

    texts = [
        wear_document(wear, record.design).decode("utf-8").rstrip()
        for wear, record in zip(studies, records, strict=True)
    ]
    text = texts[0] if len(texts) == 1 else f"[{', '.join(texts)}]"
    print(text)  # noqa: T201


def _print_summary(wear: Wear, record: Record, out: Path) -> None:
    """Say the main things in a few lines on standard output."""
    from geom.views.tables.wear import summary_lines

    files = f"Files: {out}: start with wear.html"
    print_lines([*summary_lines(wear, record.design), files])
