"""The shop's numbers of a design file: bricks, brickwork, mix, bottom and melting."""

from __future__ import annotations

from dataclasses import asdict, astuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom.design import Brickwork, Drying, Melting, Mix, Shop, load_design
from geom.errors import InputError
from geom.units import MM_PER, parse_number
from tests.design.test_any_design import QUIET, VALUES, drawn_or_refused
from tests.design.test_bad_designs import HEAD, assert_well_told

PROFILE = """\
[[profile]]
height = {bottom}
radius = {radius}
[[profile]]
height = {top}
radius = {radius}
"""

#: An invented shop; lengths in inches.
SHOP = """\
[[brick]]
name = "straight"
length = 9
width = "4 1/2"
thickness = "2 1/2"
mass = 3.3
stock = 240

[[brick]]
name = "arch 2"
length = 9
width = "4 1/2"
thickness = "2 1/2"
taper = "thickness"
small = "1 3/4"
radial = "width"

[[brick]]
name = "key 3"
length = 9
width = "4 1/2"
thickness = "2 1/2"
taper = "width"
small = 3
radial = "length"
stock = 0

[brickwork]
joint = "1/8"
opening = "3/4"
shortfall = "brick"
breakage = 0.04

[mix]
sand = 4
clay = "1 1/2"
by = "mass"
water_least = 0.07
water_most = 0.11
sand_density = 1520
clay_density = 1100
daub_density = 1950
batch = 85
shrinkage = "1/32"
rebound = 0.15
layer_most = "1 1/2"
wash = "1/16"
bag = 50
working_life = "3/4"

[bottom]
least = 5
density = 1680

[crew]
men = 3
chip_rate = 11
brick_rate = 12
daub_rate = 13
wash_rate = 14
bottom_rate = 150
cool_hours = 16
ready_hours = 1.7
bar_hours = 1.8
clean_hours = 1.9
measure_hours = 2.0
again_hours = 2.1
stiffen_hours = 2.2
opening_hours = 2.3
cool_again_hours = 2.4
doors_hours = 2.5
boards_hours = 2.6
light_hours = 2.7

[drying]
supplier = "the clay's maker, sheet 3"
set_hours = 12
rate = 25
hold_hours = 0.75
hold_at = [110, 350.5]

[melting]
rate = 4500
blast = 3400
specific_rate = 0.7
last_rate = 4600
last_blast = 3500
pressure = 6.9
bed = 40
coke_density = 480
coke_ratio = 9.5

[repair]
bed_least = "1/4"
bed_most = 1
cover_least = "-1/4"
cover_most = "1 1/2"
squaring = "3/8"
open_arc = 45
open_height = 18
order_confidence = 0.9
"""

INCHES = HEAD.replace('"mm"', '"in"') + PROFILE.format(bottom=0, top=96, radius=18)


@pytest.fixture
def with_shop(write):
    """Write a drawing with the shop, one piece of text put in another's place."""

    def spoil(old="", new=""):
        assert old in SHOP
        return write(INCHES + SHOP.replace(old, new, 1))

    return spoil


def test_every_key_arrives_in_its_unit(with_shop):
    # 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8); products worked by hand.
    shop = load_design(with_shop()).shop
    straight, arch, key = shop.bricks
    assert (straight.name, straight.taper, straight.radial) == (
        "straight",
        "",
        "length",
    )
    assert (straight.small, straight.mass, straight.stock) == (0.0, 3.3, 240)
    sides = (straight.length, straight.width, straight.thickness)
    assert sides == pytest.approx((228.6, 114.3, 63.5), abs=1e-9)
    assert (arch.taper, arch.radial, arch.mass, arch.stock) == (
        "thickness",
        "width",
        None,
        None,
    )
    assert arch.small == pytest.approx(44.45, abs=1e-9)
    assert (key.taper, key.radial, key.stock) == ("width", "length", 0)
    laid = shop.brickwork
    assert laid.shortfall == "brick"
    assert {**asdict(laid), "shortfall": 0.0} == pytest.approx(
        {
            "joint": 3.175,
            "opening": 19.05,
            "shortfall": 0.0,
            "bed_least": 6.35,
            "bed_most": 25.4,
            "cover_least": -6.35,
            "cover_most": 38.1,
            "squaring": 9.525,
            "breakage": 0.04,
            "open_arc": 45.0,
            "open_height": 457.2,
        }
    )
    mix = shop.mix
    assert (mix.sand, mix.clay, mix.by) == (4.0, 1.5, "mass")
    assert (mix.water_least, mix.water_most) == (0.07, 0.11)
    assert (mix.sand_density, mix.clay_density) == (1520.0, 1100.0)
    assert (mix.daub_density, mix.batch, mix.bag) == (1950.0, 85.0, 50.0)
    assert (mix.shrinkage, mix.rebound) == (0.03125, 0.15)
    assert (mix.layer_most, mix.wash) == pytest.approx((38.1, 1.5875), abs=1e-9)
    assert shop.bottom.least == pytest.approx(127.0, abs=1e-9)
    assert shop.bottom.density == 1680.0
    assert mix.working_life == 0.75
    assert astuple(shop.crew) == (
        3, 11, 12, 13, 14, 150, 16, 1.7, 1.8, 1.9, 2.0, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6,
        2.7,
    )  # fmt: skip
    assert shop.drying == Drying(
        "the clay's maker, sheet 3", 12.0, 25.0, 0.75, (110.0, 350.5)
    )
    assert shop.melting == Melting(
        rate=4500.0,
        blast=3400.0,
        specific_rate=0.7,
        last_rate=4600.0,
        last_blast=3500.0,
        pressure=6.9,
        bed=pytest.approx(1016.0),
        coke_density=480.0,
        coke_ratio=9.5,
    )
    assert shop.confidence == 0.9


