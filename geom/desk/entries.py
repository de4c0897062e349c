"""A rod sheet and its journal of operations: one text, whole at any time.

The readings stand in it row by row, as `daubline survey` reads them.  Below them, as
comments, stands the journal: every operation with an identifier of its own, a reading
entered, corrected or withdrawn.  So one file says which readings hold, which were taken
back, and which operations are applied already when a page sends them again.  Where
somebody changed the rows by hand, the rows hold.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, cast

from geom.errors import InputError
from geom.readings.sheets.sheet import read_name, says_no_access, says_not_read
from geom.views.say import plain

Operation = Literal["enter", "correct", "withdraw"]

OPERATIONS: tuple[Operation, ...] = ("enter", "correct", "withdraw")
#: Characters of what is typed, and of a note.
LONGEST, LONGEST_NOTE = 40, 200

_ID = re.compile(r"[0-9a-z-]{8,64}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)")
_TEXTS = ("azimuth", "height", "text", "note", "time")
#: What a spreadsheet would take for a formula.
_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True)
class Event:
    """One operation, as the page sends it.

    Attributes
    ----------
    id : str
        Made by the browser: an event sent twice is applied once.
    entry : str
        The reading it is about; made by the browser too.
    operation : {'enter', 'correct', 'withdraw'}
    azimuth, height, text, note : str
        Where it was read, what was read and what was remarked, as typed; lengths in
        the sheet's unit.
    time : str
        When, by the clock of the browser; ISO 8601.
    """

    id: str
    entry: str
    operation: Operation
    azimuth: str
    height: str
    text: str
    note: str
    time: str


def read_event(message: object) -> Event:
    """Take an event that came as JSON.

    Raises
    ------
    InputError
        If it is none.
    """
    if not isinstance(message, dict) or set(message) != {
        "id",
        "entry",
        "deed",
        *_TEXTS,
    }:
        raise InputError("this is no reading as the page sends it")
    if not all(isinstance(value, str) for value in message.values()):
        raise InputError("a reading is given as texts alone")
    for name in ("id", "entry"):
        if not _ID.fullmatch(message[name]):
            raise InputError(f"this is no {name} of a reading")
    if message["deed"] not in OPERATIONS or not _TIME.fullmatch(message["time"]):
        raise InputError("a reading has a deed and a time")
    for name in ("azimuth", "height", "text"):
        if len(message[name]) > LONGEST:
            raise InputError(f"{message[name][:LONGEST]!r}... is too long for a number")
    return Event(
        id=message["id"],
        entry=message["entry"],
        operation=cast(Operation, message["deed"]),
        azimuth=plain(message["azimuth"]),
        height=plain(message["height"]),
        text=plain(message["text"]),
        note=escape_formula(plain(message["note"], most=LONGEST_NOTE)),
        time=message["time"],
    )


def escape_formula(note: str) -> str:
    """A note that no spreadsheet takes for a formula.

    Examples
    --------
    >>> escape_formula("soft"), escape_formula("=1+1")
    ('soft', "'=1+1")
    """
    return f"'{note}" if note.startswith(_FORMULA) else note


#: First word of the lines of the journal; to every reader of rod sheets they are
#: comments.
JOURNAL_MARK = "# desk"
_SEPARATORS = (";", "\t")
_ALL = ",;\t"


@dataclass(frozen=True)
class ColumnLayout:
    """Where each quantity stands in a row.

    Attributes
    ----------
    header : tuple of str
        Names of the columns.
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
    def new(cls, unit: str) -> ColumnLayout:
        """Of a sheet that the desk begins itself."""
        header = ("azimuth_deg", f"height_{unit}", f"radius_{unit}", "note")
        return cls(header, ",", 0, 1, 2, 3)

    @classmethod
    def of(cls, header: Sequence[str], separator: str, unit: str) -> ColumnLayout:
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
        return self.separator != ","

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

    def with_decimal_mark(self, number: str) -> str:
        """A number with the sheet's own decimal mark, else as typed.

        Examples
        --------
        >>> ColumnLayout.new("mm").with_decimal_mark("455,5")
        '455.5'
        """
        if self.separator == ";":
            return number.replace(".", ",")
        decimal = number.count(",") == 1 and "." not in number
        return number.replace(",", ".") if decimal else number


