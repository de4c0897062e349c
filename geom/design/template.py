"""A new design file from a dozen answers, with comments on what stands in it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping

from geom.design.text_file import join_words, nearest_known
from geom.design.values import SENSES, OneOf, length, whole, words
from geom.errors import InputError, errors_at
from geom.frame import Sense, azimuth_of_clock, clock_hours, clock_time
from geom.units import MM_PER, UNIT_SPELLINGS, parse_number

_MOST_TUYERES = 48
_CORNER = re.compile(r"(.+?)\s+at\s+(.+)", re.I)
_OPENING = re.compile(r"(.+?)\s*[x×]\s*(.+?)\s+at\s+(.+?)\s*,\s*(.+)", re.I)
_BAND = re.compile(r"(.+?)\s+to\s+(.+)", re.I)
_OPENING_CURE = "Write width x tall at height, hour: 5 x 3 1/2 at 26, 1"


def _read_words(text: str) -> object:
    return words(text, "")


def _unit(text: str) -> str:
    reader = OneOf(tuple(MM_PER), UNIT_SPELLINGS)
    return str(reader(reader.plain(text), ""))


def _sense(text: str) -> Sense:
    reader = OneOf(("clockwise", "counterclockwise"), SENSES)
    reader(reader.plain(text), "")
    return "clockwise" if reader.plain(text) == "clockwise" else "counterclockwise"


def _number(text: str) -> str:
    """A number as TOML has it: a fraction in quotes."""
    length(text, "mm")
    try:
        float(text)
    except ValueError:
        return json.dumps(text.strip(), ensure_ascii=False)
    return f"{parse_number(text):.12g}"


def _corners(text: str) -> list[tuple[str, str]]:
    """Height and radius of every corner, bottom up."""
    found = []
    for part in text.split(","):
        if (corner := _CORNER.fullmatch(part.strip())) is None:
            what = f'"{part.strip()[:40]}" is no corner of the hot face'
            raise InputError(what, cure="Write radius at height: 18 at 0, 19 at 72")
        found.append((_number(corner[2]), _number(corner[1])))
    return found


def _opening(text: str) -> tuple[str, str, str, float]:
    """Width, height of the opening, height of its centre, and hour."""
    if (parts := _OPENING.fullmatch(text.strip())) is None:
        raise InputError(f'"{text[:40]}" is no opening', cure=_OPENING_CURE)
    try:
        hour = clock_hours(parts[4])
    except ValueError as fault:
        raise InputError(str(fault), cure=_OPENING_CURE) from fault
    return _number(parts[1]), _number(parts[2]), _number(parts[3]), hour


def _band(text: str) -> tuple[str, str]:
    if (ends := _BAND.fullmatch(text.strip())) is None:
        raise InputError(
            f'"{text[:40]}" is no band', cure="Write two heights: 86 to 95"
        )
    return _number(ends[1]), _number(ends[2])


def _count(text: str) -> int:
    cure = "Count the tuyeres of the lowest row; 0 if there are none"
    return whole(0, _MOST_TUYERES, cure=cure)(text, "")


#: What refuses an answer that is none, by its key, in the order of the file.
ANSWERS: dict[str, Callable[[str], object]] = {
    "name": _read_words,
    "unit": _unit,
    "azimuth_zero": _read_words,
    "azimuth_sense": _sense,
    "height_zero": _read_words,
    "profile": _corners,
    "shell": _number,
    "tuyeres": _count,
    "tuyere": _opening,
    "tap_hole": _opening,
    "slag_hole": _opening,
    "datum_band": _band,
}
#: Those that a drawing cannot do without.
NEEDED = tuple(ANSWERS)[:6]


def design_text(answers: Mapping[str, str]) -> str:
    """A design file with comments.

    Parameters
    ----------
    answers : mapping of str to str
        ``name``, ``unit``, ``azimuth_zero``, ``azimuth_sense``, ``height_zero`` and
        ``profile`` (radius at height: ``18 at 0, 18 at 72``) are needed; ``shell``
        (radius), ``tuyeres`` (how many), ``tuyere`` (the first of them), ``tap_hole``,
        ``slag_hole`` (width, height, height of the centre, hour: ``5 x 3 1/2 at 26,
        1``) and ``datum_band`` (``84 to 96``) may be missing or empty.

    Raises
    ------
    InputError
        If an answer that is needed is missing, one is none, or a key is not known.

    Examples
    --------
    >>> text = design_text(
    ...     {
    ...         "name": "Cupola 3", "unit": "in", "profile": "18 at 0, 18 at 90",
    ...         "azimuth_zero": "tap hole", "azimuth_sense": "CW",
    ...         "height_zero": "bottom plate",
    ...     }
    ... )
    >>> text.splitlines()[3]
    'name = "Cupola 3"'
    """
    for key in set(answers) - set(ANSWERS):
        what = f"unknown answer {key!r}{nearest_known(key, ANSWERS)}"
        raise InputError(what, cure=f"Known are {join_words(ANSWERS, last='and')}")
    given = {key: answers.get(key, "").strip() for key in ANSWERS}
    if missing := [key for key in NEEDED if not given[key]]:
        options = join_words(
            [f"--{key.replace('_', '-')}" for key in missing], last="and"
        )
        what = f"{join_words(missing, last='and')} must be given"
        raise InputError(what, cure=f"Answer at a terminal, or add {options}")
    for key, answer in given.items():
        if answer:
            with errors_at(place=key):
                ANSWERS[key](answer)
    given["tuyeres"] = given["tuyeres"] or "0"
    if _count(given["tuyeres"]) and not given["tuyere"]:
        what = f"{given['tuyeres']} tuyeres, but not how large they are"
        raise InputError(what, place="tuyere", cure=_OPENING_CURE)
    parts = [_lining(given), _profile(given), _openings(given), _rest(given)]
    return "\n".join(filter(None, parts))


def _lining(given: Mapping[str, str]) -> str:
    shell = ""
    if given["shell"]:
        radius = _number(given["shell"])
        shell = f"\n[shell]\nradius = {radius}  # inside of the steel\n"
    return f"""\
