"""The sheet on disk: what is typed is judged, then written whole, by one at a time."""

from __future__ import annotations

import io
import os
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from geom.atomic import atomic_write, remove_killed
from geom.design import Design
from geom.design.text_file import read_bytes, read_text
from geom.desk.entries import (
    JOURNAL_MARK,
    ColumnLayout,
    Event,
    SheetEntry,
    SheetJournal,
    parse_event,
    rebuild_journal,
    separator_of,
    with_sheet_decimals,
)
from geom.errors import InputError
from geom.readings import RodReadings
from geom.readings.sheets.forms import is_wide, read_long
from geom.readings.sheets.plausibility import (
    diagnose,
    ratio_to_design,
    refuse_implausible,
)
from geom.readings.sheets.table import (
    SheetRow,
    SheetTable,
    as_table,
    is_comment,
    read_row,
    read_table,
)
from geom.sampling.plan import plan_stations
from geom.units import from_mm
from geom.views.say import upfirst

#: What to do with a sheet that has a column for every azimuth.
_USE_LONG_FORM = (
    "Name another file with --sheet, a row for each reading is kept in it; survey "
    "takes several sheets as one survey"
)
#: Readings past which a sheet is no rod sheet of one plan.
MOST = 4000
_MEND = "Mend it here, or read the rod again."


@dataclass(frozen=True)
class Verdict:
    """Whether something is done and on disk, and if not, why."""

    event: str
    kept: bool
    why: str = ""


class SheetFile:
    """A sheet that is written after every deed.

    Several may stand on one file, in one process or in many: each reads what the
    others wrote before it writes.

    Parameters
    ----------
    path : Path
        Made with the first reading if there is no such file.

    Raises
    ------
    InputError
        If the file is there and is no rod sheet of this lining that can be continued,
        or none could be written there.
    """

    def __init__(self, path: Path, design: Design) -> None:
        self.path, self._design = path, design
        self._lock = threading.Lock()
        self._validator = ReadingValidator(design)
        _refuse_place(path)
        with _folder_lock(path.parent) as folder:
            if folder is not None:
                remove_killed(path)
        self._content, self.sheet = b"", _new_journal(design)
        self._read: tuple[SheetJournal, RodReadings] | None = None
        self._reload_if_changed()

    def take(self, events: Sequence[Event]) -> tuple[Verdict, ...]:
        """Do what was asked, as far as it can be right, and write it.

        Returns
        -------
        tuple of Verdict
            One for each; what is kept is on disk.

        Raises
        ------
        InputError
            If the file was changed by others so that it cannot be read any more, or
            cannot be written: then nothing of it is done.
        """
        with self._lock, _folder_lock(self.path.parent) as folder:
            self._reload_if_changed()
            sheet, verdicts = self.sheet, []
            for event in events:
                sheet, verdict = self._try_event(sheet, event)
                verdicts.append(verdict)
            if sheet is not self.sheet:
                self._write(sheet, folder)
            return tuple(verdicts)

    def readings(self) -> tuple[tuple[str, ...], RodReadings | None]:
        """Identifiers of the readings that hold, and the readings; None of none."""
        entry_ids = tuple(entry.id for entry in self.sheet.active if entry.is_reading)
        return entry_ids, self._readings_of(self.sheet) if entry_ids else None

    def _readings_of(self, sheet: SheetJournal) -> RodReadings:
        """The readings of a sheet; those of the last one asked for are cached."""
        if self._read is None or self._read[0] is not sheet:
            self._read = sheet, readings_of(sheet, self._design, self.path)
        return self._read[1]

    def _try_event(
        self, sheet: SheetJournal, event: Event
    ) -> tuple[SheetJournal, Verdict]:
        if event.id in sheet.applied:
            return sheet, Verdict(event.id, kept=True)
        if event.operation != "withdraw":
            written = with_sheet_decimals(event, sheet.layout)
            if why := self._validator.objection(written, sheet.layout):
                return sheet, Verdict(event.id, kept=False, why=why)
            if event.entry not in {e.id for e in sheet.entries} and (
                len(sheet.entries) >= MOST
            ):
                why = f"The sheet holds {MOST} readings already: begin another."
                return sheet, Verdict(event.id, kept=False, why=why)
        then = sheet.after(event)
        try:
            if any(entry.is_reading for entry in then.active):
                self._readings_of(then)
        except InputError as fault:
            why = str(InputError(fault.what, cure=fault.cure))
            return sheet, Verdict(event.id, kept=False, why=why)
        return then, Verdict(event.id, kept=True)

    def _reload_if_changed(self) -> None:
        """Read the file again if somebody else wrote it."""
        if not self.path.exists():
            return
        content = read_bytes(self.path)
        if content != self._content:
            self.sheet = read_sheet(self.path, self._design)
            self._content = content

    def _write(self, sheet: SheetJournal, folder: int | None) -> None:
        content = sheet.text().encode("utf-8")
        try:
            atomic_write(self.path, content)
            if folder is not None:
                os.fsync(folder)
        except OSError as fault:
            why = fault.strerror or str(fault)
            raise InputError(
                f"the sheet cannot be written ({why})",
                file=self.path.name,
                cure="Nothing is lost: the page keeps it and tries again",
            ) from fault
        self._content, self.sheet = content, sheet


