"""How large the plate of a foot must be: what the build's rulebooks ask, else common practice.

The number is the book's own: the same file is what the check holds the plate against.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from cagekit.inputs.presets import find_preset
from cagekit.inputs.rules import RuleEntry, RuleProfile, read_rules, takes
from cagekit.plates.foot import foot_kind
from cagekit.units.areas import parse_area
from cagekit.units.lengths import parse_length
from cagekit.units.sizes import parse_size

if TYPE_CHECKING:
    from cagekit.cage.member import Member
    from cagekit.inputs.build import Build
    from cagekit.inputs.car import Car

PRACTICE = "plate-practice"
"""The general book that is asked where no rulebook of the build speaks of a foot."""


class FootSize(Struct, frozen=True, kw_only=True):
    """What a foot's plate must have: area on the shell (mm2), sides (mm), and who asks for it."""

    area: float = 0.0
    sides: tuple[float, float] = (0.0, 0.0)
    book: str = ""


def asked_of(build: Build, member: Member) -> FootSize:
    """The largest area and sides that are asked of the plate under a member's foot.

    Args:
        build: the build, with its rulebooks.
        member: the tube that stands there.
    """
    books = [read_rules(_book(build, ref)) for ref in dict.fromkeys(build.rules)]
    found = [a for book in books for a in _of_book(book, member, build.car)]
    if not found and PRACTICE not in {b.replaces for b in books}:
        found = list(_of_book(read_rules(find_preset("rules", PRACTICE)), member, build.car))
    most = max(found, key=lambda a: a.area, default=FootSize())
    return FootSize(
        area=most.area,
        sides=max((a.sides for a in found), default=(0.0, 0.0)),
        book=most.book,
    )


def _book(build: Build, ref: str) -> Any:
    """The file of a rulebook that a build names."""
    beside = build.files["build"].parent if "build" in build.files else None
    return build.files.get(f"rules {ref}") or find_preset("rules", ref, beside=beside)


def _of_book(book: RuleProfile, member: Member, car: Car) -> Iterator[FootSize]:
    names = (foot_kind(member), member.role, member.id)
    for rule in book.rule:
        if rule.quantity not in _READERS or _left_out(rule, car):
            continue
        if not takes(book.looked_at(rule), *names):
            continue
        least = rule.limit[0] if rule.op == "between" and rule.limit else rule.limit
        if rule.op in (">=", ">", "between"):
            # what is no value of its quantity is told by the check, with its line
            with suppress(ValueError, TypeError):
                yield _READERS[rule.quantity](least, book, member)


def _left_out(rule: RuleEntry, car: Car) -> bool:
    """Whether the car sheet alone tells that a rule is not for this car."""
    own = {"class": car.class_, "body": car.body, "frame": car.frame}
    wanted = ((own[name], rule.when[name]) for name in own if name in rule.when)
    return any(is_ not in (w if isinstance(w, list) else [w]) for is_, w in wanted)


def _area(raw: Any, book: RuleProfile, member: Member) -> FootSize:
    return FootSize(area=parse_area(raw, default=book.units), book=book.title)


def _area_over_od(raw: Any, book: RuleProfile, member: Member) -> FootSize:
    return FootSize(area=parse_length(raw, default=book.units) * member.tube.od, book=book.title)


def _size(raw: Any, book: RuleProfile, member: Member) -> FootSize:
    """The smallest of the sizes that a book allows."""
    sizes = [parse_size(r, book.units) for r in (raw if isinstance(raw, list) else [raw])]
    low, high = min((sorted(s) for s in sizes), key=lambda s: s[0] * s[1])
    return FootSize(area=low * high, sides=(low, high), book=book.title)


_READERS = {
    "plate_area": _area,
    "plate_contact_area": _area,
    "plate_area_over_od": _area_over_od,
    "plate_size": _size,
}
"""How a limit of each quantity of a foot plate's size is read."""
