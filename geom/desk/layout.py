"""How the columns of a sheet lie: in what order, with what marks between."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from geom.errors import InputError
from geom.readings.columns import read_name

#: First word of the lines in which the desk keeps what was done; to every reader of
#: rod sheets they are comments.
MARK = "# desk"
_SEPARATORS = (";", "\t")
_ALL = ",;\t"


@dataclass(frozen=True)
class Layout:
    """Where each quantity stands in a row.

    Attributes
    ----------
    header : tuple of str
        Names of the columns.
    separator : str
    azimuth, height, radius, note : int
        Columns; a sheet without a column for notes is given one.
    """

    header: tuple[str, ...]
    separator: str
    azimuth: int
    height: int
    radius: int
    note: int

    @classmethod
    def new(cls, unit: str) -> Layout:
        """Of a sheet that the desk begins itself."""
        header = ("azimuth_deg", f"height_{unit}", f"radius_{unit}", "note")
        return cls(header, ",", 0, 1, 2, 3)

    @classmethod
    def of(cls, header: Sequence[str], separator: str, unit: str) -> Layout:
        """Of a sheet that is there already.

        Raises
        ------
        InputError
            Without a place, if it does not hold radii in the unit that is typed in, a
            row for each.
        """
        found: dict[str, tuple[int, str]] = {}
        for index, name in enumerate(header):
            column = read_name(name) if name else None
            if column is not None:
                found.setdefault(column.quantity, (index, column.unit))
        for quantity in ("azimuth", "height", "radius"):
            if quantity not in found:
                raise InputError(
                    f"the sheet has no column for the {quantity}", cure=_OTHER
                )
        for quantity in ("height", "radius"):
            if found[quantity][1] != unit:
                what = (
                    f"the sheet has {quantity}_{found[quantity][1]}, but the drawing "
                    f"and what is typed are in {unit}"
                )
                raise InputError(what, cure=_OTHER)
        names = tuple(header)
        if "note" not in found:
            names, found["note"] = (*names, "note"), (len(names), "")
        places = (found[q][0] for q in ("azimuth", "height", "radius", "note"))
        return cls(names, separator, *places)

    @property
    def decimal_comma(self) -> bool:
        """Whether decimals may be written with a comma, as the reader has it."""
        return self.separator == ";"

    def cells(self, texts: tuple[str, str, str, str], old: Sequence[str]) -> list[str]:
        """A row: azimuth, height, radius and note put in, all else as it was."""
        row = list(old) + [""] * (len(self.header) - len(old))
        for index, text in zip(
            (self.azimuth, self.height, self.radius, self.note), texts, strict=True
        ):
            row[index] = text
        return row

    def texts(self, cells: Sequence[str]) -> tuple[str, str, str, str]:
        """Azimuth, height, radius and note of a row."""
        azimuth, height, radius, note = (
            cells[index] if index < len(cells) else ""
            for index in (self.azimuth, self.height, self.radius, self.note)
        )
        return azimuth, height, radius, note

    def line(self, cells: Iterable[str]) -> str:
        """A row as it is written, without the end of the line."""
        made = io.StringIO()
        csv.writer(made, delimiter=self.separator, lineterminator="").writerow(cells)
        return made.getvalue()

    def in_its_marks(self, number: str) -> str:
        """A number with the sheet's own decimal mark, else as typed.

        Examples
        --------
        >>> Layout.new("mm").in_its_marks("455,5")
        '455.5'
        """
        if self.decimal_comma:
            return number.replace(".", ",")
        one = number.count(",") == 1 and "." not in number
        return number.replace(",", ".") if one else number


def separator_of(header: str) -> str:
    """What separates the columns of a sheet, by its first line."""
    return next((mark for mark in _SEPARATORS if mark in header), ",")


def read_kept(line: str) -> tuple[str, ...]:
    """The cells of a line of the desk's own; empty if it is not whole.

    A spreadsheet that saved the sheet may have put another separator.
    """
    separator = line.removeprefix(MARK)[:1]
    if separator not in _ALL or not separator:
        return ()
    try:
        (cells,) = csv.reader([line], delimiter=separator, strict=True)
    except csv.Error:
        return ()
    return tuple(cell.strip() for cell in cells)


_OTHER = (
    "Name another file with --sheet, it is made if new; survey takes several sheets "
    "as one survey"
)
