"""What a design file must not hold: each fault is message with its place and a cure."""

from __future__ import annotations

import pytest

from geom.design import load_design
from geom.errors import InputError

#: What is put in whose place in the sound drawing; the place and words of the message.
FAULTS = {
    "no lining name": ('name = "Cupola A"\n', "", "[lining], key name", "missing"),
    "no unit": ('length_unit = "in"\n', "", "[lining], key length_unit", "missing"),
    "no sense": (
        'azimuth_sense = "clockwise"\n',
        "",
        "[lining], key azimuth_sense",
        "missing",
    ),
    "no azimuth zero": (
        'azimuth_zero = "tap hole"\n',
        "",
        "[lining], key azimuth_zero",
        "missing",
    ),
    "no height zero": (
        'height_zero = "bottom plate"\n',
        "",
        "[lining], key height_zero",
        "missing",
    ),
    "no shell radius": ("radius = 27\n", "", "[shell], key radius", "missing"),
    "no radius": (
        "height = 95\nradius = 20\n",
        "height = 95\n",
        "[[profile]] entry 4, key radius",
        "missing",
    ),
    "no kind": ('kind = "tap hole"\n', "", "[[hole]] entry 1, key kind", "missing"),
    "kind of a tuyere": (
        "azimuth = 30",
        'kind = "tuyere"\nazimuth = 30',
        "[[tuyere]] entry 1",
        'unknown key "kind"',
    ),
    "a tuyere as a hole": (
        'kind = "tap hole"',
        'kind = "Tuyere"',
        "[[hole]] entry 1, key kind",
        "[[tuyere]]",
    ),
    "no band end": ("to = 95\n", "", "[[datum_band]] entry 1, key to", "missing"),
    "unknown table": ("[shell]", "[shel]", None, 'the nearest known is "shell"'),
    "unknown key": (
        'radius = "19 1/2"',
        'radios = "19 1/2"',
        "[[profile]] entry 3",
        'the nearest known is "radius"',
    ),
    "key in another case": (
        'name = "Cup',
        'Name = "Cup',
        "[lining]",
        'the nearest known is "name"',
    ),
    "key above the tables": ("[lining]", "units = 1\n[lining]", None, "unknown"),
    "table for an array": (
        "[[datum_band]]\nfrom = 86",
        "[datum_band]\nfrom = 86",
        "[[datum_band]]",
        "[[datum_band]] on a line of its own",
    ),
    "array for a table": ("[shell]", "[[shell]]", "[shell]", "[shell] on a line"),
    "value for a table": (
        "[shell]\nradius = 27\n",
        "",
        "[shell]",
        "not written as [shell]",
    ),
    "unit not known": (
        'length_unit = "in"',
        'length_unit = "foot"',
        "[lining], key length_unit",
        'Write "in", "mm", "cm" or "m"',
    ),
    "sense not known": (
        '"clockwise"',
        '"sunwise"',
        "[lining], key azimuth_sense",
        '"clockwise" or "counterclockwise"',
    ),
    "empty words": ('"bottom plate"', '"  "', "[lining], key height_zero", "one line"),
    "two lines": ('"Cupola A"', r'"Cupola\nA"', "[lining], key name", "one line"),
    "number for words": (
        '"tap hole"\naz',
        "7\naz",
        "[lining], key azimuth_zero",
        "words",
    ),
    "true for a number": (
        "height = 95",
        "height = true",
        "[[profile]] entry 4, key height",
        "true is not a number",
    ),
    "false for a length": (
        "brick_threshold = 1.25",
        "brick_threshold = false",
        "[repair], key brick_threshold",
        "false is not a number",
    ),
    "nan": ("radius = 20", "radius = nan", "[[profile]] entry 4, key radius", "finite"),
    "inf": ("height = 95", "height = inf", "[[profile]] entry 4, key height", "finite"),
    "a huge integer": (
        "radius = 27",
        "radius = 1" + 400 * "0",
        "[shell], key radius",
        "finite",
    ),
    "a hexadecimal integer past any float": (
        "radius = 27",
        "radius = 0x1" + 5000 * "0",
        "[shell], key radius",
        "finite",
    ),
    "a number past any furnace": (
        "height = 95",
        "height = 1e300",
        "[[profile]] entry 4, key height",
        "no length of a furnace",
    ),
    "nan in words": (
        "radius = 20",
        'radius = "nan"',
        "[[profile]] entry 4, key radius",
        "not a number",
    ),
    "inch mark": (
        '"19 1/2"',
        "'19 1/2\"'",
        "[[profile]] entry 3, key radius",
        "not a number",
    ),
    "division by zero": (
        '"19 1/2"',
        '"19 1/0"',
        "[[profile]] entry 3, key radius",
        "divides by zero",
    ),
    "a list": ("radius = 27", "radius = [27]", "[shell], key radius", "a list"),
    "a date": (
        "radius = 27",
        "radius = 2024-03-08",
        "[shell], key radius",
        "2024-03-08",
    ),
    "radius zero": (
        "radius = 27",
        "radius = 0",
        "[shell], key radius",
        "greater than 0",
    ),
    "radius below zero": (
        '"19 1/2"',
        '"-19 1/2"',
        "[[profile]] entry 3, key radius",
        "greater than 0",
    ),
    "width zero": ("width = 5", "width = 0", "[[tuyere]] entry 1, key width", "than 0"),
    "tall below zero": ("tall = 3.5", "tall = -1", "[[tuyere]] entry 1, key tall", "0"),
    "azimuth 360": (
        "azimuth = 30",
        "azimuth = 360",
        "[[tuyere]] entry 1, key azimuth",
        "0 <= azimuth < 360",
    ),
    "azimuth below zero": (
        "azimuth = 30",
        "azimuth = -1",
        "[[tuyere]] entry 1, key azimuth",
        "0 <= azimuth < 360",
    ),
    "heights fall": (
        "height = 95",
        "height = 39",
        "[[profile]] entry 4, key height",
        "bottom up",
    ),
    "three at one height": (
        "height = 95",
        "height = 40",
        "[[profile]] entry 4, key height",
        "three entries",
    ),
    "profile past the shell": (
        "radius = 20",
        "radius = 27",
        "[[profile]] entry 4, key radius",
        "not inside the shell",
    ),
    "shell inside the profile": (
        "radius = 27",
        "radius = 17",
        "[[profile]] entry 1, key radius",
        "not inside the shell",
    ),
    "least lining zero": (
        "radius = 27",
        "radius = 27\nleast_lining = 0",
        "[shell], key least_lining",
        "greater than 0",
    ),
    # The shell at 27 in, the widest radius drawn 20 in.
    "least lining as thick as drawn": (
        "radius = 27",
        "radius = 27\nleast_lining = 7",
        "[shell], key least_lining",
        "7 in where it is thinnest",
    ),
    "least lining without the shell": (
        "radius = 27\n",
        "least_lining = 3\n",
        "[shell], key radius",
        "missing",
    ),
    "inches called millimetres": (
        'length_unit = "in"',
        'length_unit = "mm"',
        "[[profile]] entry 1, key radius",
        "length_unit",
    ),
    "inches called metres": (
        'length_unit = "in"',
        'length_unit = "m"',
        "[[profile]]",
        "length_unit",
    ),
    "band upside down": (
        "from = 86",
        "from = 95",
        "[[datum_band]] entry 1, key from",
        "below to",
    ),
    "band past the top": (
        "to = 95",
        "to = 96",
        "[[datum_band]] entry 1, key from",
        "past the profile",
    ),
    "tap hole below the bottom": (
        "height = 4\n",
        "height = 2.9\n",
        "[[hole]] entry 1, key height",
        "past the profile",
    ),
    "tuyere above the top": (
        "height = 17.5",
        "height = 93.3",
        "[[tuyere]] entry 1, key height",
        "past the profile",
    ),
    # Half the way round at radius 18 in is 18 pi = 56.549 in.
    "opening too wide": (
        "width = 5",
        "width = 57",
        "[[tuyere]] entry 1, key width",
        "56.5487 in",
    ),
    "no target name": ('name = "T 1"\n', "", "[[target]] entry 1, key name", "missing"),
    "no target height": (
        "height = 92\n",
        "",
        "[[target]] entry 1, key height",
        "missing",
    ),
    "no target azimuth": (
        "azimuth = 45\n",
        "",
        "[[target]] entry 1, key azimuth",
        "missing",
    ),
    "target named by a number": (
        'name = "T 1"',
        "name = 1",
        "[[target]] entry 1, key name",
        "words",
    ),
    "target all round": (
        "azimuth = 200",
        "azimuth = 400",
        "[[target]] entry 2, key azimuth",
        "0 <= azimuth < 360",
    ),
    "target on the axis": (
        '"24 1/2"',
        "0",
        "[[target]] entry 2, key radius",
        "greater than 0",
    ),
    "target key not known": (
        'radius = "24 1/2"',
        'radii = "24 1/2"',
        "[[target]] entry 2",
        'the nearest known is "radius"',
    ),
    "target as one table": (
        '[[target]]\nname = "T 1"\nazimuth = 45\nheight = 92\n[[target]]',
        "[target]",
        "[[target]]",
        "[[target]] on a line of its own",
    ),
    "two targets of one name": (
        '"T 2"',
        '" t 1"',
        "[[target]] entry 2, key name",
        "the name of entry 1 too",
    ),
    "target past the profile without a radius": (
        'radius = "24 1/2"\n',
        "",
        "[[target]] entry 2, key radius",
        "past the profile (0 in to 95 in)",
    ),
    "target at no finite height": (
        "height = 99",
        "height = inf",
        "[[target]] entry 2, key height",
        "finite",
    ),
    "tolerance at the threshold": (
        "tolerance = 0.25",
        "tolerance = 1.25",
        "[repair], key tolerance",
        "brick_threshold",
    ),
    "threshold below the default tolerance": (
        "brick_threshold = 1.25\ntolerance = 0.25",
        "brick_threshold = 0.2",
        "[repair], key tolerance",
        "default",
    ),
    "threshold past the wall": (
        "brick_threshold = 1.25",
        "brick_threshold = 31.75",
        "[repair], key brick_threshold",
        "no cut-back",
    ),
    "rod step zero": ('step = "1/8"', "step = 0", "[rod], key step", "greater than 0"),
    "rod step absurd": ('step = "1/8"', "step = 5", "[rod], key step", "more than"),
    "rod repeatability absurd": (
        "repeatability = 0.06",
        "repeatability = 6",
        "[rod], key repeatability",
        "more than",
    ),
    "rod height step negative": (
        'step = "1/8"',
        "height_step = -3",
        "[rod], key height_step",
        "greater than 0",
    ),
    "rod azimuth step all round": (
        'step = "1/8"',
        "azimuth_step = 360",
        "[rod], key azimuth_step",
        "not in 1 to 120 degrees",
    ),
    "rod azimuth step in words": (
        'step = "1/8"',
        'azimuth_step = "one hour"',
        "[rod], key azimuth_step",
        "is not a number",
    ),
    "scanner range absurd": (
        "[rod]",
        "[scanner]\nrange_error = 5\n[rod]",
        "[scanner], key range_error",
        "more than",
    ),
    "scanner scale negative": (
        "[rod]",
        "[scanner]\nscale_error = -1\n[rod]",
        "[scanner], key scale_error",
        "not in 0 to 1000 ppm",
    ),
    "rod key not known": (
        'step = "1/8"',
        'steps = "1/8"',
        "[rod]",
        'the nearest known is "step"',
    ),
    "key twice": (
        "radius = 27",
        "radius = 27\nradius = 28",
        "line 10, column 12",
        "TOML",
    ),
    "profile twice in single brackets": (
        "[[profile]]\nheight = 0\nradius = 18\n[[profile]]\nheight = 40\nradius = 18\n"
        '[[profile]]\nheight = 40\nradius = "19 1/2"\n[[profile]]',
        "[profile]\nheight = 0\nradius = 18\n[profile]",
        "line 14, column 9",
        "Write [[profile]], in two brackets, above each entry",
    ),
    "shell twice": (
        "[shell]",
        "[shell]\nradius = 27\n[shell]",
        "line 10, column 7",
        "[shell] is there twice",
    ),
    "fraction without quotes": (
        'radius = "19 1/2"',
        "radius = 19 1/2  # worn",
        "line 19, column 13",
        'Put it in quotes: radius = "19 1/2"',
    ),
    "fraction alone without quotes": (
        'step = "1/8"',
        "step = 1/8",
        "line 56, column 9",
        'Put it in quotes: step = "1/8"',
    ),
    "quote not closed": ('"Cupola A"', '"Cupola A', "line 2, column 17", "TOML"),
    "decimal comma": (
        "height = 17.5",
        "height = 17,5",
        "line 26, column 12",
        "height = 17.5",
    ),
}


