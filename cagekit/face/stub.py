"""The stub of the face, which editors complete from: ``python -m cagekit.face.stub > ...``.

Its text follows from the kinds of part; a test holds ``cagekit/__init__.pyi`` against it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

from cagekit.face.kinds import arguments, help_of, signature
from cagekit.parts.kinds import part_kinds

HEAD = '''"""cagekit: exact safety cages for race cars from a few measurements."""

# Made by `python -m cagekit.face.stub > cagekit/__init__.pyi`; a test holds it.
# ruff: noqa
# fmt: off
from typing import Any, Literal

from cagekit.checks.finding import Finding as Finding
from cagekit.face.design import CageDesign as CageDesign, load as load
from cagekit.face.kinds import kinds as kinds, part as part
from cagekit.face.plate_part import PlatePart as PlatePart
from cagekit.face.tables import Table as Table
from cagekit.face.tube_part import TubePart as TubePart, TubeSpot as TubeSpot
from cagekit.face.tube_part import between as between
from cagekit.version import __version__ as __version__

__all__: list[str]
'''


def text() -> str:
    """The whole stub."""
    return HEAD + "".join(_functions())


def _functions() -> Iterator[str]:
    for name, kind in part_kinds().items():
        rows = "".join(f"    {n}: {t} = {d!r},\n" for n, t, d, _ in arguments(kind))
        back = signature(kind).return_annotation
        doc = "".join(f"    {line}".rstrip() + "\n" for line in help_of(kind).rstrip().split("\n"))
        yield f'\ndef {name}(\n    *,\n{rows}) -> {back}:\n    """{doc.lstrip()}    """\n'


if __name__ == "__main__":
    sys.stdout.write(text())
