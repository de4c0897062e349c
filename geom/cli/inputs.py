"""What every command about one survey is given: the drawing and the readings."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geom.design import Design
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
        help="rod sheets (CSV, XLSX); several are one survey",
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


def past_prior(folders: list[Path], design: Design) -> PastPrior | None:
    """What earlier surveys teach, if there are any."""
    if not folders:
        return None
    from geom.readings import load_past_surveys
    from geom.surface import learn_prior

    return learn_prior(load_past_surveys(folders, design), design)
