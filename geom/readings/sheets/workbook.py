"""A sheet of a workbook (XLSX) as a table of texts."""

from __future__ import annotations

import datetime
import io
import os
import warnings
import zipfile
from collections.abc import Iterator
from typing import Any

from geom.design.text_file import read_bytes
from geom.errors import InputError
from geom.readings.sheets.table import (
    SheetRow,
    SheetTable,
    as_table,
    refuse_oversize,
)

_LARGEST_UNPACKED = 32 * 1024 * 1024
_SAVE = "Open it in a spreadsheet program and save it again as .xlsx, or as CSV UTF-8"
_TYPE_AGAIN = "Type the number itself into the cell, or save the workbook again"
_SHEET = "rod"


def read_workbook(path: str | os.PathLike[str]) -> SheetTable:
    """Read the sheet named ``rod``, or else the first sheet, of a workbook.

    Row numbers are those of the spreadsheet.

    Raises
    ------
    InputError
        If the file is no workbook, or a cell holds a date, a fault, true or false, or a
        formula without its result.
    """
    file = os.fspath(path)
    content = read_bytes(path)
    _refuse_no_workbook(content, file)
    shown, written = (
        _cells(content, file, results=results) for results in (True, False)
    )
    numbered = enumerate(zip(shown, written, strict=True), 1)
    rows = (
        SheetRow(number, tuple(_texts(result, formula, number, file)))
        for number, (result, formula) in numbered
    )
    return as_table(rows, file=file)


def _refuse_no_workbook(content: bytes, file: str) -> None:
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        what = "it is an old or a locked workbook"
        raise InputError(what, file=file, cure=f"Unlock it. {_SAVE}")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = sum(part.file_size for part in archive.infolist())
    except Exception as fault:
        raise InputError("it is no workbook (XLSX)", file=file, cure=_SAVE) from fault
    if unpacked > _LARGEST_UNPACKED:
        what = f"unpacked it is longer than {_LARGEST_UNPACKED // 1024**2} MiB"
        raise InputError(what, file=file, cure="Keep nothing but the rod sheet in it")


def _cells(content: bytes, file: str, *, results: bool) -> list[tuple[Any, ...]]:
    """Read all rows: the results of formulas, or the formulas."""
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(
                io.BytesIO(content), read_only=True, data_only=results
            )
            named = [s for s in book.worksheets if s.title.strip().lower() == _SHEET]
            sheet = (named or book.worksheets)[0]
            sheet.reset_dimensions()
            rows = []
            for row in sheet.iter_rows(values_only=True):  # gaps are given as rows
                refuse_oversize(len(rows), len(row), file)
                rows.append(tuple(row))
            book.close()
    except InputError:
        raise
    except Exception as fault:
        what = f"the workbook cannot be read; it seems damaged ({type(fault).__name__})"
        raise InputError(what, file=file, cure=_SAVE) from fault
    return rows


def _texts(
    results: tuple[Any, ...], formulas: tuple[Any, ...], number: int, file: str
) -> Iterator[str]:
    """Give each cell of a row as the text a person would have typed."""
    for index, (result, formula) in enumerate(zip(results, formulas, strict=True)):
        try:
            yield _text(result, formula)
        except InputError as fault:
            place = f"row {number}, column {_letters(index)}"
            raise fault.at(file=file, place=place) from fault


def _text(result: object, formula: object) -> str:
    if result is None:
        if formula is not None:
            what = "the formula in this cell was saved without its result"
            raise InputError(what, cure=_TYPE_AGAIN)
        return ""
    if isinstance(result, datetime.date | datetime.time | datetime.timedelta):
        what = f"the spreadsheet took this cell for a date or a time ({result})"
        cure = "Format the cell as text, then type the number or the fraction again"
        raise InputError(what, cure=cure)
    if isinstance(result, bool):
        raise InputError(f"{result} is not a number", cure=_TYPE_AGAIN)
    if isinstance(result, int | float):
        return f"{result:.12g}"
    return str(result).strip()


def _letters(index: int) -> str:
    """Name a column as spreadsheets do: A ... Z, AA ...

    Examples
    --------
    >>> _letters(0), _letters(27)
    ('A', 'AB')
    """
    above, here = divmod(index, 26)
    return (_letters(above - 1) if above else "") + chr(ord("A") + here)
