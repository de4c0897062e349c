"""Whether a drawing makes sense: what cannot be built is refused.

Beyond each key for itself, drawing and shop must make sense together.  Limits keep
slips of unit and quantity out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geom.design.assumptions import ASSUMED
from geom.design.drawing import Design, Opening
from geom.design.shop import Brick
from geom.design.text_file import casefolded
from geom.errors import InputError, Report, raise_fault
from geom.frame import turn
from geom.units import from_mm

#: What to do about a length that is most likely in another unit.
CHECK_UNIT = "Check the number, and length_unit in [lining]"

INSTRUMENT_ERRORS = {
    "rod": ("step", "repeatability", "centring", "height_sd"),
    "scanner": ("range_error", "point_sd"),
}


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
    ("bottom", "fillet"): 300.0,
}

#: No wall at an opening, no lip and no spout is as large as this, mm (our choice).
MAX_OPENING_SIZE = {
    "depth": 1500.0,
    "lip": 150.0,
    "spout_length": 5000.0,
    "spout_width": 1000.0,
    "spout_lining": 300.0,
}

_ROUNDING = 1e-6  # mm; what changing units may add to a length
_SAME_ANGLE = 1e-6  # degrees; openings that touch do not overlap


def refuse_senseless(
    design: Design, *, file: str, report: Report = raise_fault
) -> None:
    """Refuse a drawing that cannot be built, and bricks and mixes that cannot be.

    Whether a brick fits between hot face and shell is not asked here.

    Parameters
    ----------
    design : Design
        As read.
    file : str
        As the caller named it.
    report : callable
        What is done about each fault.
    """
    for fault in _faults(design):
        report(fault.at(file=file))


def _faults(design: Design) -> Iterator[InputError]:
    """All that is wrong; nothing that follows from what is wrong already."""
    profile = list(_profile_faults(design))
    yield from profile
    if profile:
        return
    radii = list(_radii_faults(design))
    yield from radii
    if not radii:
        yield from _least_lining_faults(design)
    openings = list(_openings_faults(design))
    yield from openings
    if not openings:
        yield from _overlaps_faults(design)
        yield from _opening_sizes_faults(design)
    for faults in (
        _bands_faults,
        _targets_faults,
        _rules_faults,
        _instruments_faults,
        _bricks_faults,
        _thickness_faults,
        _brickwork_faults,
        _mix_faults,
    ):
        yield from faults(design)


def _profile_faults(design: Design) -> Iterator[InputError]:
    height = design.profile.height
    if height.size < 2:
        what = f"the profile needs two or more entries, here are {height.size}"
        cure = "Add an entry for each corner of the hot face, bottom up"
        yield InputError(what, place="[[profile]]", cure=cure)
        return
    for i in range(1, height.size):
        yield from _height_faults(design, i)
    if height[-1] == height[0]:
        what = f"all entries stand at the one height {as_written(design, height[0])}"
        cure = "Give the bottom and the top of the lining"
        yield InputError(what, place="[[profile]]", cure=cure)
    if height[-1] - height[0] > ASSUMED.greatest_height:
        tall = as_written(design, height[-1] - height[0])
        most = as_written(design, ASSUMED.greatest_height)
        what = f"the profile is {tall} tall, more than {most}"
        yield InputError(what, place="[[profile]]", cure=CHECK_UNIT)


def _height_faults(design: Design, i: int) -> Iterator[InputError]:
    height = design.profile.height
    place = f"[[profile]] entry {i + 1}, key height"
    here, before = as_written(design, height[i]), as_written(design, height[i - 1])
    if height[i] < height[i - 1]:
        what = f"height {here} lies below the entry before it ({before})"
        cure = "Write the profile bottom up"
        yield InputError(what, place=place, cure=cure)
    if i > 1 and height[i] == height[i - 2]:
        what = f"three entries stand at the one height {here}"
        cure = "Keep two: a step is two entries at one height"
        yield InputError(what, place=place, cure=cure)


def _radii_faults(design: Design) -> Iterator[InputError]:
    low, high = ASSUMED.radius_range
    for i, radius in enumerate(design.profile.radius, 1):
        place = f"[[profile]] entry {i}, key radius"
        written = as_written(design, radius)
        if not low <= radius <= high:
            between = f"{as_written(design, low)} to {as_written(design, high)}"
            what = f"radius {written} is not in {between}"
            yield InputError(what, place=place, cure=CHECK_UNIT)
        elif design.shell_radius is not None and radius >= design.shell_radius:
            what = (
                f"radius {written} is not inside the shell, "
                f"whose radius is {as_written(design, design.shell_radius)}"
            )
            cure = "Check it, and radius in [shell]: both are radii, not diameters"
            yield InputError(what, place=place, cure=cure)


def _least_lining_faults(design: Design) -> Iterator[InputError]:
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
        yield InputError(what, place=place, cure=f"{cure} it")


def _openings_faults(design: Design) -> Iterator[InputError]:
    for place, opening in zip(_opening_places(design), design.openings, strict=True):
        low, high = opening.sill, opening.top
        if not _within(design, low, high):
            what = (
                f"the {opening.kind} reaches from {as_written(design, low)} to "
                f"{as_written(design, high)}, past the profile {_profile_range(design)}"
            )
            cure = "height is that of its centre, tall its whole height; check both"
            yield InputError(what, place=f"{place}, key height", cure=cure)
            continue
        half_way = np.pi * design.radius_at_opening(opening)
        if opening.width >= half_way:
            what = (
                f"width {as_written(design, opening.width)} is not less than half "
                f"the way round there ({as_written(design, half_way)})"
            )
            cure = "width is measured along the arc; check it"
            yield InputError(what, place=f"{place}, key width", cure=cure)


def _opening_places(design: Design) -> list[str]:
    """Where each opening stands in the file: tuyeres come first."""
    tuyeres = len(design.tuyeres)
    places = [f"[[tuyere]] entry {i + 1}" for i in range(tuyeres)]
    holes = len(design.openings) - tuyeres
    return places + [f"[[hole]] entry {i + 1}" for i in range(holes)]


def _overlaps_faults(design: Design) -> Iterator[InputError]:
    """Refuse openings that share some wall: one of the two is wrong."""
    places = _opening_places(design)
    for i, one in enumerate(design.openings):
        for k, other in enumerate(design.openings[:i]):
            half = sum(
                hole.half_angle(design.radius_at_opening(hole)) for hole in (one, other)
            )
            apart = abs(float(turn(one.azimuth, other.azimuth)))
            rise = abs(one.height - other.height)
            if apart < half - _SAME_ANGLE and rise < (
                0.5 * (one.tall + other.tall) - _ROUNDING
            ):
                what = f"the {one.kind} and the {other.kind} of {places[k]} overlap"
                cure = "Each place of the wall is in one opening; check where they are"
                yield InputError(what, place=places[i], cure=cure)


def _opening_sizes_faults(design: Design) -> Iterator[InputError]:
    for place, opening in zip(_opening_places(design), design.openings, strict=True):
        named = {
            key: value
            for key, value in vars(opening.sizes).items()
            if value is not None
        }
        if opening.kind not in ("tuyere", "tap hole", "slag hole") and set(named) - {
            "depth"
        }:
            key = next(key for key in named if key != "depth")
            what = f"{key} is given of a {opening.kind}"
            cure = "It is of a tap hole or slag hole; of others depth alone is asked"
            yield InputError(what, place=f"{place}, key {key}", cure=cure)
            continue
        for key, value in (named | {"lip": opening.lip}).items():
            yield from _size_faults(design, opening, f"{place}, key {key}", key, value)


def _size_faults(
    design: Design, opening: Opening, place: str, key: str, value: float
) -> Iterator[InputError]:
    """Refuse a size that its opening, or any, cannot have."""
    written = f"{key} {as_written(design, value)}"
    across, tall = opening.width, opening.tall
    most = MAX_OPENING_SIZE | {
        "former_width": across,
        "former_tall": tall,
        "bore": min(across, tall),
        "former": opening.sizes.bore or min(across, tall),
        "breast_width": np.pi * design.radius_at_opening(opening),
        "breast_height": design.profile.top - design.profile.bottom,
    }
    least = {"breast_width": across, "breast_height": tall}
    if value > most[key] + _ROUNDING:
        what = f"{written} is more than {as_written(design, most[key])}"
        cure = "What stands in the opening is no larger than it; check both sizes"
        yield InputError(
            what, place=place, cure=CHECK_UNIT if key in MAX_OPENING_SIZE else cure
        )
    if value < least.get(key, 0.0) - _ROUNDING:
        what = f"{written} is less than the hole's own {as_written(design, least[key])}"
        cure = "The breast is what is taken out round the hole, the hole with it"
        yield InputError(what, place=place, cure=cure)


def _bands_faults(design: Design) -> Iterator[InputError]:
    for i, band in enumerate(design.datum_bands, 1):
        place = f"[[datum_band]] entry {i}, key from"
        between = (
            f"from {as_written(design, band.low)} to {as_written(design, band.high)}"
        )
        if band.low >= band.high:
            what = f"the band {between} is not one: from must be below to"
            cure = "Write the lower height under from, the upper under to"
            yield InputError(what, place=place, cure=cure)
        elif not _within(design, band.low, band.high):
            what = f"the band {between} goes past the profile {_profile_range(design)}"
            cure = "Keep the band within the profile's heights"
            yield InputError(what, place=place, cure=cure)


def _targets_faults(design: Design) -> Iterator[InputError]:
    yield from _same_name_faults("target", [target.name for target in design.targets])
    for i, target in enumerate(design.targets, 1):
        if not np.isfinite(design.radius_at_target(target)):
            place = f"[[target]] entry {i}, key radius"
            what = (
                f"the target at height {as_written(design, target.height)} lies past "
                f"the profile {_profile_range(design)}, where no hot face is drawn"
            )
            cure = "Write its distance from the axis under radius, or check height"
            yield InputError(what, place=place, cure=cure)


def _rules_faults(design: Design) -> Iterator[InputError]:
    brick, fine = design.repair.brick_threshold, design.repair.tolerance
    if fine >= brick:
        what = (
            f"tolerance {as_written(design, fine)} is not less than brick_threshold "
            f"{as_written(design, brick)} (a key left out has its default)"
        )
        cure = "Write both keys under [repair], tolerance the smaller"
        place = "[repair], key tolerance"
        yield InputError(what, place=place, cure=cure)
    smallest = float(np.min(design.profile.radius))
    if brick >= smallest:
        what = (
            f"brick_threshold {as_written(design, brick)} is no cut-back of a wall of "
            f"radius {as_written(design, smallest)}"
        )
        place = "[repair], key brick_threshold"
        yield InputError(what, place=place, cure=CHECK_UNIT)


def _instruments_faults(design: Design) -> Iterator[InputError]:
    for table, keys in INSTRUMENT_ERRORS.items():
        for key in keys:
            value = getattr(getattr(design, table), key)
            if value is not None and value > ASSUMED.greatest_rod_error:
                most = as_written(design, ASSUMED.greatest_rod_error)
                what = f"{key} {as_written(design, value)} is more than {most}"
                yield InputError(what, place=f"[{table}], key {key}", cure=CHECK_UNIT)


def _same_name_faults(table: str, names: list[str]) -> Iterator[InputError]:
    first: dict[str, int] = {}
    for i, name in enumerate(names, 1):
        if (before := first.setdefault(casefolded(name), i)) != i:
            what = f'"{name}" is the name of entry {before} too'
            cure = f"Give each {table} a name of its own; capitals do not count"
            yield InputError(what, place=f"[[{table}]] entry {i}, key name", cure=cure)


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


def _bricks_faults(design: Design) -> Iterator[InputError]:
    yield from _same_name_faults("brick", [brick.name for brick in design.shop.bricks])
    for i, brick in enumerate(design.shop.bricks, 1):
        yield from _sides_faults(design, brick, f"[[brick]] entry {i}")
        yield from _taper_faults(design, brick, f"[[brick]] entry {i}")
        yield from _mass_faults(brick, f"[[brick]] entry {i}, key mass")


def _sides_faults(design: Design, brick: Brick, entry: str) -> Iterator[InputError]:
    low, high = ASSUMED.brick_side_range
    for key in ("length", "width", "thickness"):
        side = getattr(brick, key)
        if not low <= side <= high:
            between = f"{as_written(design, low)} to {as_written(design, high)}"
            what = f"{key} {as_written(design, side)} of a brick is not in {between}"
            yield InputError(what, place=f"{entry}, key {key}", cure=CHECK_UNIT)


def _taper_faults(design: Design, brick: Brick, entry: str) -> Iterator[InputError]:
    place = f"{entry}, key small"
    if brick.taper and not brick.small:
        what = f"the brick tapers in {brick.taper}, but small is missing"
        cure = f"Write its {brick.taper} at the hot face under small"
        yield InputError(what, place=place, cure=cure)
        return
    if brick.small and not brick.taper:
        what = f"small {as_written(design, brick.small)} is given, but not what tapers"
        cure = 'Add taper = "width" or "thickness", or leave small out'
        yield InputError(what, place=place, cure=cure)
        return
    if brick.taper and brick.taper == brick.radial:
        what = f"the {brick.taper} lies along the radius, and cannot taper along it"
        cure = "Write the side along the radius under radial, what narrows under taper"
        place = f"{entry}, key taper"
        yield InputError(what, place=place, cure=cure)
        return
    if brick.taper and brick.small >= (large := getattr(brick, brick.taper)):
        small = f"small {as_written(design, brick.small)}"
        what = f"{small} is not less than {brick.taper} {as_written(design, large)}"
        cure = f"{brick.taper} is that at the back, small that at the hot face"
        yield InputError(what, place=place, cure=cure)
        return
    if brick.bore and not brick.taper:
        what = f"bore {as_written(design, brick.bore)} is given, but not what tapers"
        cure = "A brick curved to a bore is narrower at the hot face: add taper, small"
        yield InputError(what, place=f"{entry}, key bore", cure=cure)


def _mass_faults(brick: Brick, place: str) -> Iterator[InputError]:
    if brick.mass is None:
        return
    density = brick.mass / (brick.length * brick.width * brick.thickness * 1e-9)
    low, high = ASSUMED.brick_density_range
    if not low <= density <= high:
        what = (
            f"mass {brick.mass:.6g} kg of its size is {density:.0f} kg/m3, "
            f"not in {low:.0f} to {high:.0f}"
        )
        cure = "Write the mass of one brick in kg: 7 lb are 3.18 kg"
        yield InputError(what, place=place, cure=cure)


def _thickness_faults(design: Design) -> Iterator[InputError]:
    for (table, key), most in MAX_THICKNESS.items():
        value = getattr(getattr(design.shop, table), key)
        if abs(value) >= most:
            limit = as_written(design, most)
            what = f"{key} {as_written(design, value)} is at or past {limit}"
            limits = ("bed_", "cover_", "squaring")
            where = "repair" if key.startswith(limits) else table
            place = f"[{where}], key {key}"
            yield InputError(what, place=place, cure=CHECK_UNIT)


def _brickwork_faults(design: Design) -> Iterator[InputError]:
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
            yield InputError(what, place=place, cure=cure)
    if laid.bed_most + laid.cover_most < 0.0:
        both = as_written(design, laid.bed_most + laid.cover_most)
        what = f"bed_most and cover_most together are {both}, less than 0"
        cure = "A brick as deep as the hole must fit: write the daub it may have"
        place = "[repair], key bed_most"
        yield InputError(what, place=place, cure=cure)


def _mix_faults(design: Design) -> Iterator[InputError]:
    mix = design.shop.mix
    if mix.sand + mix.clay <= 0.0:
        what = "sand and clay are 0 parts both: that is no daub"
        cure = "Write parts such as sand = 3 and clay = 1"
        yield InputError(what, place="[mix], key sand", cure=cure)
    if mix.water_least > mix.water_most:
        what = (
            f"water_least {mix.water_least:.6g} is more than water_most "
            f"{mix.water_most:.6g} (a key left out has its default)"
        )
        cure = "Write both under [mix], as shares of the dry mass"
        yield InputError(what, place="[mix], key water_least", cure=cure)
