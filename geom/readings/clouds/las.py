"""``.las`` and ``.laz``: whole numbers with a scale, as laser scanners export them.

laspy and lazrs read them (ASPRS LAS 1.2, 1.3 and 1.4), but believe what a file claims.
So everything that a header claims is first held against the file's length: with three
million records claimed below its header, a file of 300 points kept laspy busy for 52 s,
and 2**32 - 1 can be claimed.  In a LAZ file so are the table of its chunks and the
layers of each chunk, for lazrs sets aside as much memory as a file asks: the same 300
points with layers of 4 GiB took 21 s and 4.1 GiB before they were refused, and end the
program where there is less memory.
"""

from __future__ import annotations

import io
import logging
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from io import BufferedReader
from typing import TYPE_CHECKING

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
from geom.units import Float, Int

if TYPE_CHECKING:
    from laspy import PackedPointRecord, PointFormat

_HEADER_BYTES = {2: 227, 3: 235, 4: 375}  # by minor version
_FORMATS = {2: range(4), 3: range(6), 4: range(11)}  # point formats, by minor version
_VLR_BYTES, _EVLR_BYTES = 54, 60  # of the head of a record below, or after the points
_MAX_VLRS = 4096
_MAX_HEAD = 16 * 1024 * 1024  # bytes before the first point
_MAX_PER_BYTE = 1000  # points; compressed ones all alike still take more room
_MAX_NUMBER = 2.0**31
_HEADER_PLACE = "its header"

#: The record about packing: compressor, coder, ..., points of a chunk, ..., items.
_LASZIP = struct.Struct("<HHBBHIIqqH")
_ITEM = struct.Struct("<HHH")  # kind, bytes, version
_POINTWISE, _LAYERED = 2, 3  # compressors
_VARIABLE = 0xFFFFFFFF  # points of a chunk, where chunks differ
_MAX_CHUNK = 256 * 1024**2  # bytes, unpacked
#: Layers that each kind of item is packed in, past the 14th generation of them; of
#: plain bytes (14), one for each.
_LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}
_TABLE_PLACE = "its table of packed runs"


@dataclass(frozen=True)
class LasHeader:
    """What of a header is needed here, checked.

    Attributes
    ----------
    start, end : int
        Byte of the first point; length of the file.
    form : PointFormat
        How a point is stored, unpacked.
    scale, offset : array (3,)
    laszip : bytes or None
        Of a LAZ file, the record that tells how its points are packed.
    """

    start: int
    end: int
    count: int
    form: PointFormat
    scale: Float
    offset: Float
    laszip: bytes | None

    @property
    def record(self) -> int:
        """Bytes of a point, unpacked."""
        return int(self.form.size)


@dataclass(frozen=True)
class PackedRuns:
    """Where the runs of a LAZ file lie that can only be unpacked whole.

    Attributes
    ----------
    laszip : bytes
        The record that tells how they are packed.
    first, byte : int array (runs + 1,)
        Point and byte that each begins with; the end of the last one.
    """

    laszip: bytes
    first: Int
    byte: Int

    def groups(self, size: int, piece: Piece) -> Iterator[tuple[int, int]]:
        """Runs that hold a piece, as many at a time as hold up to ``size`` points."""
        run = int(np.searchsorted(self.first, piece.start, side="right")) - 1
        end = int(np.searchsorted(self.first, piece.stop))
        while run < end:
            full = np.searchsorted(self.first, self.first[run] + size, side="right") - 1
            last = min(max(int(full), run + 1), end)
            yield run, last
            run = last

    def table(self, run: int, last: int) -> list[tuple[int, int]]:
        """Points and bytes of some runs, as the library takes them."""
        of = slice(run, last + 1)
        points, sizes = np.diff(self.first[of]), np.diff(self.byte[of])
        return list(zip(points.tolist(), sizes.tolist(), strict=True))


