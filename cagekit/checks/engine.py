"""The one judge: hold the rules of a book against a cage; what is measured becomes findings.

Every rule becomes at least one finding, none is passed silently. A rule whose condition cannot be
known, or whose quantity lacks the driver or the car, needs input; one whose condition is false, or
that has nothing to look at, does not apply; what no model can show needs inspection.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from msgspec import Struct

from cagekit.cage.kept import Same
from cagekit.checks.facts import FACTS, Missing
from cagekit.checks.finding import Evidence, Finding, Status, Value
from cagekit.checks.limit import holds, margin
from cagekit.checks.profile import Condition, Limit, Profile, Rule
from cagekit.checks.quantities.quantity import Measure, Pick, Unit, quantities
from cagekit.checks.quantities.survey import Survey
from cagekit.inputs.rules import WHERE
from cagekit.names import named

Taken = Mapping[str, Mapping[str, Status]]
"""What rulebooks have judged already: status by name of the quantity and subject."""
Groups = Mapping[str, str]
"""What tubes are called together with the same on the other side, by id."""

_PRINTED: dict[Unit, str] = {
    "mm": "mm", "pair": "mm", "mm2": "mm2", "kg": "kg", "deg": "deg", "s": "s", "MPa": "MPa",
}  # fmt: skip


class Judged(Struct, frozen=True):
    """One measure with what came out, and the limit that decided it.

    ``spared``: the limit is not kept and need not be, for what the measure says in ``met``.
    """

    measure: Measure
    status: Status
    limit: Limit
    spared: bool = False


def evaluate(
    profile: Profile, survey: Survey, taken: Taken | None = None, *, apart: bool = False
) -> tuple[Finding, ...]:
    """Hold every rule of a book against a cage, in the book's order.

    Args:
        profile: the book.
        survey: the cage.
        taken: what rulebooks have judged; a general book is silent on it.
        apart: tell what passes one by one too, not as one finding.
    """
    return tuple(
        f for rule in profile.rules for f in evaluate_rule(rule, survey, taken, apart=apart)
    )


def evaluate_rule(
    rule: Rule, survey: Survey, taken: Taken | None = None, *, apart: bool = False
) -> Iterator[Finding]:
    """Hold one rule against a cage; at least one finding unless a rulebook took all of it.

    Args:
        rule: the rule.
        survey: the cage.
        taken: what rulebooks have judged already.
        apart: tell what passes one by one too, not as one finding.
    """
    measures = _looked_at(rule, survey)
    if isinstance(measures, Finding):
        if rule.group == "rules" or measures.status is not Status.NOT_APPLICABLE:
            yield measures
        return
    kept = survey.cage.kept
    of = Same(rule), Same(measures)
    if rule.entry.needs == "inspection":
        yield from kept.once(("inspection", *of), lambda: tuple(_inspection(rule, measures)))
        return
    here = (taken or {}).get(rule.quantity.name, {}) if rule.quantity else {}
    groups = survey.groups

    def told() -> tuple[Finding, ...]:
        found = [j for j in (_judge(rule, m) for m in measures) if not _given_up(j, here)]
        return tuple(_told(rule, found, groups, apart))

    yield from kept.once(("told", *of, Same(groups), apart, tuple(here.items())), told)


def judged_by(rule: Rule, survey: Survey) -> Iterator[tuple[str, Status]]:
    """What a rule decides: subject and status of everything that it compares."""
    measures = _looked_at(rule, survey) if rule.measured else ()
    if not isinstance(measures, Finding):
        for m in measures:
            if not m.absent:
                yield m.subject, _judge(rule, m).status


def _given_up(j: Judged, taken: Mapping[str, Status]) -> bool:
    """Whether a rulebook has judged this number; a failure that it did not see stays."""
    status = taken.get(j.measure.subject)
    return status is not None and (j.status is not Status.FAIL or status is Status.FAIL)


def _looked_at(rule: Rule, survey: Survey) -> Sequence[Measure] | Finding:
    """What a rule measures, or the finding of one that does not get as far as its limit."""
    subject = _subject_asked(rule)
    states = [(c, _state(c, survey)) for c in rule.when]
    for condition, state in states:
        if state is False:
            return _not_applicable(rule, subject, f"does not apply: only {condition.scope}")
    measures = _measures(rule, survey)
    if rule.quantity is not None and (not measures or _nothing(rule, measures)):
        why = measures[0].absent if measures else "the cage has none"
        return _not_applicable(rule, subject, f"does not apply: {why}")
    for condition, state in states:
        if isinstance(state, Missing):
            return _needs_input(rule, subject, state.what, f"applies {condition.scope}")
    for other in rule.unless:
        if _state(other, survey) is True:
            return _not_applicable(rule, subject, f"met the other way: {other.words}")
    if rule.entry.needs == "input":
        return _needs_input(rule, subject, rule.written or "the paper or fact", "")
    return measures


def _nothing(rule: Rule, measures: Sequence[Measure]) -> bool:
    """Whether a rulebook's rule finds nothing to look at; a general book tells it one by one."""
    return rule.group == "rules" and all(m.absent for m in measures)