def test_how_the_bricks_lie_follows_from_what_is_told(with_shop):
    straight, arch, key = load_design(with_shop()).shop.bricks
    # along the radius, height of course, round the ring at the back and hot face; in
    laid = {
        straight: (9, 2.5, 4.5, 4.5),
        arch: (4.5, 9, 2.5, 1.75),
        key: (9, 2.5, 4.5, 3),
    }
    for brick, inches in laid.items():
        found = (brick.build, brick.course, brick.outer, brick.inner)
        assert found == pytest.approx(tuple(25.4 * side for side in inches))


@pytest.mark.parametrize(
    "table", ["brickwork", "mix", "bottom", "crew", "drying", "melting"]
)
def test_an_empty_table_has_its_defaults(write, table):
    assert load_design(write(INCHES + f"[{table}]\n")).shop == Shop()


def test_one_key_of_a_table_leaves_the_others_at_their_defaults(write):
    text = "[brickwork]\njoint = 0\n[mix]\nclay = 2\n[repair]\ntolerance = 0.2\n"
    shop = load_design(write(INCHES + text)).shop
    assert shop == Shop(brickwork=Brickwork(joint=0.0), mix=Mix(clay=2.0))


#: Keys above whose value is a length.
LENGTHS = (
    "length", "width", "thickness", "small", "joint", "bed_least", "bed_most",
    "cover_least", "cover_most", "layer_most", "wash", "least", "height", "radius",
    "opening", "squaring", "open_height", "bed",
)  # fmt: skip


def in_unit(text: str, unit: str) -> str:
    """Write a drawing in inches anew in another unit: its lengths only."""
    text, lines = text.replace('length_unit = "in"', f'length_unit = "{unit}"'), []
    for line in text.split("\n"):
        key, equals, value = line.partition(" = ")
        if equals and key in LENGTHS:
            inches = parse_number(value.strip('"'))
            value = repr(inches * 25.4 / float(MM_PER[unit]))
        lines.append(f"{key}{equals}{value}")
    return "\n".join(lines)


def numbers(shop: Shop) -> list[float]:
    """Every number of the shop in a row."""
    parts = [*shop.bricks, shop.brickwork, shop.mix, shop.bottom, shop.melting]
    parts += [shop.crew, shop.drying]
    found = [value for part in parts for value in astuple(part)]
    return [value for value in found if isinstance(value, float)]


def words(shop: Shop) -> list[object]:
    """All that is no number of it."""
    parts = [*shop.bricks, shop.brickwork, shop.mix, shop.bottom, shop.melting]
    parts += [shop.crew, shop.drying]
    found = [value for part in parts for value in astuple(part)]
    return [value for value in found if not isinstance(value, float)]


@pytest.mark.parametrize("unit", ["mm", "cm", "m"])
def test_the_same_shop_in_any_unit_is_the_same_shop(write, unit):
    inches = load_design(write(INCHES + SHOP)).shop
    text = in_unit(INCHES + SHOP, unit)
    other = load_design(write(text)).shop
    # A few rounding errors of a double at 228.6 mm.
    assert numbers(other) == pytest.approx(numbers(inches), abs=1e-11)
    assert words(other) == words(inches)
    assert other.confidence == inches.confidence
    # Only lengths change with the unit: a shop whose joint did not is another.
    joint = next(line for line in text.split("\n") if line.startswith("joint"))
    spoiled = load_design(write(text.replace(joint, "joint = 0.001"))).shop
    assert numbers(spoiled) != pytest.approx(numbers(inches), abs=1e-11)


