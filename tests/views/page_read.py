"""A page as a browser takes it apart, to ask it questions."""

from __future__ import annotations

import re
from html.parser import HTMLParser

#: Tags that are never closed.
VOID = ("meta", "img", "br", "input")


class Page(HTMLParser):
    """Tags, addresses and text of a page, and what a screen reader would miss.

    Feeding it fails where tags are not balanced.
    """

    def __init__(self, content: bytes) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str | None] = []
        self.open: list[str] = []
        self.mute: list[str] = []
        self.text = ""
        self.feed(content.decode("utf-8"))
        self.close()
        self.text = re.sub(r"\s+", " ", self.text)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.tags.append(tag)
        self.links += [v for k, v in attrs if k in ("src", "href", "srcset", "data")]
        if (tag == "th" and "scope" not in told) or (
            tag == "img" and not told.get("alt")
        ):
            self.mute.append(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] not in (["style"], ["script"]):
            self.text += data
