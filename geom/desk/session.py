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

from geom.compare import assess
from geom.design import Design
from geom.desk.actions import (
    StationActions,
    full_actions,
    missing_readings,
    planned_stations,
    quick_actions,
    rod_posterior,
    station_board,
)
from geom.desk.entries import Event, SheetEntry
from geom.desk.quick_fit import FixedHyperparameters, quick_fit
from geom.desk.sheet import SheetFile, Verdict
from geom.errors import DaublineError
from geom.frame import turn
from geom.parallel import Second
from geom.readings import RodReadings
from geom.readings.surveys import SurveyBefore
from geom.repair.acceptance.recheck import recheck
from geom.repair.acceptance.result import Recheck
from geom.sampling.feasible import out_of_reach
from geom.sampling.plan import SamplingPlan
from geom.sampling.stations import Station, next_stations
from geom.surface import PastPrior, RadialSurface, reconstruct
from geom.surface.radial import Rejected

#: How long the hand has to rest before the full fit is begun, seconds.
PAUSE = 1.0
#: Stations that are named as telling most.
_NAMED = 3


@dataclass(frozen=True)
class DeskState:
    """The desk at one moment.

    Attributes
    ----------
    version : int
        Grows with every change.
    entry_ids : tuple of str
        Of the entries behind the readings, in their order.
    actions : StationActions or None
        None while there are too few readings.
    missing : str
        What is wanting until there are enough.
    outliers : dict of Rejected
        Readings that the full fit left out, by their entries.
    suggested : tuple of Station
        Where the next reading would tell most, as the last full fit has it.
    fitting : bool
        Whether a full fit is still to come.
    fit_error : str
        Why the last full fit came to nothing.
    rechecked : Recheck or None
        Of a repair, as the last full fit has it.
    """

    version: int
    entries: tuple[SheetEntry, ...]
    entry_ids: tuple[str, ...]
    readings: RodReadings | None
    board: SamplingPlan
    actions: StationActions | None = None
    missing: str = ""
    outliers: dict[str, Rejected] = field(default_factory=dict)
    suggested: tuple[Station, ...] = ()
    fitting: bool = False
    fit_error: str = ""
    rechecked: Recheck | None = None


@dataclass(frozen=True)
class _LastFit:
    """What the last full fit leaves behind."""

    fixed: FixedHyperparameters
    outliers: dict[tuple[str, float], Rejected]
    suggested: tuple[Station, ...]
    rechecked: Recheck | None = None


@dataclass(frozen=True)
class _FitTask:
    """What a full fit is made of."""

    entry_ids: tuple[str, ...]
    readings: RodReadings
    board: SamplingPlan
    plan: SamplingPlan
    design: Design
    past: PastPrior | None
    before: SurveyBefore | None


