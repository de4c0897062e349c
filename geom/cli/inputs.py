"""What commands share: options that are declared once, and how they print.

Nothing heavy is imported here, so that ``daubline --help`` answers at once.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Collection, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from geom.cli.console import print_json
from geom.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress
    from rich.status import Status

    from geom.design import Design
    from geom.readings import CloudReadings, RodReadings
    from geom.surface import PastPrior


def add_command(
    commands: Any,
    name: str,
    run: Callable[[argparse.Namespace], None],
    *,
    help: str,
    description: str,
) -> argparse.ArgumentParser:
    """Add a command; ``run`` does it."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help, description=description, allow_abbrev=False
    )
    parser.set_defaults(run=run)
    return parser


def add_design(
    command: argparse.ArgumentParser, words: str = "design file (TOML)"
) -> None:
    """Add DESIGN to a command."""
    command.add_argument("design", type=Path, metavar="DESIGN", help=words)


def add_inputs(command: argparse.ArgumentParser) -> None:
    """Add DESIGN, READINGS and --past to a command."""
    add_design(command)
    add_readings(
        command,
        "rod sheets (CSV, XLSX) and point clouds (XYZ, PLY, LAS, LAZ, E57, NPY); "
        "several are one survey",
    )
    add_past(
        command,
        "output folder of an earlier survey of this lining, whose wear teaches "
        "what to expect between the readings; may be given several times",
    )


def add_readings(command: argparse.ArgumentParser, words: str) -> None:
    """Add READINGS, one or more; ``words`` say what they are."""
    command.add_argument(
        "readings", type=Path, nargs="+", metavar="READINGS", help=words
    )


def add_past(command: argparse.ArgumentParser, words: str) -> None:
    """Add --past, which may be given several times."""
    command.add_argument(
        "--past", type=Path, action="append", default=[], metavar="DIR", help=words
    )


def add_records(command: argparse.ArgumentParser, words: str) -> None:
    """Add RECORD, one or more folders; ``words`` say which."""
    command.add_argument("records", type=Path, nargs="+", metavar="RECORD", help=words)


def add_folder(command: argparse.ArgumentParser) -> None:
    """Add --out and --overwrite."""
    command.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="made if new"
    )
    command.add_argument(
        "--overwrite", action="store_true", help="allow a DIR with files"
    )


def add_output(command: argparse.ArgumentParser, *, title: str) -> None:
    """Add --out, --overwrite, --title and --quiet; ``title`` says what it is of."""
    add_folder(command)
    command.add_argument("--title", metavar="TEXT", help=title)
    add_quiet(command)


def add_quiet(command: argparse.ArgumentParser) -> None:
    """Add --quiet."""
    command.add_argument("--quiet", action="store_true", help="say nothing but errors")


def add_json(command: argparse.ArgumentParser, name: str = "") -> None:
    """Add --json; ``name`` is the document that the command writes, if it does."""
    words = f"print {name} instead of a summary" if name else "print JSON, for machines"
    command.add_argument("--json", action="store_true", help=words)


def number_between(low: int, high: int) -> Callable[[str], int]:
    """Make the reader of an option that is a whole number from ``low`` to ``high``."""

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and low <= int(text[:9]) <= high):
            raise argparse.ArgumentTypeError(
                f"{text!r} is not a number from {low} to {high}"
            )
        return int(text)

    return read


def add_cloud_options(command: argparse.ArgumentParser) -> None:
    """Add what has to be given of point clouds."""
    group = command.add_argument_group("point clouds")
    group.add_argument(
        "--cloud-unit",
        choices=("in", "mm", "cm", "m"),
        help="unit of the clouds; needed unless their files fix it",
    )
    group.add_argument(
        "--azimuth-of-x",
        type=float,
        default=0.0,
        metavar="DEG",
        help="design azimuth that a cloud's +x points at (default 0)",
    )
    group.add_argument(
        "--z-offset",
        type=float,
        default=0.0,
        metavar="Z",
        help="a cloud's z of height zero, in its unit (default 0)",
    )
    group.add_argument(
        "--scanner",
        type=_three_numbers,
        metavar="X,Y,Z",
        help="where the scanner stood, in the cloud's frame and unit",
    )
    group.add_argument(
        "--own-frames",
        action="store_true",
        help="each cloud lies in a frame of its own; otherwise all share one",
    )
    group.add_argument(
        "--targets",
        type=Path,
        metavar="SHEET",
        help="where the scanner saw the design's targets (CSV: name, x, y, z); they "
        "tell direction and height instead of --azimuth-of-x and --z-offset",
    )
    group.add_argument(
        "--sparse",
        action="store_true",
        help="few single points, as of a total station: each is read as a radius",
    )
    group.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="sort the points on the workers of this Dask scheduler; local: on workers "
        "of this machine",
    )


