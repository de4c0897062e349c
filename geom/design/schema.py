"""What the keys of a design file are, and how the value of each is read.

A reader takes what TOML gave and the file's length unit, and returns the value in
millimetres or degrees; it raises an `InputError` without a place, which the caller
adds.

The tables of the design file that tell what the shop has and how it works.

Lengths have the file's unit; all else has the unit named here, whatever that is.
Bounds keep slips of unit out; they are our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from geom.design.shop import Bottom, Brick, Brickwork, Melting, Mix, Shop
from geom.design.text_file import join_words, nearest_word
from geom.errors import InputError
from geom.units import parse_number, to_mm

Reads = Callable[[object, str], object]

_NUMBER = 'Write a number such as 18.5, or a fraction in quotes: "18 1/2"'
_LONGEST_WORDS = 200
_LONGEST_LENGTH = 1e5  # mm; sums of such lengths cannot overflow


@dataclass(frozen=True)
class Key:
    """One key of a table.

    Attributes
    ----------
    name : str
        As written in the file.
    reads : callable (value, unit) -> value
    required : bool
    becomes : str
        Name of the attribute it fills, where that is another.
    """

    name: str
    reads: Reads
    required: bool = True
    becomes: str = ""


@dataclass(frozen=True)
class TableSchema:
    """One table of the file, or an array of such tables."""

    name: str
    keys: tuple[Key, ...]
    many: bool = False
    required: bool = False

    @property
    def heading(self) -> str:
        """As written in the file."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    def place(self, entry: int, key: str = "") -> str:
        """Say where an entry (counted from 1), or a key in it, is."""
        where = f"{self.heading} entry {entry}" if self.many else self.heading
        return f"{where}, key {key}" if key else where

    def read(self, raw: object, *, file: str, unit: str) -> list[dict[str, Any]]:
        """Read the table's entries: attribute names and values, one dict each.

        Parameters
        ----------
        raw : object
            What TOML gave under the table's name, or None.
        file, unit : str

        Raises
        ------
        InputError
            If a key is missing, unknown or wrong, or the table is of the wrong sort.
        """
        if raw is None and not self.required:
            return []
        if raw is None:
            what = f"the table {self.heading} is missing"
            names = [key.name for key in self.keys if key.required]
            cure = f"Add {self.heading} with {join_words(names, last='and')}"
            raise InputError(what, file=file, place=self.heading, cure=cure)
        entries = raw if isinstance(raw, list) else [raw]
        if self.many != isinstance(raw, list) or not _are_tables(entries):
            what = f"{self.name} is not written as {self.heading}"
            once = "before each entry" if self.many else "once"
            cure = f"Write {self.heading} on a line of its own {once}, its keys below"
            raise InputError(what, file=file, place=self.heading, cure=cure)
        return [
            self._entry(entry, number, file=file, unit=unit)
            for number, entry in enumerate(entries, 1)
        ]

    def _entry(
        self, entry: dict[str, Any], number: int, *, file: str, unit: str
    ) -> dict[str, Any]:
        refuse_unknown(
            entry, [key.name for key in self.keys], file=file, place=self.place(number)
        )
        found = {}
        for key in self.keys:
            place = self.place(number, key.name)
            if key.name in entry:
                try:
                    value = key.reads(entry[key.name], unit)
                except InputError as fault:
                    raise fault.at(file=file, place=place) from fault
                found[key.becomes or key.name] = value
            elif key.required:
                what = f"the required key {key.name} is missing"
                cure = f"Add a line {key.name} = ... below {self.heading}"
                raise InputError(what, file=file, place=place, cure=cure)
        return found


def refuse_unknown(
    given: dict[str, Any], known: list[str], *, file: str, place: str | None = None
) -> None:
    """Refuse keys that nothing reads, naming the nearest that something does."""
    for name in given:
        if name not in known:
            sort = "key" if place else "table or key"
            like = nearest_word(name, known)
            what = f'unknown {sort} {_said(name)}; the nearest known is "{like}"'
            cure = f"Known here: {join_words(known, last='and')}"
            raise InputError(what, file=file, place=place, cure=cure)


def words(value: object, _unit: str) -> str:
    """Read words: one line, not empty."""
    if not isinstance(value, str):
        what = f"{_said(value)} where words in quotes belong"
        raise InputError(what, cure='Write words in quotes, such as "tap hole"')
    said = value.strip()
    if not said or not said.isprintable() or len(said) > _LONGEST_WORDS:
        short = f"one line of 1 to {_LONGEST_WORDS} characters"
        raise InputError(f"{_said(value)} is not {short}", cure="Write words in quotes")
    return said