class DeskSession:
    """A sheet, its wall, and a full fit whenever the hand rests.

    Parameters
    ----------
    design_file : Path
        For messages.
    past : PastPrior, optional
        What earlier surveys of the furnace taught.
    before : SurveyBefore, optional
        The survey before a repair that the readings are to check.
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
        before: SurveyBefore | None = None,
        pause: float = PAUSE,
    ) -> None:
        self.design, self._past, self._pause = design, past, pause
        self.before = before
        self.name = sheet.name
        self.key = hashlib.sha256(str(sheet.resolve()).encode()).hexdigest()[:20]
        self._plan = planned_stations(design, design_file)
        self._file = SheetFile(sheet, design)
        self._lock = threading.Lock()
        self._fit_requested = threading.Event()
        self._last_change = 0.0
        self._fitted: _LastFit | None = None
        self._closed = False
        self._second = Second()
        # Never a number that a page had of this desk before it was opened anew.
        self.now = self._quick_state(time.time_ns() // 1_000_000)
        self._thread = threading.Thread(target=self._fit_when_idle, daemon=True)

    def open(self, second: Second | None = None) -> None:
        """Begin to fit whenever the hand rests.

        Parameters
        ----------
        second : Second, optional
            Fits, so that readings that come meanwhile need not wait; default here.
        """
        self._second = second or self._second
        if self.now.readings is not None:
            self._request_fit()
        self._thread.start()

    def close(self) -> None:
        """Fit no more; the sheet is on disk as it is."""
        self._closed = True
        self._fit_requested.set()

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
                self.now = self._quick_state(self.now.version + 1)
                self._request_fit()
        return verdicts

    def _request_fit(self) -> None:
        self._last_change = time.monotonic()
        self._fit_requested.set()

    def _quick_state(self, version: int) -> DeskState:
        """The desk with the sheet as it is, the wall by the quick way."""
        entry_ids, readings = self._file.readings()
        board = station_board(self.design, self._plan, readings)
        state = DeskState(
            version=version,
            entries=self._file.sheet.entries,
            entry_ids=entry_ids,
            readings=readings,
            board=board,
            missing=missing_readings(readings),
        )
        if readings is None or state.missing:
            return state
        fitted = self._fitted
        fixed = (
            fitted.fixed
            if fitted
            else FixedHyperparameters.expected(readings, self.design)
        )
        outliers = _current_outliers(fitted, entry_ids, readings)
        kept = _kept(readings, entry_ids, outliers)
        wall = quick_fit(kept, fixed, self.design)
        return replace(
            state,
            actions=quick_actions(kept, wall, board, self.design),
            outliers=outliers,
            suggested=_still_open(fitted, readings, self.design),
            fitting=True,
            rechecked=fitted.rechecked if fitted else None,
        )

    def _fit_when_idle(self) -> None:
        while not self._closed:
            self._fit_requested.wait()
            rest = self._last_change + self._pause - time.monotonic()
            if rest > 0.0:
                time.sleep(rest)
                continue
            self._fit_requested.clear()
            if not self._closed:
                self._fit()

    def _fit(self) -> None:
        state = self.now
        if state.readings is None or state.missing:
            return
        task = _FitTask(
            state.entry_ids,
            state.readings,
            state.board,
            self._plan,
            self.design,
            self._past,
            self.before,
        )
        try:
            fitted, actions = self._second.begin(_full_fit, task)()
        except Exception as fault:
            if self._closed:
                return
            # The readings are on disk and the quick wall stands: the page says so.
            logging.getLogger(__name__).exception("the full fit came to nothing")
            self._record_fit_error(state, fit_error=str(fault))
            return
        with self._lock:
            self._fitted = fitted
            version = self.now.version + 1
            if self.now.entry_ids == state.entry_ids and _same_readings(
                self.now.readings, state.readings
            ):
                self.now = replace(
                    self.now,
                    version=version,
                    actions=actions,
                    outliers=_current_outliers(fitted, state.entry_ids, state.readings),
                    suggested=fitted.suggested,
                    fitting=False,
                    fit_error="",
                    rechecked=fitted.rechecked,
                )
            else:
                self.now = self._quick_state(version)

    def _record_fit_error(self, state: DeskState, *, fit_error: str) -> None:
        with self._lock:
            if self.now is state:
                version = state.version + 1
                self.now = replace(
                    state, version=version, fitting=False, fit_error=fit_error
                )


def _full_fit(task: _FitTask) -> tuple[_LastFit, StationActions]:
    """The surface of a survey, and what the desk keeps of it."""
    readings, design = task.readings, task.design
    surface = reconstruct(readings, design, past=task.past, repaired=task.before)
    rechecked = None
    if task.before is not None:
        rechecked = recheck(task.before, surface, assess(surface, design), design)
    suggested = _undecided(rechecked, task.plan, design) or _suggest(surface, readings)
    actions = full_actions(readings, surface, task.board)
    fitted = _LastFit(
        FixedHyperparameters.of(rod_posterior(surface)),
        _outliers(surface, readings, task.entry_ids),
        suggested,
        rechecked,
    )
    # the next reading finds what it needs remembered
    kept = _kept(
        readings, task.entry_ids, _current_outliers(fitted, task.entry_ids, readings)
    )
    wall = quick_fit(kept, fitted.fixed, design)
    quick_actions(kept, wall, task.board, design)
    return fitted, actions


def _undecided(
    rechecked: Recheck | None, plan: SamplingPlan, design: Design
) -> tuple[Station, ...]:
    """Where a rod can be set to read what a recheck cannot decide yet, each once."""
    if rechecked is None:
        return ()
    row, column = np.nonzero(plan.opening < 0)
    height, azimuth = plan.height[row], plan.azimuth[column]
    places: dict[tuple[float, float], None] = {}
    for _, at in rechecked.open_points():
        around = np.deg2rad(turn(azimuth, at.azimuth)) * design.profile.mean_radius
        near = int(np.argmin(np.hypot(around, height - at.height)))
        places[float(azimuth[near]), float(height[near])] = None
    return tuple(Station(*place, np.nan, is_repeat=False) for place in places)[:_NAMED]


def _still_open(
    fitted: _LastFit | None, readings: RodReadings, design: Design
) -> tuple[Station, ...]:
    """Stations that the last full fit named, less those that nobody can reach."""
    return tuple(
        one
        for one in (fitted.suggested if fitted else ())
        if not out_of_reach(readings, one.azimuth, one.height, design)
    )


def _suggest(surface: RadialSurface, readings: RodReadings) -> tuple[Station, ...]:
    """Where the next reading would tell most; none where no station can be weighed."""
    try:
        return next_stations(surface, readings, count=_NAMED).stations
    except DaublineError:
        return ()


def _outliers(
    surface: RadialSurface, readings: RodReadings, entry_ids: Sequence[str]
) -> dict[tuple[str, float], Rejected]:
    """What was left out, by mark and value."""
    at = {place: k for k, place in enumerate(readings.place)}
    return {
        (entry_ids[at[r.place]], float(readings.value[at[r.place]])): r
        for r in surface.rejected
        if r.place in at
    }


def _current_outliers(
    fitted: _LastFit | None, entry_ids: Sequence[str], readings: RodReadings
) -> dict[str, Rejected]:
    """Readings that were left out by the last full fit and are as they were."""
    if fitted is None:
        return {}
    values = zip(entry_ids, readings.value.tolist(), strict=True)
    return {
        entry_id: fitted.outliers[entry_id, value]
        for entry_id, value in values
        if (entry_id, value) in fitted.outliers
    }


def _kept(
    readings: RodReadings, entry_ids: Sequence[str], outliers: dict[str, Rejected]
) -> RodReadings:
    """The readings less the outliers; all of them where too few would be left."""
    kept = without(readings, [entry_id in outliers for entry_id in entry_ids])
    return readings if missing_readings(kept) else kept


def without(readings: RodReadings, left_out: list[bool]) -> RodReadings:
    """The readings less those that are left out."""
    return readings.take(np.flatnonzero(~np.array(left_out, dtype=bool)))


def _same_readings(first: RodReadings | None, second: RodReadings | None) -> bool:
    """Whether two sheets say the same of the wall."""
    if first is None or second is None:
        return first is second
    return all(
        np.array_equal(getattr(first, name), getattr(second, name), equal_nan=True)
        for name in ("azimuth", "height", "value", "sd")
    ) and all(
        np.array_equal(getattr(first.no_access, name), getattr(second.no_access, name))
        for name in ("azimuth", "height")
    )
