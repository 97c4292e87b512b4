"""Which books judge a design: the general ones of each group, and the rulebooks it names.

A general book is used in every build. It is silent where a named rulebook judges the same number,
and gives its place to a named book that says ``replaces``. The limits of a sanctioning body stand
in that body's own book and judge nobody else.
"""

from __future__ import annotations

from functools import partial

from cagekit.checks.engine import Taken, evaluate, judged_by
from cagekit.checks.finding import Finding, Status
from cagekit.checks.profile import GENERAL, Profile, load_profile
from cagekit.checks.quantities.survey import Survey
from cagekit.design import Design
from cagekit.inputs.presets import list_presets

RULES = "rules"


def findings(design: Design, group: str, *, apart: bool = False) -> list[Finding]:
    """Hold the cage against every book of a check group, general ones first.

    Args:
        design: the build and its cage.
        group: name of the group.
        apart: tell what passes one by one too, not as one finding of a rule.
    """
    survey = design.once("survey", Survey)
    used = books(design, group)
    if group == RULES:
        found = [f for book in used for f in evaluate(book, survey, apart=apart)]
        return found if used else [_no_rulebook()]
    return [
        f
        for book in used
        for f in evaluate(book, survey, _taken(design, book, survey), apart=apart)
    ]


def books(design: Design, group: str) -> tuple[Profile, ...]:
    """The books of a check group that judge a design, the general one first, each once.

    A build may name a general book too, or one book by name and by path: it judges no more than
    where it stands once.
    """
    return design.once(("books", group), partial(_books, group))


def _books(group: str, design: Design) -> tuple[Profile, ...]:
    named = design.once("named books", _named)
    replaced = {book.file.replaces for book in named}
    general = (n for n, g in GENERAL.items() if g == group and n not in replaced)
    own = (load_profile(n, units=design.units) for n in general)
    both = (*own, *(b for b in named if b.group == group))
    return tuple({book.path.resolve(): book for book in both}.values())


def book_names(design: Design) -> tuple[str, ...]:
    """Names of the books that a design names: a file of one's own is known by its own name."""
    return tuple(dict.fromkeys(book.name for book in design.once("named books", _named)))


def rulebook_codes(design: Design) -> tuple[str, ...]:
    """What the codes of the rulebooks' findings begin with, up to the slash, book by book."""
    rules = (r for book in books(design, RULES) for r in book.rules)
    return tuple(dict.fromkeys(r.code.partition("/")[0] for r in rules))


def _named(design: Design) -> tuple[Profile, ...]:
    """The books that a design names, in its order."""
    build_file = design.files.get("build")
    beside = build_file.parent if build_file else None
    return tuple(
        load_profile(ref, units=design.units, beside=beside) for ref in dict.fromkeys(design.rules)
    )


def _taken(design: Design, book: Profile, survey: Survey) -> Taken:
    """What the named rulebooks judge of the quantities of a general book, the worst first."""
    wanted = {r.quantity.name for r in book.rules if r.quantity}
    out: dict[str, dict[str, Status]] = {}
    for rule in (r for b in books(design, RULES) for r in b.rules):
        if rule.quantity is None or rule.quantity.name not in wanted:
            continue
        row = out.setdefault(rule.quantity.name, {})
        for subject, status in judged_by(rule, survey):
            if subject not in row or status.rank < row[subject].rank:
                row[subject] = status
    return out


def _no_rulebook() -> Finding:
    """The finding of a build that names no rulebook."""
    known = ", ".join(p.name for p in list_presets("rules") if p.name not in GENERAL)
    return Finding(
        code="rules/none",
        group=RULES,
        subject="cage",
        quantity="rulebook",
        status=Status.NEEDS_INPUT,
        cure=f"Name the rulebooks to build to under `rules` in the build file. Known: {known}.",
        text="Held against no rulebook: the build names none.",
    )
