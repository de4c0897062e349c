"""A text of points: ``.xyz``, ``.txt``, ``.csv``, and the body of an ASCII PLY."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader

from geom.errors import InputError
from geom.readings.clouds.files import damaged, length_of, reading
from geom.readings.clouds.kept import finite
from geom.readings.clouds.source import Piece, Points, cut, never_none
from geom.readings.clouds.text_head import LONGEST_LINE, bad_row, read_head, too_long
from geom.readings.clouds.text_rows import Layout, first_bad_line, read_rows

#: Bytes read at once: enough for all threads, few enough for the processor's cache.
_BLOCK = 4 * 1024 * 1024
_SAMPLE = 64 * 1024


@dataclass(frozen=True)
class TextCloud:
    """A cloud in rows of text.

    A row belongs to the piece that its first byte lies in.

    Attributes
    ----------
    name : str
    start, stop : int
        Bytes between which the rows lie.
    layout : Layout
    row_bytes : float
        Length of a row, about.
    """

    name: str
    start: int
    stop: int
    layout: Layout
    row_bytes: float
    count: int | None = None
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        """Cut the text into parts of about ``most`` rows."""
        return cut(Piece(self.start, self.stop), most * self.row_bytes)

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        """Read the points, or those of a piece."""
        whole = piece or Piece(self.start, self.stop)
        return never_none(self._runs(max(1, size), whole), self.name, piece)

    def _runs(self, size: int, piece: Piece) -> Iterator[Points]:
        block_bytes = min(_BLOCK, max(_SAMPLE, int(size * self.row_bytes)))
        for start, block in self._blocks(block_bytes, piece):
            if (rows := read_rows(block, self.layout)) is None:
                raise self._bad_row(start, block)
            for first in range(0, rows[0].size, size):
                yield finite(*(column[first : first + size] for column in rows))

    def _blocks(self, long: int, piece: Piece) -> Iterator[tuple[int, bytes]]:
        """Give whole lines, some at a time, each time with the byte they start at."""
        with reading(self.name) as file:
            at = self._first_line(file, piece.start)
            while at < piece.stop:
                block = file.read(min(long, piece.stop - at))
                if not block.endswith(b"\n"):
                    block += self._rest_of_line(file, at, block)
                yield at, block
                at += len(block)

    def _first_line(self, file: BufferedReader, byte: int) -> int:
        """Go to the first line that starts at a byte or after it."""
        if byte <= self.start:
            return file.seek(self.start)
        file.seek(byte - 1)
        if not self._rest_of_line(file, byte - 1, b"").endswith(b"\n"):
            return self.stop
        return file.tell()

    def _rest_of_line(self, file: BufferedReader, at: int, block: bytes) -> bytes:
        rest = file.readline(LONGEST_LINE)
        if len(rest) == LONGEST_LINE:
            raise too_long(self.name, self._line(at, block))
        if not block + rest:
            what = "the file became shorter while it was read"
            raise damaged(self.name, what, f"byte {at}")
        return rest

    def _bad_row(self, start: int, block: bytes) -> InputError:
        before, line = first_bad_line(block, self.layout)
        return bad_row(self.name, self._line(start, b"") + before, line)

    def _line(self, byte: int, block: bytes) -> int:
        """Number of the line that a byte of the file lies in, after some more of it."""
        number = 1 + block.count(b"\n")
        with reading(self.name) as file:
            while byte > 0 and (before := file.read(min(byte, _BLOCK))):
                number += before.count(b"\n")
                byte -= len(before)
        return number


def open_text(name: str) -> TextCloud:
    """Open a text of points; nothing but its head is read.

    Raises
    ------
    InputError
        If it is none.
    """
    head = read_head(name)
    stop = length_of(name)
    return TextCloud(
        name=name,
        start=head.start,
        stop=stop,
        layout=head.layout,
        row_bytes=row_bytes(name, head.start, stop),
        millimetres=head.millimetres,
    )


def row_bytes(name: str, start: int, stop: int) -> float:
    """How long a row is, about, from the first rows."""
    with reading(name) as file:
        file.seek(start)
        some = file.read(min(_SAMPLE, stop - start))
    return max(2.0, len(some) / max(1, some.count(b"\n")))
