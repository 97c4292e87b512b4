"""Plug-ins of pydantic are neither wanted nor looked for, and pydantic misses nothing."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from cagekit.cli.plugins import SWITCH


def said(code: str, **environment: str) -> str:
    """What ``code`` prints in a fresh interpreter that wants no plug-ins."""
    outside = {k: v for k, v in os.environ.items() if k != SWITCH}
    start = "from cagekit.cli import plugins\nplugins.want_no_plugins()\n"
    run = subprocess.run(
        [sys.executable, "-c", start + code],
        capture_output=True,
        text=True,
        env={**outside, **environment},
        timeout=60,
    )
    assert run.returncode == 0, run.stderr
    return run.stdout.strip()


MODEL = """
import sys
from pydantic import BaseModel
class Tube(BaseModel):
    od: float
print(Tube(od="40").od, "importlib.metadata" in sys.modules)
"""


@pytest.mark.parametrize(("environment", "looked"), [({}, False), ({SWITCH: "some"}, True)])
def test_plugins_are_looked_for_only_where_that_is_asked_for(
    environment: dict[str, str], looked: bool
) -> None:
    assert said(MODEL, **environment) == f"40.0 {looked}"


def test_whatever_else_the_module_holds_is_given_by_the_real_one() -> None:
    asked = "from pydantic.plugin._loader import get_plugins, PYDANTIC_ENTRY_POINT_GROUP as group\n"
    real = "import sys\nprint(type(sys.modules[plugins.LOADER]).__name__)"
    assert said(f"{asked}print(list(get_plugins()), group)\n{real}") == "[] pydantic\nmodule"
