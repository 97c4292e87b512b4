"""The shop's schedules of one cage, each worked out when first asked for and kept."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from cagekit.cage.cage import Cage
from cagekit.shop.bending.bends import BendSchedule, schedules
from cagekit.shop.sawing.plan import CutPlan, cut_plans
from cagekit.units import LengthUnit

if TYPE_CHECKING:
    from cagekit.inputs.build import Build
    from cagekit.shop.papers.order import Step
    from cagekit.shop.papers.takeoff import Takeoff
    from cagekit.shop.welding.welds import Weld

_KNOWN: WeakKeyDictionary[Cage, Papers] = WeakKeyDictionary()


class Papers:
    """Bend schedules, cutting plans and material list of a cage.

    Several writers need the same schedules; `Papers.of` gives all of them the same object.
    """

    def __init__(self, build: Build, cage: Cage) -> None:
        self.build = build
        self.cage = cage

    @classmethod
    def of(cls, build: Build, cage: Cage) -> Papers:
        """Return the papers of a cage, the same ones each time for the same build."""
        known = _KNOWN.get(cage)
        if known is None or known.build is not build:
            known = _KNOWN[cage] = cls(build, cage)
        return known

    @cached_property
    def fitted(self) -> Cage:
        """The cage as it is made: swing-out bars still whole."""
        return self.cage.as_fitted()

    @cached_property
    def bends(self) -> tuple[BendSchedule, ...]:
        """Bend schedules of all tubes that are made, in build order, swing-out bars whole."""
        return schedules(self.fitted, self.build.tooling)

    @cached_property
    def pieces(self) -> tuple[BendSchedule, ...]:
        """What swing-out bars are cut into: shapes only, the blank is that of the whole bar."""
        cut = [m for m in self.cage.members if m not in self.fitted.members]
        return schedules(self.cage.only(cut), self.build.tooling) if cut else ()

    @property
    def whole(self) -> dict[str, str]:
        """Id of the whole bar by the id of the piece that is cut from it."""
        return {piece: d.fitted.id for d in self.cage.doors for piece in d.pieces}

    @cached_property
    def cuts(self) -> tuple[CutPlan, ...]:
        """Cutting plans, one per tube size."""
        return cut_plans(self.bends, self.build.tooling)

    @cached_property
    def materials(self) -> Takeoff:
        """Material list and masses."""
        from cagekit.shop.papers.takeoff import take_off

        return take_off(self.build, self.cage, self.fitted, self.bends, self.cuts)

    @cached_property
    def welds(self) -> tuple[Weld, ...]:
        """Weld map of the cage as it is made."""
        from cagekit.shop.welding.welds import weld_map

        return weld_map(self.fitted, self.build.car, self.build.tooling.torch)

    def steps(self, units: LengthUnit) -> tuple[Step, ...]:
        """Order of work, its words in ``units``."""
        from cagekit.shop.papers.order import order_of_work

        return order_of_work(self.fitted, self.welds, self.cage.doors, units)