def assert_well_told(fault: InputError, path, place, words):
    """Check that a message says where, what and what to do, in one sentence or two."""
    message = str(fault)
    assert fault.file == str(path)
    assert fault.place == place
    assert message.startswith(str(path))
    assert place is None or place in message
    assert words in message
    assert fault.cure
    assert fault.cure.rstrip(".") in message
    assert "Traceback" not in message
    assert "\n" not in message
    assert len(message) < 500


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_the_drawing_is_told_with_its_place(spoiled, sound, write, name):
    old, new, place, words = FAULTS[name]
    if name == "value for a table":
        path = write("shell = 27\n" + sound.replace(old, new))
    else:
        path = spoiled(old, new)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, place, words)


def test_the_drawing_that_is_spoiled_above_is_sound(sound, write):
    assert load_design(write(sound)).name == "Cupola A"


HEAD = """\
[lining]
name = "B"
length_unit = "mm"
azimuth_zero = "door"
azimuth_sense = "counterclockwise"
height_zero = "sand bottom"
"""


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        ("", "[[profile]] is missing"),
        ("[[profile]]\nheight = 0\nradius = 500\n", "two or more"),
        (2 * "[[profile]]\nheight = 7\nradius = 500\n", "all entries"),
        (
            "[[profile]]\nheight = 0\nradius = 500\n"
            "[[profile]]\nheight = 31000\nradius = 500\n",
            "31000 mm tall",
        ),
    ],
)
def test_a_profile_that_is_none_is_told(write, profile, words):
    path = write(HEAD + profile)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, "[[profile]]", words)


