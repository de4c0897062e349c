"""The table of a LAZ file that tells how long each packed run of points is.

It is checked before anything is unpacked: the library that unpacks sets aside as much
memory as it is told to, and ends the program where there is less.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from io import BufferedReader

from geom.errors import InputError
from geom.readings.clouds.files import (
    cut_off,
    damaged,
    faults_told,
    read_exactly,
    reading,
)
from geom.readings.clouds.las_header import LasHeader

_FIXED = struct.Struct("<HHBBHIIqqH")
_ITEM = struct.Struct("<HHH")
_VARIABLE = 0xFFFFFFFF
_AT_ONCE = 256 * 1024**2
#: Layers that each kind of item is packed in, past the 14th generation of them; of
#: plain bytes (14), one for each.
_LAYERS = {10: 9, 11: 1, 12: 2, 13: 1}
_POINTWISE, _LAYERED = 2, 3
_PLACE = "its table of packed runs"


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
    packing = _packing(name, header)
    with reading(name) as file:
        table = _table(file, name, header)
        _refuse_misfit(name, header, packing, table)
        if packing.compressor == _LAYERED:
            _refuse_layers(file, name, header, packing, table)
    return 1 if packing.run == _VARIABLE else packing.run


def _packing(name: str, header: LasHeader) -> _Packing:
    said = header.packed or b""
    if len(said) < _FIXED.size:
        raise damaged(name, "the record about packing is too short", "its header")
    compressor, coder, *_, run, _, _, many = _FIXED.unpack_from(said)
    if len(said) != _FIXED.size + many * _ITEM.size:
        raise damaged(name, "the record about packing is no such", "its header")
    items = list(_ITEM.iter_unpack(said[_FIXED.size :]))
    if sum(size for _, size, _ in items) != header.record:
        what = f"packed are other than {header.record} bytes a point"
        raise damaged(name, what, "its header")
    if compressor not in (_POINTWISE, _LAYERED) or coder != 0:
        what = f"its points are packed in a way not known ({compressor}, {coder})"
        cure = "Export the cloud as LAZ 1.4 or LAS"
        raise InputError(what, file=name, place="its header", cure=cure)
    if run == 0 or (run != _VARIABLE and run * header.record > _AT_ONCE):
        raise damaged(name, f"it claims runs of {run} packed points", "its header")
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
        raise damaged(name, f"it is said to start at byte {at}", _PLACE)
    if at + 8 > header.ends:
        raise cut_off(name, header.ends, at + 8)
    file.seek(at)
    _, many = struct.unpack("<II", read_exactly(file, 8, name).tobytes())
    if many == 0 or many * header.record > at - header.start:
        what = f"it claims {many} runs in {at - header.start} bytes"
        raise damaged(name, what, _PLACE)
    file.seek(at)
    told = io.BytesIO(file.read(8 + 16 * many + 64))

    def broken(said: str) -> InputError:
        return damaged(name, f"it cannot be read ({said})", f"byte {at}, {_PLACE}")

    with faults_told(broken):
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
        raise damaged(name, what, _PLACE)
    if packing.run == _VARIABLE and any(n * header.record > _AT_ONCE for n, _ in runs):
        raise damaged(name, "it claims a run too long to unpack", _PLACE)
    if any(long < header.record for _, long in runs):
        raise damaged(name, "it claims a run shorter than a point", _PLACE)
    reach = header.start + 8 + sum(long for _, long in runs)
    if reach != table.start:
        what = f"its runs reach to byte {reach}, but it starts at byte {table.start}"
        raise damaged(name, what, _PLACE)


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
            raise damaged(name, what, f"record {first}")
        at, first = at + long, first + points
