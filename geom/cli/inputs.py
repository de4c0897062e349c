"""What every command about one survey is given: the drawing and the readings."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_inputs(command: argparse.ArgumentParser) -> None:
    """Add DESIGN and READINGS to a command."""
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
