"""How quick the live page is, measured in a browser; and the picture of it in the README.

    python -m cagekit.benchmarks.page gravel-hatch
    python -m cagekit.benchmarks.page --picture presets/builds/sprint-wagon-page.png sprint-wagon

Told are the quickest, the middle, the ninth of ten and the slowest of all changes. ``picture`` ends
when the page has drawn its commands, ``pixels`` when they can be read back, here drawn by the
processor; ``server`` is the server's share of it.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.benchmarks.browser import launch, until

if TYPE_CHECKING:
    from playwright.sync_api import Page

SLIDERS = ("dash_bar.set_back", "door_bar.height_rear", "harness_bar.below_shoulder",
           "main_hoop.gap")  # fmt: skip
"""Sliders that are moved, each from its value on by a millimetre at a time."""
SIZE = {"width": 1200, "height": 760}
PIXELS = (
    "viewer.draw(); viewer.gl.readPixels(0, 0, 1, 1, viewer.gl.RGBA, viewer.gl.UNSIGNED_BYTE,"
    " new Uint8Array(4));"
)
CHANGE = (
    "async ([key, value]) => { const begin = performance.now(); await change(key, value, true);"
    " const picture = performance.now() - begin;" + PIXELS + "return { begin, picture,"
    " pixels: performance.now() - begin, server: live.server } }"
)


@contextmanager
def served(build: str) -> Iterator[tuple[str, float]]:
    """Start ``cagekit view`` as a user does: its address, and how long that took, ms."""
    command = [sys.executable, "-m", "cagekit", "view", build, "--no-open", "--json"]
    begin = time.perf_counter()
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env)
    assert server.stdout is not None
    try:
        text = ""
        while not text.rstrip().endswith("}"):
            line = server.stdout.readline().decode()
            if not line:
                raise SystemExit(f"cagekit view {build} did not start.")
            text += line
        yield json.loads(text)["address"], 1000 * (time.perf_counter() - begin)
    finally:
        server.terminate()
        server.wait()


def opened(page: Page, address: str) -> float:
    """Open the live page; ms until it can be used."""
    begin = time.perf_counter()
    page.goto(address)
    page.wait_for_selector("body[data-live='yes']", timeout=120_000)
    return 1000 * (time.perf_counter() - begin)


def move(page: Page, slider: str, count: int) -> list[dict[str, float]]:
    """Move a slider: ms to picture and pixels of every step, and to the findings of the last."""
    key = f"build.members.{slider}"
    start = page.evaluate("key => live.params.get(key)?.value ?? null", key)
    if start is None:
        return []
    rows = []
    for n in range(1, count + 1):
        until(page, "state.data.judged === state.data.version")
        row = page.evaluate(CHANGE, [key, start + n])
        until(page, "state.data.judged === state.data.version")
        row["findings"] = page.evaluate("live.judgedAt") - row.pop("begin")
        rows.append(row)
    page.evaluate("key => change(key, null)", key)
    until(page, "!live.busy")
    return rows


def spread(values: Sequence[float]) -> str:
    """Quickest, middle, ninth of ten and slowest, ms."""
    tenth = sorted(values)[max(0, -(-9 * len(values) // 10) - 1)]
    numbers = (min(values), statistics.median(values), tenth, max(values))
    return " ".join(f"{v:8.1f}" for v in numbers)


def measure(build: str, count: int) -> None:
    """Print the distributions for one build."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright, launch(playwright) as browser, served(build) as up:
        address, started = up
        page = browser.new_page(viewport=SIZE)  # type: ignore[arg-type]
        ready = opened(page, address)
        print(f"{build}: server up in {started:.0f} ms, page ready {ready:.0f} ms later")
        print(f"{'slider, ms':38} {'least':>8} {'middle':>8} {'9 of 10':>8} {'most':>8}")
        for slider in SLIDERS:
            rows = move(page, slider, count)
            for name in ("server", "picture", "pixels", "findings") if rows else ():
                print(f"{slider:28} {name:9} {spread([r[name] for r in rows])}", flush=True)


def picture(build: str, pick: str, path: Path) -> None:
    """Save a picture of the live page with a tube picked, in few colours: it goes into a README."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright, launch(playwright) as browser, served(build) as up:
        page = browser.new_page(viewport=SIZE)  # type: ignore[arg-type]
        opened(page, up[0])
        page.evaluate("id => select(id)", pick)
        until(page, "state.data.judged === state.data.version && !viewer.flight && !viewer.asked")
        sheet = Image.open(BytesIO(page.screenshot())).convert("RGB")
    sheet.quantize(128).save(path, "PNG", optimize=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, or take the picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("build", nargs="?", default="gravel-hatch")
    parser.add_argument("--changes", type=int, default=20, help="steps of each slider")
    parser.add_argument("--pick", default="door_bar_left", help="tube of the picture")
    parser.add_argument("--picture", type=Path, help="save a picture of the page instead")
    args = parser.parse_args(arguments)
    if args.picture:
        picture(args.build, args.pick, args.picture)
    else:
        measure(args.build, args.changes)
    return 0


if __name__ == "__main__":
    sys.exit(main())
