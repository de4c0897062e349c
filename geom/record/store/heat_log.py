"""A heat log: many surveys of one lining, listed in one sheet."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from geom.design.text_file import join_words
from geom.errors import InputError
from geom.readings.sheets.sheet import refuse_mixed_marks
from geom.readings.sheets.table import SheetRow, SheetTable, read_table
from geom.record.store.occasion import (
    Occasion,
    check_consistency,
    parse_amount,
    parse_date,
    parse_heat,
    parse_stage,
)
from geom.units import KG_PER

T = TypeVar("T")

_NEEDED = ("heat", "date", "stage", "readings")
_MELTED = {f"melted_{unit.replace(' ', '_')}": unit for unit in KG_PER}
_KNOWN = (*_NEEDED, "hours_on_blast", *_MELTED, "campaign")
_HEADER = (
    "A heat log has the columns heat, date, stage and readings, and if wanted "
    "hours_on_blast, campaign and melted_t (for _t also _short_ton, _long_ton, _lb, "
    "_kg)"
)
_BETWEEN = "|"


@dataclass(frozen=True)
class LoggedSurvey:
    """One survey of a log.

    Attributes
    ----------
    readings : tuple of Path
        Its files.
    file, place : str
        Where it is written, for messages.
    """

    occasion: Occasion
    readings: tuple[Path, ...]
    file: str
    place: str


def read_heat_log(path: str | os.PathLike[str]) -> tuple[LoggedSurvey, ...]:
    """Read a heat log; all of it is checked before anything is handed on.

    Parameters
    ----------
    path : path
        A CSV sheet as described in ``docs/record.md``.

    Returns
    -------
    tuple of Logged
        In the order of heats.

    Raises
    ------
    InputError
        With row and column, if a column is missing, unknown or twice there, a cell
        does not hold what its column says, a file is not there, an occasion or a file
        stands twice, or the occasions contradict each other.
    """
    table = read_table(path)
    columns = _layout(table)
    table.refuse_unnamed()
    numbers = [i for name, i in columns.items() if name.startswith(("hours", "melted"))]
    refuse_mixed_marks(table, numbers)
    logged = [_logged(table, row, columns) for row in table.rows]
    _refuse_twice(table, logged, columns)
    for words in check_consistency(survey.occasion for survey in logged):
        cure = "Check heat, stage and date of both rows"
        raise InputError(words, file=table.file, cure=cure)
    return tuple(sorted(logged, key=lambda survey: survey.occasion.place))


def _layout(table: SheetTable) -> dict[str, int]:
    """Which column holds what."""

    def read(head: str) -> str:
        name = head.strip().lower()
        if name.startswith("melted") and name not in _MELTED:
            what = f'the column "{head[:40]}" names no unit of mass that is known'
            cure = f"Write {join_words(_MELTED)}"
            raise table.error(what, table.header, cure=cure)
        table.refuse_unknown(head, _KNOWN, cure=_HEADER)
        return name

    needed = {name: name for name in _NEEDED}
    columns = table.layout(read, needed, cure=_HEADER, twice="there are two columns {}")
    if len(_MELTED.keys() & columns.keys()) > 1:
        what = "there are two columns of iron melted"
        raise table.error(what, table.header, cure="Keep one of them")
    return columns


@dataclass(frozen=True)
class _Cells:
    """The cells of one row, by the names of their columns."""

    table: SheetTable
    row: SheetRow
    columns: dict[str, int]

    def required(self, name: str, reads: Callable[[str], T]) -> T:
        """What a cell holds that must not be blank."""
        if (found := self.optional(name, reads)) is None:
            cure = "Fill it in, or leave the row out"
            raise self.error(f"the {name} is blank", name, cure)
        return found

    def optional(self, name: str, reads: Callable[[str], T]) -> T | None:
        """What a cell holds; None where it is blank or has no column."""
        index = self.columns.get(name, -1)
        text = self.row.cell(index) if index >= 0 else ""
        try:
            return reads(text) if text else None
        except ValueError as fault:
            raise self.error(str(fault), name, "Mend the cell") from fault

    def error(self, what: str, name: str, cure: str) -> InputError:
        """Make the error for a cell."""
        return self.table.error(what, self.row, self.columns[name], cure=cure)


def _logged(table: SheetTable, row: SheetRow, columns: dict[str, int]) -> LoggedSurvey:
    cells = _Cells(table, row, columns)
    amount = partial(parse_amount, decimal_comma=table.decimal_comma)
    column = next((name for name in _MELTED if name in columns), "")
    melted = cells.optional(column, amount)
    try:
        occasion = Occasion(
            heat=cells.required("heat", parse_heat),
            stage=cells.required("stage", parse_stage),
            date=cells.required("date", parse_date),
            hours=cells.optional("hours_on_blast", amount),
            melted=None if melted is None else melted * float(KG_PER[_MELTED[column]]),
            campaign=cells.optional("campaign", str) or "",
            melted_unit="t" if melted is None else _MELTED[column],
        )
    except InputError as error:
        raise error.at(file=table.file, place=table.place(row)) from None
    folder = Path(table.file).parent
    files = cells.required("readings", lambda text: _files(text, folder))
    return LoggedSurvey(occasion, files, table.file, table.place(row))


def _files(text: str, folder: Path) -> tuple[Path, ...]:
    files = tuple(folder / part.strip() for part in text.split(_BETWEEN))
    for file in files:
        if not file.is_file():
            raise ValueError(f"there is no file {file}")
    return files


def _refuse_twice(
    table: SheetTable, logged: Sequence[LoggedSurvey], columns: dict[str, int]
) -> None:
    """No occasion and no file may stand twice."""
    first: dict[str | Path, SheetRow] = {}
    for survey, row in zip(logged, table.rows, strict=True):
        keys: list[tuple[str | Path, str, str]] = [
            (survey.occasion.name, survey.occasion.words, "heat"),
            *((file.resolve(), file.name, "readings") for file in survey.readings),
        ]
        for key, words, name in keys:
            before = first.setdefault(key, row)
            if before is not row:
                what = f"{words} stands in row {before.number} too"
                cure = "Each survey has one row and readings of its own"
                raise table.error(what, row, columns[name], cure=cure)
