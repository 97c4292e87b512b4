"""A real Chromium without a window: for the page's tests, its speed and its picture."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Playwright

QUIET = ("--no-sandbox", "--disable-background-networking")
SOFTWARE_3D = (*QUIET, "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader")
"""WebGL2 drawn by the processor, the same on every machine."""
NO_3D = (*QUIET, "--disable-gpu", "--disable-3d-apis")
NAMES = ("chromium", "chromium-browser", "google-chrome")
MISSING = "no Chromium on this machine: apt-get install chromium, or set CHROMIUM"


def chromium(playwright: Playwright) -> Path | None:
    """A Chromium of this machine, or what playwright brought; None when there is none."""
    for name in (os.environ.get("CHROMIUM", ""), *NAMES):
        if name and (found := shutil.which(name)):
            return Path(found)
    brought = Path(playwright.chromium.executable_path)
    return brought if brought.exists() else None


def launch(playwright: Playwright, flags: tuple[str, ...] = SOFTWARE_3D) -> Browser:
    """Start a Chromium.

    Raises:
        FileNotFoundError: there is none; says what to do.
    """
    path = chromium(playwright)
    if path is None:
        raise FileNotFoundError(MISSING)
    return playwright.chromium.launch(executable_path=path, args=list(flags))


def until(page: Page, words: str, seconds: float = 60.0) -> None:
    """Wait until an expression is true; the page's policy forbids to do that within the page.

    Raises:
        TimeoutError: it is not, in all that time.
    """
    end = time.monotonic() + seconds
    while not page.evaluate(words):
        if time.monotonic() > end:
            raise TimeoutError(f"still not after {seconds:g} s: {words}")
        page.wait_for_timeout(20)
