"""Named quantities: what a rule can measure, in which unit, and how.

A quantity is a function from the survey of a cage and a pick of members to measures. Rule
profiles name it; its docstring is what `show quantities` prints.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from inspect import getdoc
from typing import TYPE_CHECKING, Literal

from msgspec import Struct, field

from cagekit.checks.finding import Evidence, Value
from cagekit.inputs.rules import takes

if TYPE_CHECKING:
    from cagekit.checks.quantities.survey import Survey

Unit = Literal[
    "mm", "mm2", "kg", "deg", "ratio", "count", "pair", "text", "flag", "year", "s", "MPa"
]
"""``pair`` is two lengths, such as outside diameter by wall."""

LAYOUTS = ("halo", "front_hoop", "half_hoops", "lateral_hoops", "roll_bar", "none")
"""Base structures that a cage can have."""
PICKS = ("of", "side", "steel")
"""What a rule may say of the tubes it looks at."""

MODULES = (
    "cagekit.checks.quantities.car",
    "cagekit.checks.quantities.tubes",
    "cagekit.checks.quantities.hoops",
    "cagekit.checks.quantities.braces",
    "cagekit.checks.quantities.doors",
    "cagekit.checks.quantities.front",
    "cagekit.checks.quantities.plates",
    "cagekit.checks.quantities.driver",
    "cagekit.checks.quantities.swing",
    "cagekit.checks.quantities.swing_out",
    "cagekit.checks.quantities.room",
    "cagekit.checks.quantities.sight",
    "cagekit.checks.quantities.joints",
    "cagekit.checks.quantities.bolted",
    "cagekit.checks.quantities.shell",
    "cagekit.checks.quantities.sheet_metal",
    "cagekit.checks.quantities.plates_in_car",
    "cagekit.checks.quantities.bending",
    "cagekit.checks.quantities.structure",
)


class Pick(Struct, frozen=True, kw_only=True):
    """Which members a rule looks at: roles (all when empty), side of the car, family of steel.

    A role with ``!`` before it is left out.
    """

    roles: tuple[str, ...] = ()
    side: Literal["", "left", "right"] = ""
    steel: Literal["", "mild", "alloy"] = ""

    @property
    def named(self) -> tuple[str, ...]:
        """The roles asked for, without those left out."""
        return tuple(r for r in self.roles if not r.startswith("!"))

    def takes(self, *names: str) -> bool:
        """Whether something that goes by ``names`` (role, id, kind of foot) is looked at."""
        return takes(self.roles, *names)


class Measure(Struct, frozen=True, kw_only=True):
    """One measured value.

    Args:
        subject: what it was measured on.
        both: what it is called together with the same on the other side, where that is no tube.
        value: the number in the quantity's unit; None when something is missing.
        evidence: members and points.
        missing: what has to be given before it can be measured, e.g. ``"a driver"``.
        absent: what the cage does not have, so that there is nothing to measure.
        broken: why it cannot be good whatever the limit, e.g. that the shop has no tool for it.
        met: what makes it good whatever the limit, e.g. padding.
        base: what the quantity's limits are multiples of (a number, or both ends of a range).
        topic: last word of the finding's code, where one rule covers many things.
        label: words for what was measured, when not the quantity's.
        text: more to say about it.
        cure: in place of the rule's, where numbers of the case say more.
        source: in place of the rule's, where ``base`` comes from a sheet.
        estimated: whether the number is to be measured on the real part all the same.
    """

    subject: str
    both: str = ""
    value: Value = None
    evidence: Evidence = field(default_factory=Evidence)
    missing: str = ""
    absent: str = ""
    broken: str = ""
    met: str = ""
    base: Value = None
    topic: str = ""
    label: str = ""
    text: str = ""
    cure: str = ""
    source: str = ""
    estimated: bool = False


Measurer = Callable[["Survey", Pick], Iterable[Measure]]


class Quantity(Struct, frozen=True):
    """A quantity by name: unit, label as printed, description and the function that measures.

    ``base`` says in words what its limits are multiples of; empty where a limit is a plain value.
    ``feet``: it looks at feet, so that a rule may name kinds of them. ``words``: all that a text
    can be.
    """

    name: str
    unit: Unit
    label: str
    measure: Measurer
    base: str = ""
    feet: bool = False
    words: tuple[str, ...] = ()

    @property
    def about(self) -> str:
        """What is measured, in the words of the function that does."""
        return " ".join((getdoc(self.measure) or "").split())

    def __reduce__(self) -> tuple[Callable[[str], Quantity], tuple[str]]:
        """Another process has it under the same name; what measures does not go there."""
        return _known, (self.name,)


_KNOWN: dict[str, Quantity] = {}
_LOADED: list[bool] = []


def quantity(
    name: str,
    unit: Unit,
    label: str = "",
    *,
    base: str = "",
    feet: bool = False,
    words: tuple[str, ...] = (),
) -> Callable[[Measurer], Measurer]:
    """Register a function as the quantity ``name``; its docstring describes it.

    Args:
        name: as books name it.
        unit: of what it yields.
        label: as tables name it.
        base: what limits are multiples of, if anything.
        feet: whether it looks at feet and takes kinds of them.
        words: all that a text can be.
    """

    def register(function: Measurer) -> Measurer:
        if name in _KNOWN:
            raise ValueError(f"two quantities are called {name!r}")
        said = label or name.replace("_", " ")
        _KNOWN[name] = Quantity(name, unit, said, function, base, feet, words)
        return function

    return register


def quantities() -> Mapping[str, Quantity]:
    """Every quantity by name."""
    if not _LOADED:
        for module in MODULES:
            import_module(module)
        _LOADED.append(True)
    return _KNOWN


def _known(name: str) -> Quantity:
    return quantities()[name]
