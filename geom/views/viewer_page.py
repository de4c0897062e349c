"""The script of a page with pictures that answer, and the leave to run it.

A page runs its own script and nothing else: the content security policy names the
script by its hash, so text from an input can never run, and allows no connection.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from markupsafe import Markup

#: The 3D library, bundled; its licence stands beside it.
_LIBRARY = "three.js"
#: In the order they need each other.
_OWN = (
    "wall.js",
    "say.js",
    "paint.js",
    "place.js",
    "unrolled.js",
    "ring.js",
    "upright.js",
    "turning.js",
    "heats.js",
)


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
    library = _text(_LIBRARY)
    own = "\n".join(_text(name) for name in (*_OWN, *last))
    hashes = " ".join(f"'sha256-{_hash(part)}'" for part in (library, own))
    policy = (
        f"default-src 'none'; script-src {hashes}; img-src data:; "
        "style-src 'unsafe-inline'"
    )
    return Script(library, own, policy, _text("viewer.css"))


def _text(name: str) -> str:
    text = files("geom.views").joinpath("viewer", name).read_text("utf-8")
    return text.replace("</script", "<\\/script")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
