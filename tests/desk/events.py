"""Events as a page would send them, numbered so that tests are the same every time."""

from __future__ import annotations

from geom.desk.entries import Event, Operation

TIME = "2026-01-05T06:30:00.000Z"


def event(
    number: int,
    azimuth: str = "0",
    height: str = "600",
    text: str = "455",
    note: str = "",
    *,
    kind: Operation = "enter",
    entry: int | str | None = None,
) -> Event:
    """One event; ``entry`` is the number of its reading, by default its own."""
    about = number if entry is None else entry
    entry_id = about if isinstance(about, str) else f"reading-{about:04d}"
    return Event(
        f"deed-{number:06d}", entry_id, kind, azimuth, height, text, note, TIME
    )


def message(event: Event) -> dict[str, str]:
    """An event as the page sends it."""
    fields = vars(event)
    return {"deed" if name == "operation" else name: fields[name] for name in fields}


def spread(count: int, *, radius: float = 455.0) -> list[Event]:
    """So many readings of a straight wall, round and round, each a bit other."""
    return [
        event(
            k,
            azimuth=str(30 * (k % 12)),
            height=str(200 + 100 * (k // 12)),
            text=f"{radius + k % 7:g}",
        )
        for k in range(count)
    ]
