"""``report.html``: the cage in 3D with cards, findings and sizes, in one file without network."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cagekit.design import Design

STILL_WIDTH = 1500
"""Width of the still picture, pixels: readable, and small in the file."""
COLOURS = 256
"""Colours of the still picture: a palette of one byte."""


def write_report(design: Design, folder: Path) -> None:
    """Write ``report.html``."""
    from cagekit.checks import run
    from cagekit.page.data import page_data
    from cagekit.page.html import html
    from cagekit.page.meshes import squeezed
    from cagekit.page.rows import finding_rows
    from cagekit.page.strength import strength_data

    data = page_data(design) | {"findings": finding_rows(run(design), design.units)}
    data["strength"] = strength_data(design)
    data["bodies"], data["meshes"] = squeezed(data["bodies"])
    text = html(data, title=f"{design.name} - cagekit", picture=still(design))
    (folder / "report.html").write_text(text, encoding="utf-8", newline="\n")


def still(design: Design) -> bytes:
    """The overview sheet as a small PNG, for browsers that cannot draw the cage."""
    from PIL import Image

    from cagekit.writers.png import LEVEL, overview_of

    sheet = overview_of(design)
    height = round(sheet.height * STILL_WIDTH / sheet.width)
    small = sheet.resize((STILL_WIDTH, height), Image.Resampling.LANCZOS)
    out = BytesIO()
    # finer shades than cuts at the medians give, and a small part of their time
    few = small.quantize(COLOURS, method=Image.Quantize.FASTOCTREE)
    few.save(out, "PNG", compress_level=LEVEL)
    return out.getvalue()
