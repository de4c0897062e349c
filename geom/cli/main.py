"""The command ``daubline`` and its exit codes."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

from geom._version import __version__
from geom.cli.measure import (
    add_check,
    add_design_file,
    add_desk,
    add_next,
    add_sheet,
)
from geom.cli.record import add_record
from geom.cli.survey import (
    add_day,
    add_recheck,
    add_strickle,
    add_survey,
    add_view,
)
from geom.cli.wear import add_campaigns, add_change, add_wear
from geom.errors import (
    DaublineError,
    InputWarning,
    TerminatedError,
    not_permitted,
)

DONE, FAULT, BAD_INPUT, STOPPED, TERMINATED = 0, 1, 2, 130, 143

_ABOUT = "How far a cupola's lining is from its drawing, and what to do about it."
_CODES = (
    "Exit code 0: done. 2: bad input or usage, nothing written. 1: a fault of ours. "
    "130, 143: stopped from outside, nothing written."
)
#: In the order of the help.
_COMMANDS = (
    add_design_file,
    add_check,
    add_survey,
    add_view,
    add_next,
    add_sheet,
    add_desk,
    add_day,
    add_strickle,
    add_recheck,
    add_record,
    add_change,
    add_wear,
    add_campaigns,
)


def parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    top = argparse.ArgumentParser(prog="daubline", description=_ABOUT, epilog=_CODES)
    top.add_argument("--version", action="version", version=f"daubline {__version__}")
    commands = top.add_subparsers(
        title="commands", dest="command", metavar="COMMAND", required=True
    )
    for add in _COMMANDS:
        add(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Default: those of the process.

    Returns
    -------
    int
        The exit code.
    """
    options = parser().parse_args(arguments)
    asked_to_end = threading.Event()
    try:
        with _terminable(asked_to_end), _with_home(), _saying(options):
            options.run(options)
    except DaublineError as fault:
        print(f"daubline: {fault}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt as stop:
        print("daubline: stopped, nothing written", file=sys.stderr)
        return TERMINATED if isinstance(stop, TerminatedError) else STOPPED
    except PermissionError as fault:
        print(f"daubline: {not_permitted(fault)}", file=sys.stderr)
        return BAD_INPUT
    except Exception:
        if asked_to_end.is_set():  # a library made another error of it
            print("daubline: stopped, nothing written", file=sys.stderr)
            return TERMINATED
        import traceback

        traceback.print_exc()
        print(
            "daubline: this is a fault of ours, not of your files; nothing was "
            "written. Please report the lines above.",
            file=sys.stderr,
        )
        return FAULT
    return DONE


@contextmanager
def _terminable(asked: threading.Event) -> Iterator[None]:
    """Take the signal to end, while a command runs, for the one of the keyboard.

    ``asked`` is set when it has come.
    """

    def stop(_signal: int, _frame: object) -> None:
        asked.set()
        raise TerminatedError

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def _saying(options: argparse.Namespace) -> Iterator[None]:
    """Say on standard error, one line each, what was coped with in the input."""
    said: set[str] = set()
    show = warnings.showwarning

    def say(message: Warning | str, category: type[Warning], *where: Any) -> None:
        line = str(message)
        if category is not InputWarning:
            show(message, category, *where)
        elif line not in said and not getattr(options, "quiet", False):
            said.add(line)
            print(f"daubline: note: {line}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.simplefilter("always", InputWarning)
        warnings.showwarning = cast(Any, say)
        yield


@contextmanager
def _with_home() -> Iterator[None]:
    """Lend a home, while a command runs, where there is none that can be written to.

    Libraries look for theirs in it: without, they complain to the terminal (matplotlib)
    or fail (reportlab, where the home is below a file, as for ``/dev/null``).
    """
    try:
        home = Path.home()
        usable = home.is_dir() and os.access(home, os.W_OK | os.X_OK)
    except RuntimeError:
        usable = False
    if usable:
        yield
        return
    before = os.environ.get("HOME")
    made = tempfile.TemporaryDirectory(
        prefix="daubline-home-", ignore_cleanup_errors=True
    )
    with made as folder:
        os.environ["HOME"] = folder
        try:
            yield
        finally:
            del os.environ["HOME"]
            if before is not None:
                os.environ["HOME"] = before
