"""``checks.json``: every finding with number, limit, source and cure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from cagekit.cage.cage import Cage
from cagekit.checks import run
from cagekit.checks.finding import Finding, to_json_text

if TYPE_CHECKING:
    from cagekit.cage.job import Job
    from cagekit.inputs.build import Build

_KNOWN: WeakKeyDictionary[Cage, tuple[Build, tuple[Finding, ...]]] = WeakKeyDictionary()


def findings(job: Job) -> tuple[Finding, ...]:
    """Every finding of a job; several writers tell them, the checks run once."""
    known = _KNOWN.get(job.cage)
    if known is None or known[0] is not job.build:
        known = _KNOWN[job.cage] = (job.build, tuple(run(job.build, job.cage)))
    return known[1]


def write_checks(job: Job, folder: Path) -> None:
    """Run every check and write ``checks.json``."""
    text = to_json_text(findings(job))
    (folder / "checks.json").write_text(text, encoding="utf-8", newline="\n")
