"""``survey --record``: the survey just made goes into the record of its lining."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from geom.cli.occasions import as_typed, occasion_of, told_of_occasion

if TYPE_CHECKING:
    from geom.design import Design


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
    from geom.record.manifest import LINING
    from geom.record.refusals import refuse_occasion, refuse_start, refuse_unwritable
    from geom.record.same_drawing import refuse_other_design
    from geom.record.store import Record, open_record

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
    from geom.record.store import add_survey

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
    from geom.record.manifest import LINING
    from geom.record.store import start_record

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
