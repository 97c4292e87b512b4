"""The rule profile: a rulebook as data, one ``[[rule]]`` for each thing it asks for.

A rule names a quantity that cagekit can measure on the cage, an operator and a limit, when it
applies, and where it stands. What cannot be measured on a model (weld quality, certificates) is a
rule too: it becomes a line on the inspection sheet.
"""

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import AfterValidator, Field, model_validator

from cagekit.errors import InputError
from cagekit.inputs.fields import FileModel, Name
from cagekit.inputs.presets import load_file
from cagekit.materials.source import Certainty
from cagekit.units.told import odd_braces

Operator = Literal[">=", "<=", ">", "<", "=", "!=", "between", "in"]
SideWord = Literal["", "driver", "passenger", "left", "right"]


GroupWord = Literal[
    "", "geometry", "fit", "car", "sight", "shop", "plates", "swing_out", "structure"
]


WHERE = "{where}"
"""What stands in a cure for the member and the spot."""


def _with_quantities(text: str) -> str:
    """Refuse braces that hold nothing to be told in other units."""
    for odd in odd_braces(text.replace(WHERE, "")):
        raise ValueError(
            f"{odd} is no length in braces; write e.g. {{100 mm}}, {{45 x 2.5 mm}}, {{2 to 6 in}}"
        )
    return text


def _nowhere(text: str) -> str:
    if WHERE in text:
        raise ValueError(f"{WHERE} stands in a cure only")
    return _with_quantities(text)


Words: TypeAlias = Annotated[str, AfterValidator(_nowhere)]
Cure: TypeAlias = Annotated[str, AfterValidator(_with_quantities)]


class HardLimit(FileModel):
    """The limit that a rule with advice must keep in any case."""

    op: Operator | None = Field(None, description="operator, when not the rule's")
    limit: Any = Field(description="like the rule's `limit`")
    clause: str = Field("", description="clause in the rulebook")
    edition: str = Field("", description="edition that was read, when not the rule's")
    source: str = Field("", description="document, when not the rule's")
    certainty: Certainty | None = Field(None, description="how sure it is, when not the rule's")
    text: Words = Field(
        min_length=1, description="what it asks for, in own words, lengths as in `text` of a rule"
    )


