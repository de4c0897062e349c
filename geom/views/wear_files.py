"""The files of a study of wear."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from geom.record.deepest_found import deepest_found
from geom.record.store import Record
from geom.record.wear import Wear
from geom.views.cautions import CAUTIONS
from geom.views.document import as_json
from geom.views.heats_page import MOST, heats_bytes
from geom.views.wear_netcdf import write_wear_netcdf
from geom.views.wear_page import wear_page
from geom.views.wear_pictures import still_png

#: In the order they are written.
FILES: tuple[str, ...] = (
    "wear.json",
    "wear.nc",
    "wear-map.png",
    "wear.html",
    "heats.html",
)
#: Surveys that the deepest cut-back is followed through, the last ones.
_FOLLOWED = 1000


def write_wear_files(
    folder: Path,
    wear: Wear,
    record: Record,
    tick: Callable[[str], None] | None = None,
) -> None:
    """Write them.

    Parameters
    ----------
    folder : Path
        Must exist; the caller makes it appear whole.
    wear : Wear
    record : Record
        That it is of.
    tick : callable, optional
        Told the name of each file as it is begun.
    """
    say = tick if tick is not None else _silent
    say(FILES[0])
    (folder / FILES[0]).write_bytes(wear_document(wear))
    say(FILES[1])
    about = {
        "title": f"wear of {wear.title}",
        "campaign": wear.campaign,
        "created": wear.created,
        "source": f"daubline {wear.version}",
    }
    write_wear_netcdf(folder / FILES[1], wear.maps, record.design, about)
    say(FILES[2])
    (folder / FILES[2]).write_bytes(still_png(wear, record.design))
    say(FILES[3])
    found = [one for one in wear.occasions if one.finds][-_FOLLOWED:]
    depths = deepest_found(record, found)
    (folder / FILES[3]).write_bytes(wear_page(wear, record.design, depths))
    say(FILES[4])
    walls = [record.wall(one) for one in wear.occasions[-MOST:]]
    left_out = len(wear.occasions) - len(walls)
    page = heats_bytes(walls, title=wear.title, left_out=left_out)
    (folder / FILES[4]).write_bytes(page)


def wear_document(wear: Wear) -> bytes:
    """What ``wear.json`` holds, as UTF-8."""
    told = wear.to_dict() | {"cautions": list(CAUTIONS)}
    return as_json(told)


def _silent(words: str) -> None:
    """Say nothing."""
