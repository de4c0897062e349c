"""Tallies packed small, to go from process to process: few of their bins hold points.

A packed tally is a row of pairs, for each bin that holds points one, in order: how many
empty bins lie before it, and its count less one.  Both are unsigned LEB128: seven bits
to a byte, the lowest first, the highest bit set where another byte follows.  Most
numbers are below 128, so a bin takes two bytes (a scan of 62 million points, 425 x 360
cells: 13 MB, where places and counts of four bytes each take 51).

References
----------
DWARF Debugging Information Format, version 5 (2017), 7.6 (LEB128).
"""

# mypy: disable-error-code="no-untyped-def,misc,untyped-decorator"

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from geom.parallel import compiled

Packed = NDArray[np.uint8]

#: Counts in a line of memory.
_LINE = 16
#: Where no bin is.
_NOWHERE = np.int64(2**62)


def pack(counts: NDArray[np.uint32], total: int) -> Packed:
    """Pack counts.

    Parameters
    ----------
    counts : uint32 array (n,)
    total : int
        Their sum.

    Returns
    -------
    uint8 array
    """
    # No more bins than points; a number v takes at most v / 128 bytes more than one,
    # and gaps add up to no more than n, counts to their total.
    most = 2 * min(counts.size, total) + (counts.size + total) // 128
    code = np.empty(most, dtype=np.uint8)
    return code[: _packed(counts, code)].copy()


def join(one: Packed, other: Packed) -> Packed:
    """The counts of both."""
    # gaps only become shorter, and a sum is no longer than what is added
    code = np.empty(one.size + other.size, dtype=np.uint8)
    return code[: _merged(one, other, code)].copy()


def unpack_into(counts: NDArray[np.uint32], code: Packed) -> None:
    """Add packed counts to those of an array (n,), in place."""
    _added(counts, code)


@compiled()
def _written(code, k, value):
    """Write a number from byte k; returns where the next begins."""
    while value >= 128:
        code[k] = np.uint8(value & 127 | 128)
        value >>= 7
        k += 1
    code[k] = np.uint8(value)
    return k + 1


@compiled()
def _read(code, k):
    """The number from byte k, and where the next begins."""
    byte = np.int64(code[k])
    value, shift = byte & 127, 7
    k += 1
    while byte >= 128:
        byte = np.int64(code[k])
        value |= (byte & 127) << shift
        shift += 7
        k += 1
    return value, k


@compiled()
def _next(code, k, at):
    """The bin after ``at`` that holds points, its count, and where the next begins."""
    if k == code.size:
        return _NOWHERE, np.int64(0), k
    gap, k = _read(code, k)
    count, k = _read(code, k)
    return at + gap + 1, count + 1, k


@compiled()
def _packed(counts, code):
    """Pack counts; returns how many bytes they take.

    Most bins are empty, and asked a line of memory at a time.
    """
    k, size, before = 0, counts.size, -1
    for first in range(0, size, _LINE):
        last = min(first + _LINE, size)
        some = np.uint32(0)
        for i in range(first, last):
            some |= counts[i]
        if some == 0:
            continue
        for i in range(first, last):
            if counts[i] > 0:
                k = _written(code, k, np.int64(i - before - 1))
                k = _written(code, k, np.int64(counts[i]) - 1)
                before = i
    return k


@compiled()
def _added(counts, code):
    """Add packed counts to those of all bins, in place."""
    at, count, k = _next(code, 0, -1)
    while at != _NOWHERE:
        counts[at] += np.uint32(count)
        at, count, k = _next(code, k, at)


@compiled()
def _merged(one, other, code):
    """Merge two packed tallies; returns how many bytes the sum takes."""
    a, held, i = _next(one, 0, -1)
    b, more, j = _next(other, 0, -1)
    k, before = 0, -1
    while a != _NOWHERE or b != _NOWHERE:
        at, count = min(a, b), 0
        if a == at:
            count += held
            a, held, i = _next(one, i, at)
        if b == at:
            count += more
            b, more, j = _next(other, j, at)
        k = _written(code, k, at - before - 1)
        k = _written(code, k, count - 1)
        before = at
    return k