def _measures(rule: Rule, survey: Survey) -> Sequence[Measure]:
    if rule.quantity is None:
        return ()
    pick = Pick(roles=rule.roles, side=survey.side_named(rule.entry.side), steel=rule.entry.steel)
    return survey.measured(rule.quantity, pick)


def _judge(rule: Rule, m: Measure) -> Judged:
    """Hold one measure against the limits of a rule, the hardest first."""
    if m.missing:
        return Judged(m, Status.NEEDS_INPUT, rule.asks)
    if m.absent:
        return Judged(m, Status.NOT_APPLICABLE, rule.asks)
    if m.value is True and m.met:
        return Judged(m, Status.PASS, rule.asks, spared=True)
    for limit in rule.limits:
        if m.broken or not limit.keeps(m):
            return Judged(m, Status.PASS if m.met else limit.level, limit, spared=bool(m.met))
    return Judged(m, Status.NEEDS_INSPECTION if m.estimated else Status.PASS, rule.asks)


def _told(rule: Rule, found: Sequence[Judged], groups: Groups, apart: bool) -> Iterator[Finding]:
    """Failures one by one; what passes, and what lacks the same input, as one finding each.

    A rule that says ``each`` tells everything one by one, ``apart`` all that passes.
    """
    each = rule.each
    passed: list[Judged] = []
    missing: dict[str, list[Measure]] = {}
    for j in found:
        m = j.measure
        if j.status is Status.NEEDS_INPUT:
            key = f"{m.subject}: {m.missing}" if each else m.missing
            missing.setdefault(key, []).append(m)
        elif j.status is Status.NOT_APPLICABLE:
            if each:
                yield _not_applicable(rule, m.subject, "", text=f"Not measured: {m.absent}.")
        elif j.status is Status.PASS and rule.entry.quiet and not j.spared:
            continue
        elif j.status is Status.PASS and not (each or apart):
            passed.append(j)
        else:
            yield _judged(rule, j)
    for group in missing.values():
        first = group[0]
        note = first.text if len(group) == 1 else ""
        yield _needs_input(rule, _together(group, groups), first.missing, note, _evidence(group))
    if passed:
        worst = min(passed, key=lambda j: _margin(rule, j))
        if len(passed) == 1:
            yield _judged(rule, worst)
        else:
            all_of = [j.measure for j in passed]
            evidence = _evidence(all_of, worst.measure)
            yield _judged(rule, worst, subject=_together(all_of, groups), evidence=evidence)


def _margin(rule: Rule, j: Judged) -> float:
    limit = j.limit.at(j.measure)
    return 0.0 if limit is None else margin(j.measure.value, rule.op, limit, rule.unit)


def _judged(
    rule: Rule, j: Judged, *, subject: str = "", evidence: Evidence | None = None
) -> Finding:
    m, limit = j.measure, j.limit
    bad = j.status in (Status.FAIL, Status.WARN)
    value = None if j.spared else limit.at(m)
    text = limit.text
    if rule.group != "rules":
        text = " ".join(w for w in (text, m.met if j.spared else m.broken, m.text) if w)
    return _finding(
        rule,
        subject or m.subject,
        j.status,
        m,
        limit,
        value=value,
        evidence=evidence or m.evidence,
        cure=_cure(rule, m) if bad else "",
        text=text,
    )


def _cure(rule: Rule, m: Measure) -> str:
    """The measure's own cure, or the rule's with the member and the spot where it asks for them."""
    members = m.evidence.members
    note = f" ({m.evidence.note})" if m.evidence.note else ""
    where = f"{members[0]}{note}" if members else m.subject
    return m.cure or rule.cure.replace(WHERE, where)


