"""Whether a typed reading can be right at all, in words for the hand that typed it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.design import Design
from geom.desk.entries import ColumnLayout, Event
from geom.errors import InputError
from geom.readings.sheets.diagnosis import diagnose
from geom.readings.sheets.forms import read_long
from geom.readings.sheets.plausibility import ratio_to_design, refuse_implausible
from geom.readings.sheets.table import SheetRow, as_table, read_row
from geom.sampling.plan import initial_plan
from geom.units import from_mm
from geom.views.say import upfirst

_MEND = "Mend it here, or read the rod again."


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
        plan, unit = initial_plan(self.design), self.design.length_unit
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
        layout : Layout
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
            sheet = read_long(table)
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
