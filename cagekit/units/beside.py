"""Forces, moments, stresses and masses: in SI, and for who reads inches in both.

What a standard or a load says counts in kN and MPa; who works in inches thinks in lbf and ksi, so
both stand there: ``12.0 kN (2,700 lbf)``.
"""

from __future__ import annotations

import re
from fractions import Fraction

from msgspec import Struct

from cagekit.units.formats import in_unit
from cagekit.units.lengths import LengthUnit
from cagekit.units.scale import FOOT_EXACT, KSI_EXACT, POUND_EXACT, POUND_FORCE_EXACT, exact


class TwoUnits(Struct, frozen=True, kw_only=True):
    """How one kind of quantity is written.

    Args:
        si: unit that always stands there. si_size: one of it, in N, mm, MPa, kg.
        decimals: of it.
        us: unit in brackets beside inches. us_size: one of it, the same way.
        step: to which multiple of it is rounded.
    """

    si: str
    si_size: Fraction
    decimals: int
    us: str
    us_size: Fraction
    step: Fraction

    def unit(self, units: LengthUnit) -> str:
        """The unit as the head of a column: ``kN`` or ``kN (lbf)``."""
        return self.si if units == "mm" else f"{self.si} ({self.us})"

    def figures(self, value: float, units: LengthUnit, *, sign: bool = False) -> str:
        """A value without its unit: ``12.0`` or ``12.0 (2,700)``.

        Args:
            value: N, Nmm, MPa or kg.
            units: that the reader wants.
            sign: whether a gain carries its plus.
        """
        first, second = self._both(value, sign)
        return first if units == "mm" else f"{first} ({second})"

    def told(self, value: float, units: LengthUnit) -> str:
        """A value with its unit: ``12.0 kN`` or ``12.0 kN (2,700 lbf)``."""
        first, second = self._both(value, False)
        return f"{first} {self.si}" + ("" if units == "mm" else f" ({second} {self.us})")

    def _both(self, value: float, sign: bool) -> tuple[str, str]:
        plus = "+" if sign and value > 0 else ""
        return (
            plus + in_unit(value, self.si_size, self.decimals),
            plus + self.in_us(value),
        )

    def in_us(self, value: float) -> str:
        """The figure in brackets, thousands parted by commas."""
        text = in_unit(value, self.us_size * self.step, 0)
        number = Fraction(text) * self.step
        digits = max(len(str(self.step.denominator)) - 1, 0)
        return f"{float(number):,.{digits}f}"


FORCE = TwoUnits(
    si="kN", si_size=Fraction(1000), decimals=1,
    us="lbf", us_size=POUND_FORCE_EXACT, step=Fraction(10),
)  # fmt: skip
MOMENT = TwoUnits(
    si="kNm", si_size=Fraction(10**6), decimals=2,
    us="lbf ft", us_size=POUND_FORCE_EXACT * FOOT_EXACT, step=Fraction(10),
)  # fmt: skip
STRESS = TwoUnits(
    si="MPa", si_size=Fraction(1), decimals=0, us="ksi", us_size=KSI_EXACT, step=Fraction(1, 10)
)
MASS = TwoUnits(
    si="kg", si_size=Fraction(1), decimals=3, us="lb", us_size=POUND_EXACT, step=Fraction(1, 1000)
)

_SAID = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?) (kN|MPa)(?![\w²])")


def forces_in(text: str, units: LengthUnit) -> str:
    """The text with lbf behind every kN and ksi behind every MPa, for who reads inches."""

    def both(found: re.Match[str]) -> str:
        kind = FORCE if found[2] == "kN" else STRESS
        value = float(exact(float(found[1])) * kind.si_size)
        return f"{found[0]} ({kind.in_us(value)} {kind.us})"

    return text if units == "mm" else _SAID.sub(both, text)
