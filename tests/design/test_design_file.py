"""A sound design file becomes a drawing in millimetres."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import (
    Brick,
    Design,
    RepairRules,
    RodErrors,
    ScannerErrors,
    Shop,
    Target,
    load_design,
)
from geom.design.schema import TABLES
from geom.errors import InputWarning

BARE = """\
[lining]
name = "B"
length_unit = "{unit}"
azimuth_zero = "door"
azimuth_sense = "counterclockwise"
height_zero = "sand bottom"
[[profile]]
height = 0
radius = {radius}
[[profile]]
height = {top}
radius = {radius}
"""


def same(a: Design, b: Design) -> bool:
    """Whether two drawings agree in everything."""
    profiles = np.array_equal(a.profile.height, b.profile.height) and np.array_equal(
        a.profile.radius, b.profile.radius
    )
    rest = [{k: v for k, v in vars(d).items() if k != "profile"} for d in (a, b)]
    return profiles and rest[0] == rest[1]


def test_every_key_arrives_in_millimetres(sound, write):
    # 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8); products worked by hand.
    design = load_design(write(sound))
    assert design.name == "Cupola A"
    assert design.length_unit == "in"
    assert design.azimuth_zero == "tap hole"
    assert design.azimuth_sense == "clockwise"
    assert design.height_zero == "bottom plate"
    assert design.shell_radius == pytest.approx(685.8, abs=1e-9)
    assert design.profile.height == pytest.approx([0, 1016, 1016, 2413], abs=1e-9)
    assert design.profile.radius == pytest.approx([457.2, 457.2, 495.3, 508], abs=1e-9)
    tuyere, hole = design.openings
    assert (tuyere.kind, tuyere.azimuth) == ("tuyere", 30.0)
    assert tuyere.height == pytest.approx(444.5, abs=1e-9)
    assert tuyere.width == pytest.approx(127.0, abs=1e-9)
    assert tuyere.tall == pytest.approx(88.9, abs=1e-9)
    assert (hole.kind, hole.azimuth) == ("tap hole", 0.0)
    (band,) = design.datum_bands
    assert (band.low, band.high) == pytest.approx((2184.4, 2413.0), abs=1e-9)
    on_wall, on_shell = design.targets
    assert (on_wall.name, on_wall.azimuth) == ("T 1", 45.0)
    assert on_wall.height == pytest.approx(2336.8, abs=1e-9)
    assert on_wall.radius is None
    assert (on_shell.name, on_shell.azimuth) == ("T 2", 200.0)
    assert on_shell.height == pytest.approx(2514.6, abs=1e-9)
    assert on_shell.radius == pytest.approx(622.3, abs=1e-9)
    assert design.repair.brick_threshold == pytest.approx(31.75, abs=1e-9)
    assert design.repair.tolerance == pytest.approx(6.35, abs=1e-9)
    assert design.rod.step == pytest.approx(3.175, abs=1e-9)
    assert design.rod.repeatability == pytest.approx(1.524, abs=1e-9)
    assert design.tuyeres == (tuyere,)


def test_what_is_optional_has_its_default(write):
    design = load_design(write(BARE.format(unit="mm", radius=500, top=2000)))
    assert design.shell_radius is None
    assert design.least_lining is None
    assert design.openings == ()
    assert design.datum_bands == ()
    assert design.targets == ()
    assert design.repair == RepairRules(brick_threshold=31.75, tolerance=6.35)
    assert design.rod == RodErrors()
    assert design.shop == Shop()


def test_one_key_of_a_table_leaves_the_other_at_its_default(write):
    text = BARE.format(unit="mm", radius=500, top=2000) + "[repair]\ntolerance = 3\n"
    assert load_design(write(text)).repair == RepairRules(31.75, 3.0)


def test_the_least_lining_arrives_in_millimetres(spoiled):
    design = load_design(spoiled("radius = 27", 'radius = 27\nleast_lining = "2 1/2"'))
    assert design.least_lining == pytest.approx(63.5, abs=1e-9)
    assert design.shell_radius == pytest.approx(685.8, abs=1e-9)


def test_a_shell_without_a_least_lining_has_none(sound, write):
    assert load_design(write(sound)).least_lining is None


def test_steps_of_the_rod_arrive_in_millimetres_and_degrees(spoiled):
    rod = load_design(
        spoiled('step = "1/8"', 'height_step = "2 1/2"\nazimuth_step = 22.5')
    ).rod
    assert rod.height_step == pytest.approx(63.5, abs=1e-9)
    assert rod.azimuth_step == 22.5


@pytest.mark.parametrize(
    ("unit", "radius", "top"),
    [("mm", "508", "2540"), ("cm", "50.8", "254"), ("m", ".508", "2.54")],
)
def test_the_same_lining_in_any_unit_is_the_same_drawing(write, unit, radius, top):
    inches = load_design(write(BARE.format(unit="in", radius=20, top=100)))
    radius = radius if radius[0] != "." else f"0{radius}"
    other = load_design(write(BARE.format(unit=unit, radius=radius, top=top)))
    # A few rounding errors of a double at 2540 mm.
    assert other.profile.height == pytest.approx(inches.profile.height, abs=1e-11)
    assert other.profile.radius == pytest.approx(inches.profile.radius, abs=1e-11)
    assert other.length_unit == unit


@pytest.mark.parametrize(
    "written", ["18.375", '"18.375"', '"18 3/8"', '"18-3/8"', '"18⅜"']
)
def test_a_number_may_be_written_as_the_trade_does(write, written):
    design = load_design(write(BARE.format(unit="in", radius=written, top=95)))
    assert design.profile.radius[0] == pytest.approx(466.725, abs=1e-9)


def test_a_byte_order_mark_and_crlf_change_nothing(sound, write):
    plain = load_design(write(sound))
    windows = b"\xef\xbb\xbf" + sound.replace("\n", "\r\n").encode()
    assert same(load_design(write(windows, "windows.toml")), plain)


def test_the_order_of_tables_changes_nothing_but_their_own(sound, write):
    plain = load_design(write(sound))
    head, repair = sound.split("[repair]")
    moved = load_design(write("[repair]" + repair + head, "moved.toml"))
    assert same(moved, plain)
    other = load_design(write(sound.replace("radius = 27", "radius = 28")))
    assert not same(other, plain)


def test_a_path_may_be_a_text(sound, write):
    assert load_design(str(write(sound))).name == "Cupola A"


def test_a_target_without_a_radius_is_on_the_hot_face_as_drawn(sound, write):
    design = load_design(write(sound))
    on_wall, on_shell = design.targets
    # 52 of the 55 in from the step to the top: 19.5 + 0.5 * 52 / 55 in
    radius = (19.5 + 0.5 * 52 / 55) * 25.4
    assert design.radius_at_target(on_wall) == pytest.approx(radius, abs=1e-9)
    assert design.radius_at_target(on_shell) == pytest.approx(622.3, abs=1e-9)
    there = Target("T 3", 0.0, 100.0, 400.0)
    assert design.radius_at_target(there) == 400.0


def test_a_target_may_stand_below_the_profile_with_its_radius(spoiled):
    target = load_design(spoiled("height = 99", "height = -10")).targets[1]
    assert target.height == pytest.approx(-254.0, abs=1e-9)


def test_openings_may_reach_the_profiles_ends_and_cross_azimuth_0(spoiled):
    path = spoiled("height = 4\nwidth = 6\ntall = 6", "height = 3\nwidth = 6\ntall = 6")
    (_, hole) = load_design(path).openings
    assert hole.height - 0.5 * hole.tall == pytest.approx(0.0, abs=1e-9)


def test_every_key_of_a_dataclass_that_a_table_fills_is_a_key():
    keys = {table.name: set(table.keys) for table in TABLES}
    assert keys["rod"] == set(vars(RodErrors()))
    assert keys["scanner"] == set(vars(ScannerErrors()))
    limits = {"bed_least", "bed_most", "cover_least", "cover_most", "squaring"}
    limits |= {"open_arc", "open_height"}
    assert keys["repair"] == {*vars(RepairRules()), *limits, "order_confidence"}
    assert keys["target"] == set(vars(Target("T", 0.0, 0.0)))
    assert keys["brick"] == set(vars(Brick("B", 230.0, 114.0, 64.0)))
    shop = Shop()
    assert keys["brickwork"] | limits == set(vars(shop.brickwork))
    for name in ("mix", "bottom", "crew", "drying", "melting"):
        assert keys[name] == set(vars(getattr(shop, name)))
    assert {*keys, "bricks", "confidence"} >= set(vars(shop))


@pytest.mark.parametrize(
    ("key", "plain", "written"),
    [
        ("azimuth_sense", "clockwise", "Clockwise"),
        ("azimuth_sense", "clockwise", "CW"),
        ("azimuth_sense", "counterclockwise", "CCW"),
        ("azimuth_sense", "counterclockwise", "anticlockwise"),
        ("azimuth_sense", "counterclockwise", "anti-clockwise"),
        ("azimuth_sense", "counterclockwise", "Counter-clockwise"),
        ("length_unit", "in", "inch"),
        ("length_unit", "in", "Inches"),
        ("length_unit", "mm", "MM"),
        ("length_unit", "cm", "centimetres"),
    ],
)
def test_what_people_write_for_a_word_is_read_and_said(key, plain, written, write):
    text = BARE.format(unit="cm", radius=90, top=200)
    old = {"azimuth_sense": "counterclockwise", "length_unit": "cm"}[key]
    path = write(text.replace(f'{key} = "{old}"', f'{key} = "{written}"'))
    with pytest.warns(InputWarning) as said:
        design = load_design(path)
    assert getattr(design, key) == plain
    line = f'{path}, [lining], key {key}: "{written}" is read as "{plain}".'
    assert [str(one.message) for one in said] == [line]