#: What is put in whose place in the shop; the place and words of the message.
FAULTS = {
    "brick without a name": (
        'name = "straight"\n',
        "",
        "[[brick]] entry 1, key name",
        "missing",
    ),
    "brick without a length": (
        "length = 9\n",
        "",
        "[[brick]] entry 1, key length",
        "missing",
    ),
    "brick without a width": (
        'width = "4 1/2"\n',
        "",
        "[[brick]] entry 1, key width",
        "missing",
    ),
    "brick without a thickness": (
        'thickness = "2 1/2"\n',
        "",
        "[[brick]] entry 1, key thickness",
        "missing",
    ),
    "brick key not known": (
        "mass = 3.3",
        "weight = 3.3",
        "[[brick]] entry 1",
        'unknown key "weight"',
    ),
    "bricks as one table": (
        SHOP[: SHOP.index("[brickwork]")],
        "[brick]\n",
        "[[brick]]",
        "[[brick]] on a line of its own",
    ),
    "two bricks of one name": (
        '"arch 2"',
        '" Straight"',
        "[[brick]] entry 2, key name",
        "the name of entry 1 too",
    ),
    "brick of no length": (
        "length = 9",
        "length = 0",
        "[[brick]] entry 1, key length",
        "greater than 0",
    ),
    "brick in millimetres": (
        "length = 9",
        "length = 230",
        "[[brick]] entry 1, key length",
        "length 230 in of a brick",
    ),
    "brick as thin as paper": (
        'thickness = "2 1/2"',
        'thickness = "1/4"',
        "[[brick]] entry 1, key thickness",
        "thickness 0.25 in of a brick",
    ),
    "taper not known": (
        'taper = "thickness"',
        'taper = "length"',
        "[[brick]] entry 2, key taper",
        'Write "width" or "thickness"',
    ),
    "radial not known": (
        'radial = "width"',
        'radial = "thickness"',
        "[[brick]] entry 2, key radial",
        'Write "length" or "width"',
    ),
    "taper without small": (
        'small = "1 3/4"\n',
        "",
        "[[brick]] entry 2, key small",
        "small is missing",
    ),
    "small without taper": (
        'taper = "thickness"\n',
        "",
        "[[brick]] entry 2, key small",
        "not what tapers",
    ),
    "small as large": (
        'small = "1 3/4"',
        'small = "2 1/2"',
        "[[brick]] entry 2, key small",
        "small 2.5 in is not less than thickness 2.5 in",
    ),
    "small as large as what does not taper": (
        "small = 3\n",
        "small = 5\n",
        "[[brick]] entry 3, key small",
        "small 5 in is not less than width 4.5 in",
    ),
    "taper along the radius": (
        'small = 3\nradial = "length"',
        'small = 3\nradial = "width"',
        "[[brick]] entry 3, key taper",
        "the width lies along the radius",
    ),
    # 101.25 cubic inches are 1.6592 litres: 7 kg of it are 4219 kg/m3.
    "brick mass in pounds": (
        "mass = 3.3",
        "mass = 7",
        "[[brick]] entry 1, key mass",
        "4219 kg/m3",
    ),
    "brick mass in tonnes": (
        "mass = 3.3",
        "mass = 0.0033",
        "[[brick]] entry 1, key mass",
        "not in 0.05 to 500 kg",
    ),
    "half a brick in stock": (
        "stock = 240",
        "stock = 240.5",
        "[[brick]] entry 1, key stock",
        "not a whole number",
    ),
    "fewer than no bricks in stock": (
        "stock = 240",
        "stock = -1",
        "[[brick]] entry 1, key stock",
        "not a whole number",
    ),
    "joint below zero": (
        'joint = "1/8"',
        'joint = "-1/8"',
        "[brickwork], key joint",
        "less than 0",
    ),
    "joint in millimetres": (
        'joint = "1/8"',
        "joint = 3",
        "[brickwork], key joint",
        "joint 3 in is at or past 1 in",
    ),
    "bed in millimetres": (
        "bed_most = 1\n",
        "bed_most = 25\n",
        "[repair], key bed_most",
        "at or past",
    ),
    "cover far before the face": (
        'cover_least = "-1/4"',
        "cover_least = -25",
        "[repair], key cover_least",
        "at or past",
    ),
    "bed upside down": (
        'bed_least = "1/4"',
        "bed_least = 2",
        "[repair], key bed_least",
        "bed_least 2 in is more than bed_most 1 in",
    ),
    "cover upside down": (
        'cover_most = "1 1/2"',
        'cover_most = "-1/2"',
        "[repair], key cover_least",
        "cover_least -0.25 in is more than cover_most -0.5 in",
    ),
    "cover above its default": (
        'cover_least = "-1/4"\ncover_most = "1 1/2"',
        "cover_least = 2",
        "[repair], key cover_least",
        "a key left out has its default",
    ),
    "a bore of what does not taper": (
        "mass = 3.3",
        "mass = 3.3\nbore = 36",
        "[[brick]] entry 1, key bore",
        "is given, but not what tapers",
    ),
    "most of the wall open at once": (
        "open_arc = 45",
        "open_arc = 270",
        "[repair], key open_arc",
        "not in 5 to 180 degrees",
    ),
    "a brick that never fits": (
        'cover_least = "-1/4"\ncover_most = "1 1/2"',
        'cover_least = -3\ncover_most = "-1 1/4"',
        "[repair], key bed_most",
        "together are -0.25 in",
    ),
    "breakage in per cent": (
        "breakage = 0.04",
        "breakage = 4",
        "[brickwork], key breakage",
        "5 in a hundred is 0.05",
    ),
    "brickwork as many": (
        "[brickwork]",
        "[[brickwork]]",
        "[brickwork]",
        "[brickwork] on a line of its own once",
    ),
    "parts below zero": (
        "sand = 4",
        "sand = -4",
        "[mix], key sand",
        "not in 0 to 1000 parts",
    ),
    "no parts": (
        'sand = 4\nclay = "1 1/2"',
        "sand = 0\nclay = 0",
        "[mix], key sand",
        "no daub",
    ),
    "parts of what": (
        'by = "mass"',
        'by = "weight"',
        "[mix], key by",
        'Write "volume" or "mass"',
    ),
    "water upside down": (
        "water_least = 0.07",
        "water_least = 0.12",
        "[mix], key water_least",
        "water_least 0.12 is more than water_most 0.11",
    ),
    "water above its default": (
        "water_least = 0.07\nwater_most = 0.11",
        "water_least = 0.13",
        "[mix], key water_least",
        "a key left out has its default",
    ),
    "water in per cent": (
        "water_most = 0.11",
        "water_most = 11",
        "[mix], key water_most",
        "less than 1",
    ),
    "sand in pounds to the cubic foot": (
        "sand_density = 1520",
        "sand_density = 95",
        "[mix], key sand_density",
        "not in 200 to 6000 kg/m3",
    ),
    "clay in grams to the cubic centimetre": (
        "clay_density = 1100",
        "clay_density = 1.1",
        "[mix], key clay_density",
        "kg/m3",
    ),
    "daub as heavy as lead": (
        "daub_density = 1950",
        "daub_density = 11340",
        "[mix], key daub_density",
        "kg/m3",
    ),
    "batch of nothing": ("batch = 85", "batch = 0", "[mix], key batch", "litres"),
    "bag of nothing": ("bag = 50", "bag = 0", "[mix], key bag", "kg"),
    "all of it shrinks": (
        'shrinkage = "1/32"',
        "shrinkage = 1",
        "[mix], key shrinkage",
        "less than 1",
    ),
    "rebound below zero": (
        "rebound = 0.15",
        "rebound = -0.15",
        "[mix], key rebound",
        "0 or more",
    ),
    "layer of nothing": (
        'layer_most = "1 1/2"',
        "layer_most = 0",
        "[mix], key layer_most",
        "greater than 0",
    ),
    "layer in millimetres": (
        'layer_most = "1 1/2"',
        "layer_most = 40",
        "[mix], key layer_most",
        "at or past",
    ),
    "wash below zero": ('wash = "1/16"', "wash = -1", "[mix], key wash", "less than 0"),
    "wash in millimetres": (
        'wash = "1/16"',
        "wash = 1",
        "[mix], key wash",
        "past 1 in",
    ),
    "bottom of nothing": (
        "least = 5",
        "least = 0",
        "[bottom], key least",
        "greater than 0",
    ),
    "bottom in millimetres": (
        "least = 5",
        "least = 100",
        "[bottom], key least",
        "at or past",
    ),
    "bottom of no sand": (
        "density = 1680",
        "density = 105",
        "[bottom], key density",
        "k",
    ),
    "half a man": ("men = 3", "men = 2.5", "[crew], key men", "1 to 50"),
    "nobody": ("men = 3", "men = 0", "[crew], key men", "1 to 50"),
    "a crew that never sets brick": (
        "brick_rate = 12",
        "brick_rate = 0",
        "[crew], key brick_rate",
        "an hour",
    ),
    "cooling in days gone by": (
        "cool_hours = 16",
        "cool_hours = -1",
        "[crew], key cool_hours",
        "hours",
    ),
    "daub that stands no time": (
        'working_life = "3/4"',
        "working_life = 0",
        "[mix], key working_life",
        "hours",
    ),
    "hold points that fall": (
        "hold_at = [110, 350.5]",
        "hold_at = [350, 110]",
        "[drying], key hold_at",
        "do not rise",
    ),
    "one hold point without a list": (
        "hold_at = [110, 350.5]",
        "hold_at = 110",
        "[drying], key hold_at",
        "not a list of 1 to 12",
    ),
    "a hold point in words": (
        "hold_at = [110, 350.5]",
        'hold_at = ["hot"]',
        "[drying], key hold_at",
        "hot",
    ),
    "no rate of heating": ("rate = 25", "rate = 0", "[drying], key rate", "degC/h"),
    "rate in tonnes": (
        "rate = 4500",
        "rate = 4.5",
        "[melting], key rate",
        "not in 50 to 200000 kg/h",
    ),
    "blast in ounces": (
        "pressure = 6.9",
        "pressure = 110",
        "[melting], key pressure",
        "kPa",
    ),
    "coke over iron": (
        "coke_ratio = 9.5",
        "coke_ratio = 0.1",
        "[melting], key coke_ratio",
        "not in 2",
    ),
    "blast below zero": (
        "blast = 3400",
        "blast = -3400",
        "[melting], key blast",
        "m3/h",
    ),
    "sure in per cent": (
        "order_confidence = 0.9",
        "order_confidence = 90",
        "[repair], key order_confidence",
        "not in 0.5 to 0.999",
    ),
    "quite sure": (
        "order_confidence = 0.9",
        "order_confidence = 1",
        "[repair], key order_confidence",
        "not in 0.5 to 0.999",
    ),
    "less than even": (
        "order_confidence = 0.9",
        "order_confidence = 0.4",
        "[repair], key order_confidence",
        "not in 0.5 to 0.999",
    ),
    "shop key not known": (
        "rebound = 0.15",
        "rebounds = 0.15",
        "[mix]",
        'the nearest known is "rebound"',
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_of_the_shop_is_told_with_its_place(with_shop, name):
    old, new, place, message = FAULTS[name]
    path = with_shop(old, new)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, place, message)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("bed_most = 1\n", 'bed_most = "1/4"\n'),
        ('cover_most = "1 1/2"', 'cover_most = "-1/4"'),
        ("water_least = 0.07", "water_least = 0.11"),
        ("sand = 4", "sand = 0"),
        ("breakage = 0.04", "breakage = 0"),
        ("order_confidence = 0.9", "order_confidence = 0.999"),
        ("stock = 240", "stock = 240.0"),
        # Deeper than any lining of this drawing, which names no shell.
        ("length = 9", "length = 30"),
    ],
)
def test_what_is_just_allowed_is_read(with_shop, old, new):
    assert len(load_design(with_shop(old, new)).shop.bricks) == 3


def test_a_brick_deeper_than_the_lining_is_read(write):
    text = INCHES + SHOP + "[shell]\nradius = 19\n"
    design = load_design(write(text))
    assert design.shell_radius is not None
    room = design.shell_radius - float(design.profile.radius[0])
    assert room < min(brick.build for brick in design.shop.bricks)


@given(line=st.integers(0, SHOP.count("\n")), value=VALUES)
@QUIET
def test_a_shop_with_any_value_for_a_key(write, line, value):
    lines = (INCHES + SHOP).split("\n")
    line += INCHES.count("\n")
    key, equals, _ = lines[line % len(lines)].partition(" = ")
    written = str(value).lower() if isinstance(value, bool) else str(value)
    if equals:
        lines[line % len(lines)] = f"{key} = {written}"
    drawn_or_refused(write("\n".join(lines)))
