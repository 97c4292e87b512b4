"""Quantities in braces, told in the reader's units."""

from __future__ import annotations

import pytest

from cagekit.units.told import odd_braces, told_in


@pytest.mark.parametrize(
    ("text", "mm", "inches"),
    [
        ("at least {100 mm} off", "at least 100 mm off", "at least 3.937 in off"),
        ("within {6 in}.", "within 152.4 mm.", "within 6 in."),
        # 1 in = 25.4 mm exactly; a wall keeps its hundredths
        ("{1 5/8 x 0.134 in} tube", "41.28 x 3.4 mm tube", "1 5/8 x 0.134 in tube"),
        ("{75 x 50 x 3 mm}", "75 x 50 x 3 mm", "2.953 x 1.969 x 0.118 in"),
        ("{2 to 6 in}", "50.8 to 152.4 mm", "2 to 6 in"),
        ("Use {3 mm | 1/8 in} plate", "Use 3 mm plate", "Use 1/8 in plate"),
        ("{1/8 in|3 mm}", "3 mm", "1/8 in"),
        # 1 lb = 0.45359237 kg, 1 ksi = 6.894757 MPa
        ("{2700 lb}", "1224.7 kg", "2700 lb"),
        ("{350 N/mm2}", "350 N/mm2", "50.8 ksi"),
        ("{60 cm2} and {100 sq in}", "60 cm2 and 645.2 cm2", "9.3 sq in and 100 sq in"),
        ("At {where}: 3 mm", "At {where}: 3 mm", "At {where}: 3 mm"),
    ],
)
def test_the_reader_gets_his_own_units(text: str, mm: str, inches: str) -> None:
    assert told_in(text, "mm") == mm
    assert told_in(text, "in") == inches


def test_without_a_reader_it_stands_as_it_is_written() -> None:
    assert told_in("{6 in}, {45 x 2.5 mm}, {3 mm | 1/8 in}", None) == "6 in, 45 x 2.5 mm, 3 mm"


@pytest.mark.parametrize("odd", ["{12}", "{1 in 3}", "{3 foo}", "{}", "{3 mm | much}", "{mm}"])
def test_what_is_no_quantity_is_found(odd: str) -> None:
    assert list(odd_braces(f"at {{3 mm}}, {odd} and {{2 to 6 in}}")) == [odd]
