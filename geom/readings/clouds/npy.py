"""``.npy``: an array of numpy, a row a point or with the fields x, y, z.

numpy reads the header; the numbers are read as those of any other records (see
`geom.readings.clouds.binary` for why they are not mapped by ``numpy.load``).
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.binary import (
    AXES,
    RecordCloud,
    damaged_error,
    is_coordinate,
    library_errors,
    open_binary,
    open_records,
    xyz_record,
)
from geom.readings.clouds.source import no_points_error

#: Version 3.0 is 2.0 with names in UTF-8; x, y and z are the same in both.
_READ_HEADER = {
    (1, 0): np.lib.format.read_array_header_1_0,
    (2, 0): np.lib.format.read_array_header_2_0,
    (3, 0): np.lib.format.read_array_header_2_0,
}
_CURE = (
    "Save an array of numbers with a row for each point, x y z first, or one with the "
    "fields x, y and z"
)


class _Header(NamedTuple):
    """Shape and order of the array, its kind, the byte where its numbers start."""

    shape: tuple[int, ...]
    fortran: bool
    kind: np.dtype[Any]
    start: int


def open_npy(name: str) -> RecordCloud:
    """Open an array file; nothing but its header is read.

    Raises
    ------
    InputError
        If it is none, holds Python objects, or is not an array of points.
    """
    header = _read_header(name)
    shape, kind = header.shape, header.kind
    if kind.hasobject:
        what = "it holds Python objects, which are never unpacked from a file"
        raise InputError(what, file=name, cure=_CURE)
    if kind.names is not None:
        return _open_fields(name, header)
    if len(shape) != 2 or shape[1] < 3 or not is_coordinate(kind):
        raise _not_points_error(name, str(kind), shape)
    count, columns = shape
    size = kind.itemsize
    # By column, a point is its three numbers, and the other columns come after.
    width = 3 if header.fortran else columns
    record = xyz_record(name, [kind] * 3, [0, size, 2 * size], width * size)
    after = count * (columns - width) * size
    return open_records(
        name, header.start, count, record, after=after, by_column=header.fortran
    )


def _open_fields(name: str, header: _Header) -> RecordCloud:
    shape, kind = header.shape, header.kind
    by_name: Mapping[str, Any] = kind.fields or {}
    fields = [by_name.get(axis) for axis in AXES]
    axes = [field for field in fields if field is not None and is_coordinate(field[0])]
    if len(shape) != 1 or len(axes) != 3:
        raise _not_points_error(name, ", ".join(kind.names or ()), shape)
    kinds, offsets = [axis[0] for axis in axes], [axis[1] for axis in axes]
    record = xyz_record(name, kinds, offsets, kind.itemsize)
    return open_records(name, header.start, shape[0], record)


def _not_points_error(name: str, kind: str, shape: tuple[int, ...]) -> InputError:
    held = f"{kind[:40]} in the shape {str(shape)[:40]}"
    return InputError(f"it is an array of {held}, not of points", file=name, cure=_CURE)


def _read_header(name: str) -> _Header:
    def as_error(message: str) -> InputError:
        place = f"byte {file.tell()}, its header"
        return damaged_error(name, f"it is no array file of numpy ({message})", place)

    with (
        open_binary(name) as file,
        library_errors(as_error),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore")
        shape, fortran, kind = _READ_HEADER[np.lib.format.read_magic(file)](file)
        if any(isinstance(n, bool) or n < 0 for n in shape):
            raise ValueError("a side of it is not a count")
        start = file.tell()
    if 0 in shape:
        raise no_points_error(name)
    return _Header(shape, bool(fortran), kind, start)
