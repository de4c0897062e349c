"""The record of one lining: a folder of its surveys, heat after heat.

A record is started once, opened to be read, added to and checked.  A survey in it is
never changed.  What it refuses is a wrong folder, a wrong occasion and what is there
already.
"""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from geom.atomic import atomic_write, remove_stale
from geom.compare.panels import Panels, PanelState, panels_of
from geom.design import Design, load_design
from geom.design.text_file import close_word, join_words, read_bytes
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.store.grid import OTHER_DRAWING, record_grid
from geom.record.store.manifest import (
    IS_SURVEY,
    LINING,
    NAME,
    SURVEYS,
    Manifest,
    read_entry,
    read_manifest,
    reconcile,
    sha256,
    survey_files,
)
from geom.record.store.occasion import Occasion, check_consistency
from geom.record.store.survey_file import (
    RecordedWall,
    load_panels,
    load_wall,
    open_hdf5,
    read_findings,
    read_survey,
    survey_content,
)
from geom.shown import Shown

#: As near as this (0 to 1, of difflib) another campaign's name is suggested.
_LIKE_CAMPAIGN = 0.6
#: mm3 in a cubic metre.
_CUBIC_METRE = 1e9
#: Letters in the name of a campaign.
_LONGEST = 200
#: Names of the files that are written in a record.
_WRITTEN = r"heat-.*\.nc|lining\.toml|manifest\.json"
#: What to do where no spell of wear is stated.
SPELL_CURE = (
    "A spell of wear goes from a survey after a repair, or with none, to the next "
    "before one: add those surveys"
)
_DISK = "Check who may write there and that the disk is not full"
_START = "Start one with: daubline record start"


@dataclass(frozen=True)
class Record(Shown):
    """A record as it was when opened; what is added later is not in it.

    Attributes
    ----------
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

    @property
    def campaigns(self) -> tuple[str, ...]:
        """Names of its campaigns, in order."""
        return tuple(dict.fromkeys(occasion.campaign for occasion in self.occasions))

    def of_campaign(self, name: str | None = None) -> tuple[Occasion, ...]:
        """Occasions of a campaign, in order; default the latest campaign.

        Raises
        ------
        InputError
            If there is no such campaign.
        """
        if not self.occasions:
            what = "the record holds no survey"
            raise InputError(what, file=self.folder, cure=SPELL_CURE)
        if name is None:
            name = self.occasions[-1].campaign
        if name not in self.campaigns:
            there = join_words(
                [repr(campaign) for campaign in self.campaigns], last="and"
            )
            raise InputError(
                f"there is no campaign {name!r}; there is {there}",
                file=self.folder,
                cure=f"Did you mean {like!r}?"
                if (like := close_word(name, self.campaigns, cutoff=_LIKE_CAMPAIGN))
                else "Write its name as it is there; quotes keep blanks in it",
            )
        return tuple(
            occasion for occasion in self.occasions if occasion.campaign == name
        )

    def as_it_is_now(self) -> Record:
        """With what was added since; its drawing is not read again.

        Raises
        ------
        InputError
            As `open_record`.
        """
        _lining(self.folder)
        return replace(self, occasions=_occasions(self.folder))

    def finding(self, occasion: Occasion, section: str, name: str) -> Quantity:
        """A quantity of a survey's own findings, in the units of their document."""
        return Quantity.from_dict(self._findings(occasion)[section][name])

    def zones(self, occasion: Occasion) -> list[dict[str, Any]]:
        """Zones of a survey's own findings; none where it keeps none."""
        return self._findings(occasion).get("zones") or []

    def plan(self, occasion: Occasion) -> dict[str, Any]:
        """The repair plan of a survey's own findings; empty where it keeps none."""
        return self._findings(occasion).get("repair") or {}

    def _findings(self, occasion: Occasion) -> dict[str, Any]:
        with open_hdf5(self.path(occasion)) as file:
            return read_findings(file)

    def rebuild_volume(self, occasion: Occasion) -> Quantity:
        """Rebuild volume that a survey found, mm3."""
        return self.finding(occasion, "volume", "rebuild").times(_CUBIC_METRE)

    def path(self, occasion: Occasion) -> Path:
        """File of a survey."""
        return survey_path(self.folder, occasion)

    def state(self, occasion: Occasion) -> PanelState:
        """A survey, panel by panel; read anew at every call."""
        return load_panels(self.path(occasion), self.panels)

    def wall(self, occasion: Occasion) -> RecordedWall:
        """A survey, whole; read anew at every call."""
        return load_wall(self.path(occasion), self.design)