def read_sheet(path: Path, design: Design) -> SheetJournal:
    """Read a sheet to go on with it.

    Raises
    ------
    InputError
        If it is no rod sheet of radii in long form and in the design's unit, or its
        readings cannot be of this lining.
    """
    text = read_text(path)
    lines = [line.rstrip("\n") for line in io.StringIO(text, newline=None)]
    filled = [
        number
        for number, line in enumerate(lines, 1)
        if line.strip() and not is_comment(line.lstrip())
    ]
    if len(filled) == 1:
        table = _only_header(lines[filled[0] - 1], filled[0], path)
    else:
        table = read_table(path)
        if is_wide(table):
            raise InputError(
                "this sheet has a column for every azimuth",
                file=path,
                cure=_USE_LONG_FORM,
            )
        sheet = read_long(table, design.azimuth_sense)
        if sheet.readings:
            refuse_implausible(sheet, design)
    separator = separator_of(lines[table.header.number - 1])
    try:
        layout = ColumnLayout.of(table.header.cells, separator, design.length_unit)
    except InputError as fault:
        raise fault.at(file=path, place=table.place(table.header)) from fault
    return _parse_journal(layout, table, lines)


def readings_of(sheet: SheetJournal, design: Design, path: Path) -> RodReadings:
    """The readings that hold, as `geom.load_readings` gives them from the file.

    Raises
    ------
    InputError
        If as a whole they cannot be of this lining.
    """
    layout = sheet.layout
    rows = [SheetRow(number, tuple(cells)) for number, _, cells in sheet.rows()]
    header = SheetRow(len(sheet.head) + 1, layout.header)
    table = as_table(
        [header, *rows], file=str(path), decimal_comma=layout.decimal_comma
    )
    read = read_long(table, design.azimuth_sense)
    refuse_implausible(read, design)
    readings = read.to_readings()
    inside = np.clip(readings.height, design.profile.bottom, design.profile.top)
    return replace(readings, height=inside)


def _parse_journal(
    layout: ColumnLayout, table: SheetTable, lines: list[str]
) -> SheetJournal:
    rows: list[SheetEntry] = []
    events: list[Event] = []
    above: list[str] = []
    data_rows = {row.number: row for row in table.rows}
    first = table.header.number
    for number, line in enumerate(lines[first:], first + 1):
        if number in data_rows:
            cells = data_rows[number].cells
            texts = layout.texts(cells)
            rows.append(
                SheetEntry("", texts, above=tuple(above), cells=cells, line=line)
            )
            above = []
        elif (event := parse_event(line)) is not None:
            events.append(event)
        elif line.strip() or above:
            above.append(line)
    head = lines[: table.header.number - 1]
    while above and not above[-1].strip():
        above.pop()
    return rebuild_journal(layout, head, rows, above, events)


def _only_header(line: str, number: int, path: Path) -> SheetTable:
    """The table of a sheet whose readings were all withdrawn."""
    cells = [cell.strip() for cell in line.split(separator_of(line))]
    while cells and not cells[-1]:
        cells.pop()
    return SheetTable(str(path), SheetRow(number, tuple(cells)), ())


