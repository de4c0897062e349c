"""``.e57``: the scans of an E57 file, each put into the file's frame by its pose.

pye57 reads them.  ASTM E2807-11: a header of 48 bytes; pages of 1024 bytes, the last 4
of each a checksum; one section of XML that says what is in the file.  Header and XML
are checked before the library is let into the file.
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

#: Names of coordinates; a scan has all of the one or of the other kind.
CARTESIAN = ("cartesianX", "cartesianY", "cartesianZ")
SPHERICAL = ("sphericalRange", "sphericalAzimuth", "sphericalElevation")

_INVALID = {CARTESIAN: "cartesianInvalidState", SPHERICAL: "sphericalInvalidState"}
_MAX_READ = 262_144  # points at once
_LENGTH_TOLERANCE = 1e-3  # of a unit quaternion's length, for rounding
#: Signature, major and minor version, length of the file, place and length of the XML,
#: size of a page.
_HEADER = struct.Struct("<8sIIQQQQ")
_PAGE, _PAYLOAD = 1024, 1020  # bytes of a page; without its checksum
_MAX_XML = 64 * 1024 * 1024  # bytes


@dataclass(frozen=True)
class E57Scan:
    """A scan of the file.

    Attributes
    ----------
    fields : tuple of three names
        `CARTESIAN` or `SPHERICAL`.
    invalid : str or None
        Field that tells points without a place, where there is one.
    rotation : array (3, 3)
    translation : array (3,), metres
        A point p of the scan lies at ``rotation @ p + translation`` in the file's
        frame.
    has_pose : bool
        Whether the file gives the translation.
    """

    index: int
    count: int
    fields: tuple[str, str, str]
    invalid: str | None
    rotation: Float
    translation: Float
    has_pose: bool

    @property
    def wanted(self) -> list[str]:
        """All fields to be read."""
        return [*self.fields, *([self.invalid] if self.invalid else [])]

    def to_file_frame(self, a: Float, b: Float, c: Float) -> tuple[Float, Float, Float]:
        """Put points into the file's frame.

        Parameters
        ----------
        a, b, c : arrays (n,)
            x, y, z; or range, azimuth and elevation in radians (ASTM E2807-11).
        """
        if self.fields == SPHERICAL:
            level = a * np.cos(c)
            a, b, c = level * np.cos(b), level * np.sin(b), a * np.sin(c)
        if not self.translation.any() and (self.rotation == np.eye(3)).all():
            return a, b, c
        x, y, z = (
            row[0] * a + row[1] * b + row[2] * c + shift
            for row, shift in zip(self.rotation, self.translation, strict=True)
        )
        return x, y, z


@dataclass(frozen=True)
class E57Cloud:
    """All scans of an E57 file.

    A scan can only be read from its start, so a piece is made of whole scans.

    Attributes
    ----------
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
        if len(self.scans) != 1 or not self.scans[0].has_pose:
            return None
        x, y, z = map(float, self.scans[0].translation)
        return x, y, z

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Put scans together up to ``most`` points; a longer scan stands alone."""
        edges, points = [0], 0
        for place, scan in enumerate(self.scans):
            if points and points + scan.count > most:
                edges.append(place)
                points = 0
            points += scan.count
        return tuple(map(Piece, edges, [*edges[1:], len(self.scans)]))

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece, in metres."""
        whole = piece or Piece(0, len(self.scans))
        return refuse_empty(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        for scan in self.scans[piece.start : piece.stop]:
            with _opened(self.name) as file:
                yield from _points(file, self.name, scan, min(size, _MAX_READ))


def open_e57(name: str) -> E57Cloud:
    """Open an E57 file; nothing but what describes its scans is read.

    Raises
    ------
    InputError
        If it is none, is damaged, or a scan has no coordinates.
    MissingExtra
        If the library that reads E57 is not installed.
    """
    _refuse_bad_container(name)
    with _opened(name) as file:
        with library_errors(lambda message: _unreadable(name, message)):
            count = len(file.data3d) if file.root.isDefined("data3D") else 0
        scans = [_scan(file, name, index) for index in range(count)]
    if not any(scan.count for scan in scans):
        raise no_points_error(name)
    return E57Cloud(name, tuple(scan for scan in scans if scan.count))


def _refuse_bad_container(name: str) -> None:
    """Check header and XML of an E57 file.

    Raises
    ------
    InputError
        If it is none, is not as long as it says, or its XML declares entities, which
        may unfold without end.
    """
    end = file_length(name)
    with open_binary(name) as file:
        start = file.read(_HEADER.size)
        if not start.startswith(b"ASTM-E57"):
            raise damaged_error(name, 'it does not begin with "ASTM-E57"', "byte 0")
        if end < _HEADER.size:
            raise truncated_error(name, end, _HEADER.size)
        _, major, _, length, xml, xml_length, page = _HEADER.unpack(start)
        if major != 1 or page != _PAGE:
            what = f"it is E57 version {major} in pages of {page} bytes"
            cure = "Export the cloud as E57 version 1"
            raise InputError(what, file=name, place="its header", cure=cure)
        if end < length:
            raise truncated_error(name, end, length)
        pages = -(-(xml % _PAGE + xml_length) // _PAYLOAD)
        first = xml - xml % _PAGE
        if end != length or xml_length > _MAX_XML or first + pages * _PAGE > end:
            what = (
                f"it says to be {length} bytes long, with {xml_length} bytes of XML "
                f"from byte {xml} on; it is {end} bytes long"
            )
            raise damaged_error(name, what, "its header")
        file.seek(first)
        text = read_exactly(file, pages * _PAGE, name)
    payload = np.ascontiguousarray(text.reshape(-1, _PAGE)[:, :_PAYLOAD]).tobytes()
    if b"<!" in payload[xml % _PAGE :][:xml_length].replace(b"<![CDATA[", b"<"):
        what = "its XML declares more than an E57 file may"
        raise damaged_error(name, what, f"byte {xml}")


@contextmanager
def _opened(name: str) -> Iterator[Any]:
    try:
        import pye57
    except ImportError as fault:
        raise MissingExtra("pye57", "e57") from fault
    with library_errors(lambda message: _unreadable(name, message)):
        file = pye57.E57(name)
    try:
        yield file
    finally:
        with suppress(Exception):  # nothing is lost: it was only read
            file.close()


def _unreadable(name: str, message: str, place: str = "its header") -> InputError:
    return damaged_error(name, f"the E57 file cannot be read ({message})", place)


def _scan(file: Any, name: str, index: int) -> E57Scan:
    place = f"scan {index + 1}"
    with library_errors(lambda message: _unreadable(name, message, place)):
        header = file.get_header(index)
        names = set(header.point_fields)
        count = int(header.point_count)
        rotation, translation = _pose(header.node)
        has_pose = bool(header.node.isDefined("pose/translation"))
    fields = next((f for f in (CARTESIAN, SPHERICAL) if names.issuperset(f)), None)
    if fields is None:
        what = "the scan has neither cartesian nor spherical coordinates"
        cure = "Export the cloud with coordinates"
        raise InputError(what, file=name, place=place, cure=cure)
    if count < 0:
        raise damaged_error(name, f"the scan claims {count} points", place)
    if not np.isfinite(translation).all() or not np.isfinite(rotation).all():
        raise damaged_error(name, "the scan's pose is no turn and shift", place)
    return E57Scan(
        index=index,
        count=count,
        fields=fields,
        invalid=invalid if (invalid := _INVALID[fields]) in names else None,
        rotation=rotation,
        translation=translation,
        has_pose=has_pose,
    )


def _pose(node: Any) -> tuple[Float, Float]:
    """Read rotation and translation of a scan; what is missing is none of either."""
    rotation, translation = np.eye(3), np.zeros(3)
    if node.isDefined("pose/rotation"):
        w, x, y, z = (_number(node, f"pose/rotation/{part}") for part in "wxyz")
        rotation = _rotation_matrix(w, x, y, z)
    if node.isDefined("pose/translation"):
        parts = [_number(node, f"pose/translation/{part}") for part in "xyz"]
        translation = np.array(parts)
    return rotation, translation


def _number(node: Any, path: str) -> float:
    *folders, last = path.split("/")
    for folder in folders:
        node = node[folder]
    return float(node[last].value())


def _rotation_matrix(w: float, x: float, y: float, z: float) -> Float:
    """Rotation matrix of a unit quaternion; NaN if it is none."""
    from scipy.spatial.transform import Rotation

    if not abs(np.sqrt(w * w + x * x + y * y + z * z) - 1.0) < _LENGTH_TOLERANCE:
        return np.full((3, 3), np.nan)
    return Rotation.from_quat([x, y, z, w]).as_matrix()


def _points(file: Any, name: str, scan: E57Scan, size: int) -> Iterator[Points]:
    """Read the points of a scan, some at a time into the same buffers."""
    place, at = f"scan {scan.index + 1}", 0

    def as_error(message: str) -> InputError:
        return _unreadable(name, message, f"{place}, record {at}")

    with library_errors(as_error):
        buffer, buffers = file.make_buffers(scan.wanted, min(size, scan.count))
        reader = file.get_header(scan.index).points.reader(buffers)
    try:
        while at < scan.count:
            with library_errors(as_error):
                read = int(reader.read())
            if read == 0:
                what = f"the scan ends here, but it promises {scan.count} points"
                raise damaged_error(name, what, f"{place}, record {at}")
            a, b, c, *invalid = (buffer[field][:read] for field in scan.wanted)
            valid = ~np.any(invalid, axis=0) if invalid else np.ones(read, bool)
            with np.errstate(invalid="ignore", over="ignore"):
                xyz = scan.to_file_frame(a[valid], b[valid], c[valid])
            yield finite_points(*xyz)
            at += read
    finally:
        with suppress(Exception):
            reader.close()
