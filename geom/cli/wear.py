"""``daubline wear``: how a lining wears, heat after heat, and how long it lasts."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import add_output

if TYPE_CHECKING:
    from geom.record.store.store import Record
    from geom.record.study import Wear


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "wear",
        help="how fast a lining wears, where, and for how many heats it lasts",
        description="Study the wear of a campaign from its record: rates per heat, "
        "hour and tonne, steps, one-sided wear, heats until limits are passed, and "
        "maps of wear cell by cell. Writes wear.json, wear.nc and what people look at.",
    )
    it.add_argument(
        "records",
        type=Path,
        nargs="+",
        metavar="RECORD",
        help="folder of a record; each of several furnaces gets a folder of its own",
    )
    it.add_argument(
        "--campaign", metavar="NAME", help="which campaign (default: the latest)"
    )
    it.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="sum the surveys on the workers of this Dask scheduler, which must find "
        "the record under the same name; local: on workers of this machine",
    )
    it.add_argument(
        "--json", action="store_true", help="print wear.json instead of a summary"
    )
    add_output(it, title="of the study")
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory

    with Console(stderr=True, quiet=asked.quiet).status("opening the record") as wait:
        from geom.record.store.store import open_record

        records = [open_record(folder) for folder in asked.records]
        targets = _targets(asked.out, records)
        for target in targets:
            check_directory(target, overwrite=asked.overwrite)
        from geom.record.study import study
        from geom.views.outputs import write_wear_files

        def tick(words: str) -> None:
            wait.update(f"studying wear: {words}")

        told = [
            study(
                record,
                campaign=asked.campaign,
                title=asked.title,
                cluster=asked.cluster,
                tick=tick,
            )
            for record in records
        ]
        for wear, record, target in zip(told, records, targets, strict=True):
            with atomic_directory(target, overwrite=asked.overwrite) as folder:
                write_wear_files(folder, wear, record, tick)
    if asked.json:
        _print_json(told)
    elif not asked.quiet:
        for wear, record, target in zip(told, records, targets, strict=True):
            _tell(wear, record, target)


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


def _print_json(told: list[Wear]) -> None:
    """One document, or a list of them."""
    from geom.views.outputs import wear_document

    said = [wear_document(wear).decode("utf-8").rstrip() for wear in told]
    text = said[0] if len(said) == 1 else f"[{', '.join(said)}]"
    print(text)  # noqa: T201


def _tell(wear: Wear, record: Record, out: Path) -> None:
    """Say the main things in a few lines on standard output."""
    from rich.console import Console

    from geom.views.tables.wear import summary_lines

    console = Console(highlight=False, soft_wrap=True, markup=False)
    for words in summary_lines(wear, record.design):
        console.print(words)
    console.print(f"Files: {out}: start with wear.html")
