"""How quick the live page is, measured in a browser; and the picture of it in the README.

    python -m cagekit.benchmarks.page gravel-hatch
    python -m cagekit.benchmarks.page --picture presets/builds/sprint-wagon-page.png sprint-wagon

Told are the quickest, the middle, the ninth of ten and the slowest of all starts and changes. A
start is from the command to the page ready; the browser runs already. Each change begins when the
page is idle: the one before is checked and its sharp picture is there. ``picture`` ends when the
page has given the commands that draw it, ``pixels`` when they are done and can be read back, here
drawn by the processor, with plain edges or coarser; ``server`` is the server's share of it, from
request to answer, ``cpu`` its thread's time in that. ``findings`` ends when all of them are new.
The first line has what an import of numpy took in the same minutes: machines and loads are told
apart by it. By the clock all hold what else the machine does: draw, check and measure share it.
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

SLIDERS = ("dash_bar.set_back", "door_bar.height_rear", "harness_bar.height",
           "main_hoop.gap")  # fmt: skip
"""Sliders that are moved, each from its value on by half a millimetre at a time."""
TOLD = ("cpu", "server", "picture", "pixels", "findings")
SIZE = {"width": 1200, "height": 760}
HIGH = 900
"""Height of the picture, so that it has sliders as well."""
IDLE = (
    "state.data.judged === state.data.version && state.data.stage === 2"
    " && state.data.textsOf === state.data.version && viewer.still"
)
CHANGE = """async ([key, value, read]) => {
  const begin = performance.now();
  await change(key, value, true);
  if (!viewer.drawing) throw new Error("nothing was drawn");
  const picture = performance.now() - begin, { gl } = viewer;
  if (read) gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
  const pixels = performance.now() - begin;
  return { begin, picture, pixels, server: live.server, cpu: live.cpu };
}"""


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


def move(page: Page, slider: str, count: int) -> dict[str, list[float]]:
    """Move a slider by steps: ms to picture and findings, by what is told.

    Every other step reads the picture back, which keeps the page busy: its findings do not count.
    """
    key = f"build.members.{slider}"
    start = page.evaluate("key => live.params.get(key)?.value ?? null", key)
    told: dict[str, list[float]] = {n: [] for n in TOLD} if start is not None else {}
    for n in range(1, 2 * count + 1 if told else 0):
        until(page, IDLE)
        row = page.evaluate(CHANGE, [key, start + n / 2, n % 2 == 0])
        until(page, "state.data.judged === state.data.version")
        row["findings"] = page.evaluate("live.judgedAt") - row["begin"]
        for name in ("pixels",) if n % 2 == 0 else ("cpu", "server", "picture", "findings"):
            told[name].append(row[name])
    page.evaluate("key => change(key, null)", key)
    until(page, "!live.busy")
    return told


def spread(values: Sequence[float]) -> str:
    """Quickest, middle, ninth of ten and slowest, ms."""
    tenth = sorted(values)[max(0, -(-9 * len(values) // 10) - 1)]
    numbers = (min(values), statistics.median(values), tenth, max(values))
    return " ".join(f"{v:8.1f}" for v in numbers)


def numpy_import() -> float:
    """Wall time that a process takes to import numpy, ms."""
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import numpy"], check=True, env=env)
    return 1000 * (time.perf_counter() - begin)


def measure(build: str, count: int, starts: int) -> None:
    """Print the distributions for one build."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright, launch(playwright) as browser:
        yard, up, ready = [], [], []
        for _ in range(starts - 1):
            yard.append(numpy_import())
            with served(build) as (address, started):
                page = browser.new_page(viewport=SIZE)  # type: ignore[arg-type]
                up.append(started)
                ready.append(started + opened(page, address))
                page.close()
        with served(build) as (address, started):
            page = browser.new_page(viewport=SIZE)  # type: ignore[arg-type]
            up.append(started)
            ready.append(started + opened(page, address))
            print(f"{build + ', ms':38} {'least':>8} {'middle':>8} {'9 of 10':>8} {'most':>8}")
            for name, values in (("import numpy", [*yard, numpy_import()]), ("server up", up),
                                 ("page ready", ready)):  # fmt: skip
                print(f"{name:38} {spread(values)}", flush=True)
            for slider in SLIDERS:
                for name, values in move(page, slider, count).items():
                    print(f"{slider:28} {name:9} {spread(values)}", flush=True)


def picture(build: str, pick: str, path: Path) -> None:
    """Save a picture of the live page with a tube picked, in few colours: it goes into a README."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright, launch(playwright) as browser, served(build) as up:
        page = browser.new_page(viewport={**SIZE, "height": HIGH})  # type: ignore[arg-type]
        opened(page, up[0])
        page.evaluate("id => select(id)", pick)
        until(page, IDLE)
        sheet = Image.open(BytesIO(page.screenshot())).convert("RGB")
    sheet.quantize(255).save(path, "PNG", optimize=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, or take the picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("build", nargs="?", default="gravel-hatch")
    parser.add_argument("--changes", type=int, default=20, help="steps of each slider")
    parser.add_argument("--starts", type=int, default=5, help="how often it is started")
    parser.add_argument("--pick", default="door_bar_left", help="tube of the picture")
    parser.add_argument("--picture", type=Path, help="save a picture of the page instead")
    args = parser.parse_args(arguments)
    if args.picture:
        picture(args.build, args.pick, args.picture)
    else:
        measure(args.build, args.changes, max(args.starts, 1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