@dataclass(frozen=True)
class LasCloud:
    """A cloud in a LAS or LAZ file; points marked withheld are left out.

    Attributes
    ----------
    scale, offset : array (3,)
    form : PointFormat
        How a point is stored, unpacked.
    start : int
        Byte of the first point.
    packed : PackedRuns or None
        Of a LAZ file, where the runs lie that can only be unpacked whole.
    """

    name: str
    count: int
    scale: Float
    offset: Float
    form: PointFormat
    start: int
    packed: PackedRuns | None = None
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the points into parts of at most ``most``; a packed run stays whole."""
        whole = Piece(0, self.count)
        if self.packed is None:
            return cut(whole, most)
        first = self.packed.first.tolist()
        groups = self.packed.groups(max(1, most), whole)
        return tuple(Piece(first[run], first[last]) for run, last in groups)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece."""
        whole = piece or Piece(0, self.count)
        size = max(1, size)
        runs = self._stored if self.packed is None else self._unpacked
        points = (self._points(records) for records in runs(size, whole))
        return refuse_empty(points, self.name, piece)

    def _stored(self, size: int, piece: Piece) -> Iterator[PackedPointRecord]:
        """Read a piece as it lies in the file.

        The library's own reader takes the header anew for every piece: half of the time
        of a sample from all over a file.
        """
        import laspy

        form = self.form.dtype()
        with open_binary(self.name) as file:
            file.seek(self.start + piece.start * form.itemsize)
            for first in range(piece.start, piece.stop, size):
                stored = np.empty(min(size, piece.stop - first), dtype=form)
                read = file.readinto(stored.view(np.uint8).data) // form.itemsize
                if read < stored.size:
                    raise self._unreadable("the file ends before", first + read)
                yield laspy.PackedPointRecord(stored, self.form)

    def _unpacked(self, size: int, piece: Piece) -> Iterator[PackedPointRecord]:
        """Unpack a piece, as many runs at a time as hold ``size`` points.

        The library's own reader finds its place by a length that all runs share, and
        hands out other points where they differ; so the table of runs is used here.
        """
        import laspy
        import lazrs

        assert self.packed is not None
        packed = self.packed
        selection = (
            laspy.DecompressionSelection.base().decompress_z().decompress_flags()
        )
        with open_binary(self.name) as file:
            for run, last in packed.groups(size, piece):
                first, stop = (int(packed.first[k]) for k in (run, last))
                at, end = (int(packed.byte[k]) for k in (run, last))
                content = _bytes_at(file, self.name, at, end - at)
                unpacked = np.zeros(stop - first, dtype=self.form.dtype())
                with library_errors(partial(self._unreadable, first=first)):
                    lazrs.decompress_points_with_chunk_table(
                        content,
                        packed.laszip,
                        unpacked.view(np.uint8),
                        packed.table(run, last),
                        selection.to_lazrs(),
                    )
                inside = unpacked[max(piece.start - first, 0) : piece.stop - first]
                for offset in range(0, len(inside), size):
                    some = inside[offset : offset + size]
                    yield laspy.PackedPointRecord(some, self.form)

    def _points(self, records: PackedPointRecord) -> Points:
        withheld = np.asarray(records["withheld"]).astype(bool)
        x, y, z = (as_native(records.array[axis]) for axis in "XYZ")
        return select_points(Points(x, y, z, self.scale, self.offset), ~withheld)

    def _unreadable(self, message: str, first: int) -> InputError:
        what = f"the points from here on cannot be read ({message})"
        return damaged_error(self.name, what, f"record {first}")


def open_las(name: str) -> LasCloud:
    """Open a LAS or LAZ file; nothing but its header and its tables is read.

    Raises
    ------
    InputError
        If it is none, or is shorter than its header says.
    """
    header = read_las_header(name)
    packed = (
        None if header.laszip is None else _packed_runs(name, header, header.laszip)
    )
    return LasCloud(
        name,
        header.count,
        header.scale,
        header.offset,
        header.form,
        header.start,
        packed,
    )


def read_las_header(name: str) -> LasHeader:
    """Read a header and the records below it.

    Raises
    ------
    InputError
        If it is none, of an unknown version or format, or claims more than the file
        can hold.
    """
    import laspy

    log = logging.getLogger("laspy")
    if not log.handlers:  # what it would log is raised as well: keep it off the screen
        log.addHandler(logging.NullHandler())
    end = file_length(name)
    head = _checked_head(name, end)
    with library_errors(lambda m: _header_error(name, f"it cannot be read ({m})")):
        read = laspy.LasHeader.read_from(io.BytesIO(head))
        packings = [bytes(vlr.record_data) for vlr in read.vlrs.get("LasZipVlr")]
    _refuse_evlrs(name, read.start_of_first_evlr, read.number_of_evlrs, end)
    if read.are_points_compressed and not packings:
        raise _header_error(name, "it does not say how its points are packed")
    header = LasHeader(
        start=len(head),
        end=end,
        count=int(read.point_count),
        form=read.point_format,
        scale=np.asarray(read.scales, dtype=np.float64),
        offset=np.asarray(read.offsets, dtype=np.float64),
        laszip=packings[0] if read.are_points_compressed else None,
    )
    _refuse_points(name, header)
    return header


def _header_error(name: str, what: str) -> InputError:
    return damaged_error(name, what, _HEADER_PLACE)


