"""The strength of a cage: every case worked out, and what would help most.

Screening: static, small displacements, tubes alone. What is in the model and what is not stands in
:mod:`cagekit.structure.model`; :data:`ASSUMPTIONS` tells it to people.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf, radians
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct, field

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.loads import LoadsFile
from cagekit.structure import sections
from cagekit.structure.bolted import bolted_joints
from cagekit.structure.cases import Case, LoadScene, cases_of, felt, loads_on, marks
from cagekit.structure.collapse import Collapse, PlasticFrame, Strength, with_second_order
from cagekit.structure.helps import GainCase, Help, Shift, helps_of, shifts_of
from cagekit.structure.joints import Attachment, attachments
from cagekit.structure.model import Ground, Model, model_of, solver_of
from cagekit.structure.solve import Loads, Response, Solver
from cagekit.structure.uses import MemberUse, UseReader

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

COARSE = radians(6.0)
"""Chord of a bend where the frame is folded, rad: with 15 degrees factors were up to 3 % high."""
IDLE = 0.02
"""A tube that is used less than this in every case carries nothing."""
FOLDS = 0.03
"""A tube that takes up less than this share of the work is not told as one that folds."""

CAUTION = (
    "Screening of the tubes alone, never approval: the rulebook, the scrutineer and a licensed "
    "engineer decide."
)
ASSUMPTIONS = (
    "Tubes along their centre lines with their exact sections; bends as chords of at most 15 "
    "degrees, 6 where the frame is folded; shear and own weight counted.",
    "Joints stiff where axes meet; the give of the tube walls there is left out. Axes that pass "
    "each other are joined by a stiff link.",
    "Plates, gussets, padding, shell, glass and seats are left out.",
    "Tubes of the car's own frame hold what is coped to them as a foot on the frame is held; what "
    "they themselves bear is left out.",
    "Bends are taken to keep their round section and their wall.",
    "Pins of swing-out bars turn freely about their own axis; their play is left out; their "
    "brackets are taken as stiff.",
    "Bolted sleeves and tapered plugs carry on like the tube, clevises turn freely about their "
    "bolt; all without play. Bolts share a load alike; friction, spigots, bushes and the pressure "
    "on a taper are not counted.",
    "Steel at the smallest strength of its standard, without partial factors; beside welds at the "
    "strength of the steel not hardened.",
    "Collapse: static, ductile tubes and welds, small displacements; second order by "
    "Merchant-Rankine.",
    "Not covered: impact, energy, fatigue, cracks, weld quality, local denting of tubes, the "
    "shell torn away from the plates.",
)
"""What the numbers rest on, for every face."""


class CaseResult(Struct, frozen=True, kw_only=True, eq=False):
    """One case worked out.

    Args:
        case: what acts.
        loads: on the fine frame.
        response: first order.
        second: second order; None when the frame buckles before.
        critical: elastic critical load factor.
        collapse: how it folds; None when nothing folds it.
        uses: by tube, in build order.
        deflection: largest movement of a loaded place, first order, mm.
        attachments: welds, pins, bolts and plates.
    """

    case: Case
    loads: Loads
    response: Response
    second: Response | None
    critical: float
    collapse: Collapse | None
    uses: tuple[MemberUse, ...]
    deflection: float
    attachments: tuple[Attachment, ...] = ()

    @property
    def hardest(self) -> MemberUse:
        """The tube that works hardest."""
        return max(self.uses, key=lambda u: u.use)

    @property
    def factor(self) -> float:
        """Collapse factor with what second order takes off; infinite when nothing folds it."""
        if self.collapse is None:
            return inf
        return with_second_order(self.collapse.factor, self.critical)


class StrengthResult(Struct, frozen=True, kw_only=True, eq=False):
    """The strength of one cage under one set of loads.

    Args:
        file: the loads file.
        cases: every case, those that cannot act too.
        weight: of car and crew, N; None when the car sheet does not say.
        throat: of the fillets round tubes, in walls of the tube that is coped.
        problem: why nothing could be worked out; empty when it could.
        model: the frame; None with a problem.
        results: by case id.
        points: nodes of the frame, ``(n, 3)`` mm; ``moved(case)`` tells where they go.
        coarse: the frame that is folded, for the mechanism.
        helps: what more wall brings in the worst case, the best first.
        shifts: what a moved place brings in the worst case, the best first.
        idle: tubes that carry nothing in any case.
        classes: section class by tube.
    """

    file: LoadsFile
    cases: tuple[Case, ...]
    weight: float | None
    throat: float = 0.0
    problem: str = ""
    model: Model | None = None
    coarse: Model | None = None
    results: Mapping[str, CaseResult] = field(default_factory=dict)
    helps: tuple[Help, ...] = ()
    shifts: tuple[Shift, ...] = ()
    idle: tuple[str, ...] = ()
    classes: Mapping[str, int] = field(default_factory=dict)

    @property
    def worst(self) -> CaseResult | None:
        """The case with the lowest factor."""
        return min(self.results.values(), key=lambda r: r.factor, default=None)

    def moved(self, case: str, times: float = 1.0) -> Vec:
        """Nodes of the frame as they lie under a case, ``(n, 3)`` mm, movement ``times`` over."""
        assert self.model is not None
        return np.asarray(self.model.frame.nodes + times * self.results[case].response.moved[:, :3])

    def folding(self, case: str, least: float = FOLDS) -> dict[str, float]:
        """Tubes in which a case folds the cage: their share of the work, the largest first.

        Args:
            case: id of the case.
            least: share below which a tube is left out; a mechanism bends all others a little.
        """
        collapse = self.results[case].collapse
        if collapse is None or self.coarse is None:
            return {}
        share: dict[str, float] = {}
        for name, work in zip(self.coarse.member, collapse.by_beam.tolist(), strict=True):
            if name:
                share[name] = share.get(name, 0.0) + work / float(collapse.by_beam.sum())
        most = sorted(share.items(), key=lambda row: (-round(row[1], 6), row[0]))
        return {name: s for name, s in most if s >= least}

    def use_of(self, member: str) -> float:
        """The hardest use of a tube in all cases."""
        return max(
            (u.use for r in self.results.values() for u in r.uses if u.member == member),
            default=0.0,
        )


def strength_of(scene: LoadScene, only: Sequence[str] = ()) -> StrengthResult:
    """Work out every case of a set of loads on a cage.

    Args:
        scene: cage, car, people and loads.
        only: ids of cases; all when empty.

    Raises:
        InputError: a load lies off the cage, or a steel has no yield strength.
    """
    cages, file = scene.cage, scene.file
    cases = tuple(c for c in cases_of(scene) if not only or c.id in only)
    at = marks(cases, cages)

    s = file.supports
    holds = {"outrigger": s.outrigger, "frame": s.frame, "tower": s.tower}

    def ground(surface: str) -> Ground:
        how = holds.get(surface, file.supports.floor)
        if how == "spring":
            return Ground(spring=file.supports.spring)
        return Ground(hold="fixed" if how == "fixed" else "pinned")

    stiff = file.end_zones == "stiff"
    model = model_of(cages, ground, marks=at, stiff_ends=stiff)
    try:
        solver = solver_of(model, cages.name)
    except GeometryError as error:
        return StrengthResult(file=file, cases=cases, weight=scene.weight, problem=str(error))
    coarse = model_of(cages, ground, marks=at, chord=COARSE, longest=inf, stiff_ends=stiff)
    folding = PlasticFrame(coarse.frame, strengths(coarse, cages))
    reader = UseReader(model, cages)
    found = {c.id: _result(c, scene, reader, solver, coarse, folding) for c in cases if c.acts}
    out = StrengthResult(
        file=file, cases=cases, weight=scene.weight, throat=scene.throat_over_wall,
        model=model, coarse=coarse, results=found,
        classes={
            m.id: sections.section_class(m.tube, sections.yield_of(m.tube.material).fy)
            for m in cages.members.values()
        },
    )  # fmt: skip
    if out.worst is None:
        return out
    worst = out.worst
    folded = GainCase(
        model=model, coarse=coarse, solver=solver, loads=worst.loads, response=worst.response,
        collapse=worst.collapse,
    )  # fmt: skip
    return StrengthResult(
        file=file, cases=cases, weight=scene.weight, throat=scene.throat_over_wall,
        model=model, coarse=coarse, results=found,
        classes=out.classes, idle=_idle(out, cages),
        helps=helps_of(folded, cages), shifts=shifts_of(folded, cages),
    )  # fmt: skip


def strengths(model: Model, cage: Cage) -> Strength:
    """Plastic capacities of each beam at both ends, softened beside welds; None for links."""
    out: list[tuple[sections.Capacity, sections.Capacity] | None] = []
    for name, (a, b) in zip(model.member, model.frame.ends, strict=True):
        if not name:
            out.append(None)
            continue
        tube = cage.member(name).tube
        y = sections.yield_of(tube.material)
        first, second = (
            sections.capacity(tube, y.beside_weld if model.welded[n] else y.fy) for n in (a, b)
        )
        out.append((first, second))
    return out


def _result(
    case: Case,
    scene: LoadScene,
    reader: UseReader,
    solver: Solver,
    coarse: Model,
    folding: PlasticFrame,
) -> CaseResult:
    model = reader.model
    loads = loads_on(model, case, scene.cage)
    response = solver.solve(loads)
    at = felt(model, case)
    return CaseResult(
        case=case,
        loads=loads,
        response=response,
        second=solver.second_order(loads),
        critical=solver.critical(response),
        collapse=folding.collapse(loads_on(coarse, case, scene.cage)),
        uses=reader.uses(response, loads),
        deflection=float(np.linalg.norm(response.moved[list(at), :3], axis=1).max()),
        attachments=(
            *attachments(scene, model, response),
            *bolted_joints(scene, model, response),
        ),
    )


def _idle(result: StrengthResult, cage: Cage) -> tuple[str, ...]:
    return tuple(m for m in cage.members if result.use_of(m) < IDLE)
