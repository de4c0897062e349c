"""The tables and keys of a design file, as data.

A new key is one more line in `TABLES`, and one more attribute of the part of the
drawing that it fills.  Lengths have the file's unit; all else has the unit named here.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from geom.design.text_file import join_words, nearest_known
from geom.design.values import (
    SENSES,
    OneOf,
    Reader,
    amount,
    azimuth,
    azimuth_step,
    clock,
    fall,
    hole_kind,
    length,
    length_from_zero,
    one_of,
    positive_length,
    rising_temperatures,
    share,
    shown,
    small_angle,
    whole,
    words,
)
from geom.errors import InputError, Report, raise_fault, warn_coped
from geom.units import MM_PER, UNIT_SPELLINGS

#: Entries of one table past which a file is no drawing of one lining.
_MOST_ENTRIES = 500


@dataclass(frozen=True)
class TableSchema:
    """One table of the file, or an array of such tables.

    Attributes
    ----------
    many : bool
        Whether it is an array: ``[[name]]``.
    required : bool
        Whether the file must have it.
    """

    name: str
    needed: Mapping[str, Reader] = field(default_factory=dict)
    optional: Mapping[str, Reader] = field(default_factory=dict)
    many: bool = False
    required: bool = False

    @property
    def keys(self) -> dict[str, Reader]:
        """Every key with its reader."""
        return {**self.needed, **self.optional}

    @property
    def heading(self) -> str:
        """As written in the file."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    def place(self, entry: int, key: str = "") -> str:
        """Say where an entry (counted from 1), or a key in it, is."""
        where = f"{self.heading} entry {entry}" if self.many else self.heading
        return f"{where}, key {key}" if key else where

    def read(
        self, raw: object, *, file: str, unit: str, report: Report = raise_fault
    ) -> list[dict[str, Any]]:
        """Read the table's entries: keys and values, one dict each.

        Parameters
        ----------
        raw : object
            What TOML gave under the table's name, or None.
        file : str
            As the caller named it, for messages.
        unit : str
            The file's length unit.
        report : callable
            What is done about the fault of a key.

        Raises
        ------
        InputError
            If a key is missing, unknown or wrong, or the table is of the wrong sort.
        """
        if raw is None and not self.required:
            return []
        if raw is None:
            what = f"the table {self.heading} is missing"
            cure = f"Add {self.heading} with {join_words(self.needed, last='and')}"
            raise InputError(what, file=file, place=self.heading, cure=cure)
        entries = raw if isinstance(raw, list) else [raw]
        are_tables = all(isinstance(entry, dict) for entry in entries)
        if self.many != isinstance(raw, list) or not are_tables:
            what = f"{self.name} is not written as {self.heading}"
            once = "before each entry" if self.many else "once"
            cure = f"Write {self.heading} on a line of its own {once}, its keys below"
            raise InputError(what, file=file, place=self.heading, cure=cure)
        if len(entries) > _MOST_ENTRIES:
            what = f"there are {len(entries)} entries; {_MOST_ENTRIES} are allowed"
            cure = "Check that this is the drawing of one lining"
            raise InputError(what, file=file, place=self.heading, cure=cure)
        return [
            self._entry(entry, index, file=file, unit=unit, report=report)
            for index, entry in enumerate(entries, 1)
        ]

    def _entry(
        self,
        entry: dict[str, Any],
        index: int,
        *,
        file: str,
        unit: str,
        report: Report,
    ) -> dict[str, Any]:
        at = self.place(index)
        refuse_unknown(entry, self.keys, file=file, place=at, report=report)
        values = {}
        for key, read in self.keys.items():
            place = self.place(index, key)
            if key in entry:
                given = entry[key]
                if isinstance(read, OneOf) and (plain := read.plain(given)) != given:
                    what = f'{shown(given)} is read as "{plain}"'
                    warn_coped(what, file=file, place=place)
                    given = plain
                try:
                    values[key] = read(given, unit)
                except InputError as fault:
                    report(fault.at(file=file, place=place))
            elif key in self.needed:
                what = f"the required key {key} is missing"
                cure = f"Add a line {key} = ... below {self.heading}"
                report(InputError(what, file=file, place=place, cure=cure))
        return values