def separator_of(header: str) -> str:
    """What separates the columns of a sheet, by its first line."""
    return next((mark for mark in _SEPARATORS if mark in header), ",")


def split_journal_line(line: str) -> tuple[str, ...]:
    """The cells of a line of the desk's own; empty if it is not whole.

    A spreadsheet that saved the sheet may have put another separator.
    """
    separator = line.removeprefix(JOURNAL_MARK)[:1]
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


Texts = tuple[str, str, str, str]


@dataclass(frozen=True)
class SheetEntry:
    """One reading.

    Attributes
    ----------
    texts : four str
        Azimuth, height, radius and note, with the sheet's decimal mark.
    above : tuple of str
        Comments and blank lines that stand over its row, as they came.
    cells : tuple of str
        Its row as it came, for what the desk does not write; empty of a new one.
    line : str
        Its row, letter for letter, while nothing in it was changed.
    typed : str
        The radius as it was typed; empty of a row that was not typed at the desk.
    """

    id: str
    texts: Texts
    withdrawn: bool = False
    above: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()
    line: str = ""
    typed: str = ""

    @property
    def as_typed(self) -> str:
        """The radius as it was typed, or as its row has it."""
        return self.typed or self.texts[2]

    @property
    def no_access(self) -> bool:
        """Whether it says that nobody could reach there."""
        return says_no_access(self.texts[2])

    @property
    def is_reading(self) -> bool:
        """Whether it was read: neither out of reach nor ``n/r``."""
        return not (self.no_access or says_not_read(self.texts[2]))


@dataclass(frozen=True)
class SheetJournal:
    """A sheet and its journal.

    Attributes
    ----------
    head : tuple of str
        Lines over the header, as they came.
    entries : tuple of SheetEntry
        In the order entered, those withdrawn among them.
    tail : tuple of str
        Comments below the last row, as they came.
    events : tuple of Event
        Every operation applied so far, in order.
    """

    layout: ColumnLayout
    head: tuple[str, ...] = ()
    entries: tuple[SheetEntry, ...] = ()
    tail: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()

    @cached_property
    def applied(self) -> frozenset[str]:
        """Identifiers of the events that are applied."""
        return frozenset(event.id for event in self.events)

    @property
    def active(self) -> tuple[SheetEntry, ...]:
        """The readings that hold."""
        return tuple(entry for entry in self.entries if not entry.withdrawn)

    def after(self, event: Event) -> SheetJournal:
        """The sheet once something is done; the same if it was done before."""
        if event.id in self.applied:
            return self
        return replace(
            self,
            entries=_apply(self.entries, event, self.layout),
            events=(*self.events, event),
        )

    def rows(self) -> list[tuple[int, SheetEntry, list[str]]]:
        """Rows that hold: number of the line, entry, cells."""
        rows, number = [], len(self.head) + 1
        for entry in self.entries:
            number += len(entry.above)
            if entry.withdrawn:
                continue
            number += 1
            cells = list(entry.cells) if entry.line else self._cells(entry)
            rows.append((number, entry, cells))
        return rows

    def text(self) -> str:
        """The whole file."""
        lines = [*self.head, self.layout.line(self.layout.header)]
        for entry in self.entries:
            lines += entry.above
            if not entry.withdrawn:
                lines.append(entry.line or self.layout.line(self._cells(entry)))
        lines += self.tail
        lines += [_journal_line(event) for event in self.events]
        return "\n".join(lines) + "\n"

    def _cells(self, entry: SheetEntry) -> list[str]:
        return self.layout.cells(entry.texts, entry.cells)


