"""The list of parts that can be made alone, which is read without them."""

from __future__ import annotations

import subprocess
import sys

from cagekit.parts.kinds import JOINTS, PLATES, part_kinds, summaries
from cagekit.parts.plates import PLATE_KINDS
from cagekit.parts.swing import SWING_KINDS
from cagekit.parts.tubes import KINDS


def test_every_kind_is_listed_and_nothing_else() -> None:
    assert list(summaries()) == [*KINDS, *PLATE_KINDS, *SWING_KINDS]
    assert (list(PLATES), list(JOINTS)) == (list(PLATE_KINDS), list(SWING_KINDS))
    assert all(kind.summary == summaries()[name] for name, kind in part_kinds().items())


def test_a_tube_is_found_without_plates_and_joints() -> None:
    code = (
        "import sys; from cagekit.parts.kinds import part_kind; part_kind('main-hoop'); "
        "print([m for m in sys.modules if m in ('cagekit.parts.plates', 'cagekit.parts.swing')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