def refuse_unknown(
    given: Collection[str],
    known: Collection[str],
    *,
    file: str,
    place: str | None = None,
    report: Report = raise_fault,
) -> None:
    """Refuse keys that nothing reads, naming the nearest that something does."""
    for name in given:
        if name not in known:
            sort = "key" if place else "table or key"
            what = f"unknown {sort} {shown(name)}{nearest_known(name, known)}"
            cure = f"Known here: {join_words(known, last='and')}"
            report(InputError(what, file=file, place=place, cure=cure))


_count = whole(0, 10**6, cure="Count whole ones; leave the key out if not known")
_men = whole(1, 50, cure="Count those who are at work at once")
_parts = amount(0.0, 1000.0, "parts", cure="Write parts: 3 of sand to 1 of clay")
_density = amount(
    200.0, 6000.0, "kg/m3", cure="Write kg/m3: 100 lb to the cubic foot are 1602 kg/m3"
)
_iron = amount(
    5000.0, 9000.0, "kg/m3", cure="Write kg/m3: liquid cast iron is about 6900"
)
_brick_mass = amount(0.05, 500.0, "kg", cure="Write kg: 7 lb are 3.18 kg")
_bag = amount(1.0, 2000.0, "kg", cure="Write kg: 100 lb are 45.4 kg")
_litres = amount(1.0, 1e4, "litres", cure="Write litres: 1 cubic foot is 28.3")
_melt = amount(50.0, 2e5, "kg/h", cure="Write kg/h: 5 t an hour are 5000")
_blast = amount(20.0, 5e5, "m3/h", cure="Write m3/h: 1000 cubic ft/min are 1699")
_specific = amount(
    0.05, 5.0, "kg/h", cure="Write kg/h from 1 cm2: 10 lb from 1 in2 are 0.70"
)
_pressure = amount(0.2, 50.0, "kPa", cure="Write kPa: 16 oz to the square inch are 6.9")
_coke_ratio = amount(2.0, 40.0, "", cure="Write iron over coke: 10 to 1 is 10")
_hours = amount(0.0, 240.0, "hours", cure="Write hours: a day is 24")
_standing = amount(0.1, 24.0, "hours", cure="Write hours: 20 minutes are 1/3")
_rate = amount(0.1, 1e4, "an hour", cure="Write what one man does in an hour")
_heating = amount(
    1.0, 200.0, "degC/h", cure="Write degrees Celsius an hour: 60 degF an hour are 33"
)
_chance = amount(
    0.5, 0.999, "", cure="Write the chance that the order is enough, as 0.95"
)
_open_arc = amount(5.0, 180.0, "degrees", cure="Write degrees of arc: 60 are usual")
_ppm = amount(0.0, 1000.0, "ppm", cure="Write parts in a million: 10 are usual")
_RATES = ("chip_rate", "brick_rate", "daub_rate", "wash_rate", "bottom_rate")
_TIMES = (
    "cool_hours", "ready_hours", "bar_hours", "clean_hours", "measure_hours",
    "again_hours", "stiffen_hours", "opening_hours", "cool_again_hours", "doors_hours",
    "boards_hours", "light_hours",
)  # fmt: skip
_opening = {"height": length, "width": positive_length, "tall": positive_length}
#: One of the first two is needed.
_place = {"azimuth": azimuth, "clock": clock}
_tuyere_sizes = dict.fromkeys(("depth", "former_width", "former_tall"), positive_length)
_hole_sizes = {
    **dict.fromkeys(("depth", "bore", "former", "breast_width"), positive_length),
    **dict.fromkeys(("breast_height", "spout_width", "spout_lining"), positive_length),
    "spout_length": length_from_zero,
}