class RuleEntry(FileModel):
    """One rule as written."""

    code: str = Field(
        pattern=r"^([a-z_]+/)?[a-z0-9]+(-[a-z0-9]+)*$",
        description="short name, unique in the profile: letters, digits, hyphens",
    )
    quantity: str = Field("", description="what is measured; `show quantities` lists them")
    of: tuple[str, ...] = Field(
        (),
        description="roles, sets or kinds of feet; ! before one leaves it out",
    )
    side: SideWord = Field("", description="only members of this side of the car")
    steel: Literal["", "mild", "alloy"] = Field(
        "", description="only tubes of this family of steel"
    )
    op: Operator | None = Field(
        None, description="how the measured value is held against the limit"
    )
    limit: Any = Field(
        None,
        description="number, text with unit, [low, high], alternatives",
    )
    room: str | float = Field(
        0.0, description="length to keep from the limit where that is a size of the shop or car"
    )
    tolerance: str | float = Field(
        0.0, description="length by which the limit may be missed and still counts as kept"
    )
    each: bool | None = Field(
        None, description="one finding for everything that passes, when not as the book says"
    )
    quiet: bool = Field(False, description="what keeps the limit by itself is not told")
    hard: HardLimit | None = Field(
        None, description="harder limit of a rule that is advice: beyond it the rule fails"
    )
    when: dict[str, Any] = Field(
        {}, description="when the rule applies, e.g. homologated = '>= 2007'"
    )
    unless: dict[str, Any] = Field(
        {}, description="another way to meet the rule, written like `when`"
    )
    needs: Literal["", "inspection", "input"] = Field(
        "",
        description="what no model shows: 'inspection' on the car, 'input' of a fact",
    )
    level: Literal["must", "should"] = Field(
        "must", description="'should' gives a warning instead of a failure"
    )
    clause: str = Field("", description="clause in the rulebook")
    edition: str = Field("", description="edition that was read, when not the profile's")
    source: str = Field("", description="document, when not the profile's")
    certainty: Certainty | None = Field(None, description="how sure it is, when not the profile's")
    text: Words = Field(
        min_length=1,
        description="the rule in own words; {100 mm} is told in the build's units, of "
        "{3 mm | 1/8 in} the one in them",
    )
    cure: Cure = Field(
        "",
        description="what turns a failure good; {where} stands for the member and the spot, "
        "lengths as in `text`",
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.hard is not None and (self.level != "should" or self.needs):
            raise ValueError("'hard' belongs to a rule whose level is 'should'")
        if self.needs:
            if self.op is not None:
                raise ValueError(f"a rule that needs {self.needs} has no 'op': nothing is compared")
            return self
        for name in ("quantity", "op"):
            if not getattr(self, name):
                raise ValueError(
                    f"a rule needs {name!r}, or needs = 'inspection' or 'input' instead"
                )
        if self.limit is None:
            raise ValueError("a rule needs 'limit'")
        if not self.cure:
            raise ValueError("a rule that can fail needs 'cure'")
        return self


def takes(roles: Sequence[str], *names: str) -> bool:
    """Whether a rule that looks at ``roles`` looks at something of these names.

    Args:
        roles: all when empty; one with ``!`` before it is left out.
        *names: role, id, kind of foot.
    """
    if any(f"!{n}" in roles for n in names):
        return False
    named = [r for r in roles if not r.startswith("!")]
    return not named or any(n in named for n in names)


class RuleProfile(FileModel):
    """A rule profile as written."""

    kind: Literal["rules"] = "rules"
    name: str = Field(pattern=r"^[A-Za-z0-9_-]+$", description="findings are coded NAME/CODE")
    title: Name = Field(description="the rulebook's name as it is cited")
    description: str = ""
    edition: str = Field("", description="edition that was read")
    units: Literal["mm", "in"] = "mm"
    certainty: Certainty = Field(
        Certainty.IN_TEXT, description="for every rule that does not say otherwise"
    )
    caution: str = Field("", description="what a reader has to know before trusting the profile")
    group: GroupWord = Field(
        "", description="check group of a general book: its findings are shown there"
    )
    each: bool = Field(
        False, description="one finding for everything that passes, instead of one for all"
    )
    replaces: str = Field(
        "", description="general book whose place this one takes, e.g. 'fit-practice'"
    )
    sets: dict[str, tuple[str, ...]] = Field(
        {}, description="names for groups of roles, used in `of`"
    )
    gaps: tuple[str, ...] = Field((), description="what the rulebook asks for and is not in here")
    rule: tuple[RuleEntry, ...] = Field(min_length=1)

    def looked_at(self, rule: RuleEntry) -> tuple[str, ...]:
        """Roles and kinds of feet that a rule of this book looks at, its sets written out.

        A set with ``!`` before it leaves out all that it takes.
        """
        out: list[str] = []
        for name in rule.of:
            bare = name.removeprefix("!")
            taken = self.sets.get(bare, (bare,))
            if bare != name:
                taken = tuple(f"!{r}" for r in taken if not r.startswith("!"))
            out += taken
        return tuple(out)

    @model_validator(mode="after")
    def _unique(self) -> Self:
        seen: set[str] = set()
        for n, rule in enumerate(self.rule):
            if rule.code in seen:
                problem = "two rules have this code."
                raise InputError("rules", f"rule.{n}.code", problem=problem)
            seen.add(rule.code)
            if "/" in rule.code and not self.group:
                problem = "only a book with a 'group' writes codes with /."
                raise InputError("rules", f"rule.{n}.code", problem=problem)
        return self


def read_rules(path: Path) -> RuleProfile:
    """Read the rulebook in one file, once as long as it does not change.

    Raises:
        FileInputError: faults in the file; all at once, each with its line.
    """
    path = path.absolute()
    try:
        seen = path.stat()
    except OSError:
        return _read(path)
    return _read(path, seen.st_mtime_ns, seen.st_size)


@lru_cache(maxsize=64)
def _read(path: Path, *_: int) -> RuleProfile:
    return load_file("rules", path, RuleProfile)
