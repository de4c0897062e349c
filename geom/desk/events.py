"""What a hand did at the page: a reading entered, corrected or withdrawn."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast

from geom.errors import InputError
from geom.views.words import plain

Deed = Literal["enter", "correct", "withdraw"]

DEEDS: tuple[Deed, ...] = ("enter", "correct", "withdraw")
#: Characters of what is typed, and of a note.
LONGEST, LONGEST_NOTE = 40, 200

_ID = re.compile(r"[0-9a-z-]{8,64}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)")
_TEXTS = ("azimuth", "height", "text", "note", "time")
#: What a spreadsheet would take for a formula.
_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True)
class Event:
    """One deed, as the page sends it.

    Attributes
    ----------
    id : str
        Made by the browser: a deed sent twice is done once.
    entry : str
        The reading it is about; made by the browser too.
    deed : {'enter', 'correct', 'withdraw'}
    azimuth, height, text, note : str
        Where it was read, what was read and what was remarked, as typed; lengths in
        the sheet's unit.
    time : str
        When, by the clock of the browser; ISO 8601.
    """

    id: str
    entry: str
    deed: Deed
    azimuth: str
    height: str
    text: str
    note: str
    time: str


def read_event(told: object) -> Event:
    """Take an event that came as JSON.

    Raises
    ------
    InputError
        If it is none.
    """
    if not isinstance(told, dict) or set(told) != {"id", "entry", "deed", *_TEXTS}:
        raise InputError("this is no reading as the page sends it")
    if not all(isinstance(value, str) for value in told.values()):
        raise InputError("a reading is told in texts alone")
    for name in ("id", "entry"):
        if not _ID.fullmatch(told[name]):
            raise InputError(f"this is no {name} of a reading")
    if told["deed"] not in DEEDS or not _TIME.fullmatch(told["time"]):
        raise InputError("a reading has a deed and a time")
    for name in ("azimuth", "height", "text"):
        if len(told[name]) > LONGEST:
            raise InputError(f"{told[name][:LONGEST]!r}... is too long for a number")
    return Event(
        id=told["id"],
        entry=told["entry"],
        deed=cast(Deed, told["deed"]),
        azimuth=plain(told["azimuth"]),
        height=plain(told["height"]),
        text=plain(told["text"]),
        note=tamed(plain(told["note"], most=LONGEST_NOTE)),
        time=told["time"],
    )


def tamed(note: str) -> str:
    """A note that no spreadsheet takes for a formula.

    Examples
    --------
    >>> tamed("soft"), tamed("=1+1")
    ('soft', "'=1+1")
    """
    return f"'{note}" if note.startswith(_FORMULA) else note
