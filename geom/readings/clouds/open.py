"""Which cloud is read how: by the ending of its name."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path

from geom.design.text_file import join_words
from geom.errors import InputError, MissingExtra
from geom.readings.clouds.binary import file_length, open_binary
from geom.readings.clouds.e57 import open_e57
from geom.readings.clouds.las import open_las
from geom.readings.clouds.npy import open_npy
from geom.readings.clouds.ply import open_ply
from geom.readings.clouds.source import CloudSource
from geom.readings.clouds.text import open_text

_READERS: dict[str, Callable[[str], CloudSource]] = {
    ".xyz": open_text,
    ".txt": open_text,
    ".csv": open_text,
    ".ply": open_ply,
    ".las": open_las,
    ".laz": open_las,
    ".npy": open_npy,
    ".e57": open_e57,
}
#: Endings of files that may hold a point cloud; a ``.csv`` may be a rod sheet instead.
CLOUD_ENDINGS = tuple(_READERS)

#: How files of a kind begin, and what they should be named.
_BEGINNINGS = {
    b"LASF": (".las", ".laz"),
    b"ply\n": (".ply",),
    b"ply\r": (".ply",),
    b"\x93NUMPY": (".npy",),
    b"ASTM-E57": (".e57",),
    b"PK\x03\x04": (".zip",),
}


def open_cloud(path: str | os.PathLike[str]) -> CloudSource:
    """Open a point cloud; its points are read later, piece by piece.

    Parameters
    ----------
    path : path
        With one of `CLOUD_ENDINGS`; capitals do not matter.

    Raises
    ------
    InputError
        If the file cannot be read, is not what its ending says, is damaged or empty.
    MissingExtra
        Without the libraries that read and sum its points.
    """
    name = os.fspath(path)
    ending = Path(name).suffix.lower()
    if ending not in _READERS:
        named = f'the ending "{ending}"' if ending else "no ending"
        allowed = join_words(CLOUD_ENDINGS)
        what = f"a point cloud cannot have {named}; allowed are {allowed}"
        cure = "Export the cloud in one of these formats"
        raise InputError(what, file=name, cure=cure)
    file_length(name)
    _refuse_other_kind(name, ending)
    _need("numba")
    if _READERS[ending] is open_text:
        _need("polars")
    return _READERS[ending](name)


def _need(library: str) -> None:
    """Say at once that a library is not there, not after minutes of reading."""
    try:
        there = importlib.util.find_spec(library) is not None
    except ImportError:
        there = False
    if not there:
        raise MissingExtra(library, "cloud")


def _refuse_other_kind(name: str, ending: str) -> None:
    with open_binary(name) as file:
        begins = file.read(max(map(len, _BEGINNINGS)))
    for beginning, endings in _BEGINNINGS.items():
        if begins.startswith(beginning) and ending not in endings:
            what = f"it begins like a file that ends in {join_words(endings)}"
            zipped = ".zip" in endings
            cure = "Unpack it first" if zipped else "Give it the right ending"
            raise InputError(what, file=name, cure=cure)
