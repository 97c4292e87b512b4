"""``cagekit strength BUILD``: which tube works hardest, where it folds, what would help."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from cagekit.cli.build import add_build, design_of, names
from cagekit.cli.console import Progress, caution, emit, note, table
from cagekit.errors import GeometryError, InputError
from cagekit.names import in_words, named
from cagekit.units import FORCE, MASS, POUND, format_length, lengths_in

if TYPE_CHECKING:
    from pathlib import Path

    from cagekit.structure.strength import CaseResult, StrengthResult
    from cagekit.units import LengthUnit

SCREENING = (
    "Screening, never approval: static, tubes alone. The rulebook, the scrutineer and a\n"
    "licensed engineer decide."
)
HARDEST = 8
"""Tubes, attachments and helps that the tables list."""
KINDS = (
    "weld", "chord", "pin", "cheek", "sleeve", "joint_bolt", "joint_part", "bolt", "plate",
)  # fmt: skip
"""Kinds of attachments in the order of the table."""
FOLDING = 4
"""Tubes that a line of the mechanism names."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    add_build(parser)
    parser.add_argument("--loads", metavar="NAME", help="loads preset or file (the build's)")
    parser.add_argument(
        "--case", action="names", metavar="NAMES", help="some cases only, e.g. --case roof,side"
    )
    parser.epilog = (
        "examples:\n  cagekit presets loads\n  cagekit strength sprint-wagon --case corner\n"
        "  cagekit strength my-build.toml --loads my-loads.toml\n\n" + SCREENING
    )


def run(args: argparse.Namespace) -> int:
    """Work out the strength and print it."""
    from cagekit.inputs.presets import shown

    only = names(args.case)
    if args.case is not None and not only:
        raise InputError("--case", problem="is empty; leave it out or name one.")
    with Progress() as progress:
        design = design_of(args, progress.step)
        progress.step("working out the strength")
        result = design.strength_under(args.loads or "", only)
    _doubt(result, args.loads or design.build.file.loads, design.files["build"].parent)
    _require(result, only, shown(design.files[f"car {design.build.file.car}"]))
    if args.json:
        emit(as_data(result))
    else:
        _print(result, design.units)
    note(SCREENING)
    caution()
    return 0


def _doubt(result: StrengthResult, loads: str, beside: Path) -> None:
    """Tell what the loads say that is probably a slip."""
    from cagekit.inputs.doubts import doubts_in
    from cagekit.inputs.presets import find_preset, unusual_in

    path = find_preset("loads", loads, beside=beside)
    for told in (*unusual_in("loads", path, result.file), *doubts_in(path, result.file)):
        note(f"warning: {told}")


def _require(result: StrengthResult, only: tuple[str, ...], car: str) -> None:
    """Refuse what could not be worked out as asked; ``car`` is the file of the car sheet."""
    if result.problem:
        raise GeometryError("frame", result.problem)
    known = {c.id for c in result.cases}
    for name in only:
        if name not in known:
            all_of = [c.id for c in result.file.case] + [c.id for c in result.file.combination]
            raise InputError(
                "--case", "", name, problem="there is no such case.",
                hint=f"{result.file.name} has: {', '.join(all_of)}.",
            )  # fmt: skip
    if result.results:
        return
    missing = next((c for c in result.cases if c.missing), None)
    if missing is not None:
        raise InputError(
            car, "mass", problem=f"is not given, and case {missing.id} counts in weights.",
            hint="Give `mass` in kg, ready to run without driver; it is never assumed.",
        )  # fmt: skip
    raise InputError(
        result.file.name, "case",
        problem=f"none acts here: {'; '.join(f'{c.id}: {c.absent}' for c in result.cases)}.",
        hint="Name tubes that the cage has, the first of which is loaded.",
    )  # fmt: skip


def as_data(result: StrengthResult) -> dict[str, Any]:
    """What the tables say, as plain values: N, mm, MPa."""
    from cagekit.structure.helps import MOVED

    return {
        "loads": result.file.name,
        "weight_N": result.weight,
        "cases": [_case_data(r) for r in result.results.values()],
        "not_worked_out": {
            c.id: c.missing or c.absent for c in result.cases if c.id not in result.results
        },
        "members": [
            {"id": m, "use": result.use_of(m), "class": k} for m, k in result.classes.items()
        ],
        "helps": [
            {"member": h.member, "factor_per_kg": h.collapse, "stiffness_per_kg": h.stiffness}
            for h in result.helps
        ],
        "moved_places": [
            {
                "place": x.place,
                "along": x.parent,
                "way": x.way,
                "by_mm": MOVED,
                "factor": x.collapse,
                "stiffness": x.stiffness,
                "mass_kg": x.mass,
            }
            for x in result.shifts
        ],
        "carries_nothing": list(result.idle),
    }


