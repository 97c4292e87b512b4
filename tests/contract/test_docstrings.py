"""Public functions say what they take and what they refuse, so that nobody has to read them."""

from __future__ import annotations

import ast
from collections.abc import Collection, Iterator

import pytest
from sources import IN_ONE_PROCESS, trees

pytestmark = IN_ONE_PROCESS

WHOLE = ("view", "materials", "geometry", "solids", "shop")
"""Rooms where every one says it."""

Function = ast.FunctionDef


def public(body: list[ast.stmt], prefix: str = "") -> Iterator[tuple[str, Function]]:
    for node in body:
        name = prefix + str(getattr(node, "name", "_"))
        if name.split(".")[-1].startswith("_"):
            continue
        if isinstance(node, ast.ClassDef):
            yield from public(node.body, f"{name}.")
        elif isinstance(node, Function):
            yield name, node


def taken(node: Function) -> int:
    """How many arguments a caller gives."""
    names = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    return len([n for n in names if n not in ("self", "cls")])


def refuses(node: ast.AST) -> bool:
    """Whether it raises something of its own; broken promises among ourselves do not count."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, Function | ast.Lambda):
            continue
        if isinstance(child, ast.Raise) and child.exc is not None:
            what = child.exc.func if isinstance(child.exc, ast.Call) else child.exc
            if ast.unparse(what) not in ("AssertionError", "NotImplementedError"):
                return True
        if refuses(child):
            return True
    return False


def silent(section: str, rooms: Collection[str]) -> tuple[list[str], int]:
    """Functions of rooms whose docstring lacks a section that it needs, and how many need it.

    Args:
        section: ``Args`` for those with three arguments or more, ``Raises`` for those that raise.
        rooms: their folders; none for the whole package.
    """
    lacking, count = [], 0
    for path, tree in trees().items():
        if rooms and path.parts[0] not in rooms:
            continue
        for name, node in public(tree.body):
            if taken(node) >= 3 if section == "Args" else refuses(node):
                count += 1
                if f"{section}:" not in (ast.get_docstring(node) or ""):
                    lacking.append(f"{path}: {name}")
    return lacking, count


@pytest.mark.parametrize("section", ["Args", "Raises"])
def test_every_function_of_a_room_says_it(section: str) -> None:
    lacking, _ = silent(section, WHOLE)
    assert lacking == []


@pytest.mark.parametrize("section", ["Args", "Raises"])
def test_nine_of_ten_functions_of_the_package_say_it(section: str) -> None:
    lacking, count = silent(section, ())
    assert len(lacking) <= count / 10, lacking
