"""A page that needs nothing else: one template, one style, pictures within.

A page runs its own script and nothing else: the content security policy names the
script by its hash, so text from an input can never run, and allows no connection.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from geom.design import Design
from geom.views.say import plain, say_sense, say_zero, upfirst

if TYPE_CHECKING:
    from markupsafe import Markup

#: The 3D library, bundled; its licence stands next to it.
_LIBRARY = "three.js"
#: Sorts tables, in every page.
_SORT = "sort.js"
#: In the order they need each other.
_SCRIPTS = (
    "wall.js",
    "say.js",
    "paint.js",
    "place.js",
    "unrolled.js",
    "ring.js",
    "upright.js",
    "bricks.js",
    "turning.js",
    "curve.js",
    "heats.js",
)


def page_bytes(
    template: str, design: Design, pictures: dict[str, bytes], **context: Any
) -> bytes:
    """A page as UTF-8 HTML.

    Parameters
    ----------
    template : str
        Name of the file next to this one.
    design : Design
        What azimuth and height mean is ``sense``, ``zero`` and ``height_zero``.
    pictures : dict of PNG bytes
        By the name that the template calls them.
    **context
        All else that the template asks for; every text is escaped.

    Returns
    -------
    bytes
        No address of anything outside, and no script but that which sorts tables and
        what ``context`` brings as ``script``.
    """
    from markupsafe import Markup

    style = Markup(files("geom.views.pages").joinpath("page.css").read_text("utf-8"))
    encoded = {
        name: base64.b64encode(picture).decode("ascii")
        for name, picture in pictures.items()
    }
    content = render(
        "geom.views.pages",
        "",
        template,
        style=style,
        pictures=encoded,
        sense=upfirst(say_sense(design)),
        zero=say_zero(design),
        sort=sort_script().safe,
        height_zero=plain(design.height_zero, most=60),
        **context,
    )
    return content.encode("utf-8")


def render(package: str, folder: str, template: str, **context: Any) -> str:
    """A template filled in; all text is escaped but what is marked as safe."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=PackageLoader(package, folder),
    )
    return environment.get_template(template).render(**context)


@dataclass(frozen=True)
class Script:
    """What a page with pictures carries.

    Attributes
    ----------
    library, own : str
        JavaScript, each for one script element.
    policy : str
        For the page's content security policy.
    style : str
        CSS of the pictures.
    """

    library: str
    own: str
    policy: str
    style: str

    @property
    def safe(self) -> dict[str, Markup]:
        """Its parts for a template that escapes everything else."""
        from markupsafe import Markup

        return {name: Markup(part) for name, part in vars(self).items()}


@cache
def page_script(*last: str) -> Script:
    """The script of a page.

    Parameters
    ----------
    *last : str
        Names of the files that put the page together, after the shared ones.
    """
    library = viewer_file(_LIBRARY)
    own = "\n".join(viewer_file(name) for name in (*_SCRIPTS, *last, _SORT))
    return Script(library, own, _policy(library, own), viewer_file("viewer.css"))


@cache
def sort_script() -> Script:
    """The script of a page with no more to it than tables that sort."""
    own = viewer_file(_SORT)
    return Script("", own, _policy(own), "")


def _policy(*scripts: str) -> str:
    """Run these scripts and nothing else; fetch nothing."""
    hashes = " ".join(f"'{policy_hash(script)}'" for script in scripts)
    return (
        f"default-src 'none'; script-src {hashes}; img-src data:; "
        "style-src 'unsafe-inline'"
    )


def viewer_file(name: str) -> str:
    """What runs in pages, safe within a script element."""
    text = files("geom.views").joinpath("viewer", name).read_text("utf-8")
    return text.replace("</script", "<\\/script")


def policy_hash(text: str) -> str:
    """How a content security policy names a script or a style."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")
