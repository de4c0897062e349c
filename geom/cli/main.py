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
from geom.cli.console import never_fail
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
    MissingExtra,
    TerminatedError,
    not_permitted,
)

DONE, FAULT, BAD_INPUT, STOPPED, TERMINATED = 0, 1, 2, 130, 143

_ABOUT = "How far a cupola's lining is from its drawing, and what to do about it."
_CODES = (
    "Exit code 0: done. 2: bad input or usage, nothing written. 1: a fault of ours. "
    "130, 143: stopped from outside, nothing written."
)
#: In the order of the help, by whose work it is.
_COMMANDS = {
    "in the office, before and after the survey": (
        add_design_file,
        add_check,
        add_survey,
        add_view,
    ),
    "at the furnace": (
        add_sheet,
        add_desk,
        add_next,
        add_day,
        add_strickle,
        add_recheck,
    ),
    "heat after heat": (add_record, add_change, add_wear, add_campaigns),
}


class _ByWork(argparse.HelpFormatter):
    """Lists commands under a heading for each kind of work."""

    def _format_action(self, action: argparse.Action) -> str:
        heads = getattr(action, "heads", None)
        if heads is None:
            return super()._format_action(action)
        listed = {one.dest: one for one in self._iter_indented_subactions(action)}
        pieces = []
        for head, names in heads.items():
            pieces.append(f"  {head}:\n")
            self._indent()
            for name in names:
                pieces.append(super()._format_action(listed[name]))
            self._dedent()
        return "".join(pieces)


class _Completion(argparse.Action):
    """Prints what makes a shell complete commands, options and files, and ends."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        _namespace: argparse.Namespace,
        values: Any,
        _option: str | None = None,
    ) -> None:
        try:
            import shtab
        except ImportError:
            raise MissingExtra("shtab", "completion") from None
        _complete_files(parser, shtab.FILE)
        print(shtab.complete(parser, shell=values))
        parser.exit()


def _complete_files(parser: argparse.ArgumentParser, words: Any) -> None:
    """Let files be completed wherever a parser and those below it take a path."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                _complete_files(below, words)
        elif action.type is Path:
            action.complete = words  # type: ignore[attr-defined]


def parser() -> argparse.ArgumentParser:
    """All commands with their options."""
    top = argparse.ArgumentParser(
        prog="daubline",
        description=_ABOUT,
        epilog=_CODES,
        allow_abbrev=False,
        formatter_class=_ByWork,
    )
    top.add_argument("--version", action="version", version=f"daubline {__version__}")
    top.add_argument(
        "--completion",
        action=_Completion,
        choices=("bash", "zsh", "tcsh"),
        help="print what makes this shell complete commands and options",
    )
    commands = top.add_subparsers(
        title="commands", dest="command", metavar="COMMAND", required=True
    )
    heads: dict[str, list[str]] = {}
    for head, adders in _COMMANDS.items():
        before = len(commands.choices)
        for add in adders:
            add(commands)
        heads[head] = list(commands.choices)[before:]
    commands.heads = heads  # type: ignore[attr-defined]
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
    asked_to_end = threading.Event()
    never_fail()
    try:
        options = parser().parse_args(arguments)
        from geom.parallel import collect_seldom

        collect_seldom()
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
    printed: set[str] = set()
    show = warnings.showwarning

    def say(message: Warning | str, category: type[Warning], *where: Any) -> None:
        line = str(message)
        if category is not InputWarning:
            show(message, category, *where)
        elif line not in printed and not getattr(options, "quiet", False):
            printed.add(line)
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
