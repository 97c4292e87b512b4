"""Rule profiles compiled: quantities found, limits and conditions read in their units.

What a profile names wrongly (a quantity, a fact, a limit that is no value of its quantity) is an
error in the profile, told with file, line and the closest known name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from cagekit.checks.facts import FACTS
from cagekit.checks.finding import Certainty, Value
from cagekit.checks.limit import read_limit, split_operator, written
from cagekit.checks.quantities.quantity import Quantity, Unit, quantities
from cagekit.hints import closest, did_you_mean
from cagekit.inputs.entries import AnyEntry
from cagekit.inputs.messages import FileInputError, Problem
from cagekit.inputs.presets import find_preset, load_file, read_toml, shown
from cagekit.inputs.rules import RuleEntry, RuleProfile
from cagekit.inputs.toml_lines import Key, line_map, line_of
from cagekit.units import LengthUnit

ROLES: tuple[str, ...] = (
    *(get_args(m.model_fields["kind"].annotation)[0] for m in get_args(get_args(AnyEntry)[0])),
    *("lateral_hoop", "rear_header_bar", "rear_diagonal", "brace_diagonal", "door_strut"),
)
"""Roles that generators and layouts give to members."""
FEET = ("hoop", "backstay", "other")
"""Kinds of feet that `of` may name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One line of a rule's ``when``: a fact or quantity held against a value."""

    name: str
    unit: Unit
    op: str
    limit: Value
    written: str

    @property
    def words(self) -> str:
        """The condition as printed."""
        op = {"=": "is", "in": "is", "between": ""}.get(self.op, self.op)
        return " ".join(f"{self.name.replace('_', ' ')} {op} {self.written}".split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule, ready to be held against a cage."""

    code: str
    entry: RuleEntry
    quantity: Quantity | None
    roles: tuple[str, ...]
    limit: Value
    written: str
    when: tuple[Condition, ...]
    unless: tuple[Condition, ...]
    source: str
    edition: str
    certainty: Certainty

    @property
    def op(self) -> str:
        """Operator; empty when nothing is compared."""
        return self.entry.op or ""

    @property
    def unit(self) -> Unit:
        """Unit of the measured quantity."""
        return self.quantity.unit if self.quantity else "text"

    @property
    def measured(self) -> bool:
        """Whether the rule compares a measured value (and can fail)."""
        return not self.entry.needs


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A rule profile, ready to be held against a cage."""

    file: RuleProfile
    path: Path
    rules: tuple[Rule, ...]

    @property
    def name(self) -> str:
        """Short name; findings are coded ``name/code``."""
        return self.file.name


def load_profile(ref: str, *, beside: Path | None = None) -> Profile:
    """Find, read and compile a rule profile.

    Args:
        ref: preset name or path.
        beside: folder of the file that names it.

    Raises:
        NotFoundError: no such profile.
        FileInputError: faults in the file; all at once, each with its line.
    """
    return compile_file(find_preset("rules", ref, beside=beside))


def compile_file(path: Path) -> Profile:
    """Read and compile the profile in one file; see `load_profile`."""
    file = load_file("rules", path, RuleProfile)
    problems: list[Problem] = []
    rules: list[Rule] = []
    for i, entry in enumerate(file.rule):
        reader = _Reader(file, entry, ("rule", i), path)
        rule = reader.rule()
        problems += reader.problems
        if rule is not None:
            rules.append(rule)
    if problems:
        raise FileInputError(problems)
    return Profile(file=file, path=path, rules=tuple(rules))


class _Reader:
    """Compiles one rule and gathers what is wrong with it."""

    def __init__(self, file: RuleProfile, entry: RuleEntry, key: Key, path: Path) -> None:
        self.file, self.entry, self.key, self.path = file, entry, key, path
        self.problems: list[Problem] = []

    @property
    def units(self) -> LengthUnit:
        return self.file.units

    def rule(self) -> Rule | None:
        entry = self.entry
        known = quantities()
        found = known.get(entry.quantity)
        if entry.quantity and found is None:
            hint = did_you_mean(entry.quantity, known)
            self._wrong(
                ("quantity",), entry.quantity, "is no quantity that cagekit measures.", hint
            )
        self._check_names()
        limit = self._limit(found)
        when = tuple(self._conditions("when", entry.when))
        unless = tuple(self._conditions("unless", entry.unless))
        if self.problems:
            return None
        return Rule(
            code=f"{self.file.name}/{entry.code}",
            entry=entry,
            quantity=found,
            roles=tuple(self._roles()),
            limit=limit,
            written=self._written(found),
            when=when,
            unless=unless,
            source=entry.source or self.file.title,
            edition=entry.edition or self.file.edition,
            certainty=Certainty(entry.certainty or self.file.certainty),
        )

    def _roles(self) -> Iterator[str]:
        for name in self.entry.of:
            yield from self.file.sets.get(name, (name,))

    def _check_names(self) -> None:
        """Refuse a name in `of` that looks like a slip: free roles of struts are allowed."""
        known = {*ROLES, *FEET, *self.file.sets}
        for n, name in enumerate(self.entry.of):
            bare = name.removeprefix("!")
            if bare not in known and closest(bare, known, most=1):
                hint = did_you_mean(bare, known)
                self._wrong(("of", n), name, "is no role, set or kind of foot.", hint)

    def _written(self, found: Quantity | None) -> str:
        entry = self.entry
        if entry.limit is None:
            return ""
        unit = found.unit if found and entry.op else None
        return written(entry.limit, entry.op or "", unit, self.units)

    def _limit(self, found: Quantity | None) -> Value:
        entry = self.entry
        if entry.limit is None or found is None or entry.op is None:
            return None
        try:
            return read_limit(entry.limit, found.unit, entry.op, self.units)
        except ValueError as error:
            hint = f"{found.name} is measured in {found.unit}."
            self._wrong(("limit",), entry.limit, f"{error}.".replace("..", "."), hint)
            return None

    def _conditions(self, table: str, when: Mapping[str, Any]) -> Iterator[Condition]:
        known = quantities()
        for name, raw in when.items():
            unit = (
                FACTS[name].unit if name in FACTS else known[name].unit if name in known else None
            )
            if unit is None:
                hint = did_you_mean(name, [*FACTS, *known], what="Facts")
                self._wrong((table, name), raw, "is no fact or quantity that cagekit knows.", hint)
                continue
            try:
                for one in raw if _bounds(raw) else [raw]:
                    yield self._condition(name, unit, one)
            except ValueError as error:
                self._wrong((table, name), raw, f"{error}.".replace("..", "."), "")

    def _condition(self, name: str, unit: Unit, raw: Any) -> Condition:
        if isinstance(raw, list):
            op = "in" if unit in ("text", "flag") else "between"
            value: Any = raw
        elif isinstance(raw, str) and unit != "text":
            op, value = split_operator(raw)
            value = _number(value)
        elif isinstance(raw, str):
            op, value = split_operator(raw)
        else:
            op, value = "=", raw
        limit = read_limit(value, unit, op, self.units)
        return Condition(
            name=name, unit=unit, op=op, limit=limit, written=written(value, op, unit, self.units)
        )

    def _wrong(self, at: Key, value: Any, problem: str, hint: str) -> None:
        # lines are looked up only when there is something to tell: a scan costs more than a load
        line = line_of(line_map(read_toml(self.path)[1]), (*self.key, *at))
        self.problems.append(
            Problem(
                file=shown(self.path),
                line=line,
                table=f"rule {self.entry.code}",
                field=".".join(str(a) for a in at),
                value=value,
                problem=problem,
                hint=hint,
            )
        )


def _bounds(raw: Any) -> bool:
    """Whether ``raw`` is a list such as ``["> 1700 lb", "< 2700 lb"]``: all have to hold."""
    return isinstance(raw, list) and all(
        isinstance(r, str) and r.lstrip()[:1] in ("<", ">", "!") for r in raw
    )


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
