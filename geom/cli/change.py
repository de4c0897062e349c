"""``daubline change``: what changed from one survey to another."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import add_output

if TYPE_CHECKING:
    from geom.design import Design
    from geom.record.change.result import Change


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "change",
        help="two surveys: what the wall lost and got back",
        description="Compare two surveys of one lining: where wall was lost or put "
        "back, how much, and from what on these surveys can tell it. Writes "
        "change.json, change.nc, change.png and change.html.",
    )
    it.add_argument("design", type=Path, metavar="DESIGN", help="design file (TOML)")
    one = "output folder of a survey, or a survey file of a record"
    it.add_argument(
        "first", type=Path, metavar="FROM", help=f"the survey first made: {one}"
    )
    it.add_argument(
        "last", type=Path, metavar="TO", help=f"the survey last made: {one}"
    )
    add_output(it, title="of the comparison")
    it.add_argument(
        "--json", action="store_true", help="print change.json instead of a summary"
    )
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from rich.console import Console

    from geom.atomic import atomic_directory, check_directory
    from geom.design import load_design

    _refuse_one_survey(asked.first, asked.last)
    check_directory(asked.out, overwrite=asked.overwrite)
    design = load_design(asked.design)
    with Console(stderr=True, quiet=asked.quiet).status("comparing the surveys"):
        from geom.record.change.compare import compare_walls
        from geom.record.store.survey_file import load_wall
        from geom.views.outputs import write_change

        start, end = (load_wall(path, design) for path in (asked.first, asked.last))
        change = compare_walls(start, end, title=asked.title)
        with atomic_directory(asked.out, overwrite=asked.overwrite) as folder:
            write_change(folder, change, design)
    if asked.json:
        from geom.views.outputs import change_document

        print(change_document(change).decode("utf-8"), end="")  # noqa: T201
    elif not asked.quiet:
        _tell(design, change, asked.out)


def _refuse_one_survey(first: Path, last: Path) -> None:
    from geom.errors import InputError

    if first.resolve() == last.resolve():
        raise InputError(
            "is both FROM and TO", file=first, cure="Name two surveys of the lining"
        )


def _tell(design: Design, change: Change, out: Path) -> None:
    """Say the main changes in a few lines on standard output."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    rows = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    rows.add_column(style="bold", no_wrap=True)
    rows.add_column()
    for name, words in change_rows(design, change, out):
        rows.add_row(name, escape(words))
    Console(highlight=False, soft_wrap=True).print(rows)


def change_rows(design: Design, change: Change, out: Path) -> list[tuple[str, str]]:
    """Name and words of each line."""
    from geom.units import say_both
    from geom.views.say import plain, say_litres
    from geom.views.tables.change import net_volume, say_spot, survey_line

    net, side = net_volume(change)
    rows = [
        ("Change", plain(change.title)),
        ("From", survey_line(change.start)),
        ("To", survey_line(change.end)),
        ("Lost", say_litres(change.volume.lost)),
        ("Put back", say_litres(change.volume.restored)),
        (f"{side.capitalize()} on balance", say_litres(net)),
    ]
    for name, spot in (
        ("Greatest loss", change.greatest_loss),
        ("Most put back", change.greatest_gain),
    ):
        rows.append((name, "none shown" if spot is None else say_spot(spot, design)))
    least = say_both(change.detection, design.length_unit, finest=16)
    rows.append(("Told from", f"{least} at any one place, 95 % sure"))
    rows += [("Warning", plain(words, most=600)) for words in change.warnings]
    return [*rows, ("Files", f"{out}: start with change.html")]
