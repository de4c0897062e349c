"""rod-sheet.xlsx: a blank rod sheet that is read back once it is filled in.

The sheet ``rod`` is a rod sheet in the wide form, with a blank cell for each station.
Rows that start with ``#`` are comments; what may not stand in such a sheet, the marks
to hold the rod against, stands on a sheet of its own.  Where rows are turned against
each other, each has its turn in a column ``turn_deg``, and over it, as a comment, the
clock and the azimuth of each of its stations.
"""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.frame import clock_face, clock_time
from geom.readings.sheets.forms import TURN
from geom.readings.sheets.table import read_workbook
from geom.sampling.plan import SamplingPlan
from geom.units import from_mm
from geom.views.cautions import TO_ENTER
from geom.views.say import plain
from geom.views.tables.stations import instructions, marks_at, say_setting

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_EPOCH = (1980, 1, 1, 0, 0, 0)
_TIMES = re.compile(rb"(<dcterms:\w+[^>]*>)[^<]*(</dcterms:\w+>)")
_GREY, _PALE = "BFBFBF", "EDEDED"


def workbook_bytes(design: Design, plan: SamplingPlan, *, title: str = "") -> bytes:
    r"""The blank sheet as XLSX.

    Parameters
    ----------
    title : str
        Of the survey, for people.

    Returns
    -------
    bytes
        The same input gives the same bytes.  Its first cell that is no comment reads
        ``height_in \ radius_in``, in the design's unit.
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.properties.creator = "daubline"
    rod = book.worksheets[0]
    rod.title = "rod"
    _fill_rod(rod, design, plan, title)
    _fill_marks(book.create_sheet("marks"), design, plan)
    _fill_cautions(book.create_sheet("cautions"))
    out = io.BytesIO()
    book.save(out)
    return without_times(out.getvalue())


def is_filled_in(path: Path) -> bool:
    """Tell whether a workbook holds anything that a blank rod sheet does not.

    Raises
    ------
    InputError
        If it is no readable workbook.
    """
    table = read_workbook(path)
    blank = {0, *(k for k, name in enumerate(table.header.cells) if name == TURN)}
    return any(
        cell for row in table.rows for k, cell in enumerate(row.cells) if k not in blank
    )


def _fill_rod(sheet: Worksheet, design: Design, plan: SamplingPlan, title: str) -> None:
    from openpyxl.styles import Alignment, Font

    first = _first_column(plan)
    across = first + plan.azimuth.size
    name = ": ".join(filter(None, (plain(design.name), plain(title))))
    notes = [
        f"# Rod sheet: {name}",
        *(f"# {words}" for words in instructions(design, plan)),
        f"# {TO_ENTER[2]} All cautions: sheet cautions. Marks: sheet marks.",
    ]
    for row, words in enumerate(notes, 1):
        _put(sheet, row, 1, words, bold=row in (1, len(notes)), size=12)
        sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=across)
        sheet.cell(row, 1).alignment = Alignment(wrap_text=True, vertical="center")
        sheet.row_dimensions[row].height = 34
    top = len(notes) + (0 if plan.staggered else 1)
    if not plan.staggered:
        _fill_clock(sheet, top, design, plan, None)
    head = rf"height_{design.length_unit} \ radius_{design.length_unit}"
    _put(sheet, top + 1, 1, head, bold=True)
    if plan.staggered:
        _put(sheet, top + 1, 2, TURN, bold=True)
    for column, azimuth in enumerate(plan.azimuth.tolist(), first):
        _put(sheet, top + 1, column, f"{azimuth:.6g}deg", bold=True)
    _put(sheet, top + 1, across, "note", bold=True)
    at = top + 2
    for row in range(plan.height.size):
        if plan.staggered:
            _fill_clock(sheet, at, design, plan, row)
            _put(sheet, at + 1, 2, f"{plan.turned[row]:.6g}")
            at += 1
        _fill_row(sheet, at, design, plan, row)
        at += 1
    sheet.column_dimensions["A"].width = 22
    for column in range(2, across + 1):
        sheet.column_dimensions[_letter(column)].width = 11 if column < across else 30
    sheet.freeze_panes = f"B{top + 2}"
    for cell in sheet[top + 1]:
        cell.font = Font(bold=True, size=12)
    _print_wide(sheet)


def _first_column(plan: SamplingPlan) -> int:
    """Column of the first station of each row."""
    return 3 if plan.staggered else 2


def _fill_clock(
    sheet: Worksheet, at: int, design: Design, plan: SamplingPlan, row: int | None
) -> None:
    """A comment: where on the clock all columns stand, or the stations of one row."""
    sense = design.azimuth_sense
    words = "# clock" if row is None else "# clock, azimuth"
    _put(sheet, at, 1, words, bold=row is None)
    azimuths = plan.azimuth if row is None else plan.station_azimuth[row]
    for column, azimuth in enumerate(azimuths.tolist(), _first_column(plan)):
        own = f"{clock_time(azimuth, sense)}, {azimuth:.6g}°"
        _put(
            sheet,
            at,
            column,
            clock_face(azimuth, sense) if row is None else own,
            wrap=True,
        )
    sheet.row_dimensions[at].height = 34 if row is None else 20


def _fill_row(
    sheet: Worksheet, at: int, design: Design, plan: SamplingPlan, row: int
) -> None:
    """A height and its cells: blank, greyed where there is nothing to read."""
    from openpyxl.styles import Border, Font, PatternFill, Side

    height, unit = float(plan.height[row]), design.length_unit
    first = sheet.cell(at, 1, value=float(f"{from_mm(height, unit):.9g}"))
    first.font = Font(bold=True, size=12)
    if unit == "in" and "." not in say_setting(height, unit):
        first.number_format = "# ??/??"
    sheet.row_dimensions[at].height = 24
    side = Side(style="thin")
    hints: dict[str, list[str]] = {}
    for place, requested in enumerate(plan.requested[row].tolist()):
        cell = sheet.cell(at, _first_column(plan) + place)
        cell.border = Border(left=side, right=side, top=side, bottom=side)
        cell.font = Font(size=12)
        if unit == "in":
            # A fraction typed into a plain cell becomes a date.
            cell.number_format = "@"
        hole = int(plan.opening[row, place])
        if not requested:
            tone = _PALE if hole < 0 else _GREY
            cell.fill = PatternFill("solid", start_color=tone, end_color=tone)
        words = _prompt(design, height) if requested else _not_read(design, hole)
        hints.setdefault(words, []).append(cell.coordinate)
    for words, cells in hints.items():
        _hint(sheet, words, cells)


def _hint(sheet: Worksheet, words: str, cells: list[str]) -> None:
    """Words that a spreadsheet program shows next to a cell while it is chosen."""
    from openpyxl.worksheet.datavalidation import DataValidation

    hint = DataValidation(prompt=words, showInputMessage=True)
    for cell in cells:
        hint.add(cell)
    sheet.add_data_validation(hint)


def _not_read(design: Design, hole: int) -> str:
    if hole < 0:
        return "Not asked for on this climb: leave blank."
    kind = plain(design.openings[hole].kind, most=40)
    return f"In or too near the {kind}: leave blank."


def _prompt(design: Design, height: float) -> str:
    marks, unit = marks_at(design, height), design.length_unit
    return (
        f"Drawn {marks.drawn} {unit}. Stays as it is up to {marks.go}. "
        f"Brick from {marks.brick}."
    )


def _fill_marks(sheet: Worksheet, design: Design, plan: SamplingPlan) -> None:
    """What each height is held against, and in which order to read a follow-up plan."""
    unit = design.length_unit
    heads = [
        f"height, {unit}",
        f"drawn radius, {unit}",
        f"stays up to, {unit}",
        f"brick from, {unit}",
    ]
    if plan.second:
        heads += ["azimuth, degrees", "clock", "tells most: 1", "read before"]
    for column, words in enumerate(heads, 1):
        _put(sheet, 1, column, words, bold=True, wrap=True)
        sheet.column_dimensions[_letter(column)].width = 16
    for row, height in enumerate(plan.height.tolist()):
        marks = marks_at(design, height)
        cells = [say_setting(height, unit), marks.drawn, marks.go, marks.brick]
        if plan.second:
            azimuth = float(plan.azimuth[int(np.argmax(plan.requested[row]))])
            cells += [
                f"{azimuth:.6g}",
                clock_face(azimuth, design.azimuth_sense),
                str(plan.rank[row]),
                "again" if plan.is_repeat[row] else "",
            ]
        for column, words in enumerate(cells, 1):
            _put(sheet, row + 2, column, words)
    sheet.freeze_panes = "A2"
    _print_wide(sheet)


def _fill_cautions(sheet: Worksheet) -> None:
    for row, words in enumerate(TO_ENTER, 1):
        _put(sheet, row, 1, words, wrap=True, size=12)
    sheet.column_dimensions["A"].width = 110
    _print_wide(sheet)


def _put(
    sheet: Worksheet,
    row: int,
    column: int,
    words: str,
    *,
    bold: bool = False,
    wrap: bool = False,
    size: float = 11,
) -> None:
    """Write words, never a formula, whatever they begin with."""
    from openpyxl.styles import Alignment, Font

    cell = sheet.cell(row, column)
    cell.value = words
    cell.data_type = "s"
    cell.font = Font(bold=bold, size=size)
    cell.alignment = Alignment(wrap_text=wrap, vertical="center")


def _letter(column: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(column))


def _print_wide(sheet: Worksheet) -> None:
    from openpyxl.worksheet.properties import PageSetupProperties

    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def without_times(content: bytes) -> bytes:
    """The same workbook without the hour it was made at."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as made,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as still,
    ):
        for part in made.namelist():
            inside = made.read(part)
            if part == "docProps/core.xml":
                inside = _TIMES.sub(rb"\g<1>1980-01-01T00:00:00Z\g<2>", inside)
            still.writestr(zipfile.ZipInfo(part, _EPOCH), inside)
    return out.getvalue()