def _checked_head(name: str, end: int) -> bytes:
    """Read all before the first point, once it can be what it says to be."""
    import laspy

    least = min(_HEADER_BYTES.values())
    with open_binary(name) as file:
        if file.read(4) != b"LASF":
            what = 'it does not begin with "LASF" as LAS and LAZ do'
            raise damaged_error(name, what, "byte 0")
        if end < least:
            raise truncated_error(name, end, least)
        file.seek(0)
        major, minor, size, start, vlrs, form, record = struct.unpack_from(
            "<2B68xHIIBH", file.read(least), 24
        )
        if major != 1 or minor not in _HEADER_BYTES:
            what = f"it is LAS {major}.{minor}; read are 1.2, 1.3 and 1.4"
            cure = "Export the cloud as LAS 1.4 or LAZ 1.4"
            raise InputError(what, file=name, place=_HEADER_PLACE, cure=cure)
        if start > end:
            raise truncated_error(name, end, start)
        _refuse_head(name, _HEADER_BYTES[minor], size, start, vlrs)
        file.seek(0)
        head = read_exactly(file, start, name).tobytes()
    _refuse_vlrs(name, head, size, vlrs)
    unpacked = form & 0x3F  # the bits above tell of packing
    if form & 0x40 or unpacked not in _FORMATS[minor]:
        raise _header_error(name, f"it names a point format not known, {form}")
    if record < (needed := laspy.PointFormat(unpacked).size):
        what = f"it claims {record} bytes a point; format {unpacked} takes {needed}"
        raise _header_error(name, what)
    return head