def test_an_empty_profile_is_told(write):
    path = write("profile = []\n" + HEAD)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, "[[profile]]", "two or more")


def test_a_profile_of_numbers_is_told(write):
    path = write("profile = [1, 2]\n" + HEAD)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, "[[profile]]", "not written as [[profile]]")


def test_no_lining_is_told(write, sound):
    path = write(sound[sound.index("[shell]") :])
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, "[lining]", "name, length_unit")


def test_nesting_without_end_is_told(write):
    path = write("a = " + 8000 * "[")
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, None, "nested")


def test_an_integer_without_end_is_told(write):
    path = write("a = " + 5000 * "9")
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert_well_told(caught.value, path, None, "not TOML")


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ("[[datum_band]]\nfrom = 1\nto = 2\n" * 20_000, "[[datum_band]]"),
        ("[[tuyere]]\nazimuth = 1\nheight = 9\n" * 60_000, "[[tuyere]]"),
        (".".join("a" * 50_000) + " = 1\n", "line "),
    ],
)
def test_what_is_no_drawing_of_one_lining_is_refused_at_once(write, sound, more, place):
    """Twenty thousand bands asked for 1.66 TiB, a key of 50,000 parts for no end."""
    with pytest.raises(InputError) as told:
        load_design(write(sound + more))
    assert told.value.place.startswith(place)
