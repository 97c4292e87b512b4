"""A real Chromium for the page; the tests are skipped, with a word, where there is none."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from cagekit.benchmarks.browser import NO_3D, SOFTWARE_3D, launch


@pytest.fixture(scope="session")
def playwright() -> Iterator[object]:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as p:
        yield p


def launched(playwright, flags):
    try:
        return launch(playwright, flags)
    except FileNotFoundError as error:
        pytest.skip(str(error))


@pytest.fixture(scope="session")
def browser(playwright) -> Iterator[object]:
    with launched(playwright, SOFTWARE_3D) as b:
        yield b


@pytest.fixture(scope="session")
def flat_browser(playwright) -> Iterator[object]:
    with launched(playwright, NO_3D) as b:
        yield b


@pytest.fixture
def opened(browser) -> Iterator[object]:
    """Opens addresses; fails when a page complained on its console."""
    pages, said = [], []

    def open_(address, *, width=900, height=600, wait="3d", **context):
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
