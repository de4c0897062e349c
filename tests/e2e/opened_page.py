"""A page in the browser, and all that it complained of or asked for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

WIDE = {"width": 1000, "height": 1100}


class Opened:
    """An opened page; close its ``context`` when done."""

    def __init__(self, browser: Any, path: Path, **context: Any) -> None:
        self.context = browser.new_context(**{"viewport": WIDE, **context})
        self.page = self.context.new_page()
        self.trouble: list[str] = []
        self.requested: list[str] = []
        self.page.on("pageerror", lambda fault: self.trouble.append(str(fault)))
        self.page.on("console", self._heard)
        self.page.on("dialog", lambda dialog: self.trouble.append(dialog.message))
        self.page.on("request", lambda one: self.requested.append(one.url))
        self.page.goto(path.as_uri())
        self.page.wait_for_selector("html[data-ready=yes]", state="attached")

    def _heard(self, message: Any) -> None:
        if message.type == "error":
            self.trouble.append(message.text)

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
