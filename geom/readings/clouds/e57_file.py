"""The shell of an E57 file: its header, and the XML that says what is in it.

ASTM E2807-11: a header of 48 bytes; pages of 1024 bytes, the last 4 of each a checksum;
one section of XML.  Both are looked at before a library is let into the file.
"""

from __future__ import annotations

import struct

import numpy as np

from geom.errors import InputError
from geom.readings.clouds.files import (
    cut_off,
    damaged,
    length_of,
    read_exactly,
    reading,
)

_HEADER = struct.Struct("<8sIIQQQQ")
_PAGE, _CHECKED = 1024, 1020
_LARGEST_XML = 64 * 1024 * 1024


def refuse_bad_shell(name: str) -> None:
    """Check header and XML of an E57 file.

    Raises
    ------
    InputError
        If it is none, is not as long as it says, or its XML declares entities, which
        may unfold without end.
    """
    ends = length_of(name)
    with reading(name) as file:
        start = file.read(_HEADER.size)
        if not start.startswith(b"ASTM-E57"):
            raise damaged(name, 'it does not begin with "ASTM-E57"', "byte 0")
        if ends < _HEADER.size:
            raise cut_off(name, ends, _HEADER.size)
        _, major, _, long, xml, xml_long, page = _HEADER.unpack(start)
        if major != 1 or page != _PAGE:
            what = f"it is E57 version {major} in pages of {page} bytes"
            cure = "Export the cloud as E57 version 1"
            raise InputError(what, file=name, place="its header", cure=cure)
        if ends < long:
            raise cut_off(name, ends, long)
        pages = -(-(xml % _PAGE + xml_long) // _CHECKED)
        first = xml - xml % _PAGE
        if ends != long or xml_long > _LARGEST_XML or first + pages * _PAGE > ends:
            what = (
                f"it says to be {long} bytes long, with {xml_long} bytes of XML from "
                f"byte {xml} on; it is {ends} bytes long"
            )
            raise damaged(name, what, "its header")
        file.seek(first)
        text = read_exactly(file, pages * _PAGE, name)
    plain = np.ascontiguousarray(text.reshape(-1, _PAGE)[:, :_CHECKED]).tobytes()
    if b"<!" in plain[xml % _PAGE :][:xml_long].replace(b"<![CDATA[", b"<"):
        what = "its XML declares more than an E57 file may"
        raise damaged(name, what, f"byte {xml}")
