"""When a survey was made, as options say it; ``survey --record`` adds the survey.

Everything that could stop the survey from being added is checked before the long work.
"""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from geom.design import Design
    from geom.record.store.occasion import Occasion


T = TypeVar("T")

_NEEDED = ("heat", "date", "stage")
_ALSO = ("hours", "melted", "campaign")


def add_occasion(
    command: argparse.ArgumentParser | argparse._ArgumentGroup, *, required: bool
) -> None:
    """Add --heat, --date, --stage, --hours, --melted and --campaign to a command."""
    command.add_argument(
        "--heat",
        required=required,
        metavar="N",
        help="the last heat that the wall had seen, counted on from campaign to "
        "campaign; 0: a new lining",
    )
    command.add_argument(
        "--date", required=required, metavar="YYYY-MM-DD", help="day of the survey"
    )
    command.add_argument(
        "--stage",
        required=required,
        choices=("before-repair", "after-repair", "not-repaired"),
        help="as the heat left the wall, as the next heat finds it, or both because "
        "nothing was done to it",
    )
    command.add_argument(
        "--hours", metavar="H", help="on blast since the wall was surveyed before"
    )
    command.add_argument(
        "--melted",
        metavar="MASS",
        help="iron melted in that time, with its unit: '12 short tons' (t, short ton, "
        "long ton, lb, kg)",
    )
    command.add_argument(
        "--campaign",
        metavar="NAME",
        help="of the campaign, from one new lining to the next",
    )


def occasion_of(options: argparse.Namespace) -> Occasion:
    """The occasion that the options say.

    Raises
    ------
    InputError
        If something of it is missing or cannot be read.
    """
    from geom.errors import InputError
    from geom.record.store.occasion import (
        Occasion,
        parse_amount,
        parse_date,
        parse_heat,
        parse_stage,
    )
    from geom.units import kilograms

    missing = [f"--{name}" for name in _NEEDED if getattr(options, name) is None]
    if missing:
        what = f"a survey of a record needs {' and '.join(missing)}"
        raise InputError(what, cure="Tell it beside --record")

    def read(name: str, reads: Callable[[str], T]) -> T:
        try:
            return reads(getattr(options, name))
        except ValueError as fault:
            raise InputError(str(fault), place=f"--{name}") from fault

    return Occasion(
        heat=read("heat", parse_heat),
        stage=read("stage", parse_stage),
        date=read("date", parse_date),
        hours=None if options.hours is None else read("hours", parse_amount),
        melted=None if options.melted is None else read("melted", kilograms),
        campaign=options.campaign or "",
    )


def occasion_options(options: argparse.Namespace) -> list[str]:
    """Options about the occasion that were given."""
    given = [name for name in (*_NEEDED, *_ALSO) if getattr(options, name) is not None]
    return [f"--{name}" for name in given]


def retype_occasion(options: argparse.Namespace) -> str:
    """The occasion as it was typed, to be typed again."""
    words = []
    for option in occasion_options(options):
        words += [option, getattr(options, option.removeprefix("--"))]
    return shlex.join(words)


def refuse_incomplete_occasion(options: argparse.Namespace) -> None:
    """Refuse a record without an occasion, and an occasion without a record.

    Raises
    ------
    InputError
        Before any file is read.
    """
    from geom.errors import InputError

    if options.record is not None:
        occasion_of(options)
        _refuse_inside(options.record, options.out)
    elif options_given := occasion_options(options):
        what = f"{options_given[0]} is for --record, which is not given"
        raise InputError(what, cure="Name the record with --record, or leave it out")


def refuse_before_work(options: argparse.Namespace, design: Design) -> None:
    """Refuse, before the long work, what could not be added after it.

    Raises
    ------
    InputError
        If the record is of another drawing, has that occasion, contradicts it, or
        cannot be started.
    """
    from geom.errors import InputError
    from geom.record.store.manifest import LINING
    from geom.record.store.same_drawing import refuse_other_design
    from geom.record.store.store import (
        Record,
        open_record,
        refuse_occasion,
        refuse_start,
        refuse_unwritable,
    )

    if (options.record / LINING).is_file():
        record = open_record(options.record)
        refuse_unwritable(options.record)
        try:
            refuse_other_design(record.design, design)
        except InputError as fault:
            raise fault.at(file=options.design) from None
    else:
        refuse_start(options.record)
        record = Record(options.record, design, ())
    refuse_occasion(record, occasion_of(options))


def add_to_record(options: argparse.Namespace) -> Path:
    """Add the survey in ``--out``; the record is started if there is none.

    Returns
    -------
    Path
        Its file.

    Raises
    ------
    InputError
        If it cannot be added; it says how to do so later.
    """
    from geom.errors import InputError
    from geom.record.store.store import add_survey

    try:
        _start(options.record, options.design)
        return add_survey(options.record, options.out, occasion_of(options))
    except InputError as fault:
        cure = f"{fault.cure.rstrip('.')}. " if fault.cure else ""
        places = str(options.record), str(options.out)
        words = shlex.join(["daubline", "record", "add", *places])
        raise InputError(
            fault.what,
            file=fault.file,
            place=fault.place,
            cure=f"{cure}The survey itself is in {options.out}; once that is mended, "
            f"add it with: {words} {retype_occasion(options)}",
        ) from fault


def _start(record: Path, design: Path) -> None:
    """Start the record if there is none; another may do so at the same time."""
    from geom.errors import InputError
    from geom.record.store.manifest import LINING
    from geom.record.store.store import start_record

    try:
        if not (record / LINING).is_file():
            start_record(record, design)
    except InputError:
        if not (record / LINING).is_file():
            raise


def _refuse_inside(record: Path, out: Path) -> None:
    from geom.errors import InputError

    record, folder = record.resolve(), out.resolve()
    if record == folder or record in folder.parents or folder in record.parents:
        raise InputError(
            "is --record, or lies in it, or the record would lie in it",
            file=out,
            cure="Keep output folders and records beside each other",
        )