def _case_data(r: CaseResult) -> dict[str, Any]:
    return {
        "id": r.case.id,
        "title": r.case.title,
        "source": r.case.source,
        "clause": r.case.clause,
        "certainty": r.case.certainty.value,
        "collapse_factor": r.collapse.factor if r.collapse else None,
        "collapse_bound": r.collapse.bound if r.collapse else None,
        "critical_factor": r.critical if r.critical < 1e9 else None,
        "factor": r.factor if r.collapse else None,
        "deflection_mm": r.deflection,
        "hardest": named(r.hardest.member),
        "uses": [
            {
                "member": u.member, "normal_N": u.normal, "shear_N": u.shear,
                "torsion_Nmm": u.torsion, "moment_Nmm": u.moment, "stress_MPa": u.stress,
                "yielding": u.yielding, "plastic": u.plastic, "buckling": u.buckling,
            }
            for u in r.uses
        ],
        "attachments": [
            {"kind": a.kind, "subject": a.subject, "use": a.use, "source": a.source, "text": a.text}
            for a in r.attachments
        ],
    }  # fmt: skip


def _print(result: StrengthResult, units: LengthUnit) -> None:
    from cagekit.structure.helps import MOVED

    model = result.model
    assert model is not None
    weight = f", weight {FORCE.told(result.weight, units)} with crew" if result.weight else ""
    size = f"{len(model.frame.nodes)} nodes, {len(model.frame.ends)} beams"
    print(f"{result.file.title}: {size}{weight}")
    print(f"feet: {result.file.supports.told}\n")
    rows = [
        (
            r.case.id, _number(r.factor), _number(r.collapse.factor if r.collapse else None),
            _number(r.critical), format_length(r.deflection, units, unit=False),
            named(r.hardest.member), f"{r.hardest.plastic:.2f}", f"{r.hardest.buckling:.2f}",
            r.case.certainty.value,
        )
        for r in result.results.values()
    ]  # fmt: skip
    head = ["case", "factor", "plastic", "critical", units, "hardest tube", "section", "buckling"]
    table(rows, [*head, "how sure"])
    for case in result.cases:
        if case.id not in result.results:
            note(f"{case.id}: not worked out: {case.missing or case.absent}.")
    print(
        "\nfactor: on the load, lower bound of plastic collapse less second order "
        f"(Merchant-Rankine);\n{_gap(result)}"
        "section, buckling: use under elastic forces, 1 is used up."
    )
    print("\nfolds in")
    table(list(_folds(result)), ["case", "tubes, by share of the work"], indent=2)
    print("\nweakest attachments")
    table(list(_weakest(result, units)), ["use", "what", "where", "case", "how"], indent=2)
    if result.helps:
        worst = result.worst
        assert worst is not None
        each, wall = ("lb", POUND) if units == "in" else ("kg", 1.0)
        print(f"\nmore wall helps most for each {each} (case {worst.case.id})")
        helps = [
            (named(h.member), f"{h.collapse * wall:+.3f}", f"{h.stiffness * wall:+.1%}")
            for h in result.helps[:HARDEST]
        ]
        table(helps, ["tube", "factor", "stiffness"], indent=2)
    if result.shifts:
        assert result.worst is not None
        print(
            f"\na place moved by {format_length(MOVED, units)} along its tube helps most "
            f"(case {result.worst.case.id})"
        )
        shifts = [
            (in_words(x.place), f"{x.way} on {named(x.parent)}", f"{x.collapse:+.3f}",
             f"{x.stiffness:+.1%}", MASS.figures(x.mass, units, sign=True))
            for x in result.shifts[:HARDEST]
        ]  # fmt: skip
        table(shifts, ["place", "way", "factor", "stiffness", MASS.unit(units)], indent=2)
    if result.idle:
        print(f"\ncarries nothing in any case: {', '.join(map(named, result.idle))}")


def _gap(result: StrengthResult) -> str:
    """How far the plastic factors may lie too low; nothing where nothing folds."""
    gaps = [r.collapse.gap for r in result.results.values() if r.collapse is not None]
    if not gaps:
        return ""
    from cagekit.structure.collapse import SAME_BOUND

    if max(gaps) < SAME_BOUND:
        return f"plastic: the bound from above agrees within {SAME_BOUND:.2%};\n"
    return f"plastic: the bound from above lies at most {max(gaps):.2%} higher;\n"


def _folds(result: StrengthResult) -> Iterator[tuple[str, str]]:
    for r in result.results.values():
        if r.collapse is None:
            yield r.case.id, "nothing"
            continue
        top = list(result.folding(r.case.id, least=0.01).items())[:FOLDING]
        yield r.case.id, ", ".join(f"{named(n)} {v:.0%}" for n, v in top)


def _weakest(result: StrengthResult, units: LengthUnit) -> Iterator[tuple[str, ...]]:
    """The hardest of each kind, then what no formula covers."""
    found = [(a, r.case.id) for r in result.results.values() for a in r.attachments]
    for kind in KINDS:
        of_kind = [(a, c) for a, c in found if a.kind == kind]
        covered = [(a, c) for a, c in of_kind if a.use is not None]
        if covered:
            a, case = max(covered, key=lambda x: x[0].use or 0.0)
            how = in_words(lengths_in(a.text, units))
            yield f"{a.use:.2f}", named(kind), in_words(a.subject), case, how
        open_ones = {a.subject for a, _ in of_kind if a.use is None}
        if open_ones:
            yield "-", named(kind), f"{len(open_ones)} not covered", "", ""


def _number(value: float | None) -> str:
    return "-" if value is None or value > 1e6 else f"{value:.2f}"
