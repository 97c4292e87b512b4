"""Exact factors between inch units and the units inside.

Source: international yard and pound agreement (1959), 1 in = 25.4 mm and 1 lb = 0.45359237 kg,
both exact; standard acceleration of free fall 9.80665 m/s2, 3rd CGPM (1901), exact.
"""

from __future__ import annotations

from fractions import Fraction

INCH_EXACT = Fraction(254, 10)
FOOT_EXACT = 12 * INCH_EXACT
POUND_EXACT = Fraction(45359237, 100_000_000)
POUND_FORCE_EXACT = POUND_EXACT * Fraction(980665, 100_000)
KSI_EXACT = 1000 * POUND_FORCE_EXACT / INCH_EXACT**2

INCH = float(INCH_EXACT)
"""One inch in mm."""
POUND = float(POUND_EXACT)
"""One pound in kg."""
POUND_FORCE = float(POUND_FORCE_EXACT)
"""One pound-force in N."""
KSI = float(KSI_EXACT)
"""One ksi (1000 lbf per square inch) in MPa."""


def exact(value: float) -> Fraction:
    """Return the shortest decimal that reads back as ``value``, as a fraction.

    A length typed as 1.625 is meant as 1625/1000, not as the binary number nearest to it.
    """
    return Fraction(repr(float(value)))
