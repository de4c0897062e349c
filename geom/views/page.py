"""A page that needs nothing else: one template, one style, pictures within."""

from __future__ import annotations

import base64
from importlib.resources import files
from typing import Any


def page_bytes(template: str, pictures: dict[str, bytes], **told: Any) -> bytes:
    """A page as UTF-8 HTML.

    Parameters
    ----------
    template : str
        Name of the file beside this one.
    pictures : dict of PNG bytes
        By the name that the template calls them.
    **told
        All else that the template asks for; every text is escaped.

    Returns
    -------
    bytes
        No address of anything outside, and no script but what ``told`` brings as
        ``script``.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    page = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=PackageLoader("geom.views", ""),
    ).get_template(template)
    style = Markup(files("geom.views").joinpath("page.css").read_text("utf-8"))
    drawn = {
        name: base64.b64encode(picture).decode("ascii")
        for name, picture in pictures.items()
    }
    return page.render(style=style, pictures=drawn, **told).encode("utf-8")