#: The first says the unit of all others.
LINING = TableSchema(
    "lining",
    {
        "name": words,
        "length_unit": OneOf(tuple(MM_PER), UNIT_SPELLINGS),
        "azimuth_zero": words,
        "azimuth_sense": OneOf(("clockwise", "counterclockwise"), SENSES),
        "height_zero": words,
    },
    required=True,
)
TABLES = (
    LINING,
    TableSchema(
        "shell", {"radius": positive_length}, {"least_lining": positive_length}
    ),
    TableSchema(
        "profile",
        {"height": length, "radius": positive_length},
        many=True,
        required=True,
    ),
    TableSchema(
        "tuyere",
        _opening,
        {**_place, "lip": length_from_zero, **_tuyere_sizes},
        many=True,
    ),
    TableSchema(
        "hole", {"kind": hole_kind, **_opening}, {**_place, **_hole_sizes}, many=True
    ),
    TableSchema("datum_band", {"from": length, "to": length}, many=True),
    TableSchema(
        "target",
        {"name": words, "azimuth": azimuth, "height": length},
        {"radius": positive_length},
        many=True,
    ),
    TableSchema(
        "repair",
        optional={
            "brick_threshold": positive_length,
            "tolerance": positive_length,
            "bottom_fall": fall,
            "bed_least": length_from_zero,
            "bed_most": length_from_zero,
            "cover_least": length,
            "cover_most": length,
            "squaring": length_from_zero,
            "open_arc": _open_arc,
            "open_height": positive_length,
            "order_confidence": _chance,
        },
    ),
    TableSchema(
        "rod",
        optional={
            "step": positive_length,
            "repeatability": positive_length,
            "centring": positive_length,
            "set_up": one_of("sheet", "height"),
            "azimuth_sd": small_angle,
            "height_sd": positive_length,
            "tilt_sd": small_angle,
            "height_step": positive_length,
            "azimuth_step": azimuth_step,
        },
    ),
    TableSchema(
        "scanner",
        optional={
            "range_error": length_from_zero,
            "scale_error": _ppm,
            "point_sd": positive_length,
        },
    ),
    TableSchema(
        "brick",
        {
            "name": words,
            "length": positive_length,
            "width": positive_length,
            "thickness": positive_length,
        },
        {
            "taper": one_of("width", "thickness"),
            "small": positive_length,
            "radial": one_of("length", "width"),
            "bore": positive_length,
            "mass": _brick_mass,
            "stock": _count,
        },
        many=True,
    ),
    TableSchema(
        "brickwork",
        optional={
            "joint": length_from_zero,
            "opening": length_from_zero,
            "shortfall": one_of("daub", "brick"),
            "breakage": share,
        },
    ),
    TableSchema(
        "mix",
        optional={
            **dict.fromkeys(("sand", "clay", "crushed", "spout_sand"), _parts),
            **dict.fromkeys(("sand_density", "clay_density"), _density),
            **dict.fromkeys(("daub_density", "crushed_density"), _density),
            "by": one_of("volume", "mass"),
            "water_least": share,
            "water_most": share,
            "batch": _litres,
            "pail": _litres,
            "shrinkage": share,
            "rebound": share,
            "layer_most": positive_length,
            "wash": length_from_zero,
            "bag": _bag,
            "working_life": _standing,
        },
    ),
    TableSchema(
        "bottom",
        optional={
            "least": positive_length,
            "density": _density,
            "fillet": length_from_zero,
            "iron_density": _iron,
            "coke_voids": share,
        },
    ),
    TableSchema(
        "crew",
        optional={
            "men": _men,
            **dict.fromkeys(_RATES, _rate),
            **dict.fromkeys(_TIMES, _hours),
        },
    ),
    TableSchema(
        "drying",
        optional={
            "supplier": words,
            "set_hours": _hours,
            "rate": _heating,
            "hold_hours": _hours,
            "hold_at": rising_temperatures,
        },
    ),
    TableSchema(
        "melting",
        optional={
            **dict.fromkeys(("rate", "last_rate"), _melt),
            **dict.fromkeys(("blast", "last_blast"), _blast),
            "specific_rate": _specific,
            "pressure": _pressure,
            "bed": positive_length,
            "coke_density": _density,
            "coke_ratio": _coke_ratio,
        },
    ),
)
