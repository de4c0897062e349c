"""Whether a reading can be right at all, said to the hand that typed it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.climb import first_climb
from geom.design import Design
from geom.desk.events import Event
from geom.desk.layout import Layout
from geom.errors import InputError
from geom.readings.long_form import read_long
from geom.readings.plausibility import refuse_implausible, share_of_design
from geom.readings.reason import likely_cause
from geom.readings.table import Row, as_table
from geom.units import from_mm

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
        rows = [Row(k, row) for k, row in enumerate((header, said, *drawn), 1)]
        table = as_table(rows, file="", decimal_comma=comma)
        try:
            sheet = read_long(table)
        except InputError as fault:
            return f"{_capital(fault.what)}. {_number(unit)}"
        try:
            refuse_implausible(sheet, self.design)
        except InputError as fault:
            one = share_of_design(sheet, self.design)[:1]
            off = "radius" in (fault.place or "") or "radius" in fault.what
            cause = likely_cause(one, "radius", unit) if off else None
            ask = f"Is this {cause.one}? " if cause else ""
            return f"{_capital(fault.what)}. {ask}{_MEND}"
        return ""


def _number(unit: str) -> str:
    ways = "18 3/8 or 18.375" if unit == "in" else "the number alone"
    return f"Write {ways}, without a unit."


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
