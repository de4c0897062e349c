"""The header of a LAS or LAZ file, checked against the file's length.

ASPRS LAS specifications 1.2, 1.3 and 1.4, public header block; nothing that the header
claims is believed before it fits into the file.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import (
    cut_off,
    damaged,
    length_of,
    read_exactly,
    reading,
)
from geom.readings.clouds.source import no_points
from geom.units import Float

_HEADER_BYTES = {2: 227, 3: 235, 4: 375}
_FORMATS = {2: range(4), 3: range(6), 4: range(11)}
_POINT_BYTES = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)
_VLR = struct.Struct("<2x16sHH32x")
_EVLR_BYTES = 60
_MOST_VLRS = 4096
_LARGEST_HEAD = 16 * 1024 * 1024
_MOST_PER_BYTE = 1000  # points; compressed ones all alike still take more room
_LARGEST_NUMBER = 2.0**31
_PLACE = "its header"


@dataclass(frozen=True)
class LasHeader:
    """What of a header is needed here.

    Attributes
    ----------
    start : int
        Byte of the first point.
    ends : int
        Length of the file.
    count : int
    form : int
        Point format, 0 to 10.
    record : int
        Bytes of a point, unpacked.
    scale, offset : array (3,)
    packed : bytes or None
        Of a LAZ file, the record that tells how its points are packed.
    """

    start: int
    ends: int
    count: int
    form: int
    record: int
    scale: Float
    offset: Float
    packed: bytes | None


def read_las_header(name: str) -> LasHeader:
    """Read a header and the records below it.

    Raises
    ------
    InputError
        If it is none, of an unknown version or format, or claims more than the file
        can hold.
    """
    ends = length_of(name)
    with reading(name) as file:
        if file.read(4) != b"LASF":
            raise damaged(
                name, 'it does not begin with "LASF" as LAS and LAZ do', "byte 0"
            )
        if ends < min(_HEADER_BYTES.values()):
            raise cut_off(name, ends, min(_HEADER_BYTES.values()))
        file.seek(0)
        fixed = file.read(max(_HEADER_BYTES.values()))
        major, minor, size, start, vlrs, form, record, count = struct.unpack_from(
            "<2B68xHIIBHI", fixed, 24
        )
        if major != 1 or minor not in _HEADER_BYTES:
            what = f"it is LAS {major}.{minor}; read are 1.2, 1.3 and 1.4"
            cure = "Export the cloud as LAS 1.4 or LAZ 1.4"
            raise InputError(what, file=name, place=_PLACE, cure=cure)
        if start > ends:
            raise cut_off(name, ends, start)
        _refuse_head(name, _HEADER_BYTES[minor], size, start, vlrs)
        file.seek(0)
        head = read_exactly(file, start, name).tobytes()
    packed = _packing(name, head, size, vlrs)
    if minor == 4:
        evlr_start, evlrs, count = struct.unpack_from("<QIQ", head, 235)
        _refuse_evlrs(name, evlr_start, evlrs, ends)
    header = LasHeader(
        start=start,
        ends=ends,
        count=count,
        form=form & 0x3F,
        record=record,
        scale=np.array(struct.unpack_from("<3d", head, 131)),
        offset=np.array(struct.unpack_from("<3d", head, 155)),
        packed=packed if form & 0x80 else None,
    )
    if form & 0x40 or header.form not in _FORMATS[minor]:
        raise damaged(name, f"it names a point format not known, {form}", _PLACE)
    if form & 0x80 and packed is None:
        raise damaged(name, "it does not say how its points are packed", _PLACE)
    _refuse_points(name, header)
    return header


def _refuse_head(name: str, least: int, size: int, start: int, vlrs: int) -> None:
    """Refuse a head that is too short for itself, or that nobody would write."""
    if size < least or start < size:
        what = f"it says to be {size} bytes long, with the first point at byte {start}"
        raise damaged(name, what, _PLACE)
    if vlrs > min(_MOST_VLRS, (start - size) // _VLR.size):
        what = f"it claims {vlrs} records in the {start - size} bytes below it"
        raise damaged(name, what, _PLACE)
    if start > _LARGEST_HEAD:
        raise damaged(name, f"it claims {start} bytes before the first point", _PLACE)


def _packing(name: str, head: bytes, at: int, vlrs: int) -> bytes | None:
    """Walk the records below the header; give the one about packing."""
    packing = None
    for number in range(vlrs):
        if at + _VLR.size > len(head):
            raise _overlong(name, number, at, len(head))
        user, kind, long = _VLR.unpack_from(head, at)
        at += _VLR.size
        if at + long > len(head):
            raise _overlong(name, number, at + long, len(head))
        if kind == 22204 and user.startswith(b"laszip encoded"):
            packing = head[at : at + long]
        at += long
    return packing


def _overlong(name: str, number: int, reaches: int, start: int) -> InputError:
    what = (
        f"the record {number + 1} below the header reaches to byte {reaches}, but the "
        f"points start at byte {start}"
    )
    return damaged(name, what, _PLACE)


def _refuse_evlrs(name: str, start: int, evlrs: int, ends: int) -> None:
    """Refuse records after the points that are not all there."""
    if not evlrs:
        return
    if (promised := start + evlrs * _EVLR_BYTES) > ends:
        raise cut_off(name, ends, promised)
    if evlrs > _MOST_VLRS:
        raise damaged(name, f"it claims {evlrs} records after the points", _PLACE)
    with reading(name) as file:
        for _ in range(evlrs):
            file.seek(start + 20)
            (long,) = struct.unpack("<Q", read_exactly(file, 8, name).tobytes())
            start += _EVLR_BYTES + long
            if start > ends:
                raise cut_off(name, ends, start)


def _refuse_points(name: str, header: LasHeader) -> None:
    if header.record < _POINT_BYTES[header.form]:
        what = (
            f"it claims {header.record} bytes a point; format {header.form} takes "
            f"{_POINT_BYTES[header.form]}"
        )
        raise damaged(name, what, _PLACE)
    with np.errstate(over="ignore", invalid="ignore"):
        furthest = np.abs(header.offset) + header.scale * _LARGEST_NUMBER
    if not np.isfinite(furthest).all() or not (header.scale > 0.0).all():
        what = f"its scales are {header.scale}, its offsets {header.offset}"
        raise damaged(name, what, _PLACE)
    if header.count == 0:
        raise no_points(name)
    there = header.ends - header.start
    promised = header.start + header.count * header.record
    if header.packed is None and header.ends < promised:
        raise cut_off(name, header.ends, promised)
    if header.count > there * _MOST_PER_BYTE:
        what = f"it claims {header.count} points in {there} bytes"
        raise damaged(name, what, _PLACE)
