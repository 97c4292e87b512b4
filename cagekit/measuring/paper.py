"""The blank measuring sheet: ``measuring-sheet.pdf``, and the car sheet to fill in as TOML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from cagekit.inputs.entries import MemberEntry
from cagekit.measuring.people import person_picture
from cagekit.measuring.points import measuring_picture
from cagekit.measuring.sheet import (
    CAR_FILE,
    CHECKS,
    Measurement,
    MeasuringSheet,
    SheetPage,
    measuring_sheet,
)
from cagekit.names import named
from cagekit.units import format_length
from cagekit.units.lengths import LengthUnit
from cagekit.view.linework import LineDrawing
from cagekit.writers.pdf import document

WORDS: Mapping[LengthUnit, str] = {
    "mm": "millimetres",
    "in": "inches, fractions to the nearest sixteenth",
}
LEADS: Mapping[str, tuple[str, ...]] = {
    "one": ("",),
    "angle": ("°",),
    "xyz": ("x", "y", "z"),
    "pair": ("in", "out"),
    "falls": ("fr °", "out °"),
    "rearfront": ("re", "fr"),
    "section": ("1", "2", "3", "4"),
    "corners": ("1", "2", "3", "4", "5"),
}
"""Words before the blanks of each kind."""
SIZES: Mapping[str, Sequence[tuple[float, float]]] = {
    "hoop": [(160.0, 88.0)],
    "roof": [(130.0, 61.0), (130.0, 63.0)],
    "feet": [(130.0, 64.0), (130.0, 70.0), (150.0, 34.0)],
    "door": [(118.0, 80.0), (66.0, 66.0)],
    "cabin": [(176.0, 96.0), (100.0, 66.0)],
}
"""Room for each picture of a page, width and height, mm."""
COLUMNS: Mapping[str, Sequence[int]] = {
    "hoop": [1],
    "roof": [1, 1],
    "feet": [1, 1, 1],
    "door": [2],
    "cabin": [1, 1],
}
"""How many of the pictures stand side by side, row by row."""
PEOPLE_PICTURES: Mapping[str, Sequence[tuple[str, float, float]]] = {
    "seated": [
        ("seated", 112.0, 70.0),
        ("helmet-side", 40.0, 42.0),
        ("helmet-behind", 34.0, 42.0),
    ],
    "body": [("chair-side", 76.0, 80.0), ("chair-behind", 60.0, 80.0), ("standing", 46.0, 80.0)],
}
DOUBLE: Mapping[str, tuple[str, str]] = {"section": ("y", "z"), "corners": ("x", "z")}
"""Blanks that take two numbers on a line."""


def measuring_pdf(
    entries: Sequence[MemberEntry], what: str, *, units: LengthUnit = "mm", page: str = "a4"
) -> bytes:
    """Typeset the blank sheet.

    Args:
        entries: members of the layout or build, those left out already gone.
        what: which layout or build it is for.
        units: of the blanks.
        page: ``a4`` or ``letter``.

    Raises:
        OutputError: the document does not compile.
    """
    sheet = measuring_sheet(entries)
    pictures: dict[str, bytes] = {}
    data = _Sheet(sheet, what, units, page, pictures).data()
    return document("measuring", data, pictures)


class _Sheet:
    """Data of one sheet; pictures are collected on the way."""

    def __init__(
        self,
        sheet: MeasuringSheet,
        what: str,
        units: LengthUnit,
        page: str,
        pictures: dict[str, bytes],
    ) -> None:
        self.sheet, self.what, self.units, self.page = sheet, what, units, page
        self.pictures = pictures
        self.numbers = {m.field: m.number for m in sheet.measures}
        self.people = {m.field: m.number for g in sheet.people for m in g.measures}

    def data(self) -> dict[str, Any]:
        """Everything the document shows."""
        return {
            "name": self.what,
            "page": self.page,
            "what": self.what,
            "words": WORDS[self.units],
            "unit": self.units,
            "pictures": {
                name: self.picture(name, 150.0, height)
                for name, height in (("datum-side", 68.0), ("datum-top", 58.0))
            },
            "groups": [self.group(g) for g in self.sheet.groups],
            "tapes": self.tapes(),
            "people": self.persons(),
        }

    def tapes(self) -> list[dict[str, Any]]:
        """Tapes from mark to mark, those of both sides on one line."""
        both: dict[str, dict[str, Any]] = {}
        for t in self.sheet.tapes:
            row = both.setdefault(
                t.id,
                {
                    "name": t.name,
                    "field": t.id,
                    "sided": bool(t.side),
                    "numbers": ", ".join(str(n) for f, n in self.numbers.items() if f in t.fields),
                    "allowed": self.length(t.allowed),
                },
            )
            assert row["sided"] == bool(t.side)
        return list(both.values())

    def length(self, mm: float) -> str:
        """An allowance in the sheet's units."""
        if self.units == "in":
            return format_length(mm, "in", denominator=16)
        return f"{mm:g} mm"

    def picture(self, name: str, width: float, height: float) -> dict[str, Any]:
        """Draw and keep a picture of the shell."""
        caption = ""
        if name == "fall":
            falls = [str(m.number) for m in self.sheet.measures if m.blank == "falls"]
            caption = f"Numbers {', '.join(falls)}: 0 where the metal is level"
        drawn = measuring_picture(name, self.numbers, width, height)
        return self.keep(name, drawn) | {"caption": caption}

    def keep(self, name: str, drawn: LineDrawing) -> dict[str, Any]:
        """Keep a drawing and return how the document finds it."""
        self.pictures[f"{name}.svg"] = drawn.svg.encode()
        return {"file": f"{name}.svg", "width": drawn.width, "height": drawn.height}

    def group(self, g: SheetPage) -> dict[str, Any]:
        """A page of measurements."""
        return {
            "title": g.title,
            "intro": g.intro,
            "pictures": self.rows_of(
                COLUMNS[g.id],
                [
                    self.picture(name, width, height)
                    for name, (width, height) in zip(g.pictures, SIZES[g.id], strict=True)
                ],
            ),
            "rows": [self.row(m) for m in g.measures],
        }

    def rows_of(self, counts: Sequence[int], pictures: list[Any]) -> list[list[Any]]:
        """Pictures in rows of so many."""
        starts = [sum(counts[:n]) for n in range(len(counts))]
        return [pictures[a : a + n] for a, n in zip(starts, counts, strict=True)]

    def row(self, m: Measurement) -> dict[str, Any]:
        """A line of the table."""
        return {
            "number": m.number,
            "name": m.name,
            "how": m.how,
            "because": because(m),
            "sided": m.sided,
            "leads": list(LEADS.get(m.blank, ())),
            "double": list(DOUBLE.get(m.blank, ())),
            "choices": list(m.choices),
        }

    def persons(self) -> list[dict[str, Any]]:
        """Pages of the people."""
        rows = {
            g.id: [self.row(m) | {"sided": True, "because": ""} for m in g.measures]
            for g in self.sheet.people
        }
        return [
            {
                "title": "The people, in the car",
                "intro": "Belted in, with suit, shoes, helmet and head restraint, hands on the "
                "wheel. Points as on the car: x ahead of the hoop plane, y to the left, z up. The "
                "helmet is measured with a square against a wall.",
                "pictures": self.person("seated"),
                "rows": rows["seated"],
                "short": rows["helmet"],
            },
            {
                "title": "The people, on a chair",
                "intro": "On a flat chair against a wall, barefoot, in light clothes. What nobody "
                "measures is filled in from the survey and percentile named in the driver sheet.",
                "pictures": self.person("body"),
                "rows": [],
                "short": rows["body"],
            },
        ]

    def person(self, part: str) -> list[dict[str, Any]]:
        """Pictures of a person."""
        return [
            self.keep(name, person_picture(name, self.people, width, height))
            for name, width, height in PEOPLE_PICTURES[part]
        ]


def because(m: Measurement) -> str:
    """Who asks for a measurement, in words."""
    if m.because == (CAR_FILE,):
        return "asked for by every car sheet"
    if m.because == (CHECKS,):
        return "for the checks; may be left out"
    return "for " + ", ".join(named(k) for k in m.because)
