"""The compiled inner loops of sorting points into cells.

Points come as a file holds them; each is turned into the wall's frame (float32, good to
a few hundredths of a millimetre), put into its cell, and counted in that cell's
histogram of cut-back.  Points are first sorted by row in portions that fit into the
processor's cache, so that counting does not run all over memory whatever the order of
the scan.  Arithmetic is rounded as it is written here (no fast maths), so a point falls
into the same bin wherever it lies in a file and on whatever processor.  The compiled
code is kept on disk for the next call.

References
----------
Abramowitz, M. and Stegun, I. A. (1964). Handbook of Mathematical Functions, 4.4.49
(arctangent on [0, 1] to 2e-8; coefficients from memory, checked against numpy's).
"""

# mypy: disable-error-code="no-untyped-def,misc,untyped-decorator"
# ruff: noqa: PLR0917, PLR0912

from __future__ import annotations

import numpy as np
from numba import prange

from geom.parallel import compiled
from geom.surface.clouds.systems import compile_systems

_F = np.float32
_C1, _C2, _C3, _C4 = (
    _F(-0.3333314528),
    _F(0.1999355085),
    _F(-0.1420889944),
    _F(0.1065626393),
)
_C5, _C6, _C7, _C8 = (
    _F(-0.0752896400),
    _F(0.0429096138),
    _F(-0.0161657367),
    _F(0.0028662257),
)
_ONE, _ZERO, _HALF, _TINY = _F(1.0), _F(0.0), _F(0.5), _F(1e-20)
_QUARTER, _STRAIGHT, _WHOLE = _F(0.5 * np.pi), _F(np.pi), _F(2.0 * np.pi)

#: Points turned at a time, and sorted by row at a time.
_RUN, PORTION = 1024, 65536
#: Layers looked at together.
_COMPARED = 32


@compiled(error_model="numpy")
def _shifted(x, y, z, scale, shift, a, b, c):
    """Points in mm from the origin of the rotation, side by side in memory."""
    for i in range(x.size):
        a[i] = _F(x[i] * scale[0] + shift[0])
        b[i] = _F(y[i] * scale[1] + shift[1])
        c[i] = _F(z[i] * scale[2] + shift[2])


@compiled(error_model="numpy")
def _turned(rotation, angle, radius, height):
    """Points in the wall's frame: angle in radians, radius and height in mm.

    They come as x, y and z in the same arrays.
    """
    xx, xy, xz = _F(rotation[0, 0]), _F(rotation[0, 1]), _F(rotation[0, 2])
    yx, yy, yz = _F(rotation[1, 0]), _F(rotation[1, 1]), _F(rotation[1, 2])
    zx, zy, zz = _F(rotation[2, 0]), _F(rotation[2, 1]), _F(rotation[2, 2])
    for i in range(angle.size):
        a, b, c = angle[i], radius[i], height[i]
        px = xx * a + xy * b + xz * c
        py = yx * a + yy * b + yz * c
        height[i] = zx * a + zy * b + zz * c
        radius[i] = np.sqrt(px * px + py * py)
        ax, ay = abs(px), abs(py)
        t = min(ax, ay) / (max(ax, ay) + _TINY)
        s = t * t
        high = s * (_C5 + s * (_C6 + s * (_C7 + s * _C8)))
        turn = t * (_ONE + s * (_C1 + s * (_C2 + s * (_C3 + s * (_C4 + high)))))
        turn = _QUARTER - turn if ay > ax else turn
        turn = _STRAIGHT - turn if px < _ZERO else turn
        angle[i] = _WHOLE - turn if py < _ZERO else turn


@compiled(error_model="numpy")
def _placed(angle, radius, height, layout, table, bins, columns, key, row, missed):
    """Which cell and bin each point falls into; row ``rows`` is nowhere."""
    edge, base, slope, finder = table
    bottom, per_slot, per_turn, low, per_bin = layout
    rows = base.size
    top = edge[rows]
    for i in range(angle.size):
        h = height[i]
        key[i], row[i] = 0, rows
        if not (h >= edge[0]):
            missed[0] += 1
        elif h >= top:
            missed[1] += 1
        else:
            k = finder[int((h - bottom) * per_slot)]
            while h >= edge[k + 1]:
                k += 1
            deep = (radius[i] - (base[k] + slope[k] * h) - low) * per_bin
            if not (deep >= _ZERO):
                missed[2] += 1
            elif deep >= _F(bins):
                missed[3] += 1
            else:
                column = int(angle[i] * per_turn + _HALF)
                column = column - columns if column >= columns else column
                key[i] = column * bins + int(deep)
                row[i] = k