def survey_path(folder: Path, occasion: Occasion) -> Path:
    """File of a survey in a record."""
    return folder / SURVEYS / f"{occasion.name}.nc"


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
    try:
        (folder / SURVEYS).mkdir(parents=True, exist_ok=True)
        atomic_write(folder / LINING, content, replace=False)
        reconcile(folder)
    except FileExistsError as error:
        raise already_started(folder) from error
    except OSError as error:
        raise unwritable(folder, error) from error


def open_record(folder: Path | str) -> Record:
    """A record with the occasions of all its surveys.

    Raises
    ------
    InputError
        If the folder is no record, holds a survey that cannot be read, or has a
        manifest that was edited to tell something else of a survey than its file.
    """
    folder = Path(folder)
    return Record(folder, load_design(_lining(folder)), _occasions(folder))


def _occasions(folder: Path) -> tuple[Occasion, ...]:
    """Occasions of all surveys of a record, in order."""
    held = read_manifest(folder)
    occasions = []
    for name, size in survey_files(folder).items():
        known = entry = held.entries.get(name)
        if entry is None or entry.size != size or not held.sealed:
            entry = read_entry(folder / SURVEYS / name)
        if known is not None and known.occasion != entry.occasion:
            raise _edited(folder, name, known.occasion, entry.occasion)
        occasions.append(entry.occasion)
    return tuple(sorted(occasions, key=lambda o: o.place))


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
    record = open_record(folder)
    refuse_occasion(record, occasion)
    design = record.design
    data = read_survey(Path(survey_folder), record_grid(design), design)
    return keep_survey(record, survey_content(data, occasion), occasion)


def keep_survey(record: Record, content: bytes, occasion: Occasion) -> Path:
    """Put the file of a survey in its place, and give its path.

    Parameters
    ----------
    content : bytes
        From `geom.record.store.survey_file.survey_content`.

    Raises
    ------
    InputError
        If a survey of that occasion is there, or the file cannot be written.
    """
    target = record.path(occasion)

    def write(path: Path) -> None:
        now = path.stat().st_mtime
        for folder in (record.folder, path.parent):
            remove_stale(folder, _WRITTEN, now=now)
        path.write_bytes(content)

    try:
        target.parent.mkdir(exist_ok=True)
        if target.name in read_manifest(record.folder).entries:
            reconcile(record.folder)
        atomic_write(target, write, replace=False)
    except FileExistsError as error:
        raise already_there(record.folder, occasion) from error
    except OSError as error:
        raise unwritable(target, error) from error
    with suppress(OSError):  # the survey is there; the manifest can wait
        reconcile(record.folder)
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
    _lining(folder)
    try:
        reconcile(folder, anew=True)
    except OSError as error:
        raise unwritable(folder / NAME, error) from error


