"""The design file: a drawing written down in TOML, read key by key."""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import fields
from typing import Any

import numpy as np

from geom.design.checks import refuse_senseless
from geom.design.drawing import (
    DatumBand,
    Design,
    Opening,
    Profile,
    RepairRules,
    RodErrors,
    ScannerErrors,
    Target,
)
from geom.design.schema import LINING, TABLES, refuse_unknown
from geom.design.shop import (
    Bottom,
    Brick,
    Brickwork,
    Crew,
    Drying,
    Melting,
    Mix,
    OpeningSizes,
    Shop,
)
from geom.design.text_file import read_text
from geom.errors import InputError, Report, raise_fault
from geom.frame import Sense, azimuth_of_clock

_MAX_BYTES = 4 * 1024 * 1024
_LONGEST_LINE = 8192
_TWICE = re.compile(r"Cannot declare \('(\w+)',\) twice")
_COMMA = re.compile(r"\s*(\w+)\s*=\s*([-+]?\d+,\d+)\s*(?:#.*)?")
#: A fraction without quotes.
_BARE = re.compile(r"\s*(\w+)\s*=\s*([-+]?\d[\d \t.-]*(?:/\s*\d+|[¼-¾⅐-⅞]))\s*(?:#.*)?")
_WHERE = re.compile(r" \(at (?:(line \d+), (column \d+)|(end of document))\)$")


def load_design(path: str | os.PathLike[str]) -> Design:
    """Read a design file.

    Parameters
    ----------
    path : path
        A TOML file as described in ``docs/file-formats.md``.

    Returns
    -------
    Design
        Lengths in mm, azimuths in degrees.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, misses a required key, holds an
        unknown one, or draws what cannot be built.
    """
    design = _loaded(path, raise_fault)
    assert design is not None
    return design


def design_faults(
    path: str | os.PathLike[str],
) -> tuple[Design | None, list[InputError]]:
    """Read a design file, and give all that is wrong with it.

    Returns
    -------
    Design or None
        None where not even its profile can be drawn.
    list of InputError
        In the order of the file's keys.
    """
    faults: list[InputError] = []
    try:
        design = _loaded(path, faults.append)
    except InputError as fault:
        return None, [*faults, fault]
    return design, faults


def _loaded(path: str | os.PathLike[str], report: Report) -> Design | None:
    """The design of a file; None if anything was reported that it needs."""
    file = os.fspath(path)
    raw = _parsed(read_text(path, largest=_MAX_BYTES), file)
    found: list[InputError] = []

    def note(fault: InputError) -> None:
        report(fault)
        found.append(fault)

    refuse_unknown(raw, [table.name for table in TABLES], file=file, report=note)
    entries = _entries(raw, file, note)
    if found:
        return None
    design = _design(entries)
    refuse_senseless(design, file=file, report=note)
    places = [fault.place or "" for fault in found]
    shapeless = any("[[profile]]" in p and "key radius" not in p for p in places)
    return None if shapeless else design


def _parsed(text: str, file: str) -> dict[str, Any]:
    cure = "Mend the line; words stand in double quotes, numbers have a point"
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > _LONGEST_LINE:
            what = f"the line is longer than {_LONGEST_LINE} characters"
            raise InputError(what, file=file, place=f"line {number}", cure=cure)
    try:
        return tomllib.loads(text)
    except RecursionError as fault:
        what = "brackets are nested too deep for a design file"
        raise InputError(what, file=file, cure=cure) from fault
    except ValueError as fault:
        message = str(fault)
        place = None
        if (where := _WHERE.search(message)) is not None:
            place = ", ".join(part for part in where.groups() if part)
            message = message[: where.start()]
        what, cure = _toml_fault(message, place, text) or (
            f"it is not TOML ({message})",
            cure,
        )
        raise InputError(what, file=file, place=place, cure=cure) from fault


def _toml_fault(message: str, place: str | None, text: str) -> tuple[str, str] | None:
    """What is wrong where the parser's own words do not tell, and the cure."""
    if (twice := _TWICE.search(message)) is not None:
        name = twice[1]
        if any(table.name == name and table.many for table in TABLES):
            cure = f"Write [[{name}]], in two brackets, above each entry"
        else:
            cure = "Put all its keys under one heading"
        return f"[{name}] is there twice", cure
    number = re.match(r"line (\d+)", place or "")
    lines = text.splitlines()
    line = lines[int(number[1]) - 1] if number and int(number[1]) <= len(lines) else ""
    if (comma := _COMMA.fullmatch(line)) is not None:
        what = f"{comma[2]} has a decimal comma"
        return what, f"Write a point: {comma[1]} = {comma[2].replace(',', '.')}"
    if (bare := _BARE.fullmatch(line)) is not None:
        what = f"{bare[2]} stands without quotes"
        return what, f'Put it in quotes: {bare[1]} = "{bare[2]}"'
    return None


