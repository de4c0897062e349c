"""``.e57``: the scans of an E57 file, each put into the file's frame by its pose.

The shell of an E57 file: its header, and the XML that says what is in it.

ASTM E2807-11: a header of 48 bytes; pages of 1024 bytes, the last 4 of each a checksum;
one section of XML.  Both are looked at before a library is let into the file.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.errors import InputError, MissingExtra
from geom.readings.clouds.binary import (
    damaged_error,
    file_length,
    finite_points,
    library_errors,
    open_binary,
    read_exactly,
    truncated_error,
)
from geom.readings.clouds.source import Piece, Points, no_points_error, refuse_empty
from geom.units import Float

_HEADER = struct.Struct("<8sIIQQQQ")
_PAGE, _CHECKED = 1024, 1020
_LARGEST_XML = 64 * 1024 * 1024


def refuse_bad_shell(name: str) -> None:
    """Check header and XML of an E57 file.

    Raises
    ------
    InputError
        If it is none, is not as long as it says, or its XML declares entities, which
        may unfold without end.
    """
    ends = file_length(name)
    with open_binary(name) as file:
        start = file.read(_HEADER.size)
        if not start.startswith(b"ASTM-E57"):
            raise damaged_error(name, 'it does not begin with "ASTM-E57"', "byte 0")
        if ends < _HEADER.size:
            raise truncated_error(name, ends, _HEADER.size)
        _, major, _, long, xml, xml_long, page = _HEADER.unpack(start)
        if major != 1 or page != _PAGE:
            what = f"it is E57 version {major} in pages of {page} bytes"
            cure = "Export the cloud as E57 version 1"
            raise InputError(what, file=name, place="its header", cure=cure)
        if ends < long:
            raise truncated_error(name, ends, long)
        pages = -(-(xml % _PAGE + xml_long) // _CHECKED)
        first = xml - xml % _PAGE
        if ends != long or xml_long > _LARGEST_XML or first + pages * _PAGE > ends:
            what = (
                f"it says to be {long} bytes long, with {xml_long} bytes of XML from "
                f"byte {xml} on; it is {ends} bytes long"
            )
            raise damaged_error(name, what, "its header")
        file.seek(first)
        text = read_exactly(file, pages * _PAGE, name)
    plain = np.ascontiguousarray(text.reshape(-1, _PAGE)[:, :_CHECKED]).tobytes()
    if b"<!" in plain[xml % _PAGE :][:xml_long].replace(b"<![CDATA[", b"<"):
        what = "its XML declares more than an E57 file may"
        raise damaged_error(name, what, f"byte {xml}")


CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")
_INVALID = {CARTESIAN: "cartesianInvalidState", SPHERICAL: "sphericalInvalidState"}
_AT_ONCE = 262_144
_TURN_OFF = 1e-3  # how far from 1 the length of a turn may be, for rounding


@dataclass(frozen=True)
class E57Scan:
    """A scan of the file.

    Attributes
    ----------
    index : int
    count : int
    fields : tuple of three names
        `CARTESIAN` or `SPHERICAL`.
    invalid : str or None
        Field that tells points without a place, where there is one.
    turn : array (3, 3)
    shift : array (3,), metres
        A point p of the scan lies at ``turn @ p + shift`` in the file's frame.
    posed : bool
        Whether the file gives the shift.
    """

    index: int
    count: int
    fields: tuple[str, str, str]
    invalid: str | None
    turn: Float
    shift: Float
    posed: bool

    @property
    def wanted(self) -> list[str]:
        """All fields to be read."""
        return [*self.fields, *([self.invalid] if self.invalid else [])]

    def placed(self, a: Float, b: Float, c: Float) -> tuple[Float, Float, Float]:
        """Put points into the file's frame.

        Parameters
        ----------
        a, b, c : arrays (n,)
            x, y, z; or range, azimuth and elevation in radians (ASTM E2807-11).
        """
        if self.fields == SPHERICAL:
            level = a * np.cos(c)
            a, b, c = level * np.cos(b), level * np.sin(b), a * np.sin(c)
        if not self.shift.any() and (self.turn == np.eye(3)).all():
            return a, b, c
        x, y, z = (
            row[0] * a + row[1] * b + row[2] * c + shift
            for row, shift in zip(self.turn, self.shift, strict=True)
        )
        return x, y, z


@dataclass(frozen=True)
class E57Cloud:
    """All scans of an E57 file.

    A scan can only be read from its start, so a piece is made of whole scans.

    Attributes
    ----------
    name : str
    scans : tuple of Scan
        Those that hold points.
    """

    name: str
    scans: tuple[E57Scan, ...]
    millimetres: float | None = 1000.0

    @property
    def count(self) -> int:
        """Points of all scans, invalid ones among them."""
        return sum(scan.count for scan in self.scans)

    @property
    def station(self) -> tuple[float, float, float] | None:
        """Where the scanner stood, if the file holds one scan and gives its pose."""
        if len(self.scans) != 1 or not self.scans[0].posed:
            return None
        x, y, z = map(float, self.scans[0].shift)
        return x, y, z

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Put scans together up to ``most`` points; a longer scan stands alone."""
        edges, held = [0], 0
        for place, scan in enumerate(self.scans):
            if held and held + scan.count > most:
                edges.append(place)
                held = 0
            held += scan.count
        return tuple(map(Piece, edges, [*edges[1:], len(self.scans)]))

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece, in metres."""
        whole = piece or Piece(0, len(self.scans))
        return refuse_empty(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        for scan in self.scans[piece.start : piece.stop]:
            with _opened(self.name) as file:
                yield from _points(file, self.name, scan, min(size, _AT_ONCE))


def open_e57(name: str) -> E57Cloud:
    """Open an E57 file; nothing but what describes its scans is read.

    Raises
    ------
    InputError
        If it is none, is damaged, or a scan has no coordinates.
    MissingExtra
        If the library that reads E57 is not installed.
    """
    refuse_bad_shell(name)
    with _opened(name) as file:
        with library_errors(lambda said: _unread(name, said)):
            many = len(file.data3d) if file.root.isDefined("data3D") else 0
        scans = [_scan(file, name, index) for index in range(many)]
    if not any(scan.count for scan in scans):
        raise no_points_error(name)
    return E57Cloud(name, tuple(scan for scan in scans if scan.count))


@contextmanager
def _opened(name: str) -> Iterator[Any]:
    try:
        import pye57
    except ImportError as fault:
        raise MissingExtra("pye57", "e57") from fault
    with library_errors(lambda said: _unread(name, said)):
        file = pye57.E57(name)
    try:
        yield file
    finally:
        with suppress(Exception):  # nothing is lost: it was only read
            file.close()


def _unread(name: str, said: str, place: str = "its header") -> InputError:
    return damaged_error(name, f"the E57 file cannot be read ({said})", place)


def _scan(file: Any, name: str, index: int) -> E57Scan:
    place = f"scan {index + 1}"
    with library_errors(lambda said: _unread(name, said, place)):
        header = file.get_header(index)
        there = set(header.point_fields)
        count = int(header.point_count)
        turn, shift = _pose(header.node)
        posed = bool(header.node.isDefined("pose/translation"))
    fields = next((f for f in (CARTESIAN, SPHERICAL) if there.issuperset(f)), None)
    if fields is None:
        what = "the scan has neither cartesian nor spherical coordinates"
        cure = "Export the cloud with coordinates"
        raise InputError(what, file=name, place=place, cure=cure)
    if count < 0:
        raise damaged_error(name, f"the scan claims {count} points", place)
    if not np.isfinite(shift).all() or not np.isfinite(turn).all():
        raise damaged_error(name, "the scan's pose is no turn and shift", place)
    return E57Scan(
        index=index,
        count=count,
        fields=fields,
        invalid=invalid if (invalid := _INVALID[fields]) in there else None,
        turn=turn,
        shift=shift,
        posed=posed,
    )


def _pose(node: Any) -> tuple[Float, Float]:
    """Read turn and shift of a scan; what is not there is none of either."""
    turn, shift = np.eye(3), np.zeros(3)
    if node.isDefined("pose/rotation"):
        turn = _turn(*(_number(node, f"pose/rotation/{part}") for part in "wxyz"))
    if node.isDefined("pose/translation"):
        shift = np.array([_number(node, f"pose/translation/{part}") for part in "xyz"])
    return turn, shift


def _number(node: Any, path: str) -> float:
    *folders, last = path.split("/")
    for folder in folders:
        node = node[folder]
    return float(node[last].value())


def _turn(w: float, x: float, y: float, z: float) -> Float:
    """Rotation matrix of a unit quaternion; NaN if it is none."""
    length = float(np.sqrt(w * w + x * x + y * y + z * z))
    if not abs(length - 1.0) < _TURN_OFF:
        return np.full((3, 3), np.nan)
    w, x, y, z = w / length, x / length, y / length, z / length
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _points(file: Any, name: str, scan: E57Scan, size: int) -> Iterator[Points]:
    """Read the points of a scan, some at a time into the same buffers."""
    place, at = f"scan {scan.index + 1}", 0

    def told(said: str) -> InputError:
        return _unread(name, said, f"{place}, record {at}")

    with library_errors(told):
        held, buffers = file.make_buffers(scan.wanted, min(size, scan.count))
        reader = file.get_header(scan.index).points.reader(buffers)
    try:
        while at < scan.count:
            with library_errors(told):
                many = int(reader.read())
            if many == 0:
                what = f"the scan ends here, but it promises {scan.count} points"
                raise damaged_error(name, what, f"{place}, record {at}")
            a, b, c, *invalid = (held[field][:many] for field in scan.wanted)
            good = ~np.any(invalid, axis=0) if invalid else np.ones(many, bool)
            with np.errstate(invalid="ignore", over="ignore"):
                placed = scan.placed(a[good], b[good], c[good])
            yield finite_points(*placed)
            at += many
    finally:
        with suppress(Exception):
            reader.close()
