"""An invented drawing as text, and a way to spoil it."""

from __future__ import annotations

import pytest

SOUND = """\
[lining]
name = "Cupola A"
length_unit = "in"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[shell]
radius = 27

[[profile]]
height = 0
radius = 18
[[profile]]
height = 40
radius = 18
[[profile]]
height = 40
radius = "19 1/2"
[[profile]]
height = 95
radius = 20

[[tuyere]]
azimuth = 30
height = 17.5
width = 5
tall = 3.5

[[hole]]
kind = "tap hole"
azimuth = 0
height = 4
width = 6
tall = 6

[[datum_band]]
from = 86
to = 95

[[target]]
name = "T 1"
azimuth = 45
height = 92
[[target]]
name = "T 2"
azimuth = 200
height = 99
radius = "24 1/2"

[repair]
brick_threshold = 1.25
tolerance = 0.25

[rod]
step = "1/8"
repeatability = 0.06
"""


@pytest.fixture
def sound() -> str:
    return SOUND


@pytest.fixture
def write(tmp_path):
    """Write a design file; give its path."""

    def write(text, name="lining.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


@pytest.fixture
def spoiled(sound, write):
    """Write the sound drawing with one piece of text put in another's place."""

    def spoil(old, new):
        assert old in sound
        return write(sound.replace(old, new, 1))

    return spoil
