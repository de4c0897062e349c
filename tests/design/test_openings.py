"""Openings of a design file: where, of what kind, and what they are rebuilt to."""

from __future__ import annotations

import pytest

from geom.design import load_design
from geom.errors import InputError

IN = 25.4


def test_sizes_for_a_rebuild_are_read_in_the_unit_of_the_file(spoiled) -> None:
    told = (
        'kind = "tap hole"\ndepth = 8\nbore = "1 1/2"\nformer = "1 1/4"\n'
        'breast_width = 12\nbreast_height = "9 1/2"\n'
        'spout_length = 30\nspout_width = 7\nspout_lining = "1 3/4"'
    )
    design = load_design(spoiled('kind = "tap hole"', told))
    sizes = design.openings[-1].sizes
    assert (sizes.depth, sizes.bore, sizes.former) == pytest.approx(
        (8 * IN, 1.5 * IN, 1.25 * IN)
    )
    assert (sizes.breast_width, sizes.breast_height) == pytest.approx(
        (12 * IN, 9.5 * IN)
    )
    assert (sizes.spout_length, sizes.spout_width, sizes.spout_lining) == pytest.approx(
        (30 * IN, 7 * IN, 1.75 * IN)
    )
    keys = 'tall = 3.5\nlip = "3/8"\ndepth = 9\nformer_width = 4.5\nformer_tall = 3'
    tuyere = load_design(spoiled("tall = 3.5", keys)).tuyeres[0]
    assert (tuyere.lip, tuyere.sizes.depth) == pytest.approx((0.375 * IN, 9 * IN))
    assert tuyere.sizes.former_width == pytest.approx(4.5 * IN)
    assert tuyere.sizes.former_tall == pytest.approx(3 * IN)


def test_what_is_not_told_is_not_made_up_here(spoiled) -> None:
    design = load_design(spoiled("tall = 3.5", "tall = 3.5 "))
    assert all(v is None for hole in design.openings for v in vars(hole.sizes).values())
    assert design.wall_at_opening(design.tuyeres[0]) == pytest.approx(9 * IN)


@pytest.mark.parametrize(
    ("written", "hours"),
    [
        ('"3:30"', 3.5),
        ("3", 3.0),
        ('"3 1/2"', 3.5),
        ('"3 o\'clock"', 3.0),
        ('"half past 3"', 3.5),
        ('"12:20"', 1.0 / 3.0),
        ("12", 0.0),
    ],
)
def test_a_place_may_be_told_by_the_clock(spoiled, write, written, hours) -> None:
    path = spoiled("azimuth = 30", f"clock = {written}")
    assert load_design(path).tuyeres[0].azimuth == pytest.approx(30.0 * hours)
    # the clock runs the same way whatever the sense of azimuth
    text = path.read_text().replace('"clockwise"', '"counterclockwise"')
    other = load_design(write(text)).tuyeres[0].azimuth
    assert other == pytest.approx((360.0 - 30.0 * hours) % 360.0)


@pytest.mark.parametrize(
    "written", ['"13:00"', '"3:75"', '"noon"', "-1", "true", "[3]"]
)
def test_what_is_no_hour_is_refused(spoiled, written) -> None:
    with pytest.raises(InputError, match="no hour of a clock") as fault:
        load_design(spoiled("azimuth = 30", f"clock = {written}"))
    assert fault.value.place == "[[tuyere]] entry 1, key clock"


def test_one_of_azimuth_and_clock_is_asked_for(spoiled) -> None:
    with pytest.raises(InputError, match="azimuth is missing"):
        load_design(spoiled("azimuth = 30\n", ""))
    with pytest.raises(InputError, match="both given"):
        load_design(spoiled("azimuth = 30", "azimuth = 30\nclock = 1"))


@pytest.mark.parametrize(
    ("kind", "like"),
    [
        ("taphole", "tap hole"),
        ("Tap-Hole", "tap hole"),
        ("tap hole 2", "tap hole"),
        ("front tap hole", "tap hole"),
        ("slaghole", "slag hole"),
        ("slag holes", "slag hole"),
        ("doors", "door"),
    ],
)
def test_what_is_nearly_a_known_kind_is_asked_about(spoiled, kind, like) -> None:
    with pytest.raises(InputError) as fault:
        load_design(spoiled('kind = "tap hole"', f'kind = "{kind}"'))
    assert f'nearly "{like}"' in str(fault.value)
    assert f'Write kind = "{like}"' in str(fault.value)


@pytest.mark.parametrize("kind", ["tuyeres", "Tuyere", "tuyère"])
def test_a_tuyere_goes_under_its_own_table(spoiled, kind) -> None:
    with pytest.raises(InputError, match=r"Write it under \[\[tuyere\]\]"):
        load_design(spoiled('kind = "tap hole"', f'kind = "{kind}"'))


def test_known_kinds_and_quite_other_words_are_taken(spoiled) -> None:
    for kind, taken in (
        ("Tap Hole", "tap hole"),
        (" DOOR ", "door"),
        ("peep hole", "peep hole"),
        ("charging door", "charging door"),
    ):
        path = spoiled('kind = "tap hole"', f'kind = "{kind}"')
        assert load_design(path).openings[-1].kind == taken


def test_openings_that_overlap_are_refused_and_those_that_touch_are_not(spoiled):
    # the tap hole is 6 in wide and reaches from 1 to 7 in; a tuyere is 5 in wide
    other = (
        '\n[[hole]]\nkind = "door"\nazimuth = {}\nheight = {}\nwidth = 6\ntall = 6\n'
    )
    for azimuth, height in ((10, 6), (350, 4), (0, 9.9), (19, 4)):
        with pytest.raises(InputError, match="the door and the tap hole of") as fault:
            load_design(
                spoiled("\n[repair]", f"{other.format(azimuth, height)}[repair]")
            )
        assert fault.value.place == "[[hole]] entry 2"
        assert "[[hole]] entry 1" in str(fault.value)
    # 6 in on a radius of 18 are 19.1 degrees
    for azimuth, height in ((20, 4), (0, 10), (340, 6.5)):
        load_design(spoiled("\n[repair]", f"{other.format(azimuth, height)}[repair]"))


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("bore = 7", "bore 7 in is more than 6 in"),
        ("bore = 2\nformer = 3", "former 3 in is more than 2 in"),
        ("breast_width = 5", "breast_width 5 in is less than the hole's own 6 in"),
        ("breast_height = 5", "breast_height 5 in is less than the hole's own 6 in"),
        ("breast_width = 70", "breast_width 70 in is more than"),
        ("depth = 90", "depth 90 in is more than"),
        ("spout_length = 300", "spout_length 300 in is more than"),
        ("spout_length = -1", "less than 0"),
        ("lip = 1", 'unknown key "lip"'),
    ],
)
def test_sizes_that_cannot_be_are_refused(spoiled, key, words) -> None:
    with pytest.raises(InputError) as fault:
        load_design(spoiled('kind = "tap hole"', f'kind = "tap hole"\n{key}'))
    assert words in str(fault.value)
    assert fault.value.cure


def test_a_door_has_no_spout(spoiled) -> None:
    with pytest.raises(InputError, match="spout_length is given of a door"):
        load_design(spoiled('kind = "tap hole"', 'kind = "door"\nspout_length = 3'))