def hole_kind(value: object, unit: str) -> str:
    """Read what kind of hole it is, in words; a tuyere has its own table."""
    kind = words(value, unit)
    if kind.lower() in ("tuyere", "tuyère"):
        what = f'a hole of kind "{kind}" is not written as a hole'
        raise InputError(what, cure="Write it under [[tuyere]], without kind")
    return kind


def one_of(*allowed: str) -> Reads:
    """Make a reader of one of a few words."""

    def read(value: object, _unit: str) -> str:
        if isinstance(value, str) and value in allowed:
            return value
        cure = "Write " + join_words(f'"{word}"' for word in allowed)
        raise InputError(f"{_said(value)} is not allowed here", cure=cure)

    return read


def length(value: object, unit: str) -> float:
    """Read a length; mm."""
    found = to_mm(_number(value), unit)
    if abs(found) > _LONGEST_LENGTH:
        what = f"{_said(value)} {unit} is no length of a furnace"
        raise InputError(what, cure="Check the number, and length_unit in [lining]")
    return found


def positive_length(value: object, unit: str) -> float:
    """Read a length greater than zero; mm."""
    found = length(value, unit)
    if found <= 0.0:
        what = f"{_said(value)} is not greater than 0"
        raise InputError(what, cure="Write a length greater than 0")
    return found


def length_from_zero(value: object, unit: str) -> float:
    """Read a length that may be zero; mm."""
    found = length(value, unit)
    if found < 0.0:
        what = f"{_said(value)} is less than 0"
        raise InputError(what, cure="Write a length of 0 or more")
    return found


def azimuth(value: object, _unit: str) -> float:
    """Read an azimuth, 0 <= azimuth < 360; degrees."""
    found = _number(value)
    if not 0.0 <= found < 360.0:
        what = f"azimuth {_said(value)} is not in 0 <= azimuth < 360 degrees"
        raise InputError(
            what, cure="Count it from azimuth 0, the way azimuth_sense says"
        )
    return found


def positive_angle(value: object, _unit: str) -> float:
    """Read a small angle, over 0 and at most 10 degrees."""
    found = _number(value)
    if not 0.0 < found <= 10.0:
        what = f"angle {_said(value)} is not over 0 and at most 10 degrees"
        raise InputError(what, cure="It is a standard uncertainty, in degrees")
    return found


def fall(value: object, _unit: str) -> float:
    """Read a fall, height over distance: over 0 and at most 1/4."""
    found = _number(value)
    if not 0.0 < found <= 0.25:
        what = f"fall {_said(value)} is not over 0 and at most 1/4"
        cure = 'Write height over distance: 3/4 in to the foot is "1/16"'
        raise InputError(what, cure=cure)
    return found


def step_round(value: object, _unit: str) -> float:
    """Read a step of azimuth, 1 to 120 degrees."""
    found = _number(value)
    if not 1.0 <= found <= 120.0:
        what = f"step {_said(value)} is not in 1 to 120 degrees"
        raise InputError(what, cure="Write how far apart directions are, in degrees")
    return found


def share(value: object, _unit: str) -> float:
    """Read a share: 0 or more and less than 1."""
    found = _number(value)
    if not 0.0 <= found < 1.0:
        what = f"share {_said(value)} is not 0 or more and less than 1"
        raise InputError(what, cure="Write a share of one: 5 in a hundred is 0.05")
    return found


def amount(low: float, high: float, unit: str, *, cure: str) -> Reads:
    """Make a reader of a number in a unit of its own, ``low`` to ``high``."""

    def read(value: object, _unit: str) -> float:
        found = _number(value)
        if not low <= found <= high:
            between = f"{low:.6g} to {high:.6g} {unit}".strip()
            raise InputError(f"{_said(value)} is not in {between}", cure=cure)
        return found

    return read


def count(value: object, _unit: str) -> int:
    """Read how many there are: a whole number, 0 to a million."""
    found = _number(value)
    if found != np.floor(found) or not 0.0 <= found <= 1e6:
        what = f"{_said(value)} is not a whole number from 0 to a million"
        raise InputError(what, cure="Count whole ones; leave the key out if not known")
    return int(found)


def _number(value: object) -> float:
    if isinstance(value, str):
        try:
            return parse_number(value)
        except ValueError as fault:
            raise InputError(str(fault), cure=_NUMBER) from fault
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{_said(value)} is not a number", cure=_NUMBER)
    try:
        found = float(value)
    except OverflowError:
        found = np.inf
    if not np.isfinite(found):
        raise InputError(f"{_said(value)} is not a finite number", cure=_NUMBER)
    return found