def _inspection(rule: Rule, measures: Sequence[Measure]) -> Iterator[Finding]:
    """Lines of the inspection sheet, with the number the model gives where there is one."""
    known = [m for m in measures if not m.missing and not m.absent]
    cure = rule.cure or "Look at it on the real cage."
    for m in known or [Measure(subject=_subject_asked(rule))]:
        yield _finding(
            rule, m.subject, Status.NEEDS_INSPECTION, m, rule.asks, evidence=m.evidence, cure=cure
        )


def _state(condition: Condition, survey: Survey) -> bool | Missing:
    """Whether a condition is true; Missing when nobody has given the fact."""
    if condition.name in FACTS:
        value = FACTS[condition.name].get(survey)
        if isinstance(value, Missing):
            return value
        return holds(value, condition.op, condition.limit, condition.unit)
    measures = survey.measured(quantities()[condition.name], Pick())
    known = [m for m in measures if not m.missing and not m.absent]
    unknown = [m for m in measures if m.missing]
    if unknown and not known:
        return Missing(unknown[0].missing)
    return any(holds(m.value, condition.op, condition.limit, condition.unit) for m in known)


def _not_applicable(rule: Rule, subject: str, note: str, *, text: str = "") -> Finding:
    m = Measure(subject=subject)
    text = text or f"{rule.text} ({note})"
    return _finding(
        rule, subject, Status.NOT_APPLICABLE, m, rule.asks, value=_asked(rule), text=text
    )


def _asked(rule: Rule) -> Value:
    """The limit of what was not measured; one that hangs on the measure is not known."""
    return None if rule.asks.based else rule.limit


def _needs_input(
    rule: Rule, subject: str, what: str, note: str, evidence: Evidence | None = None
) -> Finding:
    return _finding(
        rule,
        subject,
        Status.NEEDS_INPUT,
        Measure(subject=subject),
        rule.asks,
        value=_asked(rule),
        evidence=evidence,
        cure=f"Give {what}.",
        text=f"{rule.text} ({note})" if note else rule.text,
    )


def _finding(
    rule: Rule,
    subject: str,
    status: Status,
    m: Measure,
    limit: Limit,
    *,
    value: Value = None,
    evidence: Evidence | None = None,
    cure: str = "",
    text: str = "",
) -> Finding:
    q = rule.quantity
    return Finding(
        code=f"{rule.code.split('/')[0]}/{m.topic}" if m.topic else rule.code,
        group=rule.group,
        subject=subject,
        quantity=m.label or (q.label if q else rule.entry.code.replace("-", " ")),
        status=status,
        measured=m.value,
        op="" if value is None and (limit.based or m.value is not None) else limit.op,
        limit=value,
        unit=_PRINTED.get(q.unit, "") if q and m.value is not True else "",
        source=m.source or limit.source,
        clause=limit.clause,
        edition=limit.edition,
        certainty=limit.certainty,
        evidence=evidence or Evidence(),
        cure=cure,
        text=text or rule.text,
        written="" if limit.based or (value is None and limit.value is not None) else limit.written,
        tolerance=0.0 if value is None else limit.tolerance,
        measures=q.name if q else "",
    )


def _subject_asked(rule: Rule) -> str:
    """What a rule looks at, when nothing was measured to name."""
    of = rule.entry.of
    return named(of[0]) if len(of) == 1 else "cage"


def _together(measures: Sequence[Measure], groups: Groups) -> str:
    """One name for the subjects of several measures."""
    names = list(dict.fromkeys(m.subject for m in measures))
    if len(names) == 1:
        return names[0]
    called = {_group(m, groups) for m in measures}
    if len(called) == 1:
        return called.pop()
    return ", ".join(names) if len(names) == 2 else f"{len(names)} parts"


def _group(m: Measure, groups: Groups) -> str:
    """What it is called together with the same on the other side."""
    if m.subject in groups:
        return groups[m.subject]
    halves = (t for t in m.evidence.members if m.subject in (f"{t} left", f"{t} right"))
    return m.both or next(halves, m.subject)


def _evidence(measures: Iterable[Measure], worst: Measure | None = None) -> Evidence:
    """The evidence of several measures, each member and plate once, the worst one's points."""
    rows = list(measures)
    members = tuple(dict.fromkeys(x for m in rows for x in m.evidence.members))
    plates = tuple(dict.fromkeys(x for m in rows for x in m.evidence.plates))
    points = worst.evidence.points if worst else ()
    note = f"the nearest to its limit is {worst.subject}" if worst else ""
    return Evidence(members=members, plates=plates, points=points, note=note)
