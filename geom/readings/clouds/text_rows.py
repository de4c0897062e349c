"""Rows of a text with x, y and z in three of its columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.units import Float

Rows = tuple[Float, Float, Float]

_BLANKS = b" \t\r"
_SAMPLE = 4096  # bytes that tell whether the rest is worth reading as it is


@dataclass(frozen=True)
class Layout:
    """How a row is written.

    Attributes
    ----------
    mark : str
        What separates its columns: ``,``, ``;``, a tab, or a blank, which stands for
        any run of blanks and tabs.
    columns : (x, y, z)
        Which columns those are, from 0.
    silent : bool
        Whether blank lines and lines that start with ``#`` or ``//`` are passed over.
    """

    mark: str
    columns: tuple[int, int, int] = (0, 1, 2)
    silent: bool = True


def read_rows(block: bytes, layout: Layout) -> Rows | None:
    """Read whole lines.

    Parameters
    ----------
    block : bytes
    layout : Layout

    Returns
    -------
    x, y, z : arrays (n,), or None
        None if some line is no such row; see `first_bad_line`.
    """
    some = block[: block.find(b"\n", _SAMPLE) + 1]
    if _parsed(some, layout) is not None:
        rows = _parsed(block, layout)
        if rows is not None:
            return rows
    return _parsed(_tidy(block, layout), layout)


def first_bad_line(block: bytes, layout: Layout) -> tuple[int, bytes]:
    """Find the first line that is no row: how many lines are before it, and the line.

    Parameters
    ----------
    block : bytes
        Lines of which one at least is none.
    layout : Layout
    """
    lines = block.split(b"\n")
    good, bad = 0, len(lines)
    while bad - good > 1:
        middle = (good + bad) // 2
        if read_rows(b"\n".join([*lines[good:middle], b""]), layout) is None:
            bad = middle
        else:
            good = middle
    return good, lines[good]


def _parsed(block: bytes, layout: Layout) -> Rows | None:
    """Read lines that are written without superfluous blanks."""
    import polars as pl

    if not block:
        empty = np.empty(0)
        return empty, empty, empty
    names = [f"column_{n + 1}" for n in range(max(layout.columns) + 1)]
    wanted = [names[column] for column in layout.columns]
    kinds: dict[str, Any] = {n: pl.Float64 if n in wanted else pl.String for n in names}
    try:
        frame = pl.read_csv(
            block,
            columns=wanted,
            has_header=False,
            separator=layout.mark,
            quote_char=None,
            schema=kinds,
            extra_columns="ignore",
            missing_columns="insert",
        )
    except pl.exceptions.PolarsError:
        return None
    columns = [frame[name] for name in wanted]
    if any(column.null_count() for column in columns):
        return None
    x, y, z = (column.to_numpy(writable=True) for column in columns)
    return x, y, z


def _tidy(block: bytes, layout: Layout) -> bytes:
    """Take superfluous blanks away, and lines that say nothing."""
    mark = layout.mark.encode()
    text = block.replace(b"\r\n", b"\n")
    if mark != b"\t":
        text = text.replace(b"\t", b" ")
    signs = np.frombuffer(text, np.uint8)
    superfluous = signs == ord(" ")
    before = superfluous | (signs == ord("\n")) | (signs == ord(mark))
    superfluous[1:] &= before[:-1]
    text = signs[~superfluous].tobytes()
    for end in {b"\n", mark} - {b" "}:
        text = text.replace(b" " + end, end)
    text = text.rstrip(b" ")
    return _speaking(text) if layout.silent else text


def _speaking(text: bytes) -> bytes:
    """Leave out blank and comment lines."""
    if b"#" in text or b"//" in text:
        lines = text.split(b"\n")
        text = b"\n".join(line for line in lines if not is_silent(line))
    while b"\n\n" in text:
        text = text.replace(b"\n\n", b"\n")
    return text.lstrip(b"\n")


def is_silent(line: bytes) -> bool:
    r"""Tell whether a line is blank or a comment.

    Examples
    --------
    >>> is_silent(b" // x y z"), is_silent(b"1 2 3 # near"), is_silent(b"\t")
    (True, False, True)
    """
    said = line.lstrip(_BLANKS)
    return not said or said.startswith((b"#", b"//"))
