"""The record of one lining: a folder of its surveys, heat after heat."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from geom.compare.panels import Panels, PanelState, panels_of
from geom.design import Design, load_design
from geom.design.text_file import read_bytes
from geom.errors import InputError
from geom.record.check import check_record
from geom.record.common_grid import record_grid
from geom.record.in_place import put_in_place, sweep
from geom.record.manifest import (
    LINING,
    NAME,
    SURVEYS,
    read_entry,
    read_manifest,
    settle,
    survey_files,
)
from geom.record.occasion import Occasion
from geom.record.refusals import (
    already_started,
    already_there,
    refuse_occasion,
    refuse_start,
    unwritable,
)
from geom.record.survey_file import RecordedWall, load_state, load_wall

__all__ = [
    "Record",
    "add_survey",
    "check_record",
    "keep_survey",
    "open_record",
    "rebuild_manifest",
    "start_record",
]

if TYPE_CHECKING:
    import xarray as xr

_START = "Start one with: daubline record start"


@dataclass(frozen=True)
class Record:
    """A record as it was when opened; what is added later is not in it.

    Attributes
    ----------
    folder : Path
    design : Design
        The lining as drawn.
    occasions : tuple of Occasion
        Of its surveys, in order.
    """

    folder: Path
    design: Design
    occasions: tuple[Occasion, ...]

    @cached_property
    def panels(self) -> Panels:
        """How its wall is divided."""
        return panels_of(self.design)

    def path(self, occasion: Occasion) -> Path:
        """File of a survey."""
        return self.folder / SURVEYS / f"{occasion.name}.nc"

    def state(self, occasion: Occasion) -> PanelState:
        """A survey, panel by panel; read anew at every call."""
        return load_state(self.path(occasion), self.panels)

    def wall(self, occasion: Occasion) -> RecordedWall:
        """A survey, whole; read anew at every call."""
        return load_wall(self.path(occasion), self.design)


def start_record(folder: Path | str, design_file: Path | str) -> None:
    """Start the record of a lining.

    Parameters
    ----------
    folder : path
        Made if new; else it must be empty.
    design_file : path
        Copied into it.

    Raises
    ------
    InputError
        If the design file is refused, or the folder holds a record or other files.
    """
    folder = Path(folder)
    load_design(design_file)
    content = read_bytes(design_file)
    refuse_start(folder)

    def write(path: Path) -> None:
        path.write_bytes(content)

    try:
        (folder / SURVEYS).mkdir(parents=True, exist_ok=True)
        put_in_place(folder / LINING, write)
        settle(folder)
    except FileExistsError as fault:
        raise already_started(folder) from fault
    except OSError as fault:
        raise unwritable(folder, fault) from fault


def open_record(folder: Path | str) -> Record:
    """A record with the occasions of all its surveys.

    Parameters
    ----------
    folder : path

    Raises
    ------
    InputError
        If the folder is no record, or holds a survey that cannot be read.
    """
    folder = Path(folder)
    if not (folder / LINING).is_file():
        raise InputError(f"there is no {LINING} in it", file=folder, cure=_START)
    design = load_design(folder / LINING)
    held = read_manifest(folder).entries
    occasions = []
    for name, size in survey_files(folder).items():
        entry = held.get(name)
        if entry is None or entry.size != size:
            entry = read_entry(folder / SURVEYS / name)
        occasions.append(entry.occasion)
    return Record(folder, design, tuple(sorted(occasions, key=lambda o: o.place)))


def add_survey(
    folder: Path | str, survey_folder: Path | str, occasion: Occasion
) -> Path:
    """Add a survey to a record: once, whole, and never to be changed.

    Parameters
    ----------
    folder : path
        Of the record.
    survey_folder : path
        Output folder of ``daubline survey``.
    occasion : Occasion

    Returns
    -------
    Path
        Its file, on the disk.

    Raises
    ------
    InputError
        If the folder is no record or no survey of its lining, or the occasion is in
        the record or contradicts it.
    """
    from geom.record.write_survey import survey_in

    record = open_record(folder)
    refuse_occasion(record, occasion)
    design = record.design
    data = survey_in(Path(survey_folder), record_grid(design), design)
    return keep_survey(record, data, occasion)


def keep_survey(record: Record, data: xr.Dataset, occasion: Occasion) -> Path:
    """Put a survey that is on the record's grid in its place.

    Parameters
    ----------
    record : Record
    data : Dataset
        From `geom.record.write_survey.survey_in`.
    occasion : Occasion

    Returns
    -------
    Path
        Its file, on the disk.

    Raises
    ------
    InputError
        If a survey of that occasion is there, or the file cannot be written.
    """
    from geom.record.write_survey import write_survey

    target = record.path(occasion)

    def write(path: Path) -> None:
        now = path.stat().st_mtime
        sweep(record.folder, now=now)
        sweep(path.parent, now=now)
        write_survey(path, data, occasion)

    try:
        target.parent.mkdir(exist_ok=True)
        if target.name in read_manifest(record.folder).entries:
            settle(record.folder)
        put_in_place(target, write)
    except FileExistsError as fault:
        raise already_there(record.folder, occasion) from fault
    except OSError as fault:
        raise unwritable(target, fault) from fault
    with suppress(OSError):  # the survey is there; the manifest can wait
        settle(record.folder)
    return target


def rebuild_manifest(folder: Path | str) -> None:
    """Make the manifest of a record anew from its files.

    Files that cannot be read, or whose own checksums do not hold, are left out of it;
    `check_record` names them.

    Raises
    ------
    InputError
        If the folder is no record, or cannot be written.
    """
    folder = Path(folder)
    if not (folder / LINING).is_file():
        raise InputError(f"there is no {LINING} in it", file=folder, cure=_START)
    try:
        settle(folder, anew=True)
    except OSError as fault:
        raise unwritable(folder / NAME, fault) from fault
