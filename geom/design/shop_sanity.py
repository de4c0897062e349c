"""What the shop's numbers must make sense of, beyond each key for itself."""

from __future__ import annotations

from geom.design.drawing import Design
from geom.design.sanity import UNIT, as_written
from geom.design.shop import Brick
from geom.design.spelling import folded
from geom.errors import InputError

#: Sides of a brick lie between these, mm (our choice, no source).
BRICK = (12.0, 1000.0)
#: Mass of a brick over its length times width times thickness, kg/m3: insulating to
#: chrome brick, and less where it tapers (our choice, no source); lb for kg falls out.
BRICK_DENSITY = (150.0, 4000.0)
#: No joint, bed, coat or bottom is as thick as this, mm (our choice, no source).
THICKEST = {
    ("brickwork", "joint"): 25.4,
    ("brickwork", "bed_least"): 500.0,
    ("brickwork", "bed_most"): 500.0,
    ("brickwork", "cover_least"): 500.0,
    ("brickwork", "cover_most"): 500.0,
    ("mix", "layer_most"): 500.0,
    ("mix", "wash"): 25.4,
    ("bottom", "least"): 1000.0,
}


def refuse_senseless_shop(design: Design, *, file: str) -> None:
    """Refuse bricks, brickwork and mixes that cannot be.

    Whether a brick fits between hot face and shell is not asked here.

    Raises
    ------
    InputError
        With the entry and key at fault.
    """
    _refuse_bricks(design, file)
    _refuse_thickness(design, file)
    _refuse_brickwork(design, file)
    _refuse_mix(design, file)


def _refuse_bricks(design: Design, file: str) -> None:
    first: dict[str, int] = {}
    for i, brick in enumerate(design.shop.bricks, 1):
        place = f"[[brick]] entry {i}, key name"
        if (before := first.setdefault(folded(brick.name), i)) != i:
            what = f'"{brick.name}" is the name of entry {before} too'
            cure = "Give each brick a name of its own; capitals do not count"
            raise InputError(what, file=file, place=place, cure=cure)
        _refuse_sides(design, brick, f"[[brick]] entry {i}", file)
        _refuse_taper(design, brick, f"[[brick]] entry {i}", file)
        _refuse_mass(brick, f"[[brick]] entry {i}, key mass", file)


def _refuse_sides(design: Design, brick: Brick, entry: str, file: str) -> None:
    low, high = BRICK
    for key in ("length", "width", "thickness"):
        side = getattr(brick, key)
        if not low <= side <= high:
            between = f"{as_written(design, low)} to {as_written(design, high)}"
            what = f"{key} {as_written(design, side)} of a brick is not in {between}"
            raise InputError(what, file=file, place=f"{entry}, key {key}", cure=UNIT)


def _refuse_taper(design: Design, brick: Brick, entry: str, file: str) -> None:
    place = f"{entry}, key small"
    if brick.taper and not brick.small:
        what = f"the brick tapers in {brick.taper}, but small is missing"
        cure = f"Write its {brick.taper} at the hot face under small"
        raise InputError(what, file=file, place=place, cure=cure)
    if brick.small and not brick.taper:
        what = f"small {as_written(design, brick.small)} is given, but not what tapers"
        cure = 'Add taper = "width" or "thickness", or leave small out'
        raise InputError(what, file=file, place=place, cure=cure)
    if brick.taper and brick.taper == brick.radial:
        what = f"the {brick.taper} lies along the radius, and cannot taper along it"
        cure = "Write the side along the radius under radial, what narrows under taper"
        place = f"{entry}, key taper"
        raise InputError(what, file=file, place=place, cure=cure)
    if brick.taper and brick.small >= (large := getattr(brick, brick.taper)):
        small = f"small {as_written(design, brick.small)}"
        what = f"{small} is not less than {brick.taper} {as_written(design, large)}"
        cure = f"{brick.taper} is that at the back, small that at the hot face"
        raise InputError(what, file=file, place=place, cure=cure)


def _refuse_mass(brick: Brick, place: str, file: str) -> None:
    if brick.mass is None:
        return
    density = brick.mass / (brick.length * brick.width * brick.thickness * 1e-9)
    low, high = BRICK_DENSITY
    if not low <= density <= high:
        what = (
            f"mass {brick.mass:.6g} kg of its size is {density:.0f} kg/m3, "
            f"not in {low:.0f} to {high:.0f}"
        )
        cure = "Write the mass of one brick in kg: 7 lb are 3.18 kg"
        raise InputError(what, file=file, place=place, cure=cure)


def _refuse_thickness(design: Design, file: str) -> None:
    for (table, key), most in THICKEST.items():
        value = getattr(getattr(design.shop, table), key)
        if abs(value) >= most:
            limit = as_written(design, most)
            what = f"{key} {as_written(design, value)} is at or past {limit}"
            where = "repair" if key.startswith(("bed_", "cover_")) else table
            place = f"[{where}], key {key}"
            raise InputError(what, file=file, place=place, cure=UNIT)


def _refuse_brickwork(design: Design, file: str) -> None:
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
            raise InputError(what, file=file, place=place, cure=cure)
    if laid.bed_most + laid.cover_most < 0.0:
        both = as_written(design, laid.bed_most + laid.cover_most)
        what = f"bed_most and cover_most together are {both}, less than 0"
        cure = "A brick as deep as the hole must fit: write the daub it may have"
        place = "[repair], key bed_most"
        raise InputError(what, file=file, place=place, cure=cure)


def _refuse_mix(design: Design, file: str) -> None:
    mix = design.shop.mix
    if mix.sand + mix.clay <= 0.0:
        what = "sand and clay are 0 parts both: that is no daub"
        cure = "Write parts such as sand = 3 and clay = 1"
        raise InputError(what, file=file, place="[mix], key sand", cure=cure)
    if mix.water_least > mix.water_most:
        what = (
            f"water_least {mix.water_least:.6g} is more than water_most "
            f"{mix.water_most:.6g} (a key left out has its default)"
        )
        cure = "Write both under [mix], as shares of the dry mass"
        raise InputError(what, file=file, place="[mix], key water_least", cure=cure)
