"""What results and the dataclasses in them print as."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any


def _inside(thing: Any, depth: int) -> Iterator[Any]:
    yield thing
    for part in fields(thing) if depth else ():
        held = getattr(thing, part.name)
        several = list(held.values() if isinstance(held, Mapping) else [held])
        if isinstance(held, tuple):
            several = list(held[:1])
        for one in several:
            if is_dataclass(one) and type(one).__module__.startswith("geom."):
                yield from _inside(one, depth - 1)


def reprs_of(*results: Any) -> dict[str, str]:
    """Of results and what they hold, two levels down, by class."""
    every = (thing for result in results for thing in _inside(result, 2))
    return {type(thing).__name__: repr(thing) for thing in every}


def long_reprs(*results: Any) -> dict[str, int]:
    """Classes that print more than five lines or a page, and how many letters."""
    return {
        name: len(text)
        for name, text in reprs_of(*results).items()
        if text.count("\n") > 4 or len(text) > 1500
    }
