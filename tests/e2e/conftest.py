"""A real browser for the pages, without a screen."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest

_FLAGS = (
    "--no-sandbox",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # 3D pictures are drawn by the processor: there is no graphics card here.
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Headless Chromium, driven by Playwright; the one that the system has."""
    from playwright.sync_api import sync_playwright

    there = shutil.which("chromium") or shutil.which("chromium-browser")
    assert there, "the pages are tested in Chromium: install it, as .ci/run does"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=there, args=list(_FLAGS))
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def few_walls() -> Iterator[None]:
    """Orders from four walls, not forty: for where the repair is not what is tested."""
    from geom.repair import package

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(package, "plan_repair", partial(package.plan_repair, draws=4))
        yield
