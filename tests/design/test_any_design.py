"""Whatever a design file holds, it is drawn or refused in a sentence."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.design import load_design
from geom.errors import InputError

QUIET = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    max_examples=60,
    deadline=None,
    derandomize=True,
)
BITS = st.sampled_from(
    ["0", "9", "-", ".", "e9", "'", '"', "[", "]", "=", "\n", "nan", "inf", "true", " ",
     "[[profile]]\n", "height = 1\n", "radius = 18\n", "{}", "1979-05-27", "\\", "\x00"]
)  # fmt: skip
VALUES = st.one_of(
    st.integers(), st.floats(), st.booleans(), st.text(max_size=10).map(repr)
)


def well_told(fault, path) -> bool:
    """Check a refusal."""
    assert fault.file == str(path)
    assert fault.cure
    assert len(str(fault)) < 1000
    return False


def drawn_or_refused(path) -> bool:
    """Read a design file, and check what comes of it."""
    try:
        design = load_design(path)
    except InputError as fault:
        return well_told(fault, path)
    assert np.isfinite(design.profile.height).all()
    assert (np.diff(design.profile.height) >= 0.0).all()
    assert (design.profile.radius > 0.0).all()
    assert np.isfinite(design.profile.radius_at(design.profile.height)).all()
    return True


@given(spoil=st.lists(st.tuples(st.integers(0, 620), BITS), max_size=3))
@QUIET
def test_a_drawing_with_anything_typed_into_it(write, sound, spoil):
    for place, bit in spoil:
        sound = sound[:place] + bit + sound[place:]
    drawn_or_refused(write(sound))


@given(line=st.integers(0, 50), value=VALUES)
@QUIET
def test_a_drawing_with_any_value_for_a_key(write, sound, line, value):
    lines = sound.split("\n")
    key, equals, _ = lines[line % len(lines)].partition(" = ")
    written = str(value).lower() if isinstance(value, bool) else str(value)
    if equals:
        lines[line % len(lines)] = f"{key} = {written}"
    drawn_or_refused(write("\n".join(lines)))


@given(content=st.binary(max_size=300))
@QUIET
def test_any_bytes(write, content):
    assert not drawn_or_refused(write(content))


def test_the_drawing_that_is_spoiled_above_is_sound(write, sound):
    assert drawn_or_refused(write(sound))
