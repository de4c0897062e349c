"""``.las`` and ``.laz``: whole numbers with a scale, as laser scanners export them.

The header of a LAS or LAZ file, checked against the file's length.

ASPRS LAS specifications 1.2, 1.3 and 1.4, public header block; nothing that the header
claims is believed before it fits into the file.

The table of a LAZ file that tells how long each packed run of points is.

It is checked before anything is unpacked: the library that unpacks sets aside as much
memory as it is told to, and ends the program where there is less.
"""

from __future__ import annotations

import io
import logging
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.binary import (
    as_native,
    damaged_error,
    file_length,
    library_errors,
    open_binary,
    read_exactly,
    select_points,
    truncated_error,
)
from geom.readings.clouds.source import (
    Piece,
    Points,
    cut,
    no_points_error,
    refuse_empty,
)
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
    ends = file_length(name)
    with open_binary(name) as file:
        if file.read(4) != b"LASF":
            raise damaged_error(
                name, 'it does not begin with "LASF" as LAS and LAZ do', "byte 0"
            )
        if ends < min(_HEADER_BYTES.values()):
            raise truncated_error(name, ends, min(_HEADER_BYTES.values()))
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
            raise truncated_error(name, ends, start)
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
        raise damaged_error(name, f"it names a point format not known, {form}", _PLACE)
    if form & 0x80 and packed is None:
        raise damaged_error(name, "it does not say how its points are packed", _PLACE)
    _refuse_points(name, header)
    return header


def _refuse_head(name: str, least: int, size: int, start: int, vlrs: int) -> None:
    """Refuse a head that is too short for itself, or that nobody would write."""
    if size < least or start < size:
        what = f"it says to be {size} bytes long, with the first point at byte {start}"
        raise damaged_error(name, what, _PLACE)
    if vlrs > min(_MOST_VLRS, (start - size) // _VLR.size):
        what = f"it claims {vlrs} records in the {start - size} bytes below it"
        raise damaged_error(name, what, _PLACE)
    if start > _LARGEST_HEAD:
        raise damaged_error(
            name, f"it claims {start} bytes before the first point", _PLACE
        )


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
    return damaged_error(name, what, _PLACE)


def _refuse_evlrs(name: str, start: int, evlrs: int, ends: int) -> None:
    """Refuse records after the points that are not all there."""
    if not evlrs:
        return
    if (promised := start + evlrs * _EVLR_BYTES) > ends:
        raise truncated_error(name, ends, promised)
    if evlrs > _MOST_VLRS:
        raise damaged_error(name, f"it claims {evlrs} records after the points", _PLACE)
    with open_binary(name) as file:
        for _ in range(evlrs):
            file.seek(start + 20)
            (long,) = struct.unpack("<Q", read_exactly(file, 8, name).tobytes())
            start += _EVLR_BYTES + long
            if start > ends:
                raise truncated_error(name, ends, start)


def _refuse_points(name: str, header: LasHeader) -> None:
    if header.record < _POINT_BYTES[header.form]:
        what = (
            f"it claims {header.record} bytes a point; format {header.form} takes "
            f"{_POINT_BYTES[header.form]}"
        )
        raise damaged_error(name, what, _PLACE)
    with np.errstate(over="ignore", invalid="ignore"):
        furthest = np.abs(header.offset) + header.scale * _LARGEST_NUMBER
    if not np.isfinite(furthest).all() or not (header.scale > 0.0).all():
        what = f"its scales are {header.scale}, its offsets {header.offset}"
        raise damaged_error(name, what, _PLACE)
    if header.count == 0:
        raise no_points_error(name)
    there = header.ends - header.start
    promised = header.start + header.count * header.record
    if header.packed is None and header.ends < promised:
        raise truncated_error(name, header.ends, promised)
    if header.count > there * _MOST_PER_BYTE:
        what = f"it claims {header.count} points in {there} bytes"
        raise damaged_error(name, what, _PLACE)


_FIXED = struct.Struct("<HHBBHIIqqH")
_ITEM = struct.Struct("<HHH")
_VARIABLE = 0xFFFFFFFF
_AT_ONCE = 256 * 1024**2
#: Layers that each kind of item is packed in, past the 14th generation of them; of
#: plain bytes (14), one for each.
_LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}
_POINTWISE, _LAYERED = 2, 3
_CHUNK_PLACE = "its table of packed runs"


