"""A rod sheet with all that was done to it: one text, whole at any time.

The readings stand in it row by row, as `daubline survey` reads them.  Below them, as
comments, stands every deed with its own mark: entered, corrected, withdrawn.  So one
file says which readings hold, which were taken back, and which deeds are done already
when a page sends them again.  Where somebody changed the rows by hand, the rows hold.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

from geom.desk.events import DEEDS, Deed, Event
from geom.desk.layout import MARK, Layout, read_kept

Texts = tuple[str, str, str, str]


@dataclass(frozen=True)
class Entry:
    """One reading.

    Attributes
    ----------
    id : str
    texts : four str
        Azimuth, height, radius and note, as typed.
    withdrawn : bool
    above : tuple of str
        Comments and blank lines that stand over its row, as they came.
    cells : tuple of str
        Its row as it came, for what the desk does not write; empty of a new one.
    line : str
        Its row, letter for letter, while nothing in it was changed.
    """

    id: str
    texts: Texts
    withdrawn: bool = False
    above: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()
    line: str = ""


@dataclass(frozen=True)
class KeptSheet:
    """A sheet and its deeds.

    Attributes
    ----------
    layout : Layout
    head : tuple of str
        Lines over the header, as they came.
    entries : tuple of Entry
        In the order entered, those withdrawn among them.
    tail : tuple of str
        Comments below the last row, as they came.
    events : tuple of Event
        Every deed done so far, in order.
    """

    layout: Layout
    head: tuple[str, ...] = ()
    entries: tuple[Entry, ...] = ()
    tail: tuple[str, ...] = ()
    events: tuple[Event, ...] = ()

    @cached_property
    def done(self) -> frozenset[str]:
        """Marks of the deeds that are done."""
        return frozenset(event.id for event in self.events)

    @property
    def live(self) -> tuple[Entry, ...]:
        """The readings that hold."""
        return tuple(entry for entry in self.entries if not entry.withdrawn)

    def after(self, event: Event) -> KeptSheet:
        """The sheet once something is done; the same if it was done before."""
        if event.id in self.done:
            return self
        return replace(
            self,
            entries=_after(self.entries, event),
            events=(*self.events, event),
        )

    def rows(self) -> list[tuple[int, Entry, list[str]]]:
        """Rows that hold: number of the line, entry, cells."""
        told, number = [], len(self.head) + 1
        for entry in self.entries:
            number += len(entry.above)
            if entry.withdrawn:
                continue
            number += 1
            cells = list(entry.cells) if entry.line else self._cells(entry)
            told.append((number, entry, cells))
        return told

    def text(self) -> str:
        """The whole file."""
        lines = [*self.head, self.layout.line(self.layout.header)]
        for entry in self.entries:
            lines += entry.above
            if not entry.withdrawn:
                lines.append(entry.line or self.layout.line(self._cells(entry)))
        lines += self.tail
        lines += [_kept_line(event) for event in self.events]
        return "\n".join(lines) + "\n"

    def _cells(self, entry: Entry) -> list[str]:
        return self.layout.cells(entry.texts, entry.cells)


def _after(entries: tuple[Entry, ...], event: Event) -> tuple[Entry, ...]:
    """Entries once something is done; one that is not known yet comes last."""
    texts = (event.azimuth, event.height, event.text, event.note)
    gone = event.deed == "withdraw"
    if event.entry not in {entry.id for entry in entries}:
        return (*entries, Entry(event.entry, texts, withdrawn=gone))
    if event.deed == "enter":
        return entries
    return tuple(
        entry
        if entry.id != event.entry
        else replace(entry, withdrawn=True)
        if gone
        else replace(entry, texts=texts, withdrawn=False, line="")
        for entry in entries
    )


def _kept_line(event: Event) -> str:
    told = (event.deed, event.id, event.entry, event.time)
    texts = (event.azimuth, event.height, event.text, event.note)
    return Layout.new("mm").line((MARK, *told, *texts))


def event_of(line: str) -> Event | None:
    """The deed that a line of the file keeps, if it keeps one."""
    if not line.startswith(MARK):
        return None
    cells = read_kept(line)
    if len(cells) != 9 or cells[0] != MARK or cells[1] not in DEEDS:
        return None
    _, deed, mark, entry, time, azimuth, height, text, note = cells
    return Event(mark, entry, cast(Deed, deed), azimuth, height, text, note, time)


def gathered(
    layout: Layout,
    head: Sequence[str],
    rows: Sequence[Entry],
    tail: Sequence[str],
    events: Sequence[Event],
) -> KeptSheet:
    """A sheet from its lines: each row with the mark it was entered under.

    Parameters
    ----------
    layout : Layout
    head, tail : sequence of str
    rows : sequence of Entry
        Without marks.
    events : sequence of Event
        In the order done.
    """
    entries: tuple[Entry, ...] = ()
    for event in events:
        entries = _after(entries, event)
    free: dict[Texts, list[str]] = {}
    for entry in entries:
        if not entry.withdrawn:
            free.setdefault(entry.texts, []).append(entry.id)
    named: list[Entry] = []
    seen: dict[Texts, int] = {}
    for row in rows:
        marks = free.get(row.texts)
        again = seen[row.texts] = seen.get(row.texts, 0) + 1
        mark = marks.pop(0) if marks else _by_hand(row.texts, again)
        named.append(replace(row, id=mark))
    withdrawn = [entry for entry in entries if entry.withdrawn]
    told = {row.id: row for row in named}
    in_order = [entry.id for entry in entries if not entry.withdrawn]
    if in_order == [row.id for row in named]:
        kept = tuple(told.get(entry.id, entry) for entry in entries)
    else:
        kept = (*named, *(one for one in withdrawn if one.id not in told))
    return KeptSheet(layout, tuple(head), kept, tuple(tail), tuple(events))


def _by_hand(texts: Texts, again: int) -> str:
    """A mark for a row that did not come from a page; the same at every opening."""
    whole = "\n".join((*texts, str(again)))
    return "hand-" + hashlib.sha256(whole.encode("utf-8")).hexdigest()[:20]
