"""The sheet on disk: read before it is written, written whole, by one at a time.

Whether a reading can be right at all, said to the hand that typed it.
"""

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

from geom.atomic import atomic_write
from geom.design import Design
from geom.design.text_file import read_bytes, read_text
from geom.desk.entries import (
    MARK,
    Entry,
    Event,
    KeptSheet,
    Layout,
    event_of,
    gathered,
    separator_of,
)
from geom.errors import InputError
from geom.readings import RodReadings
from geom.readings.sheets.forms import is_wide, read_long
from geom.readings.sheets.plausibility import (
    diagnose,
    refuse_implausible,
    share_of_design,
)
from geom.readings.sheets.table import (
    SheetRow,
    SheetTable,
    as_table,
    base_name,
    is_comment,
    read_table,
)
from geom.sampling.plan import first_climb
from geom.units import from_mm
from geom.views.say import upfirst

_MEND = "Mend it here, or read the rod again."


@dataclass(frozen=True)
class Doubts:
    """What is asked of every reading before it is kept."""

    design: Design

    @cached_property
    def _as_drawn(self) -> tuple[tuple[str, ...], ...]:
        """Two readings just as drawn, high and low on the wall, as they are written.

        Between them one reading is asked whether it can be right, and not whether the
        sheet as a whole is of another unit.
        """
        climb, unit = first_climb(self.design), self.design.length_unit
        rows, columns = np.nonzero(climb.asked)
        told = []
        for at in (0, -1):
            height = float(climb.height[rows[at]])
            drawn = float(self.design.profile.radius_at(height))
            azimuth = f"{climb.azimuth[columns[at]]:.6g}"
            lengths = (f"{from_mm(mm, unit):.9g}" for mm in (height, drawn))
            told.append((azimuth, *lengths))
        return tuple(told)

    def against(self, event: Event, layout: Layout) -> str:
        """What speaks against a reading, in words; empty if it can be right.

        Parameters
        ----------
        event : Event
            With the decimal mark of the layout.
        layout : Layout
        """
        if not event.text:
            return "Nothing is typed yet."
        unit = self.design.length_unit
        header = Layout.new(unit).header[:3]
        said = (event.azimuth, event.height, event.text)
        comma = layout.decimal_comma
        drawn = [tuple(map(layout.in_its_marks, row)) for row in self._as_drawn]
        rows = [SheetRow(k, row) for k, row in enumerate((header, said, *drawn), 1)]
        table = as_table(rows, file="", decimal_comma=comma)
        try:
            sheet = read_long(table)
        except InputError as fault:
            return f"{upfirst(fault.what)}. {_number(unit)}"
        try:
            refuse_implausible(sheet, self.design)
        except InputError as fault:
            one = share_of_design(sheet, self.design)[:1]
            off = "radius" in (fault.place or "") or "radius" in fault.what
            cause = diagnose(one, "radius", unit) if off else None
            ask = f"Is this {cause.one}? " if cause else ""
            return f"{upfirst(fault.what)}. {ask}{_MEND}"
        return ""


def _number(unit: str) -> str:
    ways = "18 3/8 or 18.375" if unit == "in" else "the number alone"
    return f"Write {ways}, without a unit."


#: Readings past which a sheet is no rod sheet of one climb.
MOST = 4000


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
    design : Design

    Raises
    ------
    InputError
        If the file is there and is no rod sheet of this lining that can be continued,
        or none could be written there.
    """

    def __init__(self, path: Path, design: Design) -> None:
        self.path, self._design = path, design
        self._alone = threading.Lock()
        self._doubts = Doubts(design)
        _refuse_place(path)
        self._content, self.sheet = b"", _new(design)
        self._read: tuple[KeptSheet, RodReadings] | None = None
        self._catch_up()

    def take(self, events: Sequence[Event]) -> tuple[Verdict, ...]:
        """Do what was asked, as far as it can be right, and write it.

        Parameters
        ----------
        events : sequence of Event

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
        with self._alone, _alone_in(self.path.parent) as folder:
            self._catch_up()
            sheet, verdicts = self.sheet, []
            for event in events:
                sheet, verdict = self._tried(sheet, event)
                verdicts.append(verdict)
            if sheet is not self.sheet:
                self._write(sheet, folder)
            return tuple(verdicts)

    def readings(self) -> tuple[tuple[str, ...], RodReadings | None]:
        """Marks of the readings that hold, and the readings; None of no readings."""
        marks = tuple(entry.id for entry in self.sheet.live)
        return marks, self._readings_of(self.sheet) if marks else None

    def _readings_of(self, sheet: KeptSheet) -> RodReadings:
        """The readings of a sheet; those of the last one asked for are at hand."""
        if self._read is None or self._read[0] is not sheet:
            self._read = sheet, readings_of(sheet, self._design, self.path)
        return self._read[1]

    def _tried(self, sheet: KeptSheet, event: Event) -> tuple[KeptSheet, Verdict]:
        if event.id in sheet.done:
            return sheet, Verdict(event.id, kept=True)
        event = _in_marks(event, sheet.layout)
        if event.deed != "withdraw":
            if why := self._doubts.against(event, sheet.layout):
                return sheet, Verdict(event.id, kept=False, why=why)
            if event.entry not in {e.id for e in sheet.entries} and (
                len(sheet.entries) >= MOST
            ):
                why = f"The sheet holds {MOST} readings already: begin another."
                return sheet, Verdict(event.id, kept=False, why=why)
        then = sheet.after(event)
        try:
            if then.live:
                self._readings_of(then)
        except InputError as fault:
            why = str(InputError(fault.what, cure=fault.cure))
            return sheet, Verdict(event.id, kept=False, why=why)
        return then, Verdict(event.id, kept=True)

    def _catch_up(self) -> None:
        """Read the file again if somebody else wrote it."""
        if not self.path.exists():
            return
        content = read_bytes(self.path)
        if content != self._content:
            self.sheet = read_sheet(self.path, self._design)
            self._content = content

    def _write(self, sheet: KeptSheet, folder: int | None) -> None:
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