def _new_journal(design: Design) -> SheetJournal:
    from geom.views.say import plain, say_sense

    lining = plain(design.name)
    zero = plain(design.height_zero, most=60)
    head = (
        f"# {lining}: radii typed at the furnace",
        f"# {say_sense(design)}; heights above the {zero}",
        f"# Lines that begin with '{JOURNAL_MARK}' keep what was done, in order; "
        "leave them",
    )
    return SheetJournal(ColumnLayout.new(design.length_unit), head)


def _refuse_place(path: Path) -> None:
    name = path.name
    if path.suffix.lower() != ".csv":
        book = path.suffix.lower() == ".xlsx" and path.exists()
        named = f"Name it {path.stem if path.suffix else name}.csv"
        cure = "Save it as CSV from a spreadsheet program, and name that file"
        raise InputError(
            "a sheet ends in .csv", file=path, cure=cure if book else named
        )
    folder = path.parent
    if not folder.is_dir():
        cure = "Make the folder first, or check the path"
        raise InputError(f"there is no folder {folder}", file=path, cure=cure)
    if not os.access(folder, os.W_OK | os.X_OK):
        cure = "Check who may write there, or name another file"
        raise InputError(f"nothing can be written in {folder}", file=path, cure=cure)


@contextmanager
def _folder_lock(folder: Path) -> Iterator[int | None]:
    """Keep other desks out of a folder for a moment, where the system can."""
    try:
        import fcntl
    except ImportError:
        yield None
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise InputError(f"the sheet's folder is gone ({why})", file=folder) from fault
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)


@dataclass(frozen=True)
class ReadingValidator:
    """Judges whether a typed reading can be right, before it is kept."""

    design: Design

    @cached_property
    def _rows_as_drawn(self) -> tuple[tuple[str, ...], ...]:
        """Two readings just as drawn, high and low on the wall, as they are written.

        Between them one reading is asked whether it can be right, and not whether the
        sheet as a whole is of another unit.
        """
        plan, unit = plan_stations(self.design), self.design.length_unit
        rows, columns = np.nonzero(plan.requested)
        drawn_rows = []
        for at in (0, -1):
            height = float(plan.height[rows[at]])
            drawn = float(self.design.profile.radius_at(height))
            azimuth = f"{plan.station_azimuth[rows[at], columns[at]]:.6g}"
            lengths = (f"{from_mm(mm, unit):.9g}" for mm in (height, drawn))
            drawn_rows.append((azimuth, *lengths))
        return tuple(drawn_rows)

    def objection(self, event: Event, layout: ColumnLayout) -> str:
        """What speaks against a reading, in words; empty if it can be right.

        Parameters
        ----------
        event : Event
            With the decimal mark of the layout.
        """
        if not event.text:
            return "Nothing is typed yet."
        texts = (event.azimuth, event.height, event.text, event.note)
        line = layout.line(layout.cells(texts, ()))
        if layout.texts(read_row(line, layout.separator)) != texts:
            return "On the sheet this would not be read as it is typed. " + _MEND
        unit = self.design.length_unit
        header = ColumnLayout.new(unit).header[:3]
        typed = (event.azimuth, event.height, event.text)
        comma = layout.decimal_comma
        drawn = [
            tuple(map(layout.with_decimal_mark, row)) for row in self._rows_as_drawn
        ]
        rows = [SheetRow(k, row) for k, row in enumerate((header, typed, *drawn), 1)]
        table = as_table(rows, file="", decimal_comma=comma)
        try:
            sheet = read_long(table, self.design.azimuth_sense)
        except InputError as fault:
            return f"{upfirst(fault.what)}. {_number(unit)}"
        try:
            refuse_implausible(sheet, self.design)
        except InputError as fault:
            ratio = ratio_to_design(sheet, self.design)[:1]
            off = "radius" in (fault.place or "") or "radius" in fault.what
            diagnosis = diagnose(ratio, "radius", unit) if off else None
            ask = f"Is this {diagnosis.singular}? " if diagnosis else ""
            return f"{upfirst(fault.what)}. {ask}{_MEND}"
        return ""


def _number(unit: str) -> str:
    ways = "18 3/8 or 18.375" if unit == "in" else "the number alone"
    return f"Write {ways}, without a unit."