def read_readings(
    paths: Sequence[Path], design: Design, options: argparse.Namespace
) -> RodReadings | CloudReadings:
    """The readings of a survey, clouds as the options say."""
    from geom.readings import load_readings

    return load_readings(
        paths,
        design,
        cloud_unit=options.cloud_unit,
        azimuth_of_x=options.azimuth_of_x,
        z_offset=options.z_offset,
        scanner=options.scanner,
        own_frames=options.own_frames,
        targets=options.targets,
        sparse=options.sparse,
    )


def _three_numbers(text: str) -> tuple[float, ...]:
    """Three numbers with commas between."""
    numbers = tuple(float(part) for part in text.split(","))
    if len(numbers) != 3:
        raise argparse.ArgumentTypeError(f"{text!r} is not three numbers X,Y,Z")
    return numbers


def past_prior(folders: list[Path], design: Design) -> PastPrior | None:
    """What earlier surveys teach, if there are any."""
    if not folders:
        return None
    from geom.readings import load_past_surveys
    from geom.surface import learn_prior

    return learn_prior(load_past_surveys(folders, design), design)


def plain_console() -> Console:
    """Standard output for words as they are: no markup, no colours of numbers."""
    from rich.console import Console

    return Console(highlight=False, soft_wrap=True, markup=False)


def check_out(
    options: argparse.Namespace, ours: Collection[str], out: Path | None = None
) -> None:
    """Refuse, before the work, a folder that could not be written."""
    from geom.atomic import check_directory

    check_directory(out or options.out, overwrite=options.overwrite, ours=ours)


def more_cure(fault: InputError, more: str) -> InputError:
    """The same message, with more to do about it."""
    cure = f"{fault.cure.rstrip('.')}. {more}" if fault.cure else more
    return InputError(fault.what, file=fault.file, place=fault.place, cure=cure)


def waiting(words: str, *, quiet: bool = False) -> Status:
    """What is being done, on standard error; gone when it ends."""
    from rich.console import Console

    return Console(stderr=True, quiet=quiet).status(words)


def progress_bar(quiet: bool, *, remaining: bool = False) -> Progress:
    """What is being done and how far it is, on a terminal; gone when it ends.

    ``remaining``: with the time that is left, instead of the time gone.
    """
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description:<28}"),
        BarColumn(),
        TimeRemainingColumn() if remaining else TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=quiet or not console.is_terminal,
    )


def print_lines(lines: Iterable[str]) -> None:
    """One line each on standard output."""
    console = plain_console()
    for line in lines:
        console.print(line)


def print_rows(rows: Iterable[tuple[str, str]]) -> None:
    """Names in bold and words next to them on standard output."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    for name, words in rows:
        table.add_row(name, escape(words))
    Console(highlight=False, soft_wrap=True).print(table)


def print_table(
    heading: Iterable[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Sequence[str] = (),
) -> None:
    """A table on standard output; columns of ``numbers`` end at the right."""
    from rich.table import Table

    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
    for name in heading:
        side: Literal["right", "left"] = "right" if name in numbers else "left"
        table.add_column(name, justify=side, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    console = plain_console()
    if not sys.stdout.isatty():
        console.width = 200
    console.print(table)


def print_document(document: bytes) -> None:
    """A document on standard output, as it is."""
    print_json(document.decode("utf-8"))


def print_file(path: Path) -> None:
    """A file's text on standard output, as it is."""
    print_json(path.read_text("utf-8"))
