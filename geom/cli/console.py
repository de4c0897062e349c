"""Words on a console that knows few characters.

On Windows, or where a script reads what is printed, standard output may know no more
than Latin letters, or ASCII.  What it does not know is written another way there; a
document stays JSON, with its characters escaped.
"""

from __future__ import annotations

import codecs
import json
import re
import sys
import unicodedata

#: What stands for a character, where it is not its plain form in Unicode.
_PLAIN = {
    "°": "deg", "º": "deg", "³": "3", "²": "2", "−": "-", "–": "-", "×": "x",
    "…": "...", "≤": "<=", "≥": ">=", "±": "+/-", "√": "sqrt", "─": "-", "━": "-",
    "│": "|", "└": "+", "├": "+", "’": "'", "‘": "'", "“": '"', "”": '"',
}  # fmt: skip


def plain(text: str) -> str:
    """A text in ASCII.

    Examples
    --------
    >>> plain("0.04 m³ at 30°, 18⅜ in; Gießerei №2")
    '0.04 m3 at 30deg, 18 3/8 in; Gie?erei No2'
    """
    return "".join(one if one.isascii() else _plain_one(one) for one in text)


def _plain_one(character: str) -> str:
    if character in _PLAIN:
        return _PLAIN[character]
    form = unicodedata.normalize("NFKD", character).replace("\N{FRACTION SLASH}", "/")
    letters = "".join(one for one in form if one.isascii())
    return (f" {letters}" if "/" in letters else letters) or "?"


def print_json(text: str) -> None:
    """A document on standard output, escaped where that cannot show it as it is."""
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        text = re.sub(r"[^\x00-\x7f]", lambda one: json.dumps(one[0])[1:-1], text)
    sys.stdout.write(text)


def never_fail() -> None:
    """Let standard output and error write `plain` what they do not know."""
    codecs.register_error("daubline", _replaced)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure") and "utf" not in (stream.encoding or ""):
            stream.reconfigure(errors="daubline")


def _replaced(fault: UnicodeError) -> tuple[str, int]:
    """What `codecs.register_error` asks for."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    return plain(fault.object[fault.start : fault.end]), fault.end
