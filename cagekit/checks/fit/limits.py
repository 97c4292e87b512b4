"""Limits of the fit and sight checks, read from ``cagekit/data/fit_limits.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from cagekit.checks.finding import Certainty, Evidence, Finding, Status
from cagekit.fit.cockpit import Reading

SLACK = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit with its source; ``value`` is a number or a ``(low, high)`` range."""

    op: str
    value: float | tuple[float, float]
    level: Status
    source: str
    certainty: Certainty
    text: str
    clause: str = ""
    edition: str = ""
    written: str = ""

    def holds(self, measured: float) -> bool:
        """Whether a measured value keeps the limit."""
        if isinstance(self.value, tuple):
            low, high = self.value
            return low - SLACK <= measured <= high + SLACK
        gap = measured - self.value
        if self.op == ">=":
            return gap >= -SLACK
        if self.op == ">":
            return gap > SLACK
        return gap <= SLACK


@dataclass(frozen=True, slots=True, kw_only=True)
class FitCheck:
    """One check: what is measured, its limits (hardest first) and the cure.

    ``names_bar``: the cure is about one bar and says which.
    """

    name: str
    quantity: str
    unit: str
    cure: str
    limits: tuple[Limit, ...]
    names_bar: bool = False

    def judge(self, measured: float) -> tuple[Status, Limit]:
        """The status and the limit that decides it."""
        for limit in self.limits:
            if not limit.holds(measured):
                return limit.level, limit
        return Status.PASS, self.limits[-1]

    def finding(
        self, group: str, subject: str, reading: Reading, *, scale: float = 1.0, note: str = ""
    ) -> Finding:
        """Hold a reading against the limits.

        Args:
            group: check group.
            subject: what the finding is about.
            reading: the measured value; without one the finding needs input.
            scale: turns the reading into the check's unit (rad to degrees).
            note: more to say in words.
        """
        code = f"{group}/{self.name}"
        if reading.value is None:
            return self._unmeasured(code, group, subject, reading)
        measured = reading.value * scale
        status, limit = self.judge(measured)
        words = "; ".join(w for w in (reading.note, note) if w)
        return Finding(
            code=code,
            group=group,
            subject=subject,
            quantity=self.quantity,
            status=status,
            measured=measured,
            op=limit.op,
            limit=limit.value,
            unit=self.unit,
            source=limit.source,
            clause=limit.clause,
            edition=limit.edition,
            certainty=limit.certainty,
            evidence=Evidence.of(*reading.members, points=reading.points, note=words),
            cure="" if status is Status.PASS else self._cure(reading),
            text=limit.text,
            written=limit.written,
        )

    def _cure(self, reading: Reading) -> str:
        """The cure, with the bar and the spot where one bar is meant."""
        if not self.names_bar or not reading.members:
            return self.cure
        where = f"{reading.members[0]} ({reading.note})" if reading.note else reading.members[0]
        return f"At {where}: {self.cure[:1].lower()}{self.cure[1:]}"

    def _unmeasured(self, code: str, group: str, subject: str, reading: Reading) -> Finding:
        """What to say when there is nothing to measure, or something is not given."""
        absent = bool(reading.absent)
        return Finding(
            code=code,
            group=group,
            subject=subject,
            quantity=self.quantity,
            unit=self.unit,
            status=Status.NOT_APPLICABLE if absent else Status.NEEDS_INPUT,
            source=self.limits[-1].source,
            certainty=self.limits[-1].certainty,
            cure="" if absent else f"Complete the input: {reading.missing}.",
            text=f"Not measured: {reading.absent or reading.missing}.",
        )


@cache
def checks_in(file: str) -> Mapping[str, FitCheck]:
    """Every check of a limits file of ``cagekit/data`` by name, in the file's order."""
    text = files("cagekit.data").joinpath(file).read_text(encoding="utf-8")
    return {name: _check(name, table) for name, table in tomllib.loads(text).items()}


def fit_checks() -> Mapping[str, FitCheck]:
    """Every fit check by name, in the file's order."""
    return checks_in("fit_limits.toml")


def fit_check(name: str) -> FitCheck:
    """One fit check by name."""
    return fit_checks()[name]


def _check(name: str, table: Mapping[str, Any]) -> FitCheck:
    return FitCheck(
        name=name,
        quantity=table["quantity"],
        unit=table["unit"],
        cure=table["cure"],
        limits=tuple(_limit(row) for row in table["limit"]),
        names_bar=table.get("names_bar", False),
    )


def _limit(row: Mapping[str, Any]) -> Limit:
    value = row["value"]
    return Limit(
        op=row["op"],
        value=(float(value[0]), float(value[1])) if isinstance(value, list) else float(value),
        level=Status(row["level"]),
        source=row["source"],
        certainty=Certainty(row["certainty"]),
        text=row["text"],
        clause=row.get("clause", ""),
        edition=row.get("edition", ""),
        written=row.get("written", ""),
    )
