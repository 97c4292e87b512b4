"""``checks.json``: every finding with number, limit, source and cure."""

from __future__ import annotations

from pathlib import Path

from cagekit.checks import run
from cagekit.checks.finding import to_json_text
from cagekit.design import Design


def write_checks(design: Design, folder: Path) -> None:
    """Run every check and write ``checks.json``."""
    text = to_json_text(run(design))
    (folder / "checks.json").write_text(text, encoding="utf-8", newline="\n")
