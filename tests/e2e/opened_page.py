"""A page in the browser, and all that it complained of or asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

WIDE = {"width": 1000, "height": 1100}


class Opened:
    """An opened page; close its ``context`` when done.

    ``still``: it has no picture to wait for.
    """

    def __init__(
        self, browser: Any, path: Path, *, still: bool = False, **context: Any
    ) -> None:
        self.context = browser.new_context(**{"viewport": WIDE, **context})
        self.page = self.context.new_page()
        self.trouble: list[str] = []
        self.requested: list[str] = []
        self.page.on("pageerror", lambda fault: self.trouble.append(str(fault)))
        self.page.on("console", self._heard)
        self.page.on("dialog", lambda dialog: self.trouble.append(dialog.message))
        self.page.on("request", lambda one: self.requested.append(one.url))
        self.page.goto(path.as_uri())
        if not still:
            self.page.wait_for_selector("html[data-ready=yes]", state="attached")

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.trouble.append(message.text)

    def skipped_headings(self) -> list[str]:
        """Headings that leave out a level, as a screen reader would miss it."""
        heads = self.page.locator("h1, h2, h3, h4, h5, h6").evaluate_all(
            "all => all.map(one => [Number(one.tagName[1]), one.textContent])"
        )
        levels = [0, *(level for level, _ in heads)]
        steps = zip(levels, heads, strict=False)
        return [words for before, (level, words) in steps if level > before + 1]

    def words(self, name: str) -> str:
        """Text of an element."""
        return str(self.page.inner_text(f"#{name}"))

    def look(self, name: str) -> bytes:
        """What a picture shows, as PNG."""
        return bytes(self.page.locator(f"#{name}").screenshot())

    def point(self, name: str, x: float, y: float) -> None:
        """Move the pointer to a share of a picture's width and height."""
        there = self.page.locator(f"#{name}")
        there.scroll_into_view_if_needed()
        box = there.bounding_box()
        self.page.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"])
        self.page.wait_for_timeout(60)
