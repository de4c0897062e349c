"""``daubline view``: the wall in a window of its own."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    it = commands.add_parser(
        "view",
        help="turn the wall in a window: sections, picking, every field",
        description="Open a survey in a window on this machine's screen. Click on the "
        "wall to be told of the place; the sliders leave off the top or one half; keys "
        "change what it is coloured by.",
    )
    it.add_argument("design", type=Path, metavar="DESIGN", help="design file (TOML)")
    it.add_argument(
        "survey", type=Path, metavar="FOLDER", help="output folder of daubline survey"
    )
    it.add_argument(
        "--picture",
        type=Path,
        metavar="PNG",
        help="draw into this file instead, on a machine without a screen",
    )
    it.set_defaults(run=run)


def run(asked: argparse.Namespace) -> None:
    """Do it."""
    from geom.design import load_design
    from geom.views.window import draw_window, open_window, refuse_no_screen

    design = load_design(asked.design)
    if asked.picture is not None:
        draw_window(asked.survey, design, asked.picture)
        return
    refuse_no_screen()
    open_window(asked.survey, design).plotter.show()
