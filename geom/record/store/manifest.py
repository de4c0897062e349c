"""What a record holds, remembered: ``manifest.json``, which may be lost at any time.

What lies in the folder is the truth.  The manifest spares opening every file of a long
record, and keeps the sha256 that each file had when it was added.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

from geom.atomic import atomic_write
from geom.errors import InputError
from geom.record.store.occasion import Occasion
from geom.record.store.survey_file import open_hdf5, read_occasion, verify_checksums

NAME = "manifest.json"
LINING = "lining.toml"
SURVEYS = "surveys"
SCHEMA = "daubline.record/1"

#: What files of surveys are called.
IS_SURVEY = re.compile(r"heat-\d{5}-(before-repair|after-repair|not-repaired)\.nc")
#: How often two who write at once are waited for before it is left to the next.
_TRIES = 5


@dataclass(frozen=True)
class Entry:
    """What is remembered of one file.

    Attributes
    ----------
    sha256 : str
        Of the file when it was added.
    size : int, bytes
    """

    occasion: Occasion
    sha256: str
    size: int


@dataclass(frozen=True)
class Manifest:
    """What is remembered of a record; nothing where that was lost.

    Attributes
    ----------
    lining : str
        The sha256 of the design file, empty where not known.
    entries : dict
        By name of the file.
    sound : bool
        False where there is a manifest that cannot be read.
    sealed : bool
        Whether all of it is as it was written; False where somebody edited it, or it
        was written before manifests had a seal: then the files are asked.
    """

    lining: str = ""
    entries: dict[str, Entry] = field(default_factory=dict)
    sound: bool = True
    sealed: bool = True


def survey_files(folder: Path) -> dict[str, int]:
    """Surveys that lie in a record: size of each file, bytes, by its name, in order."""
    found: dict[str, int] = {}
    with suppress(FileNotFoundError), os.scandir(folder / SURVEYS) as there:
        for entry in there:
            if IS_SURVEY.fullmatch(entry.name):
                with suppress(FileNotFoundError):
                    found[entry.name] = entry.stat().st_size
    return {name: found[name] for name in sorted(found) if found[name] > 0}


def read_manifest(folder: Path) -> Manifest:
    """What is remembered of a record; never an error."""
    try:
        data = json.loads((folder / NAME).read_bytes())
        if data["schema"] != SCHEMA:
            return Manifest(sound=False)
        entries = {name: _entry(entry, name) for name, entry in data["surveys"].items()}
        lining = str(data["lining"]["sha256"])
        sealed = data.get("seal") == _seal(lining, entries)
        return Manifest(lining, entries, sealed=sealed)
    except FileNotFoundError:
        return Manifest()
    except (OSError, LookupError, ValueError, TypeError, AttributeError, RuntimeError):
        return Manifest(sound=False)


def reconcile(folder: Path, *, anew: bool = False) -> None:
    """Write the manifest so that it holds what lies in the folder.

    What is remembered of a file stays.  Files that cannot be read are left out.  The
    folder is listed again afterwards, so that of two who write at once the later sees
    what the earlier added.

    Parameters
    ----------
    anew : bool
        Remember nothing: read every file, from its first byte to its last.
    """
    held = Manifest() if anew else read_manifest(folder)
    made: dict[str, Entry | None] = {}
    for _ in range(_TRIES):
        listed = survey_files(folder)
        for name in listed:
            if made.get(name) is None:
                made[name] = _remembered(folder, name, held) or _read(
                    folder, name, whole=anew
                )
        made = {name: made[name] for name in listed}
        lining = held.lining or sha256(folder / LINING)
        kept = {name: entry for name, entry in made.items() if entry is not None}
        atomic_write(folder / NAME, as_text(lining, kept))
        held = read_manifest(folder)
        if held.entries.keys() >= kept.keys() and survey_files(folder) == listed:
            return


def read_entry(path: Path, *, whole: bool = False) -> Entry:
    """Read what is to be remembered of a file of a record.

    Parameters
    ----------
    whole : bool
        Read all of it, so that damage is seen by the file's own checksums.

    Raises
    ------
    InputError
        If it cannot be read, or is of another occasion than its name says.
    """
    with open_hdf5(path) as file:
        occasion = read_occasion(file)
        if whole:
            verify_checksums(file)
    if occasion.name != path.stem:
        raise InputError(
            f"holds the survey of {occasion.words}",
            file=path,
            cure="Files of a record must not be renamed or copied",
        )
    return Entry(occasion, sha256(path), path.stat().st_size)


def sha256(path: Path) -> str:
    """The sha256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _remembered(folder: Path, name: str, held: Manifest) -> Entry | None:
    """What is remembered of a file; of one that was edited, as the file has it."""
    entry = held.entries.get(name)
    if entry is None or held.sealed:
        return entry
    found = _read(folder, name, whole=False)
    return None if found is None else replace(entry, occasion=found.occasion)


def _read(folder: Path, name: str, *, whole: bool) -> Entry | None:
    with suppress(InputError, OSError):
        return read_entry(folder / SURVEYS / name, whole=whole)
    return None


def _entry(data: dict[str, Any], name: str) -> Entry:
    occasion = Occasion(
        heat=int(data["heat"]),
        stage=data["stage"],
        date=date.fromisoformat(data["date"]),
        hours=_number(data["hours_on_blast"]),
        melted=_number(data["melted"]),
        campaign=str(data["campaign"]),
        melted_unit=str(data.get("melted_unit", "t")),
    )
    if f"{occasion.name}.nc" != name:
        raise ValueError(f"{name} is not {occasion.words}")
    return Entry(occasion, str(data["sha256"]), int(data["size"]))


def _number(value: object) -> float | None:
    if value is None or isinstance(value, int | float):
        return None if value is None else float(value)
    raise TypeError(f"{value!r} is not a number")


def as_text(lining: str, entries: dict[str, Entry]) -> bytes:
    """A manifest as it is written: one survey a line, and a seal over all of them."""
    head = {
        "schema": SCHEMA,
        "seal": _seal(lining, entries),
        "units": {"hours_on_blast": "h", "melted": "kg", "size": "byte"},
        "lining": {"file": LINING, "sha256": lining},
    }
    surveys = ",\n  ".join(_lines(entries))
    return f'{json.dumps(head)[:-1]},\n "surveys": {{\n  {surveys}\n }}}}\n'.encode()


def _seal(lining: str, entries: dict[str, Entry]) -> str:
    """The sha256 of all that a manifest tells."""
    return hashlib.sha256("\n".join([lining, *_lines(entries)]).encode()).hexdigest()


def _lines(entries: dict[str, Entry]) -> list[str]:
    def dumped(entry: Entry) -> str:
        file = {"size": entry.size, "sha256": entry.sha256}
        return json.dumps(entry.occasion.to_dict() | file)

    return [f"{json.dumps(name)}: {dumped(entry)}" for name, entry in entries.items()]
