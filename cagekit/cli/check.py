"""``cagekit check BUILD``: every check in one table, without the CAD kernel."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from cagekit.cli.console import Progress, caution, emit, note, table, wrapped
from cagekit.cli.job import add_build, job_of
from cagekit.cli.make import names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cagekit.cage.job import Job
    from cagekit.checks.finding import Finding


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    from cagekit.checks.registry import GROUPS

    add_build(parser)
    parser.add_argument("--all", action="store_true", help="list what passes and what does not apply too")
    parser.add_argument("--groups", metavar="NAMES", help="run some groups of checks only")
    parser.add_argument("--rules", metavar="NAMES", help="rulebooks to use instead of the build's")
    parser.add_argument("--why", metavar="CODE", help="tell all about one check")
    width = max((len(g.name) for g in GROUPS), default=0)
    rows = "\n".join(f"  {g.name:<{width}}  {g.about}" for g in GROUPS)
    parser.epilog = f"groups:\n{rows}\n\nExit code 1 when a check fails."


def run(args: argparse.Namespace) -> int:
    """Run the checks and print their table."""
    from cagekit.checks import run as run_checks
    from cagekit.checks.finding import has_failures

    with Progress() as progress:
        job = job_of(args, progress.step)
        progress.step("checking")
        groups = names(args.groups) or None
        found = run_checks(job.build, job.cage, groups, names(args.rules) or None)
    if args.why:
        found = _about(found, args.why)
    if args.json:
        emit([f.to_json() for f in found])
    elif args.why:
        for finding in found:
            _explain(finding, job.units)
    else:
        _print(found, job, everything=args.all)
    caution()
    return 1 if has_failures(found) else 0


def _about(found: Sequence[Finding], code: str) -> tuple[Finding, ...]:
    from cagekit.errors import NotFoundError
    from cagekit.hints import did_you_mean

    hits = tuple(f for f in found if f.code == code)
    if not hits:
        hint = did_you_mean(code, {f.code for f in found}, what="Checks")
        raise NotFoundError(f"--why {code}: no such check was made. {hint}".rstrip())
    return hits


def _print(found: Sequence[Finding], job: Job, *, everything: bool) -> None:
    from cagekit.checks.finding import Status
    from cagekit.units import format_length, format_mass

    cage, units = job.cage, job.units
    length = sum(cage.cut_length(i) for i in cage.members)
    total = format_length(length, units, decimals=0)
    mass = format_mass(cage.tube_mass(), units)
    print(f"{job.build.name}: {len(cage.members)} members, {total} of tube, {mass}")
    for remark in cage.notes:
        note(f"note: {remark}")
    quiet = () if everything else (Status.PASS, Status.NOT_APPLICABLE)
    listed = [f for f in found if f.status not in quiet]
    if listed:
        print()
        head = ("status", "subject", "what", "is", "must be", "source", "cure")
        table([_row(f, units) for f in listed], head)
    counts = {s: sum(1 for f in found if f.status is s) for s in Status}
    said = ", ".join(f"{n} {s.words}" for s, n in counts.items() if n)
    print(f"\n{len(found)} checks: {said or 'none'}")
    if quiet and any(counts[s] for s in quiet):
        note("`--all` lists those that pass and those that do not apply too, `--why CODE` explains one.")


def _row(f: Finding, units: str) -> tuple[str, ...]:
    source = " ".join(t for t in (f.source, f.clause) if t)
    cure = f.cure or (f.text if f.status.value.startswith("needs") else "")
    return (
        f.status.words,
        f.subject,
        f.quantity,
        shown(f.measured, f.unit, units),
        f"{f.op} {shown(f.limit, f.unit, units)}".strip() if f.limit is not None else "",
        f"{source} ({f.certainty.value})" if source else "",
        f"{cure} [{f.code}]".strip(),
    )


def _explain(f: Finding, units: str) -> None:
    """Print one finding in full."""
    rows = [
        ("check", f.code),
        ("status", f.status.words),
        ("subject", f.subject),
        ("measured", f"{f.quantity}: {shown(f.measured, f.unit, units) or 'nothing'}"),
        ("limit", f"{f.op} {shown(f.limit, f.unit, units)}".strip() + (f" (written: {f.written})" if f.written else "")),
        ("source", ", ".join(t for t in (f.source, f.clause, f.edition) if t)),
        ("certainty", f.certainty.value),
        ("members", ", ".join(f.evidence.members)),
        ("rule", f.text),
        ("cure", f.cure),
    ]
    for name, text in rows:
        if text:
            print(wrapped(f"{name:<10}", text))
    print()


def shown(value: Any, unit: str, units: str) -> str:
    """Return a measured value or limit as people read it."""
    from cagekit.units import format_area, format_length, format_mass

    if value is None:
        return ""
    if isinstance(value, tuple | list):
        if len(value) == 2 and all(isinstance(v, int | float) for v in value):
            return " to ".join(shown(v, unit, units) for v in value)
        return " or ".join(_pair(v, unit, units) for v in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if unit == "mm":
        return format_length(float(value), units)  # type: ignore[arg-type]
    if unit == "mm2":
        return format_area(float(value), units)  # type: ignore[arg-type]
    if unit == "kg":
        return format_mass(float(value), units)  # type: ignore[arg-type]
    return f"{value:.4g} {unit}".strip() if isinstance(value, float) else f"{value} {unit}".strip()


def _pair(value: Any, unit: str, units: str) -> str:
    """An alternative such as od by wall."""
    if isinstance(value, tuple | list):
        return " x ".join(shown(v, unit, units) for v in value)
    return shown(value, unit, units)
