"""``daubline desk``: readings typed at the furnace, the wall following them."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.inputs import (
    add_design,
    add_past,
    number_between,
    past_prior,
    plain_console,
)

if TYPE_CHECKING:
    from geom.desk.server import RequestGuard
    from geom.desk.session import DeskSession

#: Always the same one, so that a page that is open finds the desk again.
_PORT, _MOST = 8417, 65535


def add_to(commands: Any) -> None:
    """Add the command and its options to the front door."""
    parser = commands.add_parser(
        "desk",
        help="a page to type readings into, the calls following",
        description="Open a page on this machine where rod readings are typed as they "
        "are taken. Each is kept in the sheet at once; the wall and the calls follow. "
        "survey reads the sheet as it is. Ctrl-C ends it.",
    )
    add_design(parser)
    parser.add_argument(
        "--sheet",
        type=Path,
        required=True,
        metavar="FILE.csv",
        help="rod sheet that is written, made if new and continued if there",
    )
    parser.add_argument(
        "--port",
        type=number_between(0, _MOST),
        default=_PORT,
        metavar="N",
        help=f"of the address (default {_PORT}); 0: any that is free",
    )
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        metavar="HOST",
        help="address to stand at (default 127.0.0.1: this machine only); with "
        "another, anybody on that network can write into the sheet",
    )
    add_past(parser, "output folder of an earlier survey of this lining, as for survey")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> None:
    """Do it."""
    from geom.desk.server import need_server

    need_server()
    from geom.design import load_design
    from geom.desk.server import RequestGuard, open_listener, serve
    from geom.desk.session import DeskSession

    design = load_design(options.design)
    past = past_prior(options.past, design)
    desk = DeskSession(design, options.design, options.sheet, past=past)
    listener = open_listener(options.host, options.port)
    guard = RequestGuard.of(listener, options.host)
    try:
        _print_address(desk, listener, guard)
        serve(desk, listener, guard)
    except KeyboardInterrupt:
        print(f"Closed. Every reading that was kept is in {options.sheet}")  # noqa: T201
    finally:
        listener.close()


def _count(readings: int) -> str:
    return "1 reading" if readings == 1 else f"{readings} readings"


def _print_address(desk: DeskSession, listener: Any, guard: RequestGuard) -> None:
    import sys

    from geom.desk.server import address_of
    from geom.views.say import plain

    console = plain_console()
    console.print(f"Desk: {plain(desk.design.name)}: {_count(len(desk.now.entry_ids))}")
    address = address_of(listener, guard)
    if not guard.local:
        console.print(
            f"Warning: --host {guard.host}: whoever has the address below can read and "
            "write this sheet from that network. Nothing is encrypted."
        )
        if sys.stdout.isatty():
            import segno

            segno.make(address, micro=False).terminal(compact=True)
    console.print("Caution: nobody climbs in before the cautions on the page are met")
    console.print(f"Open {address} in a browser; Ctrl-C ends it")