def read_sheet(path: Path, design: Design) -> KeptSheet:
    """Read a sheet to go on with it.

    Raises
    ------
    InputError
        If it is no rod sheet of radii in long form and in the design's unit, or its
        readings cannot be of this lining.
    """
    text = read_text(path)
    lines = [line.rstrip("\n") for line in io.StringIO(text, newline=None)]
    said = [
        number
        for number, line in enumerate(lines, 1)
        if line.strip() and not is_comment(line.lstrip())
    ]
    if len(said) == 1:
        table = _only_header(lines[said[0] - 1], said[0], path)
    else:
        table = read_table(path)
        if is_wide(table):
            raise InputError(
                "this sheet has a column for every azimuth", file=path, cure=_LONG
            )
        sheet = read_long(table)
        refuse_implausible(sheet, design)
    separator = separator_of(lines[table.header.number - 1])
    try:
        layout = Layout.of(table.header.cells, separator, design.length_unit)
    except InputError as fault:
        raise fault.at(file=path, place=table.place(table.header)) from fault
    return _with_rows(layout, table, lines)


def readings_of(sheet: KeptSheet, design: Design, path: Path) -> RodReadings:
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
    read = read_long(table)
    refuse_implausible(read, design)
    readings = read.to_readings()
    inside = np.clip(readings.height, design.profile.bottom, design.profile.top)
    return replace(readings, height=inside)


def _with_rows(layout: Layout, table: SheetTable, lines: list[str]) -> KeptSheet:
    rows: list[Entry] = []
    events: list[Event] = []
    above: list[str] = []
    held = {row.number: row for row in table.rows}
    first = table.header.number
    for number, line in enumerate(lines[first:], first + 1):
        if number in held:
            cells = held[number].cells
            texts = layout.texts(cells)
            rows.append(Entry("", texts, above=tuple(above), cells=cells, line=line))
            above = []
        elif (event := event_of(line)) is not None:
            events.append(event)
        elif line.strip() or above:
            above.append(line)
    head = lines[: table.header.number - 1]
    while above and not above[-1].strip():
        above.pop()
    return gathered(layout, head, rows, above, events)


def _only_header(line: str, number: int, path: Path) -> SheetTable:
    """The table of a sheet whose readings were all withdrawn."""
    cells = [cell.strip() for cell in line.split(separator_of(line))]
    while cells and not cells[-1]:
        cells.pop()
    return SheetTable(str(path), SheetRow(number, tuple(cells)), ())


def _new(design: Design) -> KeptSheet:
    from geom.views.say import plain, say_sense

    lining = plain(design.name)
    zero = plain(design.height_zero, most=60)
    head = (
        f"# {lining}: radii typed at the furnace",
        f"# {say_sense(design)}; heights above the {zero}",
        f"# Lines that begin with '{MARK}' keep what was done, in order; leave them",
    )
    return KeptSheet(Layout.new(design.length_unit), head)


def _in_marks(event: Event, layout: Layout) -> Event:
    """With the sheet's own decimal mark."""
    return replace(
        event,
        azimuth=layout.in_its_marks(event.azimuth),
        height=layout.in_its_marks(event.height),
        text=layout.in_its_marks(event.text),
    )


def _refuse_place(path: Path) -> None:
    name = base_name(str(path))
    if path.suffix.lower() != ".csv":
        raise InputError("a sheet ends in .csv", file=path, cure=f"Name it {name}.csv")
    folder = path.parent
    if not folder.is_dir():
        cure = "Make the folder first, or check the path"
        raise InputError(f"there is no folder {folder}", file=path, cure=cure)
    if not os.access(folder, os.W_OK | os.X_OK):
        cure = "Check who may write there, or name another file"
        raise InputError(f"nothing can be written in {folder}", file=path, cure=cure)


@contextmanager
def _alone_in(folder: Path) -> Iterator[int | None]:
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
        raise InputError(f"the sheet's folder is away ({why})", file=folder) from fault
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)


_LONG = (
    "Name another file with --sheet, a row for each reading is kept in it; survey "
    "takes several sheets as one survey"
)