# A drawing of a cupola's lining. Lines after # are remarks; fractions stand in
# quotes: "18 3/8".
[lining]
name = {_quoted(given["name"])}
length_unit = {_quoted(_unit(given["unit"]))}  # of every length in this file
azimuth_zero = {_quoted(given["azimuth_zero"])}  # what azimuth 0, 12 o'clock, looks at
azimuth_sense = "{_sense(given["azimuth_sense"])}"  # seen from above
height_zero = {_quoted(given["height_zero"])}  # what heights count from
{shell}"""


def _profile(given: Mapping[str, str]) -> str:
    corners = "\n".join(
        f"[[profile]]\nheight = {height}\nradius = {radius}\n"
        for height, radius in _corners(given["profile"])
    )
    return (
        "# The finished hot face, bottom up, straight from corner to corner; a step is "
        f"two\n# corners at one height.\n{corners}"
    )


def _openings(given: Mapping[str, str]) -> str:
    """Tuyeres evenly round, and the holes."""
    sense, entries = _sense(given["azimuth_sense"]), []
    count = _count(given["tuyeres"])
    if count:
        width, tall, height, first = _opening(given["tuyere"])
        for k in range(count):
            azimuth = azimuth_of_clock(first + 12.0 * k / count, sense)
            entries.append(
                f"[[tuyere]]\nazimuth = {azimuth:.7g}  # {clock_time(azimuth, sense)}\n"
                f"height = {height}  # of its centre\nwidth = {width}\ntall = {tall}\n"
            )
    for key in ("tap_hole", "slag_hole"):
        if given[key]:
            width, tall, height, hour = _opening(given[key])
            clock = clock_time(azimuth_of_clock(hour, "clockwise"), "clockwise")
            entries.append(
                f'[[hole]]\nkind = "{key.replace("_", " ")}"\nclock = "{clock}"\n'
                f"height = {height}\nwidth = {width}\ntall = {tall}\n"
            )
    if not entries:
        return ""
    return "# Openings, where there is no wall; width is along the arc.\n" + "\n".join(
        entries
    )


def _rest(given: Mapping[str, str]) -> str:
    band = ""
    if given["datum_band"]:
        low, high = _band(given["datum_band"])
        band = (
            "# Wall known to be unworn: the axis is found on it.\n"
            f"[[datum_band]]\nfrom = {low}\nto = {high}\n\n"
        )
    unit = _unit(given["unit"])
    threshold, tolerance = (
        ('"1 1/4"', '"1/4"')
        if unit == "in"
        else (f"{mm / float(MM_PER[unit]):g}" for mm in (32.0, 6.0))
    )
    return (
        f"{band}# The shop's rules; common practice and our choice until they are "
        "changed.\n[repair]\n"
        f"brick_threshold = {threshold}  # past this cut-back, brick is laid\n"
        f"tolerance = {tolerance}  # of the finished wall\n"
    )


def _quoted(text: str) -> str:
    return json.dumps(text.strip(), ensure_ascii=False)
