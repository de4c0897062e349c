"""Clouds that tell a test which process reads which piece, and when."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geom.readings.clouds import Piece, Points

#: Longest that a piece is held, seconds; a test that forgets it fails, but ends.
_HELD = 30.0


@dataclass(frozen=True)
class WatchedCloud:
    """A cloud that notes in a folder who begins a piece of it and who is through.

    While there is a file ``hold`` in the folder, whoever has begun a piece waits.
    """

    name: str
    source: Any
    folder: Path
    count: int | None = None
    millimetres: float | None = None
    station: tuple[float, float, float] | None = None

    def pieces(self, most: int) -> tuple[Piece, ...]:
        return tuple(self.source.pieces(most))

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        assert piece is not None
        (self.folder / f"{piece.start}-{os.getpid()}-begun").touch()
        ends = time.monotonic() + _HELD
        while (self.folder / "hold").exists() and time.monotonic() < ends:
            time.sleep(0.01)
        yield from self.source.chunks(size, piece)
        (self.folder / f"{piece.start}-{os.getpid()}-through").touch()

    def noted(self, what: str) -> set[tuple[int, int]]:
        """Pieces, by where they start, and processes that noted this of them."""
        names = (path.name.split("-") for path in self.folder.glob(f"*-{what}"))
        return {(int(start), int(process)) for start, process, _ in names}


@dataclass(frozen=True)
class DeadlyCloud(WatchedCloud):
    """A cloud that ends every process that reads it."""

    def chunks(self, size: int, piece: Piece | None = None) -> Iterator[Points]:
        assert piece is not None
        (self.folder / f"{piece.start}-{os.getpid()}-begun").touch()
        os.kill(os.getpid(), signal.SIGKILL)
        yield from self.source.chunks(size, piece)
