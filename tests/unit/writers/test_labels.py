"""Labels: one for each tube and each piece of plate, with what a hand needs at the bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import demos
import pdfpages
import pytest

from cagekit.names import named
from cagekit.writers.labels import label_data


@pytest.mark.parametrize("name", ["sprint-wagon", "gravel-hatch"])
def test_a_label_for_every_tube_and_every_piece_of_plate(
    name: str, made: Callable[[str], Path]
) -> None:
    design = demos.design(name)
    pages = pdfpages.pages(made(name) / "labels.pdf")
    text = " ".join(" ".join(p.text.split()) for p in pages)
    boxes = [b for p in pages for b in p.shapes if len(b.points) > 2]
    sizes = [c.size for p in pages for c in p.letters]
    labels = label_data(design)["labels"]
    plates = design.cage.plates
    assert len(labels) == len(design.bends) + sum(p.quantity for p in plates)
    assert len(boxes) >= len(labels)
    for n, s in enumerate(design.bends, 1):
        (one,) = [x for x in labels if x["name"] == named(s.member)]
        assert one["number"] == str(n)
        assert any("blank" in t for t in one["lines"])
    for p in plates:
        assert f"{p.id}.dxf" in text
    for one in labels:
        told = [t for t in one["lines"] if not t.endswith(".dxf")]
        assert not any("_" in t or t.endswith((".a", ".b", "end a", "end b")) for t in told), told
    assert min(sizes) >= 6.4
    assert text.count(name) >= len(labels)
