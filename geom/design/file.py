"""The design file: a drawing written down in TOML, read and held to make sense.

Beyond each key for itself, drawing and shop must make sense together.  Limits keep
slips of unit and quantity out.
"""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import fields
from typing import Any

import numpy as np

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
from geom.design.shop import Bottom, Brick, Brickwork, Crew, Drying, Melting, Mix, Shop
from geom.design.text_file import casefolded, read_text
from geom.errors import InputError
from geom.units import from_mm

_MAX_BYTES = 4 * 1024 * 1024
_LONGEST_LINE = 8192
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
    file = os.fspath(path)
    raw = _parsed(read_text(path, largest=_MAX_BYTES), file)
    refuse_unknown(raw, [table.name for table in TABLES], file=file)
    design = _design(raw, file)
    refuse_senseless(design, file=file)
    return design


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
        what = f"it is not TOML ({message})"
        raise InputError(what, file=file, place=place, cure=cure) from fault


def _design(raw: dict[str, Any], file: str) -> Design:
    """Put together what the tables hold; what they do not has its default."""
    (lining,) = LINING.read(raw.get(LINING.name), file=file, unit="")
    unit = lining["length_unit"]
    entries = {
        table.name: table.read(raw.get(table.name), file=file, unit=unit)
        for table in TABLES
        if table is not LINING
    }
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
        openings=(
            *(Opening(kind="tuyere", **entry) for entry in entries["tuyere"]),
            *(Opening(**entry) for entry in entries["hole"]),
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


def _of_class(part: type, entry: dict[str, Any]) -> dict[str, Any]:
    """The values of a table that are attributes of one part of the design.

    ``[repair]`` fills the rules, the limits of the brickwork, and the order.
    """
    names = {each.name for each in fields(part)}
    return {key: value for key, value in entry.items() if key in names}


#: Radii of a hot face lie between these, mm: from a small trial furnace to far past
#: the widest cupola (common practice, no source); a slip of unit falls outside.
RADIUS_RANGE = (50.0, 5000.0)
#: No lining is taller, mm (common practice, no source).
MAX_HEIGHT = 30_000.0
#: What to do about a length that is most likely in another unit.
CHECK_UNIT = "Check the number, and length_unit in [lining]"
#: No rod and no scanner reads as badly as this, mm, and the keys that say how badly.
MAX_ROD_ERROR = 100.0
INSTRUMENT_ERRORS = {
    "rod": ("step", "repeatability", "centring", "height_sd"),
    "scanner": ("range_error", "point_sd"),
}

#: Sides of a brick lie between these, mm (our choice, no source).
BRICK_SIDE_RANGE = (12.0, 1000.0)
#: Mass of a brick over its length times width times thickness, kg/m3: insulating to
#: chrome brick, and less where it tapers (our choice, no source); lb for kg falls out.
BRICK_DENSITY_RANGE = (150.0, 4000.0)
#: No joint, bed, coat or bottom is as thick as this, mm (our choice, no source).
MAX_THICKNESS = {
    ("brickwork", "joint"): 25.4,
    ("brickwork", "opening"): 150.0,
    ("brickwork", "squaring"): 150.0,
    ("brickwork", "bed_least"): 500.0,
    ("brickwork", "bed_most"): 500.0,
    ("brickwork", "cover_least"): 500.0,
    ("brickwork", "cover_most"): 500.0,
    ("mix", "layer_most"): 500.0,
    ("mix", "wash"): 25.4,
    ("bottom", "least"): 1000.0,
}

_ROUNDING = 1e-6  # mm; what changing units may add to a length


def refuse_senseless(design: Design, *, file: str) -> None:
    """Refuse a drawing that cannot be built, and bricks and mixes that cannot be.

    Whether a brick fits between hot face and shell is not asked here.

    Raises
    ------
    InputError
        With the entry and key at fault.
    """
    try:
        for check in (
            _refuse_profile,
            _refuse_radii,
            _refuse_least_lining,
            _refuse_openings,
            _refuse_bands,
            _refuse_targets,
            _refuse_rules,
            _refuse_instruments,
            _refuse_bricks,
            _refuse_thickness,
            _refuse_brickwork,
            _refuse_mix,
        ):
            check(design)
    except InputError as fault:
        raise fault.at(file=file) from None


def _refuse_profile(design: Design) -> None:
    height = design.profile.height
    if height.size < 2:
        what = f"the profile needs two or more entries, here are {height.size}"
        cure = "Add an entry for each corner of the hot face, bottom up"
        raise InputError(what, place="[[profile]]", cure=cure)
    for i in range(1, height.size):
        _refuse_height(design, i)
    if height[-1] == height[0]:
        what = f"all entries stand at the one height {as_written(design, height[0])}"
        cure = "Give the bottom and the top of the lining"
        raise InputError(what, place="[[profile]]", cure=cure)
    if height[-1] - height[0] > MAX_HEIGHT:
        tall = as_written(design, height[-1] - height[0])
        what = f"the profile is {tall} tall, more than {as_written(design, MAX_HEIGHT)}"
        raise InputError(what, place="[[profile]]", cure=CHECK_UNIT)


def _refuse_height(design: Design, i: int) -> None:
    height = design.profile.height
    place = f"[[profile]] entry {i + 1}, key height"
    here, before = as_written(design, height[i]), as_written(design, height[i - 1])
    if height[i] < height[i - 1]:
        what = f"height {here} lies below the entry before it ({before})"
        cure = "Write the profile bottom up"
        raise InputError(what, place=place, cure=cure)
    if i > 1 and height[i] == height[i - 2]:
        what = f"three entries stand at the one height {here}"
        cure = "Keep two: a step is two entries at one height"
        raise InputError(what, place=place, cure=cure)


def _refuse_radii(design: Design) -> None:
    low, high = RADIUS_RANGE
    for i, radius in enumerate(design.profile.radius, 1):
        place = f"[[profile]] entry {i}, key radius"
        written = as_written(design, radius)
        if not low <= radius <= high:
            between = f"{as_written(design, low)} to {as_written(design, high)}"
            what = f"radius {written} is not in {between}"
            raise InputError(what, place=place, cure=CHECK_UNIT)
        if design.shell_radius is not None and radius >= design.shell_radius:
            what = (
                f"radius {written} is not inside the shell, "
                f"whose radius is {as_written(design, design.shell_radius)}"
            )
            cure = "Check it, and radius in [shell]: both are radii, not diameters"
            raise InputError(what, place=place, cure=cure)


def _refuse_least_lining(design: Design) -> None:
    if design.shell_radius is None or design.least_lining is None:
        return
    thinnest = design.shell_radius - float(np.max(design.profile.radius))
    if design.least_lining >= thinnest:
        what = (
            f"least_lining {as_written(design, design.least_lining)} is not less than "
            f"the lining as drawn, {as_written(design, thinnest)} where it is thinnest"
        )
        cure = "It is what must be left before the steel when the wall has worn; check"
        place = "[shell], key least_lining"
        raise InputError(what, place=place, cure=f"{cure} it")


def _refuse_openings(design: Design) -> None:
    tuyeres = len(design.tuyeres)
    places = [f"[[tuyere]] entry {i + 1}" for i in range(tuyeres)]
    places += [f"[[hole]] entry {i + 1}" for i in range(len(design.openings) - tuyeres)]
    for place, opening in zip(places, design.openings, strict=True):
        low = opening.height - 0.5 * opening.tall
        high = opening.height + 0.5 * opening.tall
        if not _within(design, low, high):
            what = (
                f"the {opening.kind} reaches from {as_written(design, low)} to "
                f"{as_written(design, high)}, past the profile {_profile_range(design)}"
            )
            cure = "height is that of its centre, tall its whole height; check both"
            raise InputError(what, place=f"{place}, key height", cure=cure)
        half_way = np.pi * design.radius_at_opening(opening)
        if opening.width >= half_way:
            what = (
                f"width {as_written(design, opening.width)} is not less than half "
                f"the way round there ({as_written(design, half_way)})"
            )
            cure = "width is measured along the arc; check it"
            raise InputError(what, place=f"{place}, key width", cure=cure)


def _refuse_bands(design: Design) -> None:
    for i, band in enumerate(design.datum_bands, 1):
        place = f"[[datum_band]] entry {i}, key from"
        between = (
            f"from {as_written(design, band.low)} to {as_written(design, band.high)}"
        )
        if band.low >= band.high:
            what = f"the band {between} is not one: from must be below to"
            cure = "Write the lower height under from, the upper under to"
            raise InputError(what, place=place, cure=cure)
        if not _within(design, band.low, band.high):
            what = f"the band {between} goes past the profile {_profile_range(design)}"
            cure = "Keep the band within the profile's heights"
            raise InputError(what, place=place, cure=cure)


def _refuse_targets(design: Design) -> None:
    _refuse_same_name("target", [target.name for target in design.targets])
    for i, target in enumerate(design.targets, 1):
        if not np.isfinite(design.radius_at_target(target)):
            place = f"[[target]] entry {i}, key radius"
            what = (
                f"the target at height {as_written(design, target.height)} lies past "
                f"the profile {_profile_range(design)}, where no hot face is drawn"
            )
            cure = "Write its distance from the axis under radius, or check height"
            raise InputError(what, place=place, cure=cure)


def _refuse_rules(design: Design) -> None:
    brick, fine = design.repair.brick_threshold, design.repair.tolerance
    if fine >= brick:
        what = (
            f"tolerance {as_written(design, fine)} is not less than brick_threshold "
            f"{as_written(design, brick)} (a key left out has its default)"
        )
        cure = "Write both keys under [repair], tolerance the smaller"
        place = "[repair], key tolerance"
        raise InputError(what, place=place, cure=cure)
    smallest = float(np.min(design.profile.radius))
    if brick >= smallest:
        what = (
            f"brick_threshold {as_written(design, brick)} is no cut-back of a wall of "
            f"radius {as_written(design, smallest)}"
        )
        place = "[repair], key brick_threshold"
        raise InputError(what, place=place, cure=CHECK_UNIT)


def _refuse_instruments(design: Design) -> None:
    for table, keys in INSTRUMENT_ERRORS.items():
        for key in keys:
            value = getattr(getattr(design, table), key)
            if value is not None and value > MAX_ROD_ERROR:
                most = as_written(design, MAX_ROD_ERROR)
                what = f"{key} {as_written(design, value)} is more than {most}"
                raise InputError(what, place=f"[{table}], key {key}", cure=CHECK_UNIT)


def _refuse_same_name(table: str, names: list[str]) -> None:
    first: dict[str, int] = {}
    for i, name in enumerate(names, 1):
        if (before := first.setdefault(casefolded(name), i)) != i:
            what = f'"{name}" is the name of entry {before} too'
            cure = f"Give each {table} a name of its own; capitals do not count"
            raise InputError(what, place=f"[[{table}]] entry {i}, key name", cure=cure)


def _within(design: Design, low: float, high: float) -> bool:
    profile = design.profile
    return low >= profile.bottom - _ROUNDING and high <= profile.top + _ROUNDING


def _profile_range(design: Design) -> str:
    bottom, top = design.profile.bottom, design.profile.top
    return f"({as_written(design, bottom)} to {as_written(design, top)})"


def as_written(design: Design, mm: float) -> str:
    """A length in words, in the file's unit."""
    unit = design.length_unit
    return f"{from_mm(mm, unit):.6g} {unit}"


def _refuse_bricks(design: Design) -> None:
    _refuse_same_name("brick", [brick.name for brick in design.shop.bricks])
    for i, brick in enumerate(design.shop.bricks, 1):
        _refuse_sides(design, brick, f"[[brick]] entry {i}")
        _refuse_taper(design, brick, f"[[brick]] entry {i}")
        _refuse_mass(brick, f"[[brick]] entry {i}, key mass")


def _refuse_sides(design: Design, brick: Brick, entry: str) -> None:
    low, high = BRICK_SIDE_RANGE
    for key in ("length", "width", "thickness"):
        side = getattr(brick, key)
        if not low <= side <= high:
            between = f"{as_written(design, low)} to {as_written(design, high)}"
            what = f"{key} {as_written(design, side)} of a brick is not in {between}"
            raise InputError(what, place=f"{entry}, key {key}", cure=CHECK_UNIT)


def _refuse_taper(design: Design, brick: Brick, entry: str) -> None:
    place = f"{entry}, key small"
    if brick.taper and not brick.small:
        what = f"the brick tapers in {brick.taper}, but small is missing"
        cure = f"Write its {brick.taper} at the hot face under small"
        raise InputError(what, place=place, cure=cure)
    if brick.small and not brick.taper:
        what = f"small {as_written(design, brick.small)} is given, but not what tapers"
        cure = 'Add taper = "width" or "thickness", or leave small out'
        raise InputError(what, place=place, cure=cure)
    if brick.taper and brick.taper == brick.radial:
        what = f"the {brick.taper} lies along the radius, and cannot taper along it"
        cure = "Write the side along the radius under radial, what narrows under taper"
        place = f"{entry}, key taper"
        raise InputError(what, place=place, cure=cure)
    if brick.taper and brick.small >= (large := getattr(brick, brick.taper)):
        small = f"small {as_written(design, brick.small)}"
        what = f"{small} is not less than {brick.taper} {as_written(design, large)}"
        cure = f"{brick.taper} is that at the back, small that at the hot face"
        raise InputError(what, place=place, cure=cure)
    if brick.bore and not brick.taper:
        what = f"bore {as_written(design, brick.bore)} is given, but not what tapers"
        cure = "A brick curved to a bore is narrower at the hot face: add taper, small"
        raise InputError(what, place=f"{entry}, key bore", cure=cure)


def _refuse_mass(brick: Brick, place: str) -> None:
    if brick.mass is None:
        return
    density = brick.mass / (brick.length * brick.width * brick.thickness * 1e-9)
    low, high = BRICK_DENSITY_RANGE
    if not low <= density <= high:
        what = (
            f"mass {brick.mass:.6g} kg of its size is {density:.0f} kg/m3, "
            f"not in {low:.0f} to {high:.0f}"
        )
        cure = "Write the mass of one brick in kg: 7 lb are 3.18 kg"
        raise InputError(what, place=place, cure=cure)


def _refuse_thickness(design: Design) -> None:
    for (table, key), most in MAX_THICKNESS.items():
        value = getattr(getattr(design.shop, table), key)
        if abs(value) >= most:
            limit = as_written(design, most)
            what = f"{key} {as_written(design, value)} is at or past {limit}"
            limits = ("bed_", "cover_", "squaring")
            where = "repair" if key.startswith(limits) else table
            place = f"[{where}], key {key}"
            raise InputError(what, place=place, cure=CHECK_UNIT)


def _refuse_brickwork(design: Design) -> None:
    laid = design.shop.brickwork
    for least, most in (("bed_least", "bed_most"), ("cover_least", "cover_most")):
        low, high = getattr(laid, least), getattr(laid, most)
        if low > high:
            what = (
                f"{least} {as_written(design, low)} is more than {most} "
                f"{as_written(design, high)} (a key left out has its default)"
            )
            cure = f"Write both under [repair], {least} the smaller"
            place = f"[repair], key {least}"
            raise InputError(what, place=place, cure=cure)
    if laid.bed_most + laid.cover_most < 0.0:
        both = as_written(design, laid.bed_most + laid.cover_most)
        what = f"bed_most and cover_most together are {both}, less than 0"
        cure = "A brick as deep as the hole must fit: write the daub it may have"
        place = "[repair], key bed_most"
        raise InputError(what, place=place, cure=cure)


def _refuse_mix(design: Design) -> None:
    mix = design.shop.mix
    if mix.sand + mix.clay <= 0.0:
        what = "sand and clay are 0 parts both: that is no daub"
        cure = "Write parts such as sand = 3 and clay = 1"
        raise InputError(what, place="[mix], key sand", cure=cure)
    if mix.water_least > mix.water_most:
        what = (
            f"water_least {mix.water_least:.6g} is more than water_most "
            f"{mix.water_most:.6g} (a key left out has its default)"
        )
        cure = "Write both under [mix], as shares of the dry mass"
        raise InputError(what, place="[mix], key water_least", cure=cure)
