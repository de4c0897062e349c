"""``.las`` and ``.laz``: whole numbers with a scale, as laser scanners export them."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from typing import Any

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import damaged, faults_told, reading
from geom.readings.clouds.kept import only, plain
from geom.readings.clouds.las_header import read_las_header
from geom.readings.clouds.laz_runs import refuse_bad_runs
from geom.readings.clouds.source import Piece, Points, cut, never_none
from geom.units import Float


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
        return never_none(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        with reading(self.name) as file:
            reader = self._reader(file, piece.start)
            for first in range(piece.start, piece.stop, size):
                yield self._points(reader, first, min(size, piece.stop - first))

    def _reader(self, file: BufferedReader, first: int) -> Any:
        import laspy

        _quiet()
        wanted = laspy.DecompressionSelection.base().decompress_z().decompress_flags()
        with faults_told(lambda said: self._broken(said, first)):
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
        with faults_told(lambda said: self._broken(said, first)):
            read = reader.read_points(many)
            held = read.array
            withheld = np.asarray(read["withheld"]).astype(bool)
        if len(held) < many:
            raise self._broken("the file ends before", first + len(held))
        x, y, z = (plain(held[axis]) for axis in "XYZ")
        return only(Points(x, y, z, self.scale, self.offset), ~withheld)

    def _broken(self, said: str, first: int) -> InputError:
        what = f"the points from here on cannot be read ({said})"
        return damaged(self.name, what, f"record {first}")


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