def _entries(
    raw: dict[str, Any], file: str, report: Report
) -> dict[str, list[dict[str, Any]]]:
    """The entries of every table, openings with their azimuth."""
    entries: dict[str, list[dict[str, Any]]] = {}
    unit = ""
    for table in TABLES:
        try:
            found = table.read(raw.get(table.name), file=file, unit=unit, report=report)
        except InputError as fault:
            report(fault)
            found = []
        if table is LINING:  # without a unit the rest is looked at as if in mm
            unit = (found or [{}])[0].get("length_unit", "mm")
        entries[table.name] = found
    sense = (entries[LINING.name] or [{}])[0].get("azimuth_sense", "clockwise")
    for name in ("tuyere", "hole"):
        for i, entry in enumerate(entries[name], 1):
            if not {"azimuth", "clock"}.isdisjoint(set(raw[name][i - 1]) - set(entry)):
                continue  # its own fault is reported already
            try:
                _set_azimuth(entry, f"[[{name}]] entry {i}", sense, file=file)
            except InputError as fault:
                report(fault)
    return entries


def _design(entries: dict[str, list[dict[str, Any]]]) -> Design:
    """Put together what the tables hold; what they do not has its default."""
    (lining,) = entries[LINING.name]
    single = {name: found[0] if found else {} for name, found in entries.items()}
    shell, repair = single["shell"], single["repair"]
    profile = entries["profile"]
    return Design(
        **lining,
        profile=Profile(
            height=np.array([corner["height"] for corner in profile], np.float64),
            radius=np.array([corner["radius"] for corner in profile], np.float64),
        ),
        shell_radius=shell.get("radius"),
        least_lining=shell.get("least_lining"),
        openings=tuple(
            _opening(entry) for table in ("tuyere", "hole") for entry in entries[table]
        ),
        datum_bands=tuple(
            DatumBand(entry["from"], entry["to"]) for entry in entries["datum_band"]
        ),
        targets=tuple(Target(**entry) for entry in entries["target"]),
        repair=RepairRules(**_of_class(RepairRules, repair)),
        rod=RodErrors(**single["rod"]),
        scanner=ScannerErrors(**single["scanner"]),
        shop=Shop(
            bricks=tuple(Brick(**entry) for entry in entries["brick"]),
            brickwork=Brickwork(**single["brickwork"], **_of_class(Brickwork, repair)),
            mix=Mix(**single["mix"]),
            bottom=Bottom(**single["bottom"]),
            crew=Crew(**single["crew"]),
            drying=Drying(**single["drying"]),
            melting=Melting(**single["melting"]),
            confidence=repair.get("order_confidence", Shop.confidence),
        ),
    )


def _set_azimuth(entry: dict[str, Any], place: str, sense: Sense, *, file: str) -> None:
    """Put the azimuth of an opening in the place of its hour."""
    if "clock" in entry and "azimuth" in entry:
        what, cure = "azimuth and clock are both given", "Leave one of them out"
        raise InputError(what, file=file, place=f"{place}, key clock", cure=cure)
    if "clock" in entry:
        entry["azimuth"] = azimuth_of_clock(entry.pop("clock"), sense)
    if "azimuth" not in entry:
        what = "the required key azimuth is missing"
        cure = 'Add a line azimuth = ... in degrees, or clock = "3:30"'
        raise InputError(what, file=file, place=f"{place}, key azimuth", cure=cure)


def _opening(entry: dict[str, Any]) -> Opening:
    names = {each.name for each in fields(OpeningSizes)}
    drawn = {key: value for key, value in entry.items() if key not in names}
    sizes = OpeningSizes(**_of_class(OpeningSizes, entry))
    return Opening(**({"kind": "tuyere"} | drawn), sizes=sizes)


def _of_class(part: type, entry: dict[str, Any]) -> dict[str, Any]:
    """The values of a table that are attributes of one part of the design.

    ``[repair]`` fills the rules, the limits of the brickwork, and the order.
    """
    names = {each.name for each in fields(part)}
    return {key: value for key, value in entry.items() if key in names}
