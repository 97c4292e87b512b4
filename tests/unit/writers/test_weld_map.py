"""The weld map typeset alone, from every height of a page that the order of work may leave."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pdfpages
import pytest
import typst

from cagekit.view.fonts import font_folder

PICTURE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}">'
    '<rect width="{w}" height="{h}" fill="none" stroke="black"/></svg>'
)
BOOK = """#import "sheet.typ": *
#import "weldmap.typ": weld-map
#let data = json("data.json")
#show: body => sheet(data, "Shop book", body)
Order of work
#v(data.down * 1mm)
Last step
#weld-map(data)
"""


def typeset(folder: Path, paper: str, down: float, tall: float, rows: int) -> list:
    """The weld map ``down`` mm down a page, its picture ``tall`` mm, its list ``rows`` long."""
    for file in (files("cagekit.data") / "documents").iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    weld = ["W1", "1 main hoop", "2 outrigger", "90.0°", "100 mm", "2.5 mm", "4", "100 %", "yes"]
    data = {
        "name": "test", "page": paper, "down": down, "filler": "TIG.", "plate_welds": [],
        "welds": [weld] * rows,
        "maps": {
            "plates": [],
            "joints": [{"title": "Joints of tubes", "file": "m.svg", "width": 186, "height": tall}],
        },
    }  # fmt: skip
    (folder / "m.svg").write_text(PICTURE.format(w=186, h=tall))
    (folder / "data.json").write_text(json.dumps(data))
    (folder / "book.typ").write_text(BOOK)
    made = typst.compile(
        str(folder / "book.typ"),
        root=str(folder),
        font_paths=[str(font_folder())],
        ignore_system_fonts=True,
    )
    return pdfpages.pages(bytes(made))


def spot(pages: list, text: str) -> tuple[int, float]:
    """Page and height, pt from its top, of a line that reads so."""
    for number, page in enumerate(pages):
        for line in pdfpages.lines(page.words, "top", pdfpages.SAME_LINE):
            if " ".join(w["text"] for w in line) == text:
                return number, line[0]["top"]
    raise AssertionError(text)


@pytest.mark.parametrize(("paper", "tall"), [("a4", 95.0), ("letter", 140.0)])
def test_the_picture_of_joints_stands_below_its_heading(
    tmp_path: Path, paper: str, tall: float
) -> None:
    for down in range(0, 240, 12):
        pages = typeset(tmp_path, paper, down, tall, 30)
        heading, picture = spot(pages, "Weld map"), spot(pages, "Joints of tubes")
        listed = spot(pages, "Joints")
        assert heading < picture, (down, heading, picture)
        assert picture[0] <= heading[0] + 1, (down, heading, picture)
        # the heading has picture or list with it; the list goes on where the picture leaves room
        assert heading[0] in (picture[0], listed[0]), (down, heading, picture, listed)
        for number, page in enumerate(pages[heading[0] : -1], start=heading[0]):
            foot = page.height - 15 * 72 / 25.4
            inked = [w["bottom"] for w in page.words if w["bottom"] < foot]
            inked += [s.bottom for s in page.shapes if s.bottom < foot + 1]
            assert foot - max(inked) < 0.25 * page.height, (down, number)