@compiled()
def _sorted_by_row(key, row, rows, start, out):
    """Keys in the order of their rows; ``start[k]`` is where row k begins."""
    start[:] = 0
    for i in range(row.size):
        start[row[i] + 1] += 1
    for k in range(rows + 1):
        start[k + 1] += start[k]
    place = start[: rows + 1].copy()
    for i in range(row.size):
        k = row[i]
        out[place[k]] = key[i]
        place[k] += 1


@compiled(parallel=True, error_model="numpy")
def count_points(x, y, z, scale, shift, rotation, layout, table, columns, counts):
    """Count points in the histograms of their cells.

    Parameters
    ----------
    x, y, z : array (n,)
    scale, shift : array (3,)
        ``value * scale + shift`` is mm from the origin of the rotation.
    rotation : array (3, 3)
    layout : tuple of float32
        Lowest height, slots per mm, columns per radian, lowest cut-back, bins per mm.
    table : tuple of arrays
        Row edges (m + 1,), base and slope of the design radius in each row (m,), and
        the row at the foot of each slot of height.
    counts : uint32 array (m, columns * bins)
        Changed in place.

    Returns
    -------
    int64 array (4,)
        Points below the rows, above them, nearer the axis and further out than the
        bins.
    """
    rows = counts.shape[0]
    bins = counts.shape[1] // columns
    portions = (x.size + PORTION - 1) // PORTION
    key = np.empty((portions, PORTION), np.uint32)
    starts = np.zeros((portions, rows + 2), np.int64)
    missed = np.zeros((portions, 4), np.int64)
    for p in prange(portions):
        first, last = p * PORTION, min(x.size, (p + 1) * PORTION)
        angle = np.empty(_RUN, np.float32)
        radius = np.empty(_RUN, np.float32)
        height = np.empty(_RUN, np.float32)
        loose = np.empty(PORTION, np.uint32)
        row = np.empty(PORTION, np.uint16)
        begin = first
        while begin < last:
            end = min(begin + _RUN, last)
            n = end - begin
            _shifted(
                x[begin:end], y[begin:end], z[begin:end], scale, shift,
                angle[:n], radius[:n], height[:n],
            )  # fmt: skip
            _turned(rotation, angle[:n], radius[:n], height[:n])
            a, b = begin - first, end - first
            _placed(
                angle[:n], radius[:n], height[:n], layout, table, bins, columns,
                loose[a:b], row[a:b], missed[p],
            )  # fmt: skip
            begin = end
        size = last - first
        _sorted_by_row(loose[:size], row[:size], rows, starts[p], key[p])
    for k in prange(rows):
        own = counts[k]
        for p in range(portions):
            for i in range(starts[p, k], starts[p, k + 1]):
                own[key[p, i]] += np.uint32(1)
    return missed.sum(axis=0)


@compiled()
def _summed(counts, column, step, room):
    """Histogram of some columns of cells; in ``room``, or that of the only cell."""
    bins = room.size
    if step == 1 and counts.shape[0] == 1:
        return counts[0, column * bins : (column + 1) * bins]
    room[:] = 0
    for row in range(counts.shape[0]):
        for k in range(column, column + step):
            cell = counts[row, k * bins : (k + 1) * bins]
            for j in range(bins):
                room[j] += cell[j]
    return room


@compiled()
def _quantile(below, first, last, share):
    """Where a share of the counts from ``first`` to ``last`` lies below, in bins.

    ``below[j]`` is how many lie in bins before j.
    """
    wanted = share * (below[last] - below[first])
    if below[last] == below[first]:
        return float(last)
    low, high = first, last - 1
    while low < high:
        middle = (low + high) // 2
        if below[middle + 1] - below[first] >= wanted:
            high = middle
        else:
            low = middle + 1
    before = float(below[low] - below[first])
    return low + (wanted - before) / (below[low + 1] - below[low])


@compiled()
def _outermost(below, layer, need):
    """The last bin from which on a layer holds what it needs; -1 where there is none.

    ``below`` goes on for a layer past the last bin.  Looked for in runs that are
    compared at once.
    """
    last = below.size - 1 - layer
    while last > 0:
        first = max(0, last - _COMPARED)
        start, end = below[first:last], below[first + layer : last + layer]
        most = 0
        for j in range(start.size):
            most = max(most, end[j] - start[j])
        if most >= need:
            for at in range(last - 1, first - 1, -1):
                if below[at + layer] - below[at] >= need:
                    return at
        last = first
    return -1


