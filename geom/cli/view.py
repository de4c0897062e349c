"""``daubline view``: the wall in a window of its own."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from geom.cli.inputs import add_design


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "view",
        help="turn the wall in a window: sections, picking, every field",
        description="Open a survey in a window on this machine's screen. Click on the "
        "wall to be told of the place; the sliders leave off the top or one half; keys "
        "change what it is coloured by.",
    )
    add_design(parser)
    parser.add_argument(
        "survey", type=Path, metavar="FOLDER", help="output folder of daubline survey"
    )
    parser.add_argument(
        "--picture",
        type=Path,
        metavar="PNG",
        help="draw into this file instead, on a machine without a screen",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from geom.design import load_design
    from geom.views.window import draw_window, open_window, refuse_no_screen

    design = load_design(options.design)
    if options.picture is not None:
        draw_window(options.survey, design, options.picture)
        return
    refuse_no_screen()
    open_window(options.survey, design).plotter.show()