@dataclass(frozen=True)
class _Packing:
    """How points are packed: kind, points in a run, layers of a run."""

    compressor: int
    run: int
    layers: int


@dataclass(frozen=True)
class _Table:
    """Byte that the table starts at; points and bytes of each run before it."""

    start: int
    runs: list[tuple[int, int]]


def refuse_bad_runs(name: str, header: LasHeader) -> int:
    """Check how the points of a LAZ file are packed.

    Parameters
    ----------
    name : str
    header : LasHeader
        With ``packed``.

    Returns
    -------
    int
        Points in a run, 1 where the runs differ.

    Raises
    ------
    InputError
        If the table is not there or does not fit the file and its header.
    """
    packing = _laz_packing(name, header)
    with open_binary(name) as file:
        table = _table(file, name, header)
        _refuse_misfit(name, header, packing, table)
        if packing.compressor == _LAYERED:
            _refuse_layers(file, name, header, packing, table)
    return 1 if packing.run == _VARIABLE else packing.run


def _laz_packing(name: str, header: LasHeader) -> _Packing:
    said = header.packed or b""
    if len(said) < _FIXED.size:
        raise damaged_error(name, "the record about packing is too short", "its header")
    compressor, coder, *_, run, _, _, many = _FIXED.unpack_from(said)
    if len(said) != _FIXED.size + many * _ITEM.size:
        raise damaged_error(name, "the record about packing is no such", "its header")
    items = list(_ITEM.iter_unpack(said[_FIXED.size :]))
    if sum(size for _, size, _ in items) != header.record:
        what = f"packed are other than {header.record} bytes a point"
        raise damaged_error(name, what, "its header")
    if compressor not in (_POINTWISE, _LAYERED) or coder != 0:
        what = f"its points are packed in a way not known ({compressor}, {coder})"
        cure = "Export the cloud as LAZ 1.4 or LAS"
        raise InputError(what, file=name, place="its header", cure=cure)
    if run == 0 or (run != _VARIABLE and run * header.record > _AT_ONCE):
        raise damaged_error(
            name, f"it claims runs of {run} packed points", "its header"
        )
    layers = sum(
        size if kind == 14 else _LAYERS.get(kind, 0) for kind, size, _ in items
    )
    return _Packing(compressor, run, layers)


def _table(file: BufferedReader, name: str, header: LasHeader) -> _Table:
    """Read the table."""
    import lazrs

    file.seek(header.start)
    (at,) = struct.unpack("<q", read_exactly(file, 8, name).tobytes())
    if at == -1:  # written as a stream: the place of the table is at the very end
        file.seek(header.ends - 8)
        (at,) = struct.unpack("<q", read_exactly(file, 8, name).tobytes())
    if at < header.start + 8:
        raise damaged_error(name, f"it is said to start at byte {at}", _CHUNK_PLACE)
    if at + 8 > header.ends:
        raise truncated_error(name, header.ends, at + 8)
    file.seek(at)
    _, many = struct.unpack("<II", read_exactly(file, 8, name).tobytes())
    if many == 0 or many * header.record > at - header.start:
        what = f"it claims {many} runs in {at - header.start} bytes"
        raise damaged_error(name, what, _CHUNK_PLACE)
    file.seek(at)
    told = io.BytesIO(file.read(8 + 16 * many + 64))

    def broken(said: str) -> InputError:
        return damaged_error(
            name, f"it cannot be read ({said})", f"byte {at}, {_PLACE}"
        )

    with library_errors(broken):
        runs = lazrs.read_chunk_table_only(told, lazrs.LazVlr(header.packed))
    return _Table(at, [(int(points), int(long)) for points, long in runs])


