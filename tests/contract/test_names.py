"""A name of a class or a type has one meaning in the whole package."""

from __future__ import annotations

import ast
import re
from collections import defaultdict

from sources import IN_ONE_PROCESS, PACKAGE, trees

pytestmark = IN_ONE_PROCESS


def test_no_class_is_named_like_another() -> None:
    where = defaultdict(list)
    for path, tree in trees().items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                names = [node.name]
            elif isinstance(node, ast.Assign):
                names = [t.id for t in node.targets if isinstance(t, ast.Name)]
            else:
                continue
            for name in names:
                # Types and private helpers; constants in capitals speak for their module only.
                if name[0].isupper() and not name.isupper():
                    where[name].append(f"{path}:{node.lineno}")
    assert {name: spots for name, spots in where.items() if len(spots) > 1} == {}


GUESS = re.compile(
    r"\b(?:id|role|bar|group|kind|entry|piece|subject)"
    r"\.(?:startswith|endswith|removesuffix|removeprefix|r?split|r?partition)\("
)
SPELLING = {
    ("profile.py", 'role.removeprefix("!")'),  # a rule file's mark, no name
    ("entries.py", 'kind.split("_")'),  # words of a class name
}
"""Where a word is spelled, not known."""


def test_nothing_is_known_from_the_spelling_of_a_name() -> None:
    """What a tube or plate is stands in fields of its own: names are the user's."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for line in path.read_text("utf-8").splitlines():
            allowed = any(path.name == file and text in line for file, text in SPELLING)
            if GUESS.search(line) and not allowed:
                found.append(f"{path.relative_to(PACKAGE)}: {line.strip()}")
    assert found == []
