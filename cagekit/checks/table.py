"""The table of findings: grouped by subject, worst first, readable at 80 columns without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.checks.wording import limit_text, source_text, value_text
from cagekit.units import LengthUnit

MARKS = {
    Status.FAIL: "FAIL",
    Status.WARN: "warn",
    Status.NEEDS_INPUT: "input?",
    Status.NEEDS_INSPECTION: "look",
    Status.PASS: "pass",
    Status.NOT_APPLICABLE: "n/a",
}
"""How each status is marked: by word, so that nothing hangs on colour."""
LOUD = (Status.FAIL, Status.WARN)
_LEAD = 10


def table_text(
    findings: Iterable[Finding],
    *,
    units: LengthUnit = "mm",
    width: int = 80,
    everything: bool = False,
) -> str:
    """The findings as a table.

    Args:
        findings: any order.
        units: units that people read.
        width: columns.
        everything: list what passes and what does not apply too.
    """
    found = worst_first(findings)
    blocks = [_loud(found, units, width)]
    if everything:
        rest = [f for f in found if f.status in (Status.PASS, Status.NOT_APPLICABLE)]
        blocks.append(_quiet("What passes and what does not apply", rest, units, width))
    asked = [f for f in found if f.status is Status.NEEDS_INPUT]
    blocks.append(_asked(asked, width))
    looked = [f for f in found if f.status is Status.NEEDS_INSPECTION]
    blocks.append(_looked(looked, units, width))
    blocks.append(summary_text(found, width=width))
    return "\n\n".join(b for b in blocks if b)


def _loud(found: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """Failures and warnings, grouped by subject, the subject with the worst finding first."""
    groups: dict[str, list[Finding]] = {}
    for f in found:
        if f.status in LOUD:
            groups.setdefault(f.subject, []).append(f)
    alike: dict[str, list[str]] = {}
    for subject, rows in groups.items():
        body = "\n".join(_full(same, units, width) for same in _same(rows))
        alike.setdefault(body, []).append(subject)
    return "\n\n".join(
        f"{_wrapped('', ', '.join(subjects), width)}\n{body}" for body, subjects in alike.items()
    )


def _same(rows: Sequence[Finding]) -> list[list[Finding]]:
    """Findings of one subject that say the same, as several rulebooks do, side by side."""
    groups: dict[object, list[Finding]] = {}
    for f in rows:
        measured = round(f.measured, 3) if isinstance(f.measured, float) else f.measured
        key = (f.status, measured, f.op, f.limit, f.unit, frozenset(f.evidence.members))
        groups.setdefault(key, []).append(f)
    return list(groups.values())


def _full(same: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """Findings that say the same: what is and must be, where that stands, what cures it."""
    f = same[0]
    measured, limit = value_text(f.measured, f.unit, units), limit_text(f, units)
    verb = "should be" if f.status is Status.WARN else "must be"
    said = f"{f.quantity}: {measured}, {verb} {limit}" if limit else f"{f.quantity}: {measured}"
    rows = [_wrapped(f"  {MARKS[f.status]:<{_LEAD - 2}}", said.removesuffix(": "), width)]
    for one in same:
        source = source_text(one)
        rows.append(_wrapped(" " * _LEAD, f"{source} [{one.code}]".strip(), width))
    for cure in dict.fromkeys(one.cure for one in same if one.cure):
        rows.append(_wrapped(" " * _LEAD, f"Cure: {cure}", width))
    return "\n".join(rows)


def _asked(found: Sequence[Finding], width: int) -> str:
    """What has to be given, once, with the checks that wait for it."""
    waiting: dict[str, list[Finding]] = {}
    for f in found:
        waiting.setdefault(f.cure, []).append(f)
    rows = ["Cannot be judged yet"] if waiting else []
    for cure, group in waiting.items():
        rows.append(_wrapped(f"  {'input?':<{_LEAD - 2}}", cure, width))
        sure = sorted({f.certainty.value for f in group})
        codes = ", ".join(f.code for f in group)
        rows.append(_wrapped(" " * _LEAD, f"[{codes}] ({', '.join(sure)})", width))
    return "\n".join(rows)


def _quiet(title: str, found: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """What passes or does not apply, one line or two each."""
    rows = [title] if found else []
    for f in sorted(found, key=lambda f: (f.status.rank, f.subject, f.code)):
        said = f"{f.subject}, {f.quantity}"
        if f.status is Status.PASS:
            said += f": {value_text(f.measured, f.unit, units)} ({limit_text(f, units)})"
        said += f" [{f.code}, {f.certainty.value}]"
        rows.append(_wrapped(f"  {MARKS[f.status]:<{_LEAD - 2}}", said, width))
    return "\n".join(rows)


def _looked(found: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """What has to be looked at on the car, with the numbers that the model gives."""
    rows = ["To be inspected on the car"] if found else []
    groups: dict[str, list[Finding]] = {}
    for f in sorted(found, key=lambda f: (f.code, f.subject)):
        groups.setdefault(f.code, []).append(f)
    for code, group in groups.items():
        said = group[0].text
        numbers = [
            f"{f.subject} {value_text(f.measured, f.unit, units)}"
            for f in group
            if f.measured is not None
        ]
        said += f" {group[0].quantity}: {', '.join(numbers)}." if numbers else ""
        said += f" [{code}, {group[0].certainty.value}]"
        rows.append(_wrapped(f"  {MARKS[group[0].status]:<{_LEAD - 2}}", said, width))
    return "\n".join(rows)


def summary_text(found: Iterable[Finding], *, width: int = 80) -> str:
    """How many of each status, one line a source, so that rulebooks stand side by side."""
    counts: dict[str, dict[Status, int]] = {}
    for f in found:
        name = f.code.split("/")[0] if f.group == "rules" else f.group
        row = counts.setdefault(name, dict.fromkeys(Status, 0))
        row[f.status] += 1
    size = max((len(n) for n in counts), default=0)
    head = " " * size + "".join(f"{MARKS[s]:>8}" for s in Status)
    rows = [
        f"{name:<{size}}" + "".join(f"{n:>8}" for n in counts[name].values())
        for name in sorted(counts)
    ]
    return "\n".join(line[:width] for line in [head, *rows]) if counts else "No checks were made."


def explain_text(f: Finding, *, units: LengthUnit = "mm", width: int = 80) -> str:
    """All about one finding, for `--why`."""
    limit = limit_text(f, units)
    points = ["({:.0f}, {:.0f}, {:.0f})".format(*p) for p in f.evidence.points]
    rows = [
        ("check", f.code),
        ("status", f.status.words),
        ("subject", f.subject),
        ("measured", f"{f.quantity}: {value_text(f.measured, f.unit, units) or 'nothing'}"),
        ("limit", limit),
        ("rule", f.text),
        ("source", ", ".join(t for t in (f.source, f.clause, f.edition) if t and t != "-")),
        ("certainty", f"{f.certainty.value}{_MEANS.get(f.certainty.value, '')}"),
        ("members", ", ".join(f.evidence.members)),
        ("plates", ", ".join(f.evidence.plates)),
        ("points", "; ".join(points) + " mm" if points else ""),
        ("note", f.evidence.note),
        ("cure", f.cure),
    ]
    return "\n".join(_wrapped(f"{name:<{_LEAD}}", text, width) for name, text in rows if text)


_MEANS = {
    "read in text": ": in one copy of the rulebook",
    "in two editions": ": the same in two editions or copies",
    "paraphrase": ": told by somebody else, not read in the rulebook itself",
    "from memory": ": nobody has looked it up; look before you build",
    "common practice": ": a habit of the trade without a document",
}


def _wrapped(lead: str, text: str, width: int) -> str:
    return textwrap.fill(
        text,
        width,
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_long_words=False,
        break_on_hyphens=False,
    )
