"""The page: one document with its own style and script, and the worker that keeps it.

The content security policy names style and script by their hashes, so that nothing
that was typed can run; the page may speak with the desk that sent it and nobody else.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from importlib.resources import files

from geom.design import Design
from geom.desk.session import DeskSession
from geom.units import UNIT_NAMES, say_both
from geom.views.cautions import CAUTIONS
from geom.views.say import plain, say_sense, say_zero

#: In the order they need each other: what all pictures share, then the desk's own.
_SHARED = ("wall.js", "say.js", "paint.js", "place.js", "unrolled.js")
_OWN = (
    "numbers.js",
    "kept.js",
    "sender.js",
    "clock.js",
    "keys.js",
    "board.js",
    "entries.js",
    "desk.js",
)
_FRACTIONS = ("1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8")


@dataclass(frozen=True)
class DeskPage:
    """What a browser is given.

    Attributes
    ----------
    document, worker : bytes
        HTML and JavaScript, UTF-8.
    policy : str
        Content security policy of the document.
    """

    document: bytes
    worker: bytes
    policy: str


def make_page(desk: DeskSession) -> DeskPage:
    """The page of a desk; every text is escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    style = _own("desk.css")
    script = "\n".join([*map(_shared_script, _SHARED), *map(_own, _OWN)])
    script = script.replace("</script", "<\\/script")
    template = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=PackageLoader("geom.desk", "page"),
    ).get_template("desk.html.jinja")
    document = template.render(
        style=Markup(style),
        script=Markup(script),
        key=desk.key,
        file=plain(desk.name, most=60),
        cautions=CAUTIONS,
        **_design_words(desk.design),
    )
    policy = (
        "default-src 'none'; connect-src 'self'; worker-src 'self'; img-src data:; "
        f"script-src '{_hash(script)}'; style-src '{_hash(style)}'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return DeskPage(document.encode("utf-8"), _own("worker.js").encode("utf-8"), policy)


def _design_words(design: Design) -> dict[str, object]:
    unit = design.length_unit
    return {
        "lining": plain(design.name, most=80),
        "unit": unit,
        "unit_words": UNIT_NAMES[unit],
        "fractions": _FRACTIONS if unit == "in" else (),
        "zero": say_zero(design),
        "azimuth_zero": plain(design.azimuth_zero, most=40),
        "sense": say_sense(design),
        "height_zero": plain(design.height_zero, most=60),
        "threshold": say_both(design.repair.brick_threshold, unit),
    }


def _own(name: str) -> str:
    return files("geom.desk").joinpath("page", name).read_text("utf-8")


def _shared_script(name: str) -> str:
    return files("geom.views").joinpath("viewer", name).read_text("utf-8")


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")
