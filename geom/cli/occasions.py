"""What a command is told of when a survey was made.

``survey --record``: the survey just made goes into the record of its lining.
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


def occasion_of(asked: argparse.Namespace) -> Occasion:
    """The occasion that a command was told.

    Raises
    ------
    InputError
        If something of it is missing or cannot be read.
    """
    from geom.errors import InputError
    from geom.record.store.occasion import (
        Occasion,
        amount_in,
        day_in,
        heat_in,
        stage_in,
    )
    from geom.units import kilograms

    missing = [f"--{name}" for name in _NEEDED if getattr(asked, name) is None]
    if missing:
        what = f"a survey of a record needs {' and '.join(missing)}"
        raise InputError(what, cure="Tell it beside --record")

    def read(name: str, reads: Callable[[str], T]) -> T:
        try:
            return reads(getattr(asked, name))
        except ValueError as fault:
            raise InputError(str(fault), place=f"--{name}") from fault

    return Occasion(
        heat=read("heat", heat_in),
        stage=read("stage", stage_in),
        date=read("date", day_in),
        hours=None if asked.hours is None else read("hours", amount_in),
        melted=None if asked.melted is None else read("melted", kilograms),
        campaign=asked.campaign or "",
    )


def told_of_occasion(asked: argparse.Namespace) -> list[str]:
    """Options about the occasion that were given."""
    given = [name for name in (*_NEEDED, *_ALSO) if getattr(asked, name) is not None]
    return [f"--{name}" for name in given]


def as_typed(asked: argparse.Namespace) -> str:
    """The occasion as it was typed, to be typed again."""
    words = []
    for option in told_of_occasion(asked):
        words += [option, getattr(asked, option.removeprefix("--"))]
    return shlex.join(words)


def refuse_half_told(asked: argparse.Namespace) -> None:
    """Refuse a record without an occasion, and an occasion without a record.

    Raises
    ------
    InputError
        Before any file is read.
    """
    from geom.errors import InputError

    if asked.record is not None:
        occasion_of(asked)
        _refuse_inside(asked.record, asked.out)
    elif told := told_of_occasion(asked):
        what = f"{told[0]} is for --record, which is not given"
        raise InputError(what, cure="Name the record with --record, or leave it out")


def refuse_early(asked: argparse.Namespace, design: Design) -> None:
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

    if (asked.record / LINING).is_file():
        record = open_record(asked.record)
        refuse_unwritable(asked.record)
        try:
            refuse_other_design(record.design, design)
        except InputError as said:
            raise said.at(file=asked.design) from None
    else:
        refuse_start(asked.record)
        record = Record(asked.record, design, ())
    refuse_occasion(record, occasion_of(asked))


def add_to_record(asked: argparse.Namespace) -> Path:
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
        _start(asked.record, asked.design)
        return add_survey(asked.record, asked.out, occasion_of(asked))
    except InputError as said:
        cure = f"{said.cure.rstrip('.')}. " if said.cure else ""
        words = shlex.join(["daubline", "record", "add", *map(str, _both(asked))])
        raise InputError(
            said.what,
            file=said.file,
            place=said.place,
            cure=f"{cure}The survey itself is in {asked.out}; once that is mended, add "
            f"it with: {words} {as_typed(asked)}",
        ) from said


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


def _both(asked: argparse.Namespace) -> tuple[Path, Path]:
    return asked.record, asked.out


def _refuse_inside(record: Path, out: Path) -> None:
    from geom.errors import InputError

    one, other = record.resolve(), out.resolve()
    if one == other or one in other.parents or other in one.parents:
        raise InputError(
            "is --record, or lies in it, or the record would lie in it",
            file=out,
            cure="Keep output folders and records beside each other",
        )
