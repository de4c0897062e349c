"""The files of a blank rod sheet: to be typed into, and to be printed."""

from __future__ import annotations

from pathlib import Path

from geom.compare.climb import Climb
from geom.design import Design
from geom.errors import InputError
from geom.views.rod_paper import paper_bytes
from geom.views.rod_workbook import is_written_on, workbook_bytes

WORKBOOK, PAPER = "rod-sheet.xlsx", "rod-sheet.pdf"


def write_rod_sheet(folder: Path, design: Design, climb: Climb, *, title: str) -> None:
    """Write both.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    design : Design
    climb : Climb
    title : str
    """
    (folder / WORKBOOK).write_bytes(workbook_bytes(design, climb, title=title))
    (folder / PAPER).write_bytes(paper_bytes(design, climb, title=title))


def refuse_written_on(folder: Path) -> None:
    """Say no to a folder whose rod sheet holds readings: a blank one would end them.

    Raises
    ------
    InputError
        If it does, or cannot be told to be blank.
    """
    there = folder / WORKBOOK
    if there.exists() and is_written_on(there):
        raise InputError(
            "this rod sheet has been written on; a blank one would take its place",
            file=there,
            cure="Rename it, or name another folder with --out",
        )
