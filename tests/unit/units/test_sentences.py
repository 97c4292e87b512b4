"""Lengths in a message, told in the units of the build."""

from __future__ import annotations

import pytest

from cagekit.units import lengths_in


@pytest.mark.parametrize(
    ("mm", "inches"),
    [
        ("it runs from -110 to 1021 mm there", "it runs from -4.33 to 40.2 in there"),
        ("needs 25.4 mm of tube, has 13262.8909 mm.", "needs 1 in of tube, has 522.16 in."),
        ("a 38.1 x 2.4 mm tube", "a 1.5 x 0.094 in tube"),
        ("a sheet of 0.9 mm", "a sheet of 0.035 in"),
        ("864 mm3 at 3 mm2, tube cds-40x2.0", "864 mm3 at 3 mm2, tube cds-40x2.0"),
        ("at 4.0 degrees", "at 4.0 degrees"),
    ],
)
def test_lengths_are_told_in_the_unit_of_the_build(mm: str, inches: str) -> None:
    assert lengths_in(mm, "in") == inches
    assert lengths_in(mm, "mm") == mm
