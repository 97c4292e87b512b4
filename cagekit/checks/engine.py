"""Hold rule profiles against a cage: every rule becomes findings, none is passed silently.

A rule whose condition cannot be known, or whose quantity lacks the driver or the car, needs
input; one whose condition is false, or that has nothing to look at, does not apply; what no
model can show needs inspection.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cagekit.checks.facts import FACTS, Missing
from cagekit.checks.finding import Evidence, Finding, Status, Value
from cagekit.checks.limit import holds, margin
from cagekit.checks.profile import Condition, Profile, Rule
from cagekit.checks.quantities.quantity import Measure, Pick, Unit, quantities
from cagekit.checks.quantities.survey import Survey

GROUP = "rules"

_PRINTED: dict[Unit, str] = {
    "mm": "mm", "pair": "mm", "mm2": "mm2", "kg": "kg", "deg": "deg", "s": "s", "MPa": "MPa",
}  # fmt: skip


def evaluate(profile: Profile, survey: Survey) -> tuple[Finding, ...]:
    """Hold every rule of a profile against a cage, in the profile's order."""
    return tuple(f for rule in profile.rules for f in evaluate_rule(rule, survey))


def evaluate_rule(rule: Rule, survey: Survey) -> Iterator[Finding]:
    """Hold one rule against a cage; always at least one finding."""
    subject = _subject_asked(rule)
    states = [(c, _state(c, survey)) for c in rule.when]
    for condition, state in states:
        if state is False:
            note = f"does not apply: only when {condition.words}"
            yield _finding(rule, subject, Status.NOT_APPLICABLE, note=note)
            return
    measures = _measures(rule, survey)
    if rule.quantity is not None and not measures:
        note = "does not apply: the cage has none"
        yield _finding(rule, subject, Status.NOT_APPLICABLE, note=note)
        return
    for condition, state in states:
        if isinstance(state, Missing):
            yield _needs_input(rule, subject, state.what, f"applies when {condition.words}")
            return
    for other in rule.unless:
        if _state(other, survey) is True:
            note = f"met the other way: {other.words}"
            yield _finding(rule, subject, Status.NOT_APPLICABLE, note=note)
            return
    if rule.entry.needs == "input":
        yield _needs_input(rule, subject, rule.written or "the paper or fact", "")
        return
    if rule.entry.needs == "inspection":
        yield from _inspection(rule, subject, measures)
        return
    yield from _compared(rule, measures)


def _measures(rule: Rule, survey: Survey) -> list[Measure]:
    if rule.quantity is None:
        return []
    pick = Pick(roles=rule.roles, side=survey.side_named(rule.entry.side), steel=rule.entry.steel)
    return list(rule.quantity.measure(survey, pick))


def _compared(rule: Rule, measures: Sequence[Measure]) -> Iterator[Finding]:
    """Failures one by one; what passes, and what lacks the same input, as one finding each."""
    passed: list[Measure] = []
    missing: dict[str, list[Measure]] = {}
    for m in measures:
        if m.missing:
            missing.setdefault(m.missing, []).append(m)
        elif holds(m.value, rule.op, rule.limit, rule.unit):
            passed.append(m)
        else:
            bad = Status.FAIL if rule.entry.level == "must" else Status.WARN
            yield _finding(rule, m.subject, bad, m.value, m.evidence, cure=rule.entry.cure)
    for what, group in missing.items():
        yield _needs_input(rule, _together(group), what, "", _evidence(group))
    if passed:
        worst = min(passed, key=lambda m: margin(m.value, rule.op, rule.limit, rule.unit))
        evidence = worst.evidence if len(passed) == 1 else _evidence(passed, worst)
        yield _finding(rule, _together(passed), Status.PASS, worst.value, evidence)


def _inspection(rule: Rule, subject: str, measures: Sequence[Measure]) -> Iterator[Finding]:
    """Lines of the inspection sheet, with the number the model gives where there is one."""
    known = [m for m in measures if not m.missing]
    cure = rule.entry.cure or "Look at it on the real cage."
    if not known:
        yield _finding(rule, subject, Status.NEEDS_INSPECTION, cure=cure)
    for m in known:
        yield _finding(rule, m.subject, Status.NEEDS_INSPECTION, m.value, m.evidence, cure=cure)


def _state(condition: Condition, survey: Survey) -> bool | Missing:
    """Whether a condition is true; Missing when nobody has given the fact."""
    if condition.name in FACTS:
        value = FACTS[condition.name].get(survey)
        if isinstance(value, Missing):
            return value
        return holds(value, condition.op, condition.limit, condition.unit)
    measures = list(quantities()[condition.name].measure(survey, Pick()))
    known = [m for m in measures if not m.missing]
    if measures and not known:
        return Missing(measures[0].missing)
    return any(holds(m.value, condition.op, condition.limit, condition.unit) for m in known)


def _needs_input(
    rule: Rule, subject: str, what: str, note: str, evidence: Evidence | None = None
) -> Finding:
    return _finding(
        rule, subject, Status.NEEDS_INPUT, evidence=evidence, cure=f"Give {what}.", note=note
    )


def _finding(
    rule: Rule,
    subject: str,
    status: Status,
    measured: Value = None,
    evidence: Evidence | None = None,
    *,
    cure: str = "",
    note: str = "",
) -> Finding:
    q = rule.quantity
    unit = _PRINTED.get(q.unit, "") if q else ""
    text = rule.entry.text if not note else f"{rule.entry.text} ({note})"
    return Finding(
        code=rule.code,
        group=GROUP,
        subject=subject,
        quantity=q.label if q else rule.entry.code.replace("-", " "),
        status=status,
        measured=measured,
        op=rule.op,
        limit=rule.limit,
        unit=unit,
        source=rule.source,
        clause=rule.entry.clause,
        edition=rule.edition,
        certainty=rule.certainty,
        evidence=evidence or Evidence(),
        cure=cure,
        text=text,
        written=rule.written,
    )


def _subject_asked(rule: Rule) -> str:
    """What a rule looks at, when nothing was measured to name."""
    of = rule.entry.of
    return of[0].replace("_", " ") if len(of) == 1 else "cage"


def _together(measures: Sequence[Measure]) -> str:
    """One name for the subjects of several measures."""
    names = list(dict.fromkeys(m.subject for m in measures))
    if len(names) == 1:
        return names[0]
    bases = {_base(n) for n in names}
    if len(bases) == 1:
        return bases.pop()
    return ", ".join(names) if len(names) == 2 else f"{len(names)} parts"


def _base(name: str) -> str:
    for tail in ("_left", "_right", " left", " right"):
        name = name.removesuffix(tail)
    return name


def _evidence(measures: Iterable[Measure], worst: Measure | None = None) -> Evidence:
    """The evidence of several measures, each member and plate once, the worst one's points."""
    rows = list(measures)
    members = tuple(dict.fromkeys(x for m in rows for x in m.evidence.members))
    plates = tuple(dict.fromkeys(x for m in rows for x in m.evidence.plates))
    points = worst.evidence.points if worst else ()
    note = f"the nearest to its limit is {worst.subject}" if worst else ""
    return Evidence(members=members, plates=plates, points=points, note=note)