@compiled()
def _mean_over_area(counts, bins, first, last, column, step, part, low, high):
    """Mean of parts, of cells in each, of the points between two bins of each cell.

    Beside it the variance of that mean, in variances of one point, and the sum of
    squares of points about the means of their cells, with its degrees of freedom.
    """
    parts, of_parts, variance = 0, 0.0, 0.0
    squares, freedom = 0.0, 0
    for top in range(first, last, part):
        for left in range(column, column + step, part):
            cells, of_cells, loose = 0, 0.0, 0.0
            for r in range(top, min(top + part, last)):
                for c in range(left, min(left + part, column + step)):
                    n, total, square = 0, 0.0, 0.0
                    for j in range(low, high):
                        held = counts[r, c * bins + j]
                        n += held
                        total += held * (j + 0.5)
                        square += held * (j + 0.5 - low) ** 2
                    if n > 0:
                        squares += square - n * (total / n - low) ** 2
                        freedom += n - 1
                        cells += 1
                        of_cells += total / n
                        loose += 1.0 / n
            if cells > 0:
                parts += 1
                of_parts += of_cells / cells
                variance += loose / cells**2
    return of_parts / parts, variance / parts**2, squares, freedom


@compiled(parallel=True, error_model="numpy")
def find_layers(counts, columns, first, last, step, part, layer, share, least):
    """The outermost layer of points in each block that is dense enough to be wall.

    Parameters
    ----------
    counts : uint32 array (m, columns * bins)
    first, last : int array (b,)
        Rows of each row of blocks; ``last`` is outside.
    step : int
        Columns of a block; a divisor of ``columns``.
    part : int
        Rows and columns of the parts that a block's mean is taken over: of a part the
        mean of its cells, of the block that of its parts.  A scan is denser on some
        wall than on other, so the mean of all points is not that over the area.
    layer : int
        Thickness of a layer, in bins.
    share : float
        Of a block's points that a layer must hold to be wall.
    least : int
        Points that it must hold.

    Returns
    -------
    array (b, columns // step, 8)
        Points in the layer, their mean over the area, their spread (robust, as a
        standard deviation) in bins, points of the block that are not in it, and as
        how many points, all weighed alike, the mean is good; then the sum of squares
        of points about the means of their cells and its degrees of freedom, and that of
        all points alike about their mean.  NaN where no layer is wall, but for numbers
        of points.
    """
    bins = counts.shape[1] // columns
    across = columns // step
    found = np.full((first.size, across, 8), np.nan)
    for k in prange(first.size):
        room = np.empty(bins, np.uint32)
        below = np.zeros(bins + 1 + layer, np.int64)
        for c in range(across):
            own = _summed(counts[first[k] : last[k]], c * step, step, room)
            total = 0
            for j in range(bins):
                total += own[j]
            found[k, c, 0], found[k, c, 3] = 0.0, total
            need = max(float(least), share * total)
            if total < need:
                continue
            for j in range(bins):
                below[j + 1] = below[j] + own[j]
            below[bins:] = total
            at = _outermost(below, layer, need)
            if at < 0:
                continue
            middle = _quantile(below, at, min(at + layer, bins), 0.5)
            low = high = 0
            for _ in range(4):
                before = low, high
                low = max(0, int(middle - layer))
                high = min(bins, int(middle + layer) + 1)
                if before == (low, high):
                    break
                middle = _quantile(below, low, high, 0.5)
            spread = (
                _quantile(below, low, high, 0.75) - _quantile(below, low, high, 0.25)
            ) / 1.349
            reach = max(3.0 * spread, 2.0)
            low = max(low, int(np.floor(middle - reach)))
            high = min(high, int(np.ceil(middle + reach)))
            n, sum_, square = 0, 0.0, 0.0
            for j in range(low, high):
                n += own[j]
                sum_ += own[j] * (j + 0.5)
                square += own[j] * (j + 0.5 - low) ** 2
            if n < least:
                continue
            mean, variance, squares, freedom = _mean_over_area(
                counts, bins, first[k], last[k], c * step, step, part, low, high
            )
            found[k, c, 0], found[k, c, 1] = n, mean
            found[k, c, 2], found[k, c, 3] = spread, total - n
            found[k, c, 4] = 1.0 / variance
            found[k, c, 5], found[k, c, 6] = squares, freedom
            found[k, c, 7] = square - n * (sum_ / n - low) ** 2
    return found


@compiled()
def _add_column(counts, k, upright, summed, around, first):
    """Add what the cells of a column hold in bins from ``first``; summed up once."""
    column = upright[k]
    bins = column.size
    if not summed[k]:
        summed[k] = True
        column[:] = 0
        for i in range(counts.shape[0]):
            cell = counts[i, k * bins : (k + 1) * bins]
            for j in range(bins):
                column[j] += cell[j]
    wanted = column[first : first + around.size]
    for j in range(around.size):
        around[j] += wanted[j]


