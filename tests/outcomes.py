"""What came of making a cage, to the last bit."""

from __future__ import annotations

from collections.abc import Callable

from cagekit.cage.cage import Cage
from cagekit.cage.kept import content
from cagekit.errors import CagekitError


def outcome(made: Callable[[], Cage]) -> object:
    """The tubes of a cage and where their ends are cut, to the last bit, or why it is not made."""
    try:
        cage = made()
        cage.require_cuts()
    except CagekitError as error:
        return str(error)
    ends = [(m.id, name) for m in cage.members.values() for name, _ in m.ends]
    curves = [cage.cut(*end).outer_curve(24).tobytes() for end in ends]
    joints = [(repr(j), j.angle, j.offset, j.point.tobytes()) for j in cage.joints]
    return content(tuple(cage.members.values())), cage.notes, curves, joints


def given(cage: Cage | CagekitError) -> Cage:
    """A cage that was made, or the error why not."""
    if isinstance(cage, CagekitError):
        raise cage
    return cage
