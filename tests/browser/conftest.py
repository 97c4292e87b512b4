"""A real Chromium for the page; the tests are skipped, with a word, where there is none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

FLAGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]
NO_3D = ["--no-sandbox", "--disable-background-networking", "--disable-gpu", "--disable-3d-apis"]


def program() -> str | None:
    """A Chromium of this machine, or what playwright brought."""
    for name in (os.environ.get("CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome"):
        if name and (found := shutil.which(name)):
            return found
    return None


@pytest.fixture(scope="session")
def playwright() -> Iterator[object]:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as p:
        yield p


def launched(playwright, flags):
    path = program() or playwright.chromium.executable_path
    if not Path(path).exists():
        pytest.skip("no Chromium on this machine: apt-get install chromium, or set CHROMIUM")
    return playwright.chromium.launch(executable_path=path, args=flags)


@pytest.fixture(scope="session")
def browser(playwright) -> Iterator[object]:
    with launched(playwright, FLAGS) as b:
        yield b


@pytest.fixture(scope="session")
def flat_browser(playwright) -> Iterator[object]:
    with launched(playwright, NO_3D) as b:
        yield b


@pytest.fixture
def opened(browser) -> Iterator[object]:
    """Opens addresses; fails when a page complained on its console."""
    pages, said = [], []

    def open_(address, *, width=1200, height=800, wait="3d", **context):
        page = browser.new_page(viewport={"width": width, "height": height}, **context)
        page.on(
            "console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda e: said.append(str(e)))
        page.goto(address)
        page.wait_for_selector(f"body[data-ready='{wait}']")
        pages.append(page)
        return page

    open_.said = said
    yield open_
    for page in pages:
        page.close()
    drivers = ("GPU stall due to ReadPixels", "GL Driver Message")
    assert [s for s in said if not any(d in s for d in drivers)] == []