@compiled(parallel=True, error_model="numpy")
def supported_points(counts, columns, layer, reach, agree, halo, least, share, wide):
    """Points of single cells that lie near a layer and that points around agree with.

    Parameters
    ----------
    counts : uint32 array (m, columns * bins)
    layer : array (m, columns)
        Where the wall around lies, in bins; NaN where a cell is not asked.
    reach : int
        Bins from there that a point may lie.
    agree : int
        Bins within which points agree.
    halo : int
        Rows and columns to either side whose points are asked.
    least : int
        Points, itself counted, that have to agree with a point.
    share : float
        Of all points around within ``reach`` that have to.
    wide : int
        Bins from the layer within which all points count as the wall's, agree or not.

    Returns
    -------
    array (m, columns, 5)
        How many, and their mean in bins (NaN where there is none); then of all within
        ``wide`` how many, their mean likewise, and the sum of their squares about it.
    """
    rows = counts.shape[0]
    bins = counts.shape[1] // columns
    found = np.full((rows, columns, 5), np.nan)
    for r in prange(rows):
        around = np.zeros(bins, np.int64)
        # sums over the rows around, of columns that a cell has asked for
        upright = np.empty((columns, bins), np.uint32)
        summed = np.zeros(columns, np.bool_)
        for c in range(columns):
            found[r, c, 0] = found[r, c, 2] = found[r, c, 4] = 0.0
            if np.isnan(layer[r, c]):
                continue
            n, sum_, squares = 0, 0.0, 0.0
            low = max(0, int(layer[r, c]) - wide)
            for j in range(low, min(bins, int(layer[r, c]) + wide + 1)):
                one = counts[r, c * bins + j]
                off = j + 0.5 - low
                n += one
                sum_ += one * off
                squares += one * off * off
            if n > 0:
                found[r, c, 2], found[r, c, 3] = n, low + sum_ / n
                found[r, c, 4] = max(squares - sum_ * sum_ / n, 0.0)
            low = max(0, int(layer[r, c]) - reach)
            high = min(bins, int(layer[r, c]) + reach + 1)
            held = 0
            for j in range(low, high):
                held += counts[r, c * bins + j]
            if held == 0:
                continue
            # of the cells around once; bins a little further for those at the ends
            first, last = max(0, low - agree), min(bins, high + agree)
            around[first:last] = 0
            total = 0
            near_rows = counts[max(0, r - halo) : min(rows, r + halo + 1)]
            for k in range(c - halo, c + halo + 1):
                _add_column(
                    near_rows, k % columns, upright, summed, around[first:last], first
                )
            for j in range(low, high):
                total += around[j]
            need = max(float(least), share * total)
            n, sum_ = 0, 0.0
            for j in range(low, high):
                one = counts[r, c * bins + j]
                if one == 0:
                    continue
                near = 0
                for i in range(max(first, j - agree), min(last, j + agree + 1)):
                    near += around[i]
                if near >= need:
                    n += one
                    sum_ += one * (j + 0.5)
            if n > 0:
                found[r, c, 0], found[r, c, 1] = n, sum_ / n
    return found


def compile_all() -> None:
    """Compile for every kind of number that files hold, so that no survey waits for it.

    What is compiled is kept on disk next to the code.
    """
    from geom.surface.clouds.packing import join, pack, unpack_into

    f = np.float32
    table = (
        np.array([0.0, 1.0], f), np.zeros(1, f), np.zeros(1, f), np.zeros(3, np.uint16),
    )  # fmt: skip
    layout = (f(0.0), f(1.0), f(1.0), f(-1.0), f(1.0))
    counts = np.zeros((1, 6 * 4), np.uint32)
    three = np.ones(3)
    for kind in (np.int32, np.float32, np.float64):
        records = np.zeros((2, 3), kind)
        count_points(
            records[:, 0], records[:, 1], records[:, 2],
            three, three, np.eye(3), layout, table, 6, counts,
        )  # fmt: skip
    whole = np.zeros(2)
    count_points(whole, whole, whole, three, three, np.eye(3), layout, table, 6, counts)
    rows = np.arange(1)
    find_layers(counts, 6, rows, rows + 1, 1, 1, 2, 0.5, 1)
    supported_points(counts, 6, np.zeros((1, 6)), 2, 1, 1, 1, 0.5, 2)
    code = pack(counts.ravel(), int(counts.sum()))
    unpack_into(counts.ravel(), join(code, code))
    compile_systems()
