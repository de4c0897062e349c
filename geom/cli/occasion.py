"""When a survey was made, as options say it.

``record add`` has them, and ``survey --record``.
"""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from geom.errors import InputError

if TYPE_CHECKING:
    from geom.record.store.occasion import Occasion

T = TypeVar("T")

#: Options of an occasion: those without which there is none, and the others.
_NEEDED, _ALSO = ("heat", "date", "stage"), ("hours", "melted", "campaign")


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
    from geom.record.store.occasion import (
        Occasion,
        parse_amount,
        parse_date,
        parse_heat,
        parse_stage,
    )
    from geom.units import parse_mass

    missing = [f"--{name}" for name in _NEEDED if getattr(options, name) is None]
    if missing:
        what = f"a survey of a record needs {' and '.join(missing)}"
        raise InputError(what, cure="Give it with --record")

    def read(name: str, reads: Callable[[str], T]) -> T:
        try:
            return reads(getattr(options, name))
        except ValueError as fault:
            raise InputError(str(fault), place=f"--{name}") from fault

    melted, unit = (None, "t") if options.melted is None else read("melted", parse_mass)
    return Occasion(
        heat=read("heat", parse_heat),
        stage=read("stage", parse_stage),
        date=read("date", parse_date),
        hours=None if options.hours is None else read("hours", parse_amount),
        melted=melted,
        campaign=options.campaign or "",
        melted_unit=unit,
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
