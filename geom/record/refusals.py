"""What a record refuses: a wrong folder, a wrong occasion, what is there already."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from geom.errors import InputError
from geom.record.in_order import contradictions
from geom.record.manifest import LINING, SURVEYS
from geom.record.occasion import Occasion

if TYPE_CHECKING:
    from geom.record.store import Record

#: Letters in the name of a campaign.
_LONGEST = 200
_DISK = "Check who may write there and that the disk is not full"


def refuse_start(folder: Path) -> None:
    """Refuse a folder in which no record can be started.

    Raises
    ------
    InputError
        As `start_record`.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError("there is a file where the record should go", file=folder)
    refuse_unwritable(folder)
    others = [p.name for p in folder.iterdir()] if folder.is_dir() else []
    if LINING in others:
        raise already_started(folder)
    others = [n for n in others if n != SURVEYS and not n.startswith(f".{LINING}.")]
    if others:
        raise InputError(
            f"holds files that are of no record: {min(others)}",
            file=folder,
            cure="Name a folder that is new or empty",
        )


def refuse_unwritable(folder: Path) -> None:
    """Refuse a record that nothing can be added to, before the long work.

    Raises
    ------
    InputError
        If the folder, or the one it would be made in, cannot be written.
    """
    above = (folder.absolute(), *folder.absolute().parents)
    there = next(path for path in above if path.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        raise InputError("cannot be written", file=there, cure=_DISK)


def refuse_occasion(record: Record, *occasions: Occasion) -> None:
    """Refuse occasions that are in a record, or contradict it.

    Parameters
    ----------
    record : Record
    *occasions : Occasion
        To be added; all different.

    Raises
    ------
    InputError
        If one is in the record, is ``not repaired`` beside a survey of the same heat
        that is not, has a date that runs backwards against its neighbours, or a
        campaign whose name cannot be printed.
    """
    there = {one.name for one in record.occasions}
    for one in occasions:
        if one.name in there:
            raise already_there(record.folder, one)
        if not one.campaign.isprintable() or len(one.campaign) > _LONGEST:
            raise InputError(
                f"the campaign {one.campaign[:40]!r} is no name on one line",
                cure=f"Use at most {_LONGEST} letters, without tabs and line breaks",
            )
    known = set(contradictions(record.occasions))
    for words in contradictions((*record.occasions, *occasions)):
        if words not in known:
            cure = "Check heat, stage and date"
            raise InputError(words, file=record.folder, cure=cure)


def already_there(folder: Path, occasion: Occasion) -> InputError:
    """The occasion is in the record."""
    return InputError(
        f"{occasion.words} is already in the record",
        file=folder,
        cure="A survey of a record is never changed; check heat and stage",
    )


def already_started(folder: Path) -> InputError:
    """There is a record in the folder."""
    return InputError(
        f"there is a {LINING} in it already",
        file=folder,
        cure="Add to that record, or name another folder",
    )


def unwritable(path: Path, fault: OSError) -> InputError:
    """A file of the record cannot be written."""
    why = fault.strerror or str(fault)
    return InputError(f"cannot be written ({why})", file=path, cure=_DISK)
