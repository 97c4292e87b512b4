"""The package's own source, parsed once for all tests that look through it."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "cagekit"
IN_ONE_PROCESS = pytest.mark.xdist_group("the package's own source")
"""Of tests that look through all of it: to parse it takes longer than what they ask."""


@cache
def trees() -> dict[Path, ast.Module]:
    """Every module below ``cagekit``, by its path from there."""
    return {
        path.relative_to(PACKAGE): ast.parse(path.read_text("utf-8"))
        for path in sorted(PACKAGE.rglob("*.py"))
    }
