"""The table of findings: counts, then what fails, then what warns, one fact a block.

A fact is one number of one kind of thing, with every limit that it is held against; the members
that share a verdict stand on its line with their numbers. What has to be given and what has to be
looked at on the car is a count until it is asked for. Readable at 80 columns without colour.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from msgspec import Struct, field

from cagekit.checks.finding import Finding, Status, worst_first
from cagekit.checks.wording import limit_text, source_text, value_text
from cagekit.names import filled, in_words, named
from cagekit.units import INCH, LengthUnit

MARKS = {
    Status.FAIL: "FAIL",
    Status.WARN: "warn",
    Status.NEEDS_INPUT: "input",
    Status.NEEDS_INSPECTION: "look",
    Status.PASS: "pass",
    Status.NOT_APPLICABLE: "n/a",
}
"""How each status is marked: by word, so that nothing hangs on colour."""
COUNTED = {
    Status.FAIL: "fail",
    Status.WARN: "warn",
    Status.NEEDS_INPUT: "need input",
    Status.NEEDS_INSPECTION: "to look at on the car",
    Status.PASS: "pass",
    Status.NOT_APPLICABLE: "do not apply",
}
"""How the number of each status is told."""
LOUD = (Status.FAIL, Status.WARN)
_LEAD = 6
MOST_OF = 3
"""Members that a limit of some of a block names; of more the number."""
MOST_NAMED = 8
"""Members that one line names; of more only the worst are named until everything is asked for."""


def table_text(
    findings: Iterable[Finding],
    *,
    units: LengthUnit = "mm",
    width: int = 80,
    everything: bool = False,
    asked: bool = False,
    looked: bool = False,
) -> str:
    """The findings as a table.

    Args:
        findings: any order.
        units: units that people read.
        width: columns.
        everything: list all of it, with the counts of each book.
        asked: list what has to be given before it can be judged.
        looked: list what has to be looked at on the car.
    """
    found = worst_first(findings)
    if not found:
        return "No checks were made."
    blocks = [counts_text(found, width=width), _loud(found, units, width, everything=everything)]
    if asked or everything:
        blocks.append(_asked([f for f in found if f.status is Status.NEEDS_INPUT], width))
    if looked or everything:
        rest = [f for f in found if f.status is Status.NEEDS_INSPECTION]
        blocks.append(_looked(rest, units, width))
    if everything:
        rest = [f for f in found if f.status in (Status.PASS, Status.NOT_APPLICABLE)]
        blocks.append(_quiet("What passes and what does not apply", rest, units, width))
        blocks.append(summary_text(found, width=width))
    return "\n\n".join(b for b in blocks if b)


def counts_text(found: Iterable[Finding], *, width: int = 80) -> str:
    """How many findings there are of each status, in words."""
    counts = dict.fromkeys(Status, 0)
    for f in found:
        counts[f.status] += 1
    text = ", ".join(f"{n} {COUNTED[s]}" for s, n in counts.items() if n or s in LOUD)
    return _wrapped("", text, width)


class _Fact(Struct):
    """One number of one thing, with the findings that judge it, the worst first."""

    rows: list[Finding] = field(default_factory=list)

    @property
    def limits(self) -> tuple[object, ...]:
        """What it is held against, with the verdicts: the same for facts of one block."""
        return tuple(sorted({(f.status.rank, f.op, str(f.limit)) for f in self.rows}))


def _loud(found: Sequence[Finding], units: LengthUnit, width: int, *, everything: bool) -> str:
    """Failures, then warnings, grouped by rule."""
    facts: dict[object, _Fact] = {}
    for f in found:
        if f.status in LOUD:
            facts.setdefault(_number_of(f), _Fact()).rows.append(f)
    blocks: dict[object, list[_Fact]] = {}
    for fact in facts.values():
        first = fact.rows[0]
        of = _either(first.measures or first.code)
        key = (first.status, of, _either(first.quantity), first.unit, fact.limits)
        blocks.setdefault(key, []).append(fact)
    joined = _joined(blocks.values())
    order = sorted(joined, key=lambda b: b[0].rows[0].status.rank)
    return "\n".join(_block(b, units, width, everything=everything) for b in order)


def _either(text: str) -> str:
    """A text said of both sides at once."""
    return re.sub(r"\b(left|right)\b", "left/right", text)


def _joined(blocks: Iterable[list[_Fact]]) -> list[list[_Fact]]:
    """Blocks of one number each put together where the number is the same: one wrong tube, once."""
    out: dict[object, list[_Fact]] = {}
    for n, block in enumerate(blocks):
        first = block[0].rows[0]
        numbers = {str(fact.rows[0].measured) for fact in block}
        one = len(numbers) == 1 and first.measured is not None
        of = first.measures or first.code
        key = (first.status, of, first.quantity, first.unit, *numbers) if one else n
        out.setdefault(key, []).extend(block)
    return list(out.values())


def _number_of(f: Finding) -> object:
    """What makes two findings judge the same number."""
    measured = round(f.measured, 3) if isinstance(f.measured, float) else f.measured
    if measured is None:
        return f.code, f.subject
    return f.measures or f.quantity, f.quantity, f.subject, measured, f.unit


def _block(facts: Sequence[_Fact], units: LengthUnit, width: int, *, everything: bool) -> str:
    """One rule: who has which number, each limit with its books, what cures it."""
    first = facts[0].rows[0]
    shown = facts if everything else facts[:MOST_NAMED]
    numbers = [value_text(f.rows[0].measured, f.rows[0].unit, units) for f in shown]
    names = [in_words(f.rows[0].subject) for f in shown]
    if len(set(numbers)) == 1 and isinstance(first.measured, str) and " " in numbers[0]:
        said = f"{', '.join(names)}: {numbers[0]}"  # a sentence, not a number
    elif len(set(numbers)) == 1:
        said = ", ".join(names) + (f" {numbers[0]}" if numbers[0] else "")
        said += " each" if numbers[0] and len(names) > 1 else ""
    else:
        said = ", ".join(f"{n} {v}".strip() for n, v in zip(names, numbers, strict=True))
    more = len(facts) - len(shown)
    said += f" and {more} more (--all)" if more else ""
    quantities = {f.rows[0].quantity for f in facts}
    quantity = first.quantity if len(quantities) == 1 else _either(first.quantity)
    quantity = in_words(quantity)
    head = f"{quantity}: {said}" if quantity else said
    rows = [_wrapped(f"{MARKS[first.status]:<{_LEAD}}", head, width)]
    limits: dict[tuple[Status, str], tuple[dict[str, None], dict[str, None]]] = {}
    for f in (f for fact in facts for f in fact.rows):
        where, who = limits.setdefault((f.status, limit_text(f, units)), ({}, {}))
        where[f"{source_text(f)} [{f.code}]".strip()] = None
        who[in_words(f.subject)] = None
    for (status, limit), (books, who) in limits.items():
        verb = "should be" if status is Status.WARN else "must be"
        lead = f"{verb} {limit}{_of(list(who), len(facts))}: " if limit else ""
        rows.append(_wrapped(" " * _LEAD, lead + "; ".join(books), width))
    rows += [_wrapped(" " * _LEAD, f"Cure: {in_words(cure)}", width) for cure in _cures(facts)]
    return "\n".join(rows)


def _of(subjects: Sequence[str], count: int) -> str:
    """Whom a limit holds for, where not all of a block."""
    if len(subjects) >= count:
        return ""
    few = len(subjects) <= MOST_OF
    return f" for {', '.join(subjects)}" if few else f" for {len(subjects)} of them"


def _cures(facts: Sequence[_Fact]) -> list[str]:
    """What cures a block; what differs by its own name or its side only is said once."""
    cures: dict[str, dict[str, None]] = {}
    for fact in facts:
        for f in fact.rows:
            if f.cure:
                alike = _either(
                    re.sub(rf"(?<![\w.]){re.escape(f.subject)}(?![\w.])", "each", f.cure)
                )
                cures.setdefault(alike, {})[f.cure] = None
    return [alike if len(said) > 1 else next(iter(said)) for alike, said in cures.items()]


def _asked(found: Sequence[Finding], width: int) -> str:
    """What has to be given, once, with the checks that wait for it."""
    waiting: dict[str, list[Finding]] = {}
    for f in found:
        waiting.setdefault(f.cure, []).append(f)
    rows = ["Cannot be judged yet"] if waiting else []
    for cure, group in waiting.items():
        rows.append(_wrapped(f"  {MARKS[Status.NEEDS_INPUT]:<8}", in_words(cure), width))
        sure = sorted({f.certainty.value for f in group})
        codes = ", ".join(dict.fromkeys(f.code for f in group))
        rows.append(_wrapped(" " * 10, f"[{codes}] ({', '.join(sure)})", width))
    return "\n".join(rows)


def _quiet(title: str, found: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """What passes or does not apply, one line or two each."""
    rows = [title] if found else []
    for f in sorted(found, key=lambda f: (f.status.rank, f.subject, f.code)):
        said = in_words(f"{f.subject}, {f.quantity}")
        if f.status is Status.PASS:
            limit = limit_text(f, units)
            said += f": {value_text(f.measured, f.unit, units)}" + (f" ({limit})" if limit else "")
        said += f" [{f.code}, {f.certainty.value}]"
        rows.append(_wrapped(f"  {MARKS[f.status]:<8}", said, width))
    return "\n".join(rows)


def _looked(found: Sequence[Finding], units: LengthUnit, width: int) -> str:
    """What has to be looked at on the car, with the numbers that the model gives."""
    rows = ["To be inspected on the car"] if found else []
    groups: dict[str, list[Finding]] = {}
    for f in sorted(found, key=lambda f: (f.code, f.subject)):
        groups.setdefault(f.code, []).append(f)
    for code, group in groups.items():
        said = in_words(group[0].text)
        numbers = [
            f"{in_words(f.subject)} {value_text(f.measured, f.unit, units)}"
            for f in group
            if f.measured is not None
        ]
        said += f" {in_words(group[0].quantity)}: {', '.join(numbers)}." if numbers else ""
        said += f" [{code}, {group[0].certainty.value}]"
        rows.append(_wrapped(f"  {MARKS[group[0].status]:<8}", said, width))
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
    """All about one finding, for `--why`.

    Args:
        f: the finding.
        units: of lengths, ``"mm"`` or ``"in"``.
        width: of the text, letters.
    """
    limit, value = limit_text(f, units), value_text(f.measured, f.unit, units)
    one, places = (INCH, 1) if units == "in" else (1.0, 0)
    points = [f"({', '.join(f'{c / one:.{places}f}' for c in p)})" for p in f.evidence.points]
    rows = [
        ("check", f.code),
        ("status", f.status.words),
        ("subject", in_words(f.subject)),
        ("measured", f"{in_words(f.quantity)}: {value or 'nothing'}"),
        ("limit", limit),
        ("rule", in_words(f.text)),
        ("source", ", ".join(t for t in (f.source, f.clause, f.edition) if t and t != "-")),
        ("certainty", f"{f.certainty.value}{_MEANS.get(f.certainty.value, '')}"),
        ("members", ", ".join(map(named, f.evidence.members))),
        ("plates", ", ".join(map(named, f.evidence.plates))),
        ("points", "; ".join(points) + f" {units}" if points else ""),
        ("note", in_words(f.evidence.note)),
        ("cure", in_words(f.cure)),
    ]
    return "\n".join(_wrapped(f"{name:<10}", text, width) for name, text in rows if text)


_MEANS = {
    "read in text": ": in one copy of the rulebook",
    "in two editions": ": the same in two editions or copies",
    "paraphrase": ": told by somebody else, not read in the rulebook itself",
    "from memory": ": nobody has looked it up; look before you build",
    "common practice": ": a habit of the trade without a document",
}


def _wrapped(lead: str, text: str, width: int) -> str:
    return filled(text, width, first=lead, rest=" " * len(lead))
