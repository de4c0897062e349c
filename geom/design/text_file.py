"""A file that a person wrote: its bytes and text, or one sentence why not.

Also what helps to word such a sentence: the nearest known word, words in a row.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path

from geom.design.assumptions import ASSUMED
from geom.errors import InputError

#: Bytes past which a file is no design file and no rod sheet.
MAX_BYTES = 64 * 1024 * 1024

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


_SAVE = "Save it as plain text in UTF-8 (from a spreadsheet: as CSV UTF-8)"


_SAVE_FIRST = "Save what it holds to a file first"


def read_bytes(path: str | os.PathLike[str], *, largest: int = MAX_BYTES) -> bytes:
    """Read a whole file.

    Parameters
    ----------
    path : path
        Of the file.
    largest : int, bytes
        A longer file is refused, so that a wrong name cannot fill the memory.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        If there is no such file, or it is a folder, unreadable, empty or too long.
    """
    name = os.fspath(path)
    try:
        if Path(name).is_dir():
            raise InputError("this is a folder", file=name, cure="Name a file in it")
        if Path(name).exists() and not Path(name).is_file():
            raise InputError("it is no plain file", file=name, cure=_SAVE_FIRST)
        with Path(name).open("rb") as file:
            content = file.read(largest + 1)
    except FileNotFoundError as fault:
        cure = _suggestion(Path(name))
        raise InputError("there is no such file", file=name, cure=cure) from fault
    except (OSError, ValueError) as fault:
        if isinstance(fault, InputError):
            raise
        why = getattr(fault, "strerror", None) or str(fault)
        cure = "Check the name, and who may read the file"
        raise InputError(f"it cannot be read ({why})", file=name, cure=cure) from fault
    if not content.strip():
        raise InputError("the file is empty", file=name, cure="Check that it was saved")
    if len(content) > largest:
        what = f"it is longer than {largest // 1024**2} MiB"
        raise InputError(what, file=name, cure="Check that this is the right file")
    return content


def read_text(path: str | os.PathLike[str], *, largest: int = MAX_BYTES) -> str:
    """Read a whole file as UTF-8 text; a byte order mark is passed over.

    Raises
    ------
    InputError
        As for `read_bytes`, and if it is not UTF-8 text.
    """
    return as_text(read_bytes(path, largest=largest), os.fspath(path))


def as_text(content: bytes, name: str, *, encoding: str = "utf-8-sig") -> str:
    """Decode the bytes of a file called ``name``.

    Raises
    ------
    InputError
        If they are no text of that encoding.
    """
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError("it is UTF-16 text, not UTF-8", file=name, cure=_SAVE)
    if content.startswith(b"PK\x03\x04"):
        cure = "If it is a workbook, give it the ending .xlsx"
        raise InputError("it is a zip archive, not text", file=name, cure=cure)
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as fault:
        place = f"line {_line_number(content[: fault.start])}"
        what = f"byte 0x{content[fault.start]:02x} is not UTF-8 text"
        raise InputError(what, file=name, place=place, cure=_SAVE) from fault
    if (bad := _CONTROL.search(text)) is not None:
        place = f"line {_line_number(text[: bad.start()].encode())}"
        what = f"it is not plain text: it holds the control byte 0x{ord(bad[0]):02x}"
        raise InputError(what, file=name, place=place, cure=_SAVE)
    return text


def _line_number(before: bytes) -> int:
    return len(re.findall(rb"\r\n|\r|\n", before)) + 1


def _suggestion(path: Path) -> str:
    """Name a file of nearly that name, if the folder holds one."""
    try:
        names = [file.name for file in path.parent.iterdir()]
    except (OSError, ValueError):
        return f"There is no folder {path.parent} either; check the path"
    like = close_word(path.name, names, cutoff=ASSUMED.slip_likeness)
    return f"Is it {like}?" if like else "Check the name and the folder"


def close_word(
    word: str, known: Iterable[str], *, cutoff: float = ASSUMED.suggested_likeness
) -> str:
    """Name the known word that a word is nearly; empty if it is near none.

    Examples
    --------
    >>> close_word("Radios", ["height", "radius"]), close_word("Winkel", ["note"])
    ('radius', '')
    """
    by_lower = {name.lower(): name for name in known}
    found = get_close_matches(word.lower(), list(by_lower), n=1, cutoff=cutoff)
    return by_lower[found[0]] if found else ""


def nearest_known(word: str, known: Iterable[str]) -> str:
    """Say the known word that a word is nearly, to follow what is unknown.

    Examples
    --------
    >>> nearest_known("Radios", ["height", "radius"])
    '; the nearest known is "radius"'
    """
    like = close_word(word, known)
    return f'; the nearest known is "{like}"' if like else ""


def like_words(text: str, known: Iterable[str]) -> str:
    """The known words that a text is nearly, or that stand in it; empty if none.

    Capitals, blanks and dashes do not count; one word in it is not enough.

    Examples
    --------
    >>> [like_words(t, ["tap hole", "door"]) for t in ("Taphole", "front tap hole")]
    ['tap hole', 'tap hole']
    >>> [like_words(t, ["tap hole", "door"]) for t in ("peep hole", "charging door")]
    ['', '']
    """
    letters = {_letters(words): words for words in known}
    asked = _letters(text)
    if found := get_close_matches(
        asked, list(letters), n=1, cutoff=ASSUMED.slip_likeness
    ):
        return letters[found[0]]
    phrases = ((short, words) for short, words in letters.items() if " " in words)
    return next((words for short, words in phrases if short in asked), "")


def _letters(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign.isalpha())


def casefolded(name: str) -> str:
    """Fold a name so that capitals and blanks around it do not matter.

    Examples
    --------
    >>> casefolded(" Tap Hole")
    'tap hole'
    """
    return name.strip().casefold()


def join_words(words: Iterable[str], *, last: str = "or") -> str:
    """Put words in a row as a sentence does.

    Examples
    --------
    >>> join_words(["in", "mm", "cm"])
    'in, mm or cm'
    """
    *before, end = words
    return f"{', '.join(before)} {last} {end}" if before else end