def _refuse_head(name: str, least: int, size: int, start: int, vlrs: int) -> None:
    """Refuse a head that is too short for itself, or that nobody would write."""
    if size < least or start < size:
        what = f"it says to be {size} bytes long, with the first point at byte {start}"
        raise _header_error(name, what)
    if vlrs > min(_MAX_VLRS, (start - size) // _VLR_BYTES):
        what = f"it claims {vlrs} records in the {start - size} bytes below it"
        raise _header_error(name, what)
    if start > _MAX_HEAD:
        raise _header_error(name, f"it claims {start} bytes before the first point")


def _refuse_vlrs(name: str, head: bytes, at: int, vlrs: int) -> None:
    """Refuse records below the header that reach into the points."""
    for number in range(vlrs):
        at += _VLR_BYTES + int.from_bytes(head[at + 20 : at + 22], "little")
        if at > len(head):
            what = (
                f"the record {number + 1} below the header reaches to byte {at}, but "
                f"the points start at byte {len(head)}"
            )
            raise _header_error(name, what)


def _refuse_evlrs(name: str, start: int, evlrs: int, end: int) -> None:
    """Refuse records after the points that are not all there."""
    if not evlrs:
        return
    if (promised := start + evlrs * _EVLR_BYTES) > end:
        raise truncated_error(name, end, promised)
    if evlrs > _MAX_VLRS:
        raise _header_error(name, f"it claims {evlrs} records after the points")
    with open_binary(name) as file:
        for _ in range(evlrs):
            file.seek(start + 20)
            size = int.from_bytes(read_exactly(file, 8, name).tobytes(), "little")
            start += _EVLR_BYTES + size
            if start > end:
                raise truncated_error(name, end, start)


def _refuse_points(name: str, header: LasHeader) -> None:
    with np.errstate(over="ignore", invalid="ignore"):
        furthest = np.abs(header.offset) + header.scale * _MAX_NUMBER
    if not np.isfinite(furthest).all() or not (header.scale > 0.0).all():
        what = f"its scales are {header.scale}, its offsets {header.offset}"
        raise _header_error(name, what)
    if header.count == 0:
        raise no_points_error(name)
    promised = header.start + header.count * header.record
    if header.laszip is None and header.end < promised:
        raise truncated_error(name, header.end, promised)
    if header.count > (size := header.end - header.start) * _MAX_PER_BYTE:
        raise _header_error(name, f"it claims {header.count} points in {size} bytes")


# --- how the points of a LAZ file are packed ------------------------------------------


@dataclass(frozen=True)
class _Packing:
    """How points are packed: compressor, points of a chunk, layers of a chunk."""

    compressor: int
    chunk: int
    layers: int


@dataclass(frozen=True)
class _ChunkTable:
    """Byte that the table starts at; points and bytes of each chunk before it."""

    start: int
    chunks: list[tuple[int, int]]


def _packed_runs(name: str, header: LasHeader, laszip: bytes) -> PackedRuns:
    """Check how points are packed, and where.

    Raises
    ------
    InputError
        If the table of chunks is not there or does not fit the file and its header.
    """
    packing = _read_packing(name, header, laszip)
    with open_binary(name) as file:
        table = _read_table(file, name, header, laszip)
        _refuse_misfit(name, header, packing, table)
        if packing.compressor == _LAYERED:
            _refuse_layers(file, name, header, packing, table)
    points, sizes = np.array(table.chunks, dtype=np.int64).T
    if packing.chunk != _VARIABLE:
        points = np.full(len(points), packing.chunk)
    first = np.minimum(np.append(0, np.cumsum(points)), header.count)
    byte = header.start + 8 + np.append(0, np.cumsum(sizes))
    return PackedRuns(laszip, first, byte)


def _read_packing(name: str, header: LasHeader, laszip: bytes) -> _Packing:
    if len(laszip) < _LASZIP.size:
        raise _header_error(name, "the record about packing is too short")
    compressor, coder, *_, chunk, _, _, count = _LASZIP.unpack_from(laszip)
    if len(laszip) != _LASZIP.size + count * _ITEM.size:
        raise _header_error(name, "the record about packing is no such")
    items = list(_ITEM.iter_unpack(laszip[_LASZIP.size :]))
    if sum(size for _, size, _ in items) != header.record:
        what = f"packed are other than {header.record} bytes a point"
        raise _header_error(name, what)
    if compressor not in (_POINTWISE, _LAYERED) or coder != 0:
        what = f"its points are packed in a way not known ({compressor}, {coder})"
        cure = "Export the cloud as LAZ 1.4 or LAS"
        raise InputError(what, file=name, place=_HEADER_PLACE, cure=cure)
    if chunk == 0 or (chunk != _VARIABLE and chunk * header.record > _MAX_CHUNK):
        raise _header_error(name, f"it claims runs of {chunk} packed points")
    layers = sum(
        size if kind == 14 else _LAYERS.get(kind, 0) for kind, size, _ in items
    )
    return _Packing(compressor, chunk, layers)


def _read_table(
    file: BufferedReader, name: str, header: LasHeader, laszip: bytes
) -> _ChunkTable:
    import lazrs

    (at,) = struct.unpack("<q", _bytes_at(file, name, header.start, 8))
    if at == -1:  # written as a stream: the place of the table is at the very end
        (at,) = struct.unpack("<q", _bytes_at(file, name, header.end - 8, 8))
    if at < header.start + 8:
        raise damaged_error(name, f"it is stated to start at byte {at}", _TABLE_PLACE)
    if at + 8 > header.end:
        raise truncated_error(name, header.end, at + 8)
    _, count = struct.unpack("<II", _bytes_at(file, name, at, 8))
    if count == 0 or count * header.record > at - header.start:
        what = f"it claims {count} runs in {at - header.start} bytes"
        raise damaged_error(name, what, _TABLE_PLACE)
    file.seek(at)
    content = io.BytesIO(file.read(8 + 16 * count + 64))
    place = f"byte {at}, {_TABLE_PLACE}"
    with library_errors(
        lambda message: damaged_error(name, f"it cannot be read ({message})", place)
    ):
        chunks = lazrs.read_chunk_table_only(content, lazrs.LazVlr(laszip))
    return _ChunkTable(at, [(int(points), int(size)) for points, size in chunks])


def _bytes_at(file: BufferedReader, name: str, at: int, size: int) -> bytes:
    file.seek(at)
    return read_exactly(file, size, name).tobytes()


def _refuse_misfit(
    name: str, header: LasHeader, packing: _Packing, table: _ChunkTable
) -> None:
    """Refuse chunks that do not hold the points, or do not reach up to the table.

    In a LAZ file the chunks lie one after the other, and the table after them.
    """
    chunks, variable = table.chunks, packing.chunk == _VARIABLE
    if variable:
        complete = sum(points for points, _ in chunks) == header.count
    else:
        complete = len(chunks) == -(-header.count // packing.chunk)
    if not complete:
        what = f"it does not hold the {header.count} points that the header claims"
        raise damaged_error(name, what, _TABLE_PLACE)
    if variable and any(n * header.record > _MAX_CHUNK for n, _ in chunks):
        raise damaged_error(name, "it claims a run too long to unpack", _TABLE_PLACE)
    if any(size < header.record for _, size in chunks):
        raise damaged_error(name, "it claims a run shorter than a point", _TABLE_PLACE)
    reach = header.start + 8 + sum(size for _, size in chunks)
    if reach != table.start:
        what = f"its runs reach to byte {reach}, but it starts at byte {table.start}"
        raise damaged_error(name, what, _TABLE_PLACE)


def _refuse_layers(
    file: BufferedReader,
    name: str,
    header: LasHeader,
    packing: _Packing,
    table: _ChunkTable,
) -> None:
    """Refuse a chunk whose layers are together longer than the chunk."""
    at, first = header.start + 8, 0
    # A chunk: its first point unpacked, its count, the sizes of its layers, the layers.
    head = header.record + 4 + 4 * packing.layers
    for points, size in table.chunks:
        sizes = _bytes_at(file, name, at + header.record + 4, 4 * packing.layers)
        claimed = head + sum(struct.unpack(f"<{packing.layers}I", sizes))
        if claimed > size:
            what = f"the packed run claims {claimed} bytes and has {size}"
            raise damaged_error(name, what, f"record {first}")
        at, first = at + size, first + points