def _said(value: object) -> str:
    """Say a TOML value back, shortly, as it was written."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    try:
        said = f'"{value}"' if isinstance(value, str) else str(value)
    except ValueError:  # an integer of thousands of digits
        return "a very long integer"
    said = said.encode("unicode_escape").decode() if not said.isprintable() else said
    return said if len(said) <= 60 else f"{said[:60]}..."


def _are_tables(entries: list[Any]) -> bool:
    return all(isinstance(entry, dict) for entry in entries)


Entries = list[dict[str, Any]]

_density = amount(
    200.0, 6000.0, "kg/m3", cure="Write kg/m3: 100 lb to the cubic foot are 1602 kg/m3"
)
_parts = amount(0.0, 1000.0, "parts", cure="Write parts: 3 of sand to 1 of clay")

BRICK = TableSchema(
    "brick",
    (
        Key("name", words),
        Key("length", positive_length),
        Key("width", positive_length),
        Key("thickness", positive_length),
        Key("taper", one_of("width", "thickness"), required=False),
        Key("small", positive_length, required=False),
        Key("radial", one_of("length", "width"), required=False),
        Key(
            "mass",
            amount(0.05, 500.0, "kg", cure="Write kg: 7 lb are 3.18 kg"),
            required=False,
        ),
        Key("stock", count, required=False),
    ),
    many=True,
)
BRICKWORK = TableSchema(
    "brickwork",
    (
        Key("joint", length_from_zero, required=False),
        Key("breakage", share, required=False),
    ),
)
MIX = TableSchema(
    "mix",
    (
        Key("sand", _parts, required=False),
        Key("clay", _parts, required=False),
        Key("by", one_of("volume", "mass"), required=False),
        Key("water_least", share, required=False),
        Key("water_most", share, required=False),
        Key("sand_density", _density, required=False),
        Key("clay_density", _density, required=False),
        Key("daub_density", _density, required=False),
        Key(
            "batch",
            amount(1.0, 10_000.0, "litres", cure="Write litres: 1 cubic foot is 28.3"),
            required=False,
        ),
        Key("shrinkage", share, required=False),
        Key("rebound", share, required=False),
        Key("layer_most", positive_length, required=False),
        Key("wash", length_from_zero, required=False),
        Key(
            "bag",
            amount(1.0, 2000.0, "kg", cure="Write kg: 100 lb are 45.4 kg"),
            required=False,
        ),
    ),
)
BOTTOM = TableSchema(
    "bottom",
    (
        Key("least", positive_length, required=False),
        Key("density", _density, required=False),
    ),
)
MELTING = TableSchema(
    "melting",
    (
        Key(
            "rate",
            amount(50.0, 200_000.0, "kg/h", cure="Write kg/h: 5 t an hour are 5000"),
            required=False,
        ),
        Key(
            "blast",
            amount(
                20.0, 500_000.0, "m3/h", cure="Write m3/h: 1000 cubic ft/min are 1699"
            ),
            required=False,
        ),
    ),
)
#: ``order_confidence`` of ``[repair]``: it fills the shop, not the rules.
CONFIDENCE = Key(
    "order_confidence",
    amount(0.5, 0.999, "", cure="Write the chance that the order is enough, as 0.95"),
    required=False,
    becomes="confidence",
)
#: Limits of daub behind and before brick, of ``[repair]``: they fill the brickwork.
BED_AND_COVER = (
    Key("bed_least", length_from_zero, required=False),
    Key("bed_most", length_from_zero, required=False),
    Key("cover_least", length, required=False),
    Key("cover_most", length, required=False),
)
SHOP_TABLES = (BRICK, BRICKWORK, MIX, BOTTOM, MELTING)


def shop_of(
    bricks: Entries,
    brickwork: Entries,
    mix: Entries,
    bottom: Entries,
    melting: Entries,
    *,
    repair: dict[str, Any],
) -> Shop:
    """Put together what the tables told; what they did not has its default.

    Parameters
    ----------
    bricks, brickwork, mix, bottom, melting : list of dict
        As read by `SHOP_TABLES`, in that order.
    repair : dict
        As read of ``[repair]``; what `CONFIDENCE` and `BED_AND_COVER` read is taken out
        of it.
    """
    limits = {
        key.name: repair.pop(key.name) for key in BED_AND_COVER if key.name in repair
    }
    confidence = repair.pop(CONFIDENCE.becomes, None)
    shop = Shop(
        bricks=tuple(Brick(**entry) for entry in bricks),
        brickwork=Brickwork(**(brickwork[0] if brickwork else {}), **limits),
        mix=Mix(**mix[0]) if mix else Mix(),
        bottom=Bottom(**bottom[0]) if bottom else Bottom(),
        melting=Melting(**melting[0]) if melting else Melting(),
    )
    return shop if confidence is None else replace(shop, confidence=confidence)
