"""How near is the same stands in one place: no bare 1e-n anywhere else."""

from __future__ import annotations

import ast
import re
from collections import Counter

import pytest
from sources import IN_ONE_PROCESS, PACKAGE, trees

pytestmark = IN_ONE_PROCESS

WORD = re.compile(r"[A-Z_]+\b")
HOME = "units/tolerance.py"
OWN = {
    # what a thing weighs
    "cage/door.py": {"DENSITY"},
    "materials/steels.py": {"_DENSITY"},
    # what a judge or a file says, not how near two numbers are
    "checks/limit.py": {"LEAST_BOUND", "SLACK"},
    "inputs/fields.py": {"SHORTEST_DIRECTION"},
    "writers/step.py": {"UNCERTAINTY"},
    "writers/step_pcurve.py": {"CLOSE"},
    # settings of one search, told beside it
    "geometry/quartic.py": {"_ROUNDING"},
    "shop/sawing/columns.py": {"TIGHT"},
    "solids/fallback.py": {"WAYS"},
    "solids/kernel.py": {"VOLUME_EPS"},
    "solids/rim_ridges.py": {"BEHIND"},
    "solids/rims.py": {"BESIDE", "BEYOND"},
    "structure/collapse.py": {"UNITS"},
    "structure/model.py": {"TURNING"},
    "structure/solve.py": {"LEAST_PIVOT", "SETTLED"},
}
"""Constants by module that hold such a number of their own, each told in its module."""


def bare(text: str, tree: ast.Module) -> list[tuple[int, str, str]]:
    """Line, number and the constant it belongs to (or nothing) of each 1e-n in a source."""
    found = []
    lines = [line.encode() for line in text.splitlines()]
    for statement in tree.body:
        name = ""
        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
            name = statement.targets[0].id
        for node in ast.walk(statement):
            if isinstance(node, ast.Constant) and isinstance(node.value, float):
                line = lines[node.lineno - 1]
                written = line[node.col_offset : node.end_col_offset].decode()
                if re.search(r"e-\d", written, re.IGNORECASE):
                    found.append((node.lineno, written, name))
    return found


def test_no_tolerance_stands_outside_its_module() -> None:
    strays, used = [], set()
    for path, tree in trees().items():
        where = path.as_posix()
        if where == HOME:
            continue
        for line, written, name in bare((PACKAGE / path).read_text(encoding="utf-8"), tree):
            if name in OWN.get(where, set()):
                used.add((where, name))
            else:
                strays.append(f"cagekit/{where}:{line}: {written} (take it from {HOME})")
    assert not strays, "\n".join(strays)
    assert used == {(where, name) for where, names in OWN.items() for name in names}


@pytest.mark.parametrize("text", ["if a < 1e-6:\n    pass", "X = 2e-3", "def f(tol=1E-4): ..."])
def test_a_stray_is_seen(text: str) -> None:
    assert bare(text, ast.parse(text))


def test_every_tolerance_is_used_and_told() -> None:
    text = (PACKAGE / HOME).read_text(encoding="utf-8")
    body = ast.parse(text).body
    names = [s.targets[0].id for s in body if isinstance(s, ast.Assign)]  # type: ignore[attr-defined]
    assert len(names) > 20
    for name in names:
        at = next(
            i for i, s in enumerate(body) if isinstance(s, ast.Assign) and s.targets[0].id == name
        )  # type: ignore[attr-defined]
        assert isinstance(body[at + 1], ast.Expr), f"{name} is not told"
    words = Counter(w for p in PACKAGE.rglob("*.py") for w in WORD.findall(p.read_text("utf-8")))
    assert not [name for name in names if words[name] < 3]
