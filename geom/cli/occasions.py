"""What a command is told of when a survey was made."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from geom.record.occasion import Occasion

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
    from geom.record.in_words import amount_in, day_in, heat_in, stage_in
    from geom.record.occasion import Occasion
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
