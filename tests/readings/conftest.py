"""An invented lining, and sheets of it."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest

from geom.design import Design, Opening, Profile


@pytest.fixture
def design() -> Design:
    """Radius 18 in, 95 in tall, shell at 27 in, a tuyere and a tap hole."""
    return Design(
        name="Cupola A",
        length_unit="in",
        azimuth_zero="tap hole",
        azimuth_sense="clockwise",
        height_zero="bottom plate",
        profile=Profile(np.array([0.0, 95 * 25.4]), np.array([457.2, 457.2])),
        shell_radius=27 * 25.4,
        openings=(
            Opening("tuyere", 30.0, 17.5 * 25.4, 5 * 25.4, 3.5 * 25.4),
            Opening("tap hole", 0.0, 4 * 25.4, 6 * 25.4, 6 * 25.4),
        ),
    )


@pytest.fixture
def no_shell(design) -> Design:
    return replace(design, shell_radius=None)


@pytest.fixture(params=["shell", "no shell"])
def lining(request, design, no_shell) -> Design:
    """The same lining with and without a shell in the design file."""
    return design if request.param == "shell" else no_shell


@pytest.fixture
def write(tmp_path):
    """Write a sheet as text or bytes; give its path."""

    def write(text, name="rod.csv"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


@pytest.fixture
def workbook(tmp_path):
    """Write a workbook of one or more sheets; give its path."""

    def write(sheets: dict[str, list[list[object]]], name="rod.xlsx"):
        import openpyxl

        book = openpyxl.Workbook()
        book.properties.created = datetime.datetime(2024, 1, 1)
        book.remove(book.worksheets[0])
        for title, rows in sheets.items():
            sheet = book.create_sheet(title)
            for number, row in enumerate(rows, 1):
                for index, cell in enumerate(row, 1):
                    if cell is not None:
                        sheet.cell(row=number, column=index, value=cell)
        book.save(tmp_path / name)
        return tmp_path / name

    return write