def with_sheet_decimals(event: Event, layout: ColumnLayout) -> Event:
    """With the sheet's own decimal mark."""
    return replace(
        event,
        azimuth=layout.with_decimal_mark(event.azimuth),
        height=layout.with_decimal_mark(event.height),
        text=layout.with_decimal_mark(event.text),
    )


def _apply(
    entries: tuple[SheetEntry, ...], event: Event, layout: ColumnLayout
) -> tuple[SheetEntry, ...]:
    """Entries once something is done; one that is not known yet comes last."""
    typed, event = event.text, with_sheet_decimals(event, layout)
    texts = (event.azimuth, event.height, event.text, event.note)
    gone = event.operation == "withdraw"
    if event.entry not in {entry.id for entry in entries}:
        return (*entries, SheetEntry(event.entry, texts, withdrawn=gone, typed=typed))
    if event.operation == "enter":
        return entries
    return tuple(
        entry
        if entry.id != event.entry
        else replace(entry, withdrawn=True)
        if gone
        else replace(entry, texts=texts, withdrawn=False, line="", typed=typed)
        for entry in entries
    )


def _journal_line(event: Event) -> str:
    about = (event.operation, event.id, event.entry, event.time)
    texts = (event.azimuth, event.height, event.text, event.note)
    return ColumnLayout.new("mm").line((JOURNAL_MARK, *about, *texts))


def parse_event(line: str) -> Event | None:
    """The event that a line of the journal keeps, if it keeps one."""
    if not line.startswith(JOURNAL_MARK):
        return None
    cells = split_journal_line(line)
    if len(cells) != 9 or cells[0] != JOURNAL_MARK or cells[1] not in OPERATIONS:
        return None
    _, operation, event_id, entry, time, azimuth, height, text, note = cells
    return Event(
        event_id, entry, cast(Operation, operation), azimuth, height, text, note, time
    )


def rebuild_journal(
    layout: ColumnLayout,
    head: Sequence[str],
    rows: Sequence[SheetEntry],
    tail: Sequence[str],
    events: Sequence[Event],
) -> SheetJournal:
    """A sheet from its lines: each row with the identifier it was entered under.

    Parameters
    ----------
    rows : sequence of SheetEntry
        Without identifiers.
    events : sequence of Event
        In the order done.
    """
    entries: tuple[SheetEntry, ...] = ()
    for event in events:
        entries = _apply(entries, event, layout)
    typed = {entry.id: entry.typed for entry in entries}
    free: dict[Texts, list[str]] = {}
    for entry in entries:
        if not entry.withdrawn:
            free.setdefault(entry.texts, []).append(entry.id)
    named: list[SheetEntry] = []
    seen: dict[Texts, int] = {}
    for row in rows:
        entry_ids = free.get(row.texts)
        again = seen[row.texts] = seen.get(row.texts, 0) + 1
        entry_id = entry_ids.pop(0) if entry_ids else _manual_id(row.texts, again)
        named.append(replace(row, id=entry_id, typed=typed.get(entry_id, "")))
    withdrawn = [entry for entry in entries if entry.withdrawn]
    by_id = {row.id: row for row in named}
    in_order = [entry.id for entry in entries if not entry.withdrawn]
    if in_order == [row.id for row in named]:
        kept = tuple(by_id.get(entry.id, entry) for entry in entries)
    else:
        kept = (*named, *(entry for entry in withdrawn if entry.id not in by_id))
    return SheetJournal(layout, tuple(head), kept, tuple(tail), tuple(events))


def _manual_id(texts: Texts, again: int) -> str:
    """Identify a row that did not come from a page; the same at every opening."""
    whole = "\n".join((*texts, str(again)))
    return "hand-" + hashlib.sha256(whole.encode("utf-8")).hexdigest()[:20]
