"""The header of a PLY file: which elements it holds, and how they are written."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from io import BufferedReader
from typing import Any

import numpy as np

from geom.readings.clouds.files import damaged

ASCII, LITTLE, BIG = "ascii", "binary_little_endian", "binary_big_endian"

_LONGEST = 64 * 1024
_END = re.compile(rb"\nend_header[ \t]*\r?\n")
_COUNT = re.compile(r"\d{1,15}")
_KINDS = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4",
    "uint": "u4", "float": "f4", "double": "f8",
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4",
    "uint32": "u4", "float32": "f4", "float64": "f8",
}  # fmt: skip


@dataclass(frozen=True)
class Property:
    """A property of an element.

    Attributes
    ----------
    name : str
    kind : dtype
        Of the number; of a list, that of its length.
    is_list : bool
    """

    name: str
    kind: np.dtype[Any]
    is_list: bool = False


@dataclass(frozen=True)
class Element:
    """An element: its name, how many of it there are, and what each holds."""

    name: str
    count: int
    properties: tuple[Property, ...] = ()

    @property
    def fixed(self) -> bool:
        """Whether each of them is as long as the other."""
        return not any(p.is_list for p in self.properties)

    @property
    def least(self) -> int:
        """Bytes that each takes in binary, lists taken as empty."""
        return sum(p.kind.itemsize for p in self.properties)

    def offset(self, index: int) -> int:
        """Byte of a property in the element, in binary."""
        return sum(p.kind.itemsize for p in self.properties[:index])

    def index(self, name: str) -> int | None:
        """Place of a property among the properties."""
        names = [p.name for p in self.properties]
        return names.index(name) if name in names else None


@dataclass(frozen=True)
class PlyHeader:
    """What a header says.

    Attributes
    ----------
    form : str
        ``ascii``, ``binary_little_endian`` or ``binary_big_endian``.
    elements : tuple of Element
    start : int
        Byte after the header.
    """

    form: str
    elements: tuple[Element, ...]
    start: int


def read_ply_header(file: BufferedReader, name: str) -> PlyHeader:
    """Read a header.

    Raises
    ------
    InputError
        If it does not end within 64 KiB, or a line of it is not understood.
    """
    content = file.read(_LONGEST)
    if not content.startswith((b"ply\n", b"ply\r\n")):
        raise damaged(name, 'it does not begin with "ply" as a PLY file does', "byte 0")
    if (end := _END.search(content)) is None:
        raise damaged(name, "the header has no end up to here", f"byte {len(content)}")
    lines = content[: end.start()].decode("ascii", "replace").split("\n")
    form, elements = "", list[Element]()
    for number, line in enumerate(lines[1:], 2):
        try:
            form = _read_line(line.split(), form, elements)
        except (ValueError, KeyError, IndexError) as fault:
            what = f'"{_shown(line)}" is not understood'
            raise damaged(name, what, f"line {number}") from fault
    if not form:
        raise damaged(name, "the header does not say its format", "its header")
    big = form == BIG
    return PlyHeader(form, tuple(_turned(e, big=big) for e in elements), end.end())


def _read_line(words: list[str], form: str, elements: list[Element]) -> str:
    """Take in one line; give the format as far as it is known."""
    match words:
        case [] | ["comment" | "obj_info", *_]:
            pass
        case ["format", found, "1.0"] if found in (ASCII, LITTLE, BIG) and not form:
            return found
        case ["element", name, count] if _COUNT.fullmatch(count):
            if name in (e.name for e in elements):
                raise ValueError(name)
            elements.append(Element(name, int(count)))
        case ["property", "list", length, number, name] if number in _KINDS:
            _add(elements, Property(name, np.dtype(_KINDS[length]), is_list=True))
        case ["property", number, name]:
            _add(elements, Property(name, np.dtype(_KINDS[number])))
        case _:
            raise ValueError(words)
    return form


def _add(elements: list[Element], new: Property) -> None:
    last = elements[-1]
    if last.index(new.name) is not None:
        raise ValueError(new.name)
    elements[-1] = replace(last, properties=(*last.properties, new))


def _turned(element: Element, *, big: bool) -> Element:
    """Give the numbers of an element the byte order of the file."""
    turned = tuple(
        replace(p, kind=p.kind.newbyteorder(">" if big else "<"))
        for p in element.properties
    )
    return replace(element, properties=turned)


def _shown(line: str) -> str:
    return "".join(c if c.isprintable() else " " for c in line.strip())[:40]
