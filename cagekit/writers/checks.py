"""``checks.json``: every finding with number, limit, source and cure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.checks import run
from cagekit.checks.finding import to_json_text

if TYPE_CHECKING:
    from cagekit.cage.job import Job


def write_checks(job: Job, folder: Path) -> None:
    """Run every check and write ``checks.json``."""
    text = to_json_text(run(job.build, job.cage))
    (folder / "checks.json").write_text(text, encoding="utf-8", newline="\n")
