"""What a rule says of the tubes it looks at is read by its quantity, or refused."""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from cagekit.checks.profile import compile_file
from cagekit.checks.quantities.picks import ALL, picked_by
from cagekit.checks.quantities.quantity import quantities
from cagekit.errors import InputError

WORDS = {"takes": "of", "named": "of", "roles": "of", "side": "side", "steel": "steel"}
"""What of a pick stands for which word of a rule."""
METHODS = {"pick": ALL, "feet_of": frozenset({"of", "side"})}
"""What the survey reads of a pick that it is given."""


def reads(function: Callable[..., Any], place: int, seen: frozenset[str]) -> frozenset[str]:
    """Which words of a rule a function reads of its argument, and those that it gives it to."""
    function = inspect.unwrap(function)
    if function.__qualname__ in seen:
        return frozenset()
    (tree,) = ast.parse(textwrap.dedent(inspect.getsource(function))).body
    assert isinstance(tree, ast.FunctionDef)
    name = tree.args.args[place].arg
    known = inspect.getclosurevars(function)
    names = {**known.globals, **known.nonlocals}
    above = {c: n for n in ast.walk(tree) for c in ast.iter_child_nodes(n)}
    out: set[str] = set()
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Name) and node.id == name and isinstance(node.ctx, ast.Load)):
            continue
        use = above[node]
        if isinstance(use, ast.Attribute):
            out.add(WORDS[use.attr])
        elif isinstance(use, ast.Call) and isinstance(use.func, ast.Attribute):
            out |= METHODS[use.func.attr]
        else:
            assert isinstance(use, ast.Call)
            assert isinstance(use.func, ast.Name)
            given = use.args
            if names[use.func.id] is partial:
                given = given[1:]
                use = ast.Call(use.args[0], given, [])
            assert isinstance(use.func, ast.Name)
            inner = names[use.func.id]
            out |= reads(inner, given.index(node), seen | {function.__qualname__})
    return frozenset(out)


def of_joints(measure: Callable[..., Any]) -> bool:
    """Whether a quantity is one number of each joint on the picked tubes."""
    return "pick" in inspect.getclosurevars(measure).nonlocals or hasattr(measure, "__wrapped__")


@pytest.mark.parametrize("name", sorted(quantities()))
def test_what_a_quantity_reads_is_what_its_function_reads(name: str) -> None:
    measure = quantities()[name].measure
    found = ALL if of_joints(measure) else reads(measure, 1, frozenset())
    assert picked_by(name) == found


HEAD = 'kind = "rules"\nname = "mine"\ntitle = "My rules"\n'
RULE = """[[rule]]
code = "one"
quantity = "{quantity}"
op = "<="
limit = 1
text = "So."
cure = "Do."
{more}
"""


@pytest.mark.parametrize(
    ("quantity", "more", "words"),
    [
        ("joint_angle", 'of = ["main_hoop"]', "joint_angle takes no notice of it"),
        ("tube_gap", 'side = "driver"', "looks at the whole cage"),
        ("door_figure_e", 'of = ["door_bar"]', "it reads side"),
        ("plates_at_foot", 'steel = "mild"', "it reads of and side"),
        ("tube_od", "room = 5", "no length of the shop or the car"),
        ("bend_beyond_tests", "room = 5", "no length of the shop or the car"),
        ("joint_angle", "tolerance = 2", "is measured in deg"),
    ],
)
def test_what_nothing_is_made_of_is_refused(
    tmp_path: Path, quantity: str, more: str, words: str
) -> None:
    with pytest.raises(InputError, match=rf"mine\.toml:11 .*{words}"):
        compile_file(put(tmp_path, RULE.format(quantity=quantity, more=more)))


@pytest.mark.parametrize("more", ["room = 2", "tolerance = 2", "each = true", "quiet = true"])
def test_what_is_not_compared_has_no_use_for_it(tmp_path: Path, more: str) -> None:
    rule = f'[[rule]]\ncode = "one"\nneeds = "inspection"\ntext = "So."\n{more}\n'
    with pytest.raises(InputError, match=r"mine\.toml:8 .*compares nothing"):
        compile_file(put(tmp_path, rule))


def test_a_set_that_no_rule_looks_at_is_refused(tmp_path: Path) -> None:
    sets = '[sets]\nhoops = ["main_hoop"]\n'
    rule = RULE.format(quantity="tube_od", more="{}")
    with pytest.raises(InputError, match=r"mine\.toml:5 \[sets\] hoops .*no rule looks at"):
        compile_file(put(tmp_path, sets + rule.format("")))
    compile_file(put(tmp_path, sets + rule.format('of = ["!hoops"]')))


def test_a_set_is_left_out_with_all_that_it_takes(tmp_path: Path) -> None:
    sets = '[sets]\nhoops = ["main_hoop", "halo", "!strut"]\n'
    rule = RULE.format(quantity="tube_od", more='of = ["!hoops", "!door_bar"]')
    (one,) = compile_file(put(tmp_path, sets + rule)).rules
    assert one.roles == ("!main_hoop", "!halo", "!door_bar")


def put(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(HEAD + text, "utf-8")
    return path
