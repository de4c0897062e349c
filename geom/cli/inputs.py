"""What every command about one survey is given: the drawing and the readings."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geom.design import Design
    from geom.readings import CloudReadings, RodReadings
    from geom.surface import PastPrior


def add_inputs(command: argparse.ArgumentParser) -> None:
    """Add DESIGN, READINGS and --past to a command."""
    command.add_argument(
        "design", type=Path, metavar="DESIGN", help="design file (TOML)"
    )
    command.add_argument(
        "readings",
        type=Path,
        nargs="+",
        metavar="READINGS",
        help="rod sheets (CSV, XLSX) and point clouds (XYZ, PLY, LAS, LAZ, E57, NPY); "
        "several are one survey",
    )
    command.add_argument(
        "--past",
        type=Path,
        action="append",
        default=[],
        metavar="DIR",
        help="output folder of an earlier survey of this lining, whose wear teaches "
        "what to expect between the readings; may be given several times",
    )


def add_output(command: argparse.ArgumentParser, *, title: str) -> None:
    """Add --out, --overwrite, --title and --quiet; ``title`` says what it is of."""
    command.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="made if new"
    )
    command.add_argument(
        "--overwrite", action="store_true", help="allow a DIR with files"
    )
    command.add_argument("--title", metavar="TEXT", help=title)
    command.add_argument("--quiet", action="store_true", help="say nothing but errors")


def add_json(command: argparse.ArgumentParser, name: str) -> None:
    """Add --json, for a command that writes a document of that name."""
    command.add_argument(
        "--json", action="store_true", help=f"print {name} instead of a summary"
    )


def print_file(path: Path) -> None:
    """A file's text on standard output, as it is."""
    sys.stdout.write(path.read_text("utf-8"))


def add_cloud_options(command: argparse.ArgumentParser) -> None:
    """Add what has to be told of point clouds."""
    it = command.add_argument_group("point clouds")
    it.add_argument(
        "--cloud-unit",
        choices=("in", "mm", "cm", "m"),
        help="unit of the clouds; needed unless their files fix it",
    )
    it.add_argument(
        "--azimuth-of-x",
        type=float,
        default=0.0,
        metavar="DEG",
        help="design azimuth that a cloud's +x points at (default 0)",
    )
    it.add_argument(
        "--z-offset",
        type=float,
        default=0.0,
        metavar="Z",
        help="a cloud's z of height zero, in its unit (default 0)",
    )
    it.add_argument(
        "--scanner",
        type=_place,
        metavar="X,Y,Z",
        help="where the scanner stood, in the cloud's frame and unit",
    )
    it.add_argument(
        "--own-frames",
        action="store_true",
        help="each cloud lies in a frame of its own; otherwise all share one",
    )
    it.add_argument(
        "--targets",
        type=Path,
        metavar="SHEET",
        help="where the scanner saw the design's targets (CSV: name, x, y, z); they "
        "tell direction and height instead of --azimuth-of-x and --z-offset",
    )
    it.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="sort the points on the workers of this Dask scheduler; local: on workers "
        "of this machine",
    )


def read_readings(
    paths: Sequence[Path], design: Design, asked: argparse.Namespace
) -> RodReadings | CloudReadings:
    """The readings of a survey, clouds as the options say."""
    from geom.readings import load_readings

    return load_readings(
        paths,
        design,
        cloud_unit=asked.cloud_unit,
        azimuth_of_x=asked.azimuth_of_x,
        z_offset=asked.z_offset,
        scanner=asked.scanner,
        own_frames=asked.own_frames,
        targets=asked.targets,
    )


def _place(text: str) -> tuple[float, ...]:
    """Three numbers with commas between."""
    told = tuple(float(part) for part in text.split(","))
    if len(told) != 3:
        raise argparse.ArgumentTypeError(f"{text!r} is not three numbers X,Y,Z")
    return told


def past_prior(folders: list[Path], design: Design) -> PastPrior | None:
    """What earlier surveys teach, if there are any."""
    if not folders:
        return None
    from geom.readings import load_past_surveys
    from geom.surface import learn_prior

    return learn_prior(load_past_surveys(folders, design), design)
