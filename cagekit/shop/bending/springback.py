"""Springback: what to set on the bender so that the bend that is left has the drawn angle.

The model is a straight line through the builder's own test bends, ``set = slope * got + offset``:
the slope is the elastic recovery, which grows with the angle, the offset the slack of clamp and
dial, which does not. Two bends give the line, more give a residual to judge it by.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees, radians, sqrt

from msgspec import Struct

from cagekit.inputs.tooling import Die, TestBend
from cagekit.units.tolerance import ROUNDING

POOR = radians(0.75)
"""Scatter (rms of the residuals) above which the fit is called poor (common practice: an angle
finder on a tube repeats within half a degree)."""
WALL_MATCH = 0.06
"""Walls within this are the same tube, mm."""
REACH = radians(10)
"""How far beyond the tested angles the line is trusted without a word (common practice)."""
SPREAD = radians(20)
"""Tests closer together than this do not tell slope from offset (common practice)."""


class Springback(Struct, frozen=True, kw_only=True):
    """A fitted springback model.

    ``slope`` (set over got, plain number) and ``offset`` (rad) make the line; ``pairs`` is the
    number of test bends, ``rms`` and ``worst`` the residuals of the set angle (rad), ``low`` and
    ``high`` the range of tested finished angles (rad). ``warnings`` hold for the whole model.
    """

    slope: float = 1.0
    offset: float = 0.0
    pairs: int = 0
    rms: float = 0.0
    worst: float = 0.0
    low: float = 0.0
    high: float = 0.0
    warnings: tuple[str, ...] = ()

    @property
    def measured(self) -> bool:
        """Whether there is a test bend behind it at all."""
        return self.pairs > 0

    def set_angle(self, finished: float) -> float:
        """Angle (rad) to drive the machine to for a ``finished`` angle (rad)."""
        return self.slope * finished + self.offset if finished > 0 else 0.0

    def left(self, driven: float) -> float:
        """Finished angle (rad) that a setting of the machine (rad) leaves."""
        return max((driven - self.offset) / self.slope, 0.0)

    def beyond_tests(self, finished: float) -> bool:
        """Whether a ``finished`` angle (rad) lies too far from the tests to trust the line."""
        return self.measured and not self.low - REACH <= finished <= self.high + REACH

    @property
    def words(self) -> str:
        """The model in one line for the papers."""
        if not self.measured:
            return "no test bends: angles are finished angles"
        line = f"set = {self.slope:.4f} x finished {degrees(self.offset):+.2f} deg"
        if self.pairs == 1:
            return f"{line} (one test bend)"
        scatter = f", scatter {degrees(self.rms):.2f} deg" if self.pairs > 2 else ""
        return f"{line} ({self.pairs} test bends{scatter})"


def fit(tests: Sequence[TestBend], *, wall: float | None = None) -> Springback:
    """Fit the line through test bends by least squares.

    Args:
        tests: the builder's pairs of set and finished angle.
        wall: wall of the tube to be bent, mm; tests of another wall are left out where there are
            tests of this one or of no wall in particular.

    Returns:
        The line; proportional through zero for one pair, ``set = got`` for none.
    """
    own = [t for t in tests if wall is None or t.wall is None or abs(t.wall - wall) <= WALL_MATCH]
    notes: list[str] = []
    if tests and not own:
        own = list(tests)
        notes.append(
            f"no test bend of {wall:.2f} mm wall: those of other walls are used; "
            "bend a test piece of this tube."
        )
    if not own:
        return Springback(
            warnings=(
                "needs test bends: no springback is known, the angles to set are the finished "
                "angles. Bend two pieces of this tube, about 30 and 90 degrees, and enter them.",
            )
        )
    got, driven = [t.got for t in own], [t.set for t in own]
    low, high = min(got), max(got)
    if high - low < ROUNDING:
        slope = sum(s * g for s, g in zip(driven, got, strict=True)) / sum(g * g for g in got)
        offset = 0.0
        notes.append(
            "one test angle only: springback is taken as proportional; bend one more, far from it."
        )
    else:
        slope, offset = _line(got, driven)
    residuals = [s - slope * g - offset for s, g in zip(driven, got, strict=True)]
    rms = sqrt(sum(r * r for r in residuals) / len(residuals))
    worst = max(abs(r) for r in residuals)
    if 0 < high - low < SPREAD:
        notes.append(
            f"test bends lie within {degrees(high - low):.0f} degrees of each other: "
            "add one far from them."
        )
    if rms > POOR:
        notes.append(
            f"poor fit: the test bends scatter by {degrees(rms):.1f} degrees (worst "
            f"{degrees(worst):.1f}); repeat them with one tube, one clamp setting and one dial."
        )
    if not 1.0 <= slope <= 1.25 or offset < -POOR:
        notes.append(
            f"odd fit: {degrees(offset):.1f} degrees of slack and {100 * (slope - 1):.1f} percent "
            "recovery; steel tube shows 0 to 25 percent and no negative slack (common practice): "
            "check the pairs."
        )
    return Springback(
        slope=slope, offset=offset, pairs=len(own), rms=rms, worst=worst, low=low, high=high,
        warnings=tuple(notes),
    )  # fmt: skip


def for_die(die: Die, wall: float) -> Springback:
    """Return the model of a die for tube of ``wall`` mm."""
    return fit(die.test, wall=wall)


def _line(x: Sequence[float], y: Sequence[float]) -> tuple[float, float]:
    """Return slope and intercept of the least-squares line."""
    n = len(x)
    mx, my = sum(x) / n, sum(y) / n
    sxx = sum((a - mx) ** 2 for a in x)
    sxy = sum((a - mx) * (b - my) for a, b in zip(x, y, strict=True))
    slope = sxy / sxx
    return slope, my - slope * mx