def check_record(folder: Path | str) -> tuple[str, ...]:
    """Faults of a record; none where all is as it should be.

    Every file is read from its first byte to its last.

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
    design = load_design(_lining(folder))
    held = read_manifest(folder)
    faults = _folder_faults(folder, held)
    occasions = []
    for name in survey_files(folder):
        found = _survey_occasion(folder / SURVEYS / name, design, held)
        if isinstance(found, str):
            faults.append(f"{SURVEYS}/{name}: {found}")
        else:
            occasions.append(found)
    return (*faults, *check_consistency(occasions))


def _lining(folder: Path) -> Path:
    """The design file of a record; refuse a folder that is none."""
    if not folder.exists():
        cure = f"Check its name. {_START}"
        raise InputError("there is no such folder", file=folder, cure=cure)
    if not (folder / LINING).is_file():
        raise InputError(f"there is no {LINING} in it", file=folder, cure=_START)
    return folder / LINING


def refuse_start(folder: Path) -> None:
    """Refuse a folder in which no record can be started."""
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
    """Refuse a record that nothing can be added to, before the long work."""
    above = (folder.absolute(), *folder.absolute().parents)
    there = next(path for path in above if path.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        raise InputError("cannot be written", file=there, cure=_DISK)


def refuse_occasion(record: Record, *occasions: Occasion) -> None:
    """Refuse occasions that are in a record, or contradict it.

    Parameters
    ----------
    *occasions : Occasion
        To be added; all different.

    Raises
    ------
    InputError
        If one is in the record, is ``not repaired`` next to a survey of the same heat
        that is not, has a date that runs backwards against its neighbours, or a
        campaign whose name cannot be printed.
    """
    there = {occasion.name for occasion in record.occasions}
    for occasion in occasions:
        if occasion.name in there:
            raise already_there(record.folder, occasion)
        if not occasion.campaign.isprintable() or len(occasion.campaign) > _LONGEST:
            raise InputError(
                f"the campaign {occasion.campaign[:40]!r} is no name on one line",
                cure=f"Use at most {_LONGEST} letters, without tabs and line breaks",
            )
    known = set(check_consistency(record.occasions))
    for words in check_consistency((*record.occasions, *occasions)):
        if words not in known:
            cure = "Check heat, stage and date"
            raise InputError(words, file=record.folder, cure=cure)


def refuse_other_design(design: Design, other: Design) -> None:
    """Refuse a design file that does not draw the lining of a record.

    What a shop decides by, its bricks, mix and rules, may differ.
    """
    part = design.differs_from(other)
    if not part:
        return
    if part in ("profile", "shell_radius", "openings"):
        words = part.removesuffix("_radius")
        raise InputError(f"its {words} are not those of the record", cure=OTHER_DRAWING)
    words = part.replace("_", " ").replace("name", "lining")
    here, there = getattr(design, part), getattr(other, part)
    raise InputError(
        f"{words} is {there!r}, but {here!r} in the record", cure=OTHER_DRAWING
    )


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


def unwritable(path: Path, error: OSError) -> InputError:
    """A file of the record cannot be written."""
    why = error.strerror or str(error)
    return InputError(f"cannot be written ({why})", file=path, cure=_DISK)


def _edited(folder: Path, name: str, held: Occasion, found: Occasion) -> InputError:
    """The manifest tells something else of a survey than its file does."""
    here, there = held.to_dict(), found.to_dict()
    key = next(key for key in here if here[key] != there[key])
    return InputError(
        f"tells {key.replace('_', ' ')} {here[key]!r} of {SURVEYS}/{name}, which has "
        f"{there[key]!r}",
        file=folder / NAME,
        cure="The surveys are what counts: daubline record rebuild makes it anew",
    )


def _folder_faults(folder: Path, held: Manifest) -> list[str]:
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


def _survey_occasion(path: Path, design: Design, held: Manifest) -> Occasion | str:
    """The occasion of a file, or what is wrong with it."""
    try:
        entry = read_entry(path, whole=True)
        load_wall(path, design)
    except InputError as error:
        return error.what
    except OSError as error:
        return f"cannot be read ({error.strerror or error})"
    known = held.entries.get(path.name)
    if known is not None and known.sha256 != entry.sha256:
        return (
            "is not as it was when it was added (its sha256 is not that in "
            f"{NAME}); add the survey again from its folder"
        )
    if known is not None and known.occasion != entry.occasion:
        return f"{NAME} tells another occasion of it; daubline record rebuild"
    return entry.occasion
