"""Arrays are named by what they hold: one point is no row of points."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from sources import IN_ONE_PROCESS, trees

pytestmark = IN_ONE_PROCESS

ROWS = re.compile(r"``\([a-z]+, [23]\)``")


def told_as_rows(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of each argument told as rows of points, ``(n, 3)``, and typed as one point."""
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        told = ast.get_docstring(function) or ""
        for argument in (*function.args.args, *function.args.kwonlyargs):
            said = re.search(rf"^\s*{argument.arg}: [^\n]*", told, re.MULTILINE)
            said = said or re.search(rf"``{argument.arg}``,? {ROWS.pattern}", told)
            typed = argument.annotation
            one = isinstance(typed, ast.Name) and typed.id in ("Vec", "Vec2")
            if one and said and ROWS.search(said[0]):
                yield argument.lineno, argument.arg


def test_rows_of_points_are_typed_as_rows() -> None:
    found = [
        f"cagekit/{path.as_posix()}:{line}: {name}"
        for path, tree in trees().items()
        for line, name in told_as_rows(tree)
    ]
    assert not found, "\n".join(found)


def test_a_wrong_name_is_seen() -> None:
    text = 'def f(a: Vec) -> None:\n    """Do.\n\n    Args:\n        a: rows, ``(n, 3)``.\n    """'
    assert list(told_as_rows(ast.parse(text))) == [(1, "a")]
