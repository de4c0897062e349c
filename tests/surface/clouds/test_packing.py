"""Packed tallies: the numbers they are written in, and that nothing is lost."""

import numpy as np
import pytest

from geom.surface.clouds.packing import join, pack, unpack_into

#: Unsigned LEB128 (DWARF Debugging Information Format, version 5, 7.6, examples of its
#: table; from memory).
WRITTEN = {
    2: [2],
    127: [127 + 0],
    128: [0 + 0x80, 1],
    129: [1 + 0x80, 1],
    12857: [57 + 0x80, 100],
}


def unpacked(code, size):
    counts = np.zeros(size, dtype=np.uint32)
    unpack_into(counts, code)
    return counts


@pytest.mark.parametrize("number", WRITTEN)
def test_numbers_are_written_as_the_standard_has_them(number):
    counts = np.zeros(number + 1, dtype=np.uint32)
    counts[number] = number + 1
    assert pack(counts, number + 1).tolist() == 2 * WRITTEN[number]


def scattered(size, held, most, seed):
    rng = np.random.default_rng(seed)
    counts = np.zeros(size, dtype=np.uint32)
    where = rng.choice(size, held, replace=False)
    counts[where] = np.exp(rng.uniform(0.0, np.log(most), held))
    return counts


@pytest.mark.parametrize(
    ("size", "held", "most"),
    [(1, 1, 1), (1000, 1000, 1.5), (1000, 500, 3e5), (5000, 40, 1e9), (90_000, 3, 40)],
)
def test_what_is_packed_and_put_together_is_the_sum(size, held, most):
    one, other = (scattered(size, held, most, seed) for seed in (1, 2))
    codes = [pack(counts, int(counts.sum())) for counts in (one, other)]
    for code, counts in zip(codes, (one, other), strict=True):
        np.testing.assert_array_equal(unpacked(code, size), counts)
    whole = pack(one + other, int(one.sum()) + int(other.sum()))
    np.testing.assert_array_equal(join(*codes), whole)
    np.testing.assert_array_equal(join(*codes[::-1]), whole)
    np.testing.assert_array_equal(unpacked(whole, size), one + other)


def test_no_count_is_too_long_for_its_room():
    # every number at the first that takes a byte more: 128 empty bins, counts of 129
    counts = np.zeros(129 * 500, dtype=np.uint32)
    counts[128::129] = 129
    code = pack(counts, 129 * 500)
    assert code.size == 4 * 500
    np.testing.assert_array_equal(unpacked(code, counts.size), counts)


def test_nothing_is_nothing():
    none = pack(np.zeros(70, dtype=np.uint32), 0)
    assert none.size == 0
    some = pack(np.ones(3, dtype=np.uint32), 3)
    np.testing.assert_array_equal(join(none, some), some)
    assert not unpacked(join(none, none), 5).any()