def _refuse_misfit(
    name: str, header: LasHeader, packing: _Packing, table: _Table
) -> None:
    """Refuse runs that do not hold the points or do not fill the file up to the table.

    In a LAZ file the runs lie one after the other, and the table after them.
    """
    runs = table.runs
    held = sum(points for points, _ in runs)
    if packing.run != _VARIABLE:
        held = header.count if len(runs) == -(-header.count // packing.run) else -1
    if held != header.count:
        what = f"it does not hold the {header.count} points that the header claims"
        raise damaged_error(name, what, _CHUNK_PLACE)
    if packing.run == _VARIABLE and any(n * header.record > _AT_ONCE for n, _ in runs):
        raise damaged_error(name, "it claims a run too long to unpack", _CHUNK_PLACE)
    if any(long < header.record for _, long in runs):
        raise damaged_error(name, "it claims a run shorter than a point", _CHUNK_PLACE)
    reach = header.start + 8 + sum(long for _, long in runs)
    if reach != table.start:
        what = f"its runs reach to byte {reach}, but it starts at byte {table.start}"
        raise damaged_error(name, what, _CHUNK_PLACE)


def _refuse_layers(
    file: BufferedReader,
    name: str,
    header: LasHeader,
    packing: _Packing,
    table: _Table,
) -> None:
    """Refuse a run whose layers are together longer than the run."""
    at, first = header.start + 8, 0
    head = header.record + 4 + 4 * packing.layers
    for points, long in table.runs:
        file.seek(at + header.record + 4)
        layers = struct.unpack(
            f"<{packing.layers}I",
            read_exactly(file, 4 * packing.layers, name).tobytes(),
        )
        if head + sum(layers) > long:
            what = f"the packed run claims {head + sum(layers)} bytes and has {long}"
            raise damaged_error(name, what, f"record {first}")
        at, first = at + long, first + points


@dataclass(frozen=True)
class LasCloud:
    """A cloud in a LAS or LAZ file; points marked withheld are left out.

    Attributes
    ----------
    name : str
    count : int
    scale, offset : array (3,)
    run : int
        Points that can only be unpacked together.
    """

    name: str
    count: int
    scale: Float
    offset: Float
    run: int = 1
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the points into parts of at most ``most``, or a packed run if longer."""
        runs = cut(Piece(0, -(-self.count // self.run)), max(1, most // self.run))
        return tuple(
            Piece(part.start * self.run, min(part.stop * self.run, self.count))
            for part in runs
        )

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece."""
        whole = piece or Piece(0, self.count)
        return refuse_empty(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        with open_binary(self.name) as file:
            reader = self._reader(file, piece.start)
            for first in range(piece.start, piece.stop, size):
                yield self._points(reader, first, min(size, piece.stop - first))

    def _reader(self, file: BufferedReader, first: int) -> Any:
        import laspy

        _quiet()
        wanted = laspy.DecompressionSelection.base().decompress_z().decompress_flags()
        with library_errors(lambda said: self._broken(said, first)):
            reader = laspy.open(
                file,
                closefd=False,
                read_evlrs=False,
                laz_backend=laspy.LazBackend.LazrsParallel,
                decompression_selection=wanted,
            )
            if first:  # read from its start, a damaged run is noticed more often
                reader.seek(first)
        return reader

    def _points(self, reader: Any, first: int, many: int) -> Points:
        with library_errors(lambda said: self._broken(said, first)):
            read = reader.read_points(many)
            held = read.array
            withheld = np.asarray(read["withheld"]).astype(bool)
        if len(held) < many:
            raise self._broken("the file ends before", first + len(held))
        x, y, z = (as_native(held[axis]) for axis in "XYZ")
        return select_points(Points(x, y, z, self.scale, self.offset), ~withheld)

    def _broken(self, said: str, first: int) -> InputError:
        what = f"the points from here on cannot be read ({said})"
        return damaged_error(self.name, what, f"record {first}")


def open_las(name: str) -> LasCloud:
    """Open a LAS or LAZ file; nothing but its header and its tables is read.

    Raises
    ------
    InputError
        If it is none, or is shorter than its header says.
    """
    header = read_las_header(name)
    run = 1 if header.packed is None else refuse_bad_runs(name, header)
    return LasCloud(name, header.count, header.scale, header.offset, run)


def _quiet() -> None:
    """Keep what the library would log off the screen: it is raised as well."""
    log = logging.getLogger("laspy")
    if not log.handlers:
        log.addHandler(logging.NullHandler())
