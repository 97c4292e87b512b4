"""Body dimensions of a population at a percentile, from the survey table in ``cagekit/data``.

Source: ANSUR II (2012), public working database, 4082 men and 1986 women: soldiers, not the
general public. The table holds what was computed from it person by person.
"""

from __future__ import annotations

from functools import cache
from statistics import NormalDist

from msgspec import Struct

from cagekit.data import rows
from cagekit.errors import NotFoundError

PRINTED = (1.0, 5.0, 50.0, 95.0, 99.0)
"""Percentiles that the table holds."""


class Distribution(Struct, frozen=True, kw_only=True):
    """One body dimension of one population; lengths mm.

    ``at`` holds the values at the percentiles ``PRINTED``.
    """

    measure: str
    name: str
    sex: str
    survey: str
    n: int
    mean: float
    sd: float
    at: tuple[float, ...]
    source: str
    note: str

    def value(self, percentile: float) -> float:
        """Return the dimension (mm) at ``percentile``, 1 to 99.

        Between two printed percentiles it runs straight over the normal score, so that the
        printed values come out as printed and a normal population comes out exactly.

        Raises:
            ValueError: outside 1 to 99, where the table says nothing.
        """
        if not PRINTED[0] <= percentile <= PRINTED[-1]:
            raise ValueError(f"percentile {percentile:g} is outside the table (1 to 99)")
        for i, printed in enumerate(PRINTED):
            if percentile == printed:
                return self.at[i]
        i = sum(p < percentile for p in PRINTED)
        z0, z1, z = (_score(p) for p in (PRINTED[i - 1], PRINTED[i], percentile))
        share = (z - z0) / (z1 - z0)
        return self.at[i - 1] + share * (self.at[i] - self.at[i - 1])


def _score(percentile: float) -> float:
    return NormalDist().inv_cdf(percentile / 100)


@cache
def headform_circumference(letter: str) -> float:
    """Circumference of a headform, mm.

    Source: headforms of EN 960 as used with UN R22 (``cagekit/data/headforms.csv``).

    Raises:
        NotFoundError: no headform of that letter in the table.
    """
    for row in rows("headforms"):
        if row["what"] == "circumference" and row["item"].endswith(f"headform {letter}"):
            return float(row["value"])
    raise NotFoundError(f"there is no headform {letter!r} in the table of headforms.")


@cache
def survey(name: str = "ANSUR II 2012") -> dict[tuple[str, str], Distribution]:
    """Return the survey's distributions by ``(sex, measure)``.

    Raises:
        NotFoundError: no survey of that name in the table.
    """
    out: dict[tuple[str, str], Distribution] = {}
    for row in rows("anthropometry"):
        if row["survey"] != name:
            continue
        out[row["sex"], row["measure"]] = Distribution(
            measure=row["measure"],
            name=row["name"],
            sex=row["sex"],
            survey=row["survey"],
            n=int(row["n"]),
            mean=float(row["mean"]),
            sd=float(row["sd"]),
            at=tuple(float(row[f"p{p:g}"]) for p in PRINTED),
            source=row["source"],
            note=row["note"],
        )
    if not out:
        raise NotFoundError(f"no survey {name!r} in the table of body dimensions.")
    return out
