"""Deeds as a page would send them, numbered so that tests are the same every time."""

from __future__ import annotations

from geom.desk.entries import Deed, Event

TIME = "2026-01-05T06:30:00.000Z"


def deed(
    number: int,
    azimuth: str = "0",
    height: str = "600",
    text: str = "455",
    note: str = "",
    *,
    kind: Deed = "enter",
    entry: int | str | None = None,
) -> Event:
    """One deed; ``entry`` is the number of the reading, by default that of the deed."""
    about = number if entry is None else entry
    mark = about if isinstance(about, str) else f"reading-{about:04d}"
    return Event(f"deed-{number:06d}", mark, kind, azimuth, height, text, note, TIME)


def spread(count: int, *, radius: float = 455.0) -> list[Event]:
    """So many readings of a straight wall, round and round, each a bit other."""
    return [
        deed(
            k,
            azimuth=str(30 * (k % 12)),
            height=str(200 + 100 * (k // 12)),
            text=f"{radius + k % 7:g}",
        )
        for k in range(count)
    ]
