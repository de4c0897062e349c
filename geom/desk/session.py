"""The desk while it is open: a sheet on disk and the wall that follows it."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from geom.design import Design
from geom.desk.actions import (
    Called,
    board_of,
    call_full,
    call_quick,
    lacking,
    planned,
    rod_belief,
)
from geom.desk.entries import Entry, Event
from geom.desk.quick_fit import Held, quick_wall
from geom.desk.sheet import SheetFile, Verdict
from geom.errors import DaublineError
from geom.readings import RodReadings
from geom.sampling.plan import Climb
from geom.sampling.stations import Station, next_stations
from geom.surface import PastPrior, RadialSurface, reconstruct

#: How long the hand has to rest before the full fit is begun, seconds.
PAUSE = 1.0
#: Stations that are named as telling most.
_NAMED = 3


@dataclass(frozen=True)
class Snapshot:
    """The desk at one moment.

    Attributes
    ----------
    version : int
        Grows with every change.
    entries : tuple of Entry
    marks : tuple of str
        Of the readings, in their order.
    readings : RodReadings or None
    board : Climb
    called : Called or None
        None while there are too few readings.
    lacks : str
        What is wanting until there are enough.
    slips : dict of str
        What speaks against a reading that the full fit left out, by its mark.
    telling : tuple of Station
        Where the next reading would tell most, as the last full fit has it.
    fitting : bool
        Whether a full fit is still to come.
    trouble : str
        Why the last full fit came to nothing.
    """

    version: int
    entries: tuple[Entry, ...]
    marks: tuple[str, ...]
    readings: RodReadings | None
    board: Climb
    called: Called | None = None
    lacks: str = ""
    slips: dict[str, str] = field(default_factory=dict)
    telling: tuple[Station, ...] = ()
    fitting: bool = False
    trouble: str = ""


@dataclass(frozen=True)
class _Fitted:
    """What the last full fit leaves behind."""

    held: Held
    slips: dict[tuple[str, float], str]
    telling: tuple[Station, ...]


class Desk:
    """A sheet, its wall, and a full fit whenever the hand rests.

    Parameters
    ----------
    design : Design
    design_file : Path
        For messages.
    sheet : Path
    past : PastPrior, optional
        What earlier surveys of the furnace taught.
    pause : float, seconds

    Raises
    ------
    InputError
        If the sheet cannot be continued or the rod's steps leave no stations.
    """

    def __init__(
        self,
        design: Design,
        design_file: Path,
        sheet: Path,
        *,
        past: PastPrior | None = None,
        pause: float = PAUSE,
    ) -> None:
        self.design, self._past, self._pause = design, past, pause
        self.name = sheet.name
        self.key = hashlib.sha256(str(sheet.resolve()).encode()).hexdigest()[:20]
        self._plan = planned(design, design_file)
        self._file = SheetFile(sheet, design)
        self._lock = threading.Lock()
        self._stirred = threading.Event()
        self._touched = 0.0
        self._fitted: _Fitted | None = None
        self._closed = False
        # Never a number that a page had of this desk before it was opened anew.
        self.now = self._looked(time.time_ns() // 1_000_000)
        self._thread = threading.Thread(target=self._fit_at_rest, daemon=True)

    def open(self) -> None:
        """Begin to fit whenever the hand rests."""
        if self.now.readings is not None:
            self._stir()
        self._thread.start()

    def close(self) -> None:
        """Fit no more; the sheet is on disk as it is."""
        self._closed = True
        self._stirred.set()

    def take(self, events: Sequence[Event]) -> tuple[Verdict, ...]:
        """Do what the page asks and bring the wall up to it.

        Raises
        ------
        InputError
            If the sheet can neither be read nor written: then nothing is done.
        """
        with self._lock:
            before = self._file.sheet
            verdicts = self._file.take(events)
            if self._file.sheet is not before:
                self.now = self._looked(self.now.version + 1)
                self._stir()
        return verdicts

    def _stir(self) -> None:
        self._touched = time.monotonic()
        self._stirred.set()

    def _looked(self, version: int) -> Snapshot:
        """The desk with the sheet as it is, the wall by the quick way."""
        marks, readings = self._file.readings()
        board = board_of(self.design, self._plan, readings)
        seen = Snapshot(
            version=version,
            entries=self._file.sheet.entries,
            marks=marks,
            readings=readings,
            board=board,
            lacks=lacking(readings),
        )
        if readings is None or seen.lacks:
            return seen
        fitted = self._fitted
        held = fitted.held if fitted else Held.expected(readings, self.design)
        slips = _still(fitted, marks, readings)
        kept = _without(readings, [mark in slips for mark in marks])
        if lacking(kept):
            kept = readings
        wall = quick_wall(kept, held, self.design)
        return replace(
            seen,
            called=call_quick(kept, wall, board, self.design),
            slips=slips,
            telling=fitted.telling if fitted else (),
            fitting=True,
        )

    def _fit_at_rest(self) -> None:
        while not self._closed:
            self._stirred.wait()
            rest = self._touched + self._pause - time.monotonic()
            if rest > 0.0:
                time.sleep(rest)
                continue
            self._stirred.clear()
            if not self._closed:
                self._fit()

    def _fit(self) -> None:
        seen = self.now
        if seen.readings is None or seen.lacks:
            return
        try:
            surface = reconstruct(seen.readings, self.design, past=self._past)
            telling = _telling(surface, seen.readings)
            called = call_full(seen.readings, surface, seen.board)
        except Exception as fault:
            # The readings are on disk and the quick wall stands: the page says so.
            logging.getLogger(__name__).exception("the full fit came to nothing")
            self._tell(seen, trouble=str(fault))
            return
        slips = _slips(surface, seen)
        fitted = _Fitted(Held.of(rod_belief(surface)), slips, telling)
        with self._lock:
            self._fitted = fitted
            version = self.now.version + 1
            if self.now.marks == seen.marks and _same(self.now.readings, seen.readings):
                self.now = replace(
                    self.now,
                    version=version,
                    called=called,
                    slips=_still(fitted, seen.marks, seen.readings),
                    telling=telling,
                    fitting=False,
                    trouble="",
                )
            else:
                self.now = self._looked(version)

    def _tell(self, seen: Snapshot, *, trouble: str) -> None:
        with self._lock:
            if self.now is seen:
                version = seen.version + 1
                self.now = replace(
                    seen, version=version, fitting=False, trouble=trouble
                )


def _telling(surface: RadialSurface, readings: RodReadings) -> tuple[Station, ...]:
    """Where the next reading would tell most; none where no station can be weighed."""
    try:
        return next_stations(surface, readings, count=_NAMED).stations
    except DaublineError:
        return ()


def _slips(surface: RadialSurface, seen: Snapshot) -> dict[tuple[str, float], str]:
    """What was left out, by mark and value, with what speaks against it."""
    readings = seen.readings
    if readings is None:
        return {}
    at = {place: k for k, place in enumerate(readings.place)}
    return {
        (seen.marks[at[r.place]], float(readings.value[at[r.place]])): r.why
        for r in surface.rejected
        if r.place in at
    }


def _still(
    fitted: _Fitted | None, marks: Sequence[str], readings: RodReadings
) -> dict[str, str]:
    """Readings that were left out by the last full fit and are as they were."""
    if fitted is None:
        return {}
    told = zip(marks, readings.value, strict=True)
    return {
        mark: fitted.slips[mark, float(value)]
        for mark, value in told
        if (mark, float(value)) in fitted.slips
    }


def _without(readings: RodReadings, left_out: list[bool]) -> RodReadings:
    kept = [k for k, out in enumerate(left_out) if not out]
    return RodReadings(
        kind=tuple(readings.kind[k] for k in kept),
        azimuth=readings.azimuth[kept],
        height=readings.height[kept],
        value=readings.value[kept],
        sd=readings.sd[kept],
        step=readings.step[kept],
        place=tuple(readings.place[k] for k in kept),
        note=tuple(readings.note[k] for k in kept),
    )


def _same(one: RodReadings | None, other: RodReadings | None) -> bool:
    """Whether two sheets say the same of the wall."""
    if one is None or other is None:
        return one is other
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("azimuth", "height", "value", "sd")
    )
