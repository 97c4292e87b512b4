"""Hinge bracket, latch bracket and sleeve alone from a few dimensions, for ``cagekit part``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from cagekit.cage.cage import Cage
from cagekit.cage.door import JointName
from cagekit.cage.member import Member, Swing
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.entries import CutForm, DoorBarEntry
from cagekit.inputs.fields import FileModel
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.inputs.swing_dims import BarDims, BracketDims, HingeDims, LatchDims, SleeveDims
from cagekit.materials.tubes import Tube
from cagekit.parts.tubes import Part, PartKind
from cagekit.swing.divide import Divided, divide
from cagekit.swing.spec import DEFAULT_PRESETS

LENGTH = 1200.0
"""Bar that a bracket alone is fitted to, mm."""
CUT = 300.0
"""Its cuts from its ends, mm."""
BAR = "bar"


def _divided(d: BarDims, entry: SwingBracketEntry, how: DoorBarEntry) -> Divided:
    """A bar on the car's left with hinge in front, its brackets as typed."""
    tube = Tube(od=d.od, wall=d.od / 12, material="1020-dom")
    path = CentreLine.straight((0.0, 600.0, 300.0), (LENGTH, 600.0, 300.0))
    swing = Swing(hinge_end="b", hinge_cut=LENGTH - CUT, latch_cut=CUT)
    bar = Member(id=BAR, role="door_bar", side="left", tube=tube, path=path, swing=swing)
    units = "in" if "/" in (entry.pin_size or "") else "mm"
    return divide(bar, how, (entry,), None, units)


def _entry(d: SleeveDims | BracketDims) -> SwingBracketEntry:
    """What a build would say of these sizes."""
    typed = d.model_fields_set & set(SwingBracketEntry.model_fields)
    entry = SwingBracketEntry(kind="swing_bracket")
    return entry.model_copy(update={n: getattr(d, n) for n in typed})


def _bracket(joint: JointName) -> Callable[[BracketDims], Part]:
    def make(d: BracketDims) -> Part:
        entry = _entry(d)
        own = {n: getattr(d, n) for n in CutForm.model_fields}
        how = DoorBarEntry(kind="door_bar", id=BAR, swing_out=True).model_copy(update=own)
        made = _divided(d, entry, how)
        plates = [p for p in made.plates if p.joint == joint]
        parts = [p for p in made.hardware if p.joint == joint]
        return Part(cage=Cage(f"{joint}_bracket", (), plates=plates, hardware=parts), made=())

    return make


def _sleeve(d: SleeveDims) -> Part:
    made = _divided(d, _entry(d), DoorBarEntry(kind="door_bar", id=BAR, swing_out=True))
    parts = [p for p in made.hardware if p.kind == "sleeve" and p.joint == "hinge"]
    return Part(cage=Cage("sleeve", (), hardware=parts), made=())


def _kind(name: str, make: Callable[[Any], Part], dims: type[FileModel]) -> PartKind:
    """A kind whose sizes are those that a build has when it says nothing, in its units."""
    return PartKind(name=name, dims=dims, make=make, presets=DEFAULT_PRESETS)


SWING_KINDS: Mapping[str, PartKind] = {
    k.name: k
    for k in (
        _kind("hinge_bracket", _bracket("hinge"), HingeDims),
        _kind("latch_bracket", _bracket("latch"), LatchDims),
        _kind("sleeve", _sleeve, SleeveDims),
    )
}
"""Kinds that can be made alone, by name."""
