"""Whether every survey of a record is as it was when it was added."""

from __future__ import annotations

from pathlib import Path

from geom.design import Design, load_design
from geom.errors import InputError
from geom.record.in_order import contradictions
from geom.record.manifest import (
    IS_SURVEY,
    LINING,
    NAME,
    SURVEYS,
    Manifest,
    read_entry,
    read_manifest,
    sha256,
    survey_files,
)
from geom.record.occasion import Occasion
from geom.record.survey_file import load_wall


def check_record(folder: Path | str) -> tuple[str, ...]:
    """Faults of a record; none where all is as it should be.

    Every file is read from its first byte to its last.

    Parameters
    ----------
    folder : path

    Returns
    -------
    tuple of str
        Each with the name of the file.

    Raises
    ------
    InputError
        If the folder is no record, or its design file is refused.
    """
    folder = Path(folder)
    if not (folder / LINING).is_file():
        raise InputError(f"there is no {LINING} in it", file=folder)
    design = load_design(folder / LINING)
    held = read_manifest(folder)
    faults = _of_folder(folder, held)
    occasions = []
    for name in survey_files(folder):
        told = _of_file(folder / SURVEYS / name, design, held)
        if isinstance(told, str):
            faults.append(f"{SURVEYS}/{name}: {told}")
        else:
            occasions.append(told)
    return (*faults, *contradictions(occasions))


def _of_folder(folder: Path, held: Manifest) -> list[str]:
    faults = []
    if not held.sound:
        faults.append(f"{NAME}: cannot be read; make it anew: daubline record rebuild")
    if held.lining and held.lining != sha256(folder / LINING):
        faults.append(
            f"{LINING}: is not as it was when the record was started (its sha256 is "
            f"another); if that was meant: daubline record rebuild"
        )
    there = survey_files(folder)
    faults += [
        f"{SURVEYS}/{name}: is gone; if it was taken out: daubline record rebuild"
        for name in held.entries
        if name not in there
    ]
    if (folder / SURVEYS).is_dir():
        faults += [
            f"{SURVEYS}/{name}: is not named as a survey, and is not read"
            for name in sorted(path.name for path in (folder / SURVEYS).iterdir())
            if not name.startswith(".") and not IS_SURVEY.fullmatch(name)
        ]
    return faults


def _of_file(path: Path, design: Design, held: Manifest) -> Occasion | str:
    """The occasion of a file, or what is wrong with it."""
    try:
        entry = read_entry(path, whole=True)
        load_wall(path, design)
    except InputError as said:
        return said.what
    except OSError as fault:
        return f"cannot be read ({fault.strerror or fault})"
    told = held.entries.get(path.name)
    if told is not None and told.sha256 != entry.sha256:
        return (
            "is not as it was when it was added (its sha256 is not that in "
            f"{NAME}); add the survey again from its folder"
        )
    if told is not None and told.occasion != entry.occasion:
        return f"{NAME} tells another occasion of it; daubline record rebuild"
    return entry.occasion
