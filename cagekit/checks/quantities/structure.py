"""Quantities of strength under the build's load cases: screening figures, never approval."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import Survey
from cagekit.units import lengths_in

if TYPE_CHECKING:
    from cagekit.structure.joints import Attachment
    from cagekit.structure.strength import CaseResult, StrengthResult


def _by_case(
    result: StrengthResult, measure: Callable[[CaseResult], Measure | None]
) -> Iterator[Measure]:
    """A measure of every case; why there is none where it cannot act."""
    for case in result.cases:
        if case.id in result.results:
            found = measure(result.results[case.id])
            if found is not None:
                yield found
        elif case.missing:
            yield Measure(subject=f"case {case.id}", missing=case.missing)
        elif not result.problem:
            yield Measure(subject=f"case {case.id}", absent=case.absent)


@quantity("frame_stands", "flag", "frame stands")
def frame_stands(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether the tubes with their joints and feet are a frame that cannot move freely."""
    problem = s.design.strength.problem
    yield Measure(subject="cage", value=not problem, cure=problem)


@quantity("collapse_factor", "ratio", "collapse factor")
def collapse_factor(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Factor on each load case at which the frame folds: lower bound, less second order."""

    def one(r: CaseResult) -> Measure:
        subject = f"case {r.case.id}"
        if r.collapse is None:
            return Measure(subject=subject, value=True, met="Nothing in it folds the frame.")
        tubes = result.folding(r.case.id)
        return Measure(
            subject=subject, value=r.factor, evidence=Evidence.of(*tubes),
            cure=_gained(result) if r is result.worst else "", text=f"Folds in {', '.join(tubes)}.",
        )  # fmt: skip

    result = s.design.strength
    yield from _by_case(result, one)


def _gained(result: StrengthResult) -> str:
    """What brings most in the worst case; what the gains are worked out for."""
    cure = ""
    if result.helps:
        best = ", ".join(h.member for h in result.helps[:3])
        cure = f"Most gained for each kg of wall: {best}."
    if result.shifts:
        first = result.shifts[0]
        cure += f" Of places: {first.place} moved {first.way} on {first.parent}."
    return cure


@quantity("critical_factor", "ratio", "elastic critical factor")
def critical_factor(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Factor on each load case at which the elastic frame buckles."""
    yield from _by_case(
        s.design.strength,
        lambda r: Measure(
            subject=f"case {r.case.id}", value=min(r.critical, 1e6),
            evidence=Evidence.of(r.hardest.member),
        ),
    )  # fmt: skip


@quantity("case_deflection", "mm", "loaded place moves", base="what the case allows")
def case_deflection(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Elastic movement of the loaded place of each case that allows so much and no more."""
    yield from _by_case(
        s.design.strength,
        lambda r: None
        if r.case.deflection is None
        else Measure(
            subject=f"case {r.case.id}", value=r.deflection, base=r.case.deflection,
            source=r.case.source, evidence=Evidence.of(*{p.member: 0 for p in r.case.pushes}),
        ),
    )  # fmt: skip


@quantity("tube_buckling", "ratio", "buckling use")
def tube_buckling(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Use of each tube in compression and bending between its nodes, the hardest case."""
    result = s.design.strength
    for m in s.cage.members:
        uses = [(u.buckling, r.case.id) for r in result.results.values() for u in r.uses
                if u.member == m and u.buckling > 0]  # fmt: skip
        if uses:
            value, case = max(uses)
            yield Measure(subject=m, value=value, evidence=Evidence.of(m), text=f"Case {case}.")


@quantity("tube_carries", "ratio", "hardest use of the tube")
def tube_carries(s: Survey, pick: Pick) -> Iterator[Measure]:
    """The hardest use of each tube in all cases: what carries nothing is weight alone."""
    result = s.design.strength
    if result.results:
        for m in s.cage.members:
            yield Measure(subject=m, value=result.use_of(m), evidence=Evidence.of(m))


def _attached(s: Survey, *kinds: str) -> Iterator[Measure]:
    """The hardest case of every weld, wall, pin, bolt or plate of these kinds."""
    worst: dict[str, tuple[Attachment, str]] = {}
    for r in s.design.strength.results.values():
        for a in r.attachments:
            if a.kind not in kinds or a.use is None:
                continue
            if a.subject not in worst or a.use > (worst[a.subject][0].use or 0.0):
                worst[a.subject] = (a, r.case.id)
    for a, case in worst.values():
        text = lengths_in(a.text, s.design.units)
        yield Measure(
            subject=a.subject, value=a.use, source=a.source, text=f"Case {case}: {text}.",
            evidence=Evidence.of(*a.members, points=[a.point]),
        )  # fmt: skip


@quantity("weld_use", "ratio", "use of the weld")
def weld_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load on the weld of each coped end over its strength, on the true length of its saddle."""
    yield from _attached(s, "weld")


@quantity("chord_use", "ratio", "use of the parent's wall")
def chord_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of a branch on the wall of its parent over its strength, where a formula covers it."""
    yield from _attached(s, "chord")


@quantity("pin_use", "ratio", "use of the pin")
def pin_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of each hinge and latch pin over its strength: shear, bending, both."""
    yield from _attached(s, "pin")


@quantity("bracket_use", "ratio", "use of cheek and sleeve")
def bracket_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of hinge and latch cheeks and of the sleeve's weld over their strength."""
    yield from _attached(s, "cheek", "sleeve")


@quantity("joint_bolt_use", "ratio", "use of the joint's bolts")
def joint_bolt_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of the bolts of each bolted joint over their strength, in bending too for a clevis."""
    yield from _attached(s, "joint_bolt")


@quantity("joint_part_use", "ratio", "use of sleeve, eye and cheeks")
def joint_part_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of each bolted joint's sleeve, eye or cheeks over their strength."""
    yield from _attached(s, "joint_part")


@quantity("bolt_use", "ratio", "use of the bolts")
def bolt_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of the bolts of each foot over their strength in tension and shear."""
    yield from _attached(s, "bolt")


@quantity("sheet_use", "ratio", "use of the sheet round the plate")
def sheet_use(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Load of a foot over what shears the car's sheet along the edge of its plate."""
    yield from _attached(s, "plate")
