"""A finding: one number, its limit, where the limit comes from and what would cure it.

Every check, whatever it looks at, speaks in findings, so that one table, one JSON file and one
inspection sheet hold them all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from enum import StrEnum
from typing import Any

from msgspec import Struct, field

from cagekit.materials.source import Certainty

Scalar = float | int | str | bool
"""One value; lengths mm, areas mm2, masses kg, angles degrees (a finding is a border)."""
Value = Scalar | None | tuple["Value", ...]
"""A value, a pair such as ``(od, wall)``, a range, or a list of alternatives."""
Point3 = tuple[float, float, float]


class Status(StrEnum):
    """What came out, the worst first."""

    FAIL = "fail"
    WARN = "warn"
    NEEDS_INPUT = "needs_input"
    NEEDS_INSPECTION = "needs_inspection"
    PASS = "pass"
    NOT_APPLICABLE = "not_applicable"

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return _RANKS[self]

    @property
    def words(self) -> str:
        """The status as it is printed."""
        return self.value.replace("_", " ")


_RANKS = {status: n for n, status in enumerate(Status)}


class Evidence(Struct, frozen=True, kw_only=True):
    """What a picture has to show: members, plates and points (mm, vehicle axes)."""

    members: tuple[str, ...] = ()
    plates: tuple[str, ...] = ()
    points: tuple[Point3, ...] = ()
    note: str = ""

    @classmethod
    def of(
        cls,
        *members: str,
        plates: Iterable[str] = (),
        points: Iterable[Iterable[float]] = (),
        note: str = "",
    ) -> Evidence:
        """Build from loose values; ``points`` are any rows of three numbers.

        Args:
            *members: ids of members it is about.
            plates: ids of plates it is about.
            points: where to look, ``(3,)`` mm each.
            note: what to see there.
        """
        rows = tuple([_point(p) for p in points])
        return cls(members=members, plates=tuple(plates), points=rows, note=note)

    def to_json(self) -> dict[str, Any]:
        """The evidence as plain JSON values."""
        return {
            "members": list(self.members),
            "plates": list(self.plates),
            "points": [[plain(x) for x in p] for p in self.points],
            "note": self.note,
        }


class Finding(Struct, frozen=True, kw_only=True):
    """One row of ``checks.json``.

    Args:
        code: stable name of the check, e.g. ``"fia-253/backstay-angle"``; `--why` takes it.
        group: check group (``geometry``, ``shop``, ``fit``, ``sight``, ``rules``, ...).
        subject: what was looked at, a member id, a role, a plate, ``cage``, ``driver``.
        quantity: what was measured, in words a builder reads.
        status: what came out.
        measured: the number found, in ``unit``; None where nothing could be measured.
        op: ``<=``, ``>=``, ``<``, ``>``, ``=``, ``!=``, ``between``, ``in`` or ``""``.
        limit: what it is held against, in ``unit``: a number, a ``(low, high)`` range, or
            alternatives such as ``((45.0, 2.5), (50.0, 2.0))``.
        unit: ``mm``, ``mm2``, ``kg``, ``deg``, ``s``, ``""`` for ratios and counts.
        source: rulebook, standard or sheet the limit comes from.
        clause: clause in it.
        edition: edition or year that was read.
        certainty: how sure the limit is; shown wherever the limit is shown.
        evidence: members and points for a picture.
        cure: what would turn it good; empty when it is good.
        text: the rule in our own words, or why nothing could be measured.
        written: the limit as the source writes it, where that differs (inches).
        tolerance: by how much the limit may be missed, in ``unit``.
        measures: name of the quantity, to tell whether two findings judge one number.
    """

    code: str
    group: str
    subject: str
    quantity: str
    status: Status
    measured: Value = None
    op: str = ""
    limit: Value = None
    unit: str = ""
    source: str = ""
    clause: str = ""
    edition: str = ""
    certainty: Certainty = Certainty.MEASURED
    evidence: Evidence = field(default_factory=Evidence)
    cure: str = ""
    text: str = ""
    written: str = ""
    tolerance: float = 0.0
    measures: str = ""

    @property
    def excess(self) -> float:
        """How far a failed number is beyond its limit, as a share of the limit; 0 otherwise."""
        if self.status is not Status.FAIL or not _number(self.measured):
            return 0.0
        bounds = self.limit if isinstance(self.limit, tuple) else (self.limit,)
        gaps = [
            abs(float(self.measured) - float(b)) / max(abs(float(b)), 1.0)  # type: ignore[arg-type]
            for b in bounds
            if _number(b)
        ]
        return min(gaps, default=0.0)

    @property
    def sort_key(self) -> tuple[int, float, str, str, str]:
        """Worst status first, the largest excess first, then by group, subject and code."""
        return self.status.rank, -round(self.excess, 9), self.group, self.subject, self.code

    def to_json(self) -> dict[str, Any]:
        """The contract's row as plain JSON values, keys in the contract's order."""
        return {
            "code": self.code,
            "group": self.group,
            "subject": self.subject,
            "quantity": self.quantity,
            "measured": plain(self.measured),
            "op": self.op,
            "limit": plain(self.limit),
            "unit": self.unit,
            "status": self.status.value,
            "source": self.source,
            "clause": self.clause,
            "edition": self.edition,
            "evidence": self.evidence.to_json(),
            "cure": self.cure,
            "certainty": self.certainty.value,
            "text": self.text,
            "written": self.written,
            **({"tolerance": plain(self.tolerance)} if self.tolerance else {}),
        }


def _point(p: Iterable[float]) -> Point3:
    """Plain numbers; of an array all at once, which takes a third of the time.

    What an array is stays unknown here: help on the command line is there without numpy.
    """
    x, y, z = p.tolist() if hasattr(p, "tolist") else p
    return float(x), float(y), float(z)


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings: worst status first, stable for equal input."""
    return tuple(sorted(findings, key=lambda f: f.sort_key))


def has_failures(findings: Iterable[Finding]) -> bool:
    """Whether any finding fails (exit code 1 of ``check``)."""
    return any(f.status is Status.FAIL for f in findings)


def to_json_text(findings: Iterable[Finding]) -> str:
    """``checks.json``: a list of rows, worst first; equal findings give equal bytes."""
    import json  # a check that prints none does without

    rows = [f.to_json() for f in worst_first(findings)]
    return json.dumps(rows, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def plain(value: Value) -> Any:
    """A value as JSON holds it: numbers rounded to a millionth, tuples as lists, no infinity."""
    if isinstance(value, tuple):
        return [plain(v) for v in value]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        return int(value)
    number = float(value)
    # JSON has no word for infinite or undefined
    return round(number, 6) + 0.0 if math.isfinite(number) else None


def _number(value: Value) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
