"""Rule profiles compiled: quantities found, limits and conditions read in their units.

What a profile names wrongly (a quantity, a fact, a limit that is no value of its quantity) is an
error in the profile, told with file, line and the closest known name.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

from msgspec import Struct

from cagekit.checks.facts import FACTS
from cagekit.checks.finding import Status, Value
from cagekit.checks.limit import OPERATOR_WORDS, holds, read_limit, split_operator, written
from cagekit.checks.quantities.quantity import PICKS, Measure, Quantity, Unit, quantities
from cagekit.checks.wording import converted, differs
from cagekit.hints import closest, did_you_mean
from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.inputs.messages import FileInputError, Problem, table_and_field
from cagekit.inputs.presets import find_preset, read_toml, shown
from cagekit.inputs.rules import HardLimit, RuleEntry, RuleProfile, read_rules
from cagekit.inputs.toml_lines import TomlKey, line_map, line_of
from cagekit.materials.source import Certainty
from cagekit.units import LengthUnit, parse_length
from cagekit.units.told import told_in

ROLES: tuple[str, ...] = (
    *MEMBER_KINDS,
    *("lateral_hoop", "rear_header_bar", "rear_diagonal", "brace_diagonal", "door_strut"),
)
"""Roles that generators and layouts give to members."""
FEET = ("hoop", "backstay", "other")
"""Kinds of feet that `of` may name."""


GENERAL: Mapping[str, str] = {
    "joint-practice": "geometry",
    "fit-practice": "fit",
    "shell-practice": "car",
    "sight-practice": "sight",
    "bending-practice": "shop",
    "plate-practice": "plates",
    "swing-practice": "swing_out",
    "structure-practice": "structure",
}
"""Books that judge every build, with the check group of each."""


YEAR_WORDS = {
    "<": "before",
    ">": "after",
    "<=": "up to",
    ">=": "from",
    "!=": "in another year than",
    "between": "from",
    "in": "in",
    "=": "in",
}
"""Operators as they stand before a year."""
TUBE_SIZE = "tube_size"
UNIT_WORDS: Mapping[Unit, str] = {
    "pair": "a size of two lengths, such as '45 x 2.5 mm'",
    "flag": "true or false",
    "text": "a word",
    "count": "a number of pieces",
    "ratio": "a number without a unit",
    "year": "a year",
}
"""What a quantity is whose unit says nothing to people."""
CONDITION_UNITS = {"kg": "kg", "s": "s", "deg": "deg", "MPa": "MPa"}
"""Units that are printed after a bare number of a condition."""


class Condition(Struct, frozen=True, kw_only=True):
    """One line of a rule's ``when``: a fact or quantity held against a value."""

    name: str
    unit: Unit
    op: str
    limit: Value
    written: str

    @property
    def words(self) -> str:
        """The condition as printed after "when"."""
        fact = FACTS.get(self.name)
        if self.unit == "year" and fact is not None:
            return f"{fact.said} {YEAR_WORDS[self.op]} {self.written}"
        if fact is not None and fact.said and self.op == "=" and isinstance(self.limit, bool):
            return fact.said if self.limit else fact.unsaid
        op = {"=": "is", "in": "is"}.get(self.op, OPERATOR_WORDS[self.op])
        return " ".join(f"{self.name.replace('_', ' ')} {op} {self.written}".split())

    @property
    def scope(self) -> str:
        """The same as printed after "only" and "applies"."""
        return f"for cars {self.words}" if self.unit == "year" else f"when {self.words}"


class Limit(Struct, frozen=True, kw_only=True):
    """One limit with where it stands; ``value`` counts in the quantity's unit or in its base.

    Args:
        op: operator; empty when nothing is compared.
        value: as read.
        unit: the quantity's.
        based: whether ``value`` is a multiple of what the measure has as its base.
        room: mm to keep from it. tolerance: mm by which it may be missed.
        level: status of what does not keep it.
        text: what it asks for. written: the limit as its source writes it.
        source: document. clause: in it. edition: that was read. certainty: how sure it is.
    """

    op: str
    value: Value
    unit: Unit
    based: bool
    room: float
    tolerance: float
    level: Status
    text: str
    written: str
    source: str
    clause: str
    edition: str
    certainty: Certainty

    def at(self, m: Measure) -> Value:
        """The limit for one measure, in the quantity's unit."""
        if not self.based:
            return self.value
        if m.base is None:
            return None
        assert isinstance(self.value, float)
        if isinstance(m.base, tuple):
            return tuple(self.value * float(b) for b in m.base)  # type: ignore[arg-type]
        room = -self.room if self.op in ("<=", "<") else self.room
        return self.value * float(m.base) + room

    def keeps(self, m: Measure) -> bool:
        """Whether a measured value keeps it."""
        return holds(m.value, self.op, self.at(m), self.unit, self.tolerance)


class Rule(Struct, frozen=True, kw_only=True):
    """One rule, ready to be held against a cage, in words; its limits the hardest first."""

    code: str
    group: str
    entry: RuleEntry
    text: str
    cure: str
    each: bool
    quantity: Quantity | None
    roles: tuple[str, ...]
    limits: tuple[Limit, ...]
    when: tuple[Condition, ...]
    unless: tuple[Condition, ...]

    @property
    def asks(self) -> Limit:
        """The rule's own limit, behind any harder one."""
        return self.limits[-1]

    @property
    def limit(self) -> Value:
        """What is asked for; see `Limit`."""
        return self.asks.value

    @property
    def op(self) -> str:
        """Operator; empty when nothing is compared."""
        return self.asks.op

    @property
    def written(self) -> str:
        """The limit as its source writes it."""
        return self.asks.written

    @property
    def source(self) -> str:
        """Document it stands in."""
        return self.asks.source

    @property
    def edition(self) -> str:
        """Edition that was read."""
        return self.asks.edition

    @property
    def certainty(self) -> Certainty:
        """How sure it is."""
        return self.asks.certainty

    @property
    def unit(self) -> Unit:
        """Unit of the measured quantity."""
        return self.quantity.unit if self.quantity else "text"

    @property
    def measured(self) -> bool:
        """Whether the rule compares a measured value (and can fail)."""
        return not self.entry.needs


class Profile(Struct, frozen=True, kw_only=True):
    """A rule profile, ready to be held against a cage."""

    file: RuleProfile
    path: Path
    rules: tuple[Rule, ...]

    @property
    def name(self) -> str:
        """Short name; findings are coded ``name/code``."""
        return self.file.name

    @property
    def group(self) -> str:
        """Check group that its findings are shown in."""
        return group_of(self.file)


def group_of(file: RuleProfile) -> str:
    """Check group of a book: its own, that of the general book it replaces, or ``rules``."""
    return file.group or GENERAL.get(file.replaces, "rules")


def load_profile(
    ref: str, *, units: LengthUnit | None = None, beside: Path | None = None
) -> Profile:
    """Find, read and compile a rule profile.

    Args:
        ref: preset name or path.
        units: that its words tell lengths in; None tells them as they are written.
        beside: folder of the file that names it.

    Raises:
        NotFoundError: no such profile.
        FileInputError: faults in the file; all at once, each with its line.
    """
    return compile_file(find_preset("rules", ref, beside=beside), units)


def compile_file(path: Path, units: LengthUnit | None = None) -> Profile:
    """Read and compile the profile in one file, once as long as it does not change.

    See `load_profile`.
    """
    path = path.absolute()
    try:
        seen = path.stat()
    except OSError:
        return _compiled(path, units)
    return _compiled(path, units, seen.st_mtime_ns, seen.st_size)


@lru_cache(maxsize=64)
def _compiled(path: Path, units: LengthUnit | None, *_: int) -> Profile:
    file = read_rules(path)
    problems: list[Problem] = []
    rules: list[Rule] = []
    if file.replaces and file.replaces not in GENERAL:
        problems.append(
            Problem(
                file=shown(path),
                line=_line(path, ("replaces",)),
                field="replaces",
                value=file.replaces,
                problem="is no general book.",
                hint=did_you_mean(file.replaces, GENERAL),
            )
        )
    problems += [*_wrong_sets(file, path), *_idle_sets(file, path)]
    for i, entry in enumerate(file.rule):
        reader = _Reader(file, entry, ("rule", i), path, units)
        rule = reader.rule()
        problems += reader.problems
        if rule is not None:
            rules.append(rule)
    if problems:
        raise FileInputError(problems)
    return Profile(file=file, path=path, rules=tuple(rules))


def _wrong_sets(file: RuleProfile, path: Path) -> list[Problem]:
    """Sets whose rules would look at nothing, or at other tubes than their name says."""
    out = []
    for name, members in file.sets.items():
        key: TomlKey = ("sets", name)
        if name in ROLES and set(members) != {name}:
            problem = "is the name of a role and cannot stand for other tubes."
            out.append(_set_problem(path, key, name, problem, "Give the set another name."))
        for n, role in enumerate(members):
            bare = role.removeprefix("!")
            if bare not in ROLES and bare not in FEET and closest(bare, ROLES, most=1):
                hint = did_you_mean(bare, ROLES)
                key = ("sets", name, n)
                out.append(_set_problem(path, key, role, f"{bare!r} is no role.", hint))
    return out


def _idle_sets(file: RuleProfile, path: Path) -> list[Problem]:
    """Sets that no rule looks at."""
    used = {name.removeprefix("!") for rule in file.rule for name in rule.of}
    problem, hint = "no rule looks at this set.", "Name it in the `of` of a rule, or leave it out."
    return [
        _set_problem(path, ("sets", name), name, problem, hint)
        for name in file.sets
        if name not in used
    ]


def _set_problem(path: Path, key: TomlKey, value: str, problem: str, hint: str) -> Problem:
    return Problem(
        file=shown(path),
        line=_line(path, key),
        table="sets",
        field=str(key[1]),
        value=value,
        problem=problem,
        hint=hint,
    )


def _line(path: Path, key: TomlKey) -> int | None:
    """Line of a key; asked for only with something to tell: a scan costs more than a load."""
    return line_of(line_map(read_toml(path)[1]), key)


class _Reader:
    """Compiles one rule and gathers what is wrong with it."""

    def __init__(
        self,
        file: RuleProfile,
        entry: RuleEntry,
        key: TomlKey,
        path: Path,
        reader: LengthUnit | None,
    ) -> None:
        self.file, self.entry, self.key, self.path, self.reader = file, entry, key, path, reader
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
        self._check_names(found)
        self._check_idle(found)
        limits = tuple(self._limits(found))
        when = tuple(self._conditions("when", entry.when))
        unless = tuple(self._conditions("unless", entry.unless))
        if self.problems:
            return None
        return Rule(
            code=entry.code if "/" in entry.code else f"{self.file.name}/{entry.code}",
            group=group_of(self.file),
            entry=entry,
            text=told_in(entry.text, self.reader),
            cure=told_in(entry.cure, self.reader),
            each=self.file.each if entry.each is None else entry.each,
            quantity=found,
            roles=self.file.looked_at(entry),
            limits=limits,
            when=when,
            unless=unless,
        )

    def _check_names(self, found: Quantity | None) -> None:
        """Refuse a name in `of` that looks like a slip: free roles of struts are allowed."""
        known = {*ROLES, *self.file.sets}
        feet = found is None or found.feet
        for n, name in enumerate(self.entry.of):
            bare = name.removeprefix("!")
            if bare in FEET and bare not in known:
                if not feet:
                    hint = did_you_mean(bare, known)
                    self._wrong(("of", n), name, "is a kind of foot; this looks at tubes.", hint)
            elif bare not in known and closest(bare, known, most=1):
                hint = did_you_mean(bare, known)
                self._wrong(("of", n), name, "is no role, set or kind of foot.", hint)

    def _check_idle(self, found: Quantity | None) -> None:
        """Refuse what the rule says and nothing is made of."""
        entry = self.entry
        for name, why, hint in (*_unpicked(entry, found), *_uncompared(entry, found)):
            if name in entry.model_fields_set and getattr(entry, name):
                self._wrong((name,), getattr(entry, name), why, hint)

    def _limits(self, found: Quantity | None) -> Iterator[Limit]:
        """The rule's limits, the harder one first."""
        entry = self.entry
        if entry.hard is not None:
            yield self._limit(found, entry.hard, ("hard", "limit"), Status.FAIL)
        level = Status.FAIL if entry.level == "must" else Status.WARN
        yield self._limit(found, entry, ("limit",), level)

    def _limit(
        self, found: Quantity | None, own: RuleEntry | HardLimit, at: TomlKey, level: Status
    ) -> Limit:
        entry, file = self.entry, self.file
        op = own.op or entry.op or ""
        unit: Unit = found.unit if found else "text"
        return Limit(
            op=op,
            value=self._value(found, own.limit, op, at),
            unit=unit,
            based=bool(found and found.base),
            room=self._length("room", entry.room),
            tolerance=self._length("tolerance", entry.tolerance),
            level=level,
            text=told_in(own.text, self.reader),
            written=self._written(found, own.limit, op),
            source=own.source or entry.source or file.title,
            clause=own.clause or entry.clause,
            edition=own.edition or entry.edition or file.edition,
            certainty=own.certainty or entry.certainty or file.certainty,
        )

    def _written(self, found: Quantity | None, raw: Any, op: str) -> str:
        if raw is None:
            return ""
        if found and found.base and op:
            times = "" if raw == 1 else f"{raw:g} x "
            return f"{times}{found.base}"
        return written(raw, op, found.unit if found and op else None, self.units)

    def _value(self, found: Quantity | None, raw: Any, op: str, at: TomlKey) -> Value:
        if raw is None or found is None or not op:
            return None
        try:
            if found.base:
                return read_limit(raw, "ratio", "", self.units)
            limit = read_limit(raw, found.unit, op, self.units)
            _require_possible(limit, found.words, tube=found.name == TUBE_SIZE)
            return limit
        except ValueError as error:
            hint = f"{found.name} is {UNIT_WORDS.get(found.unit, f'measured in {found.unit}')}."
            if found.base:
                hint = f"Limits of {found.name} are multiples of {found.base}."
            self._wrong(at, raw, f"{error}.".replace("..", "."), hint)
            return None

    def _length(self, field: str, raw: str | float) -> float:
        try:
            return parse_length(raw, default=self.units)
        except ValueError as error:
            self._wrong((field,), raw, f"{error}", "")
            return 0.0

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
        words = FACTS[name].words if name in FACTS else quantities()[name].words
        _require_possible(limit, words, tube=name == TUBE_SIZE)
        said = written(value, op, unit, self.units)
        if self.reader and differs(said, unit, self.reader):
            said = converted(limit, op, unit, self.reader)
        word = FACTS[name].word if name in FACTS else ""
        after = word or CONDITION_UNITS.get(unit, "")
        if after and said[-1:].isdigit():
            said += f" {after}"
        return Condition(name=name, unit=unit, op=op, limit=limit, written=said)

    def _wrong(self, at: TomlKey, value: Any, problem: str, hint: str) -> None:
        self.problems.append(
            Problem(
                file=shown(self.path),
                line=_line(self.path, (*self.key, *at)),
                table=f"rule {self.entry.code}",
                field=table_and_field(at)[1],
                value=value,
                problem=problem,
                hint=hint,
            )
        )


def _require_possible(limit: Value, words: tuple[str, ...], *, tube: bool) -> None:
    """Refuse a limit that nothing can have: a word that is none of them, a tube without a bore.

    Raises:
        ValueError: says what would do.
    """
    for one in limit if isinstance(limit, tuple) else (limit,):
        if words and one not in words:
            raise ValueError(f"{one!r} is none of what it can be: {', '.join(words)}")
        if tube and isinstance(one, tuple):
            od, wall = (float(v) for v in one if isinstance(v, float))
            if wall >= od / 2:
                raise ValueError(
                    f"a wall of {wall:.4g} mm leaves no bore in a tube of {od:.4g} mm; a size is "
                    "diameter x wall"
                )


Idle: TypeAlias = tuple[str, str, str]
"""A field, why nothing is made of it, and what would do."""


def _unpicked(entry: RuleEntry, found: Quantity | None) -> Iterator[Idle]:
    """What a rule says of the tubes it looks at and its quantity takes no notice of."""
    if found is None or all(not getattr(entry, name) for name in PICKS):
        return
    from cagekit.checks.quantities.picks import picked_by

    read = picked_by(found.name)
    for name in PICKS:
        if name not in read:
            can = f"it reads {' and '.join(sorted(read))}" if read else "it looks at the whole cage"
            yield name, f"{found.name} takes no notice of it: {can}.", "Leave it out."


def _uncompared(entry: RuleEntry, found: Quantity | None) -> Iterator[Idle]:
    """What a rule says of a comparison that is not made."""
    if entry.needs:
        for name in ("room", "tolerance", "each", "quiet"):
            why = f"a rule that needs {entry.needs} compares nothing."
            yield name, why, f"Leave it out, or `needs = {entry.needs!r}`."
        if entry.needs == "input":
            yield "cure", "what is missing is asked for in the rule's own words.", "Leave it out."
        return
    if found is None:
        return
    if not found.base or found.unit != "mm":
        why = f"limits of {found.name} are no length of the shop or the car."
        yield "room", why, "Put it in `limit`, or leave it out."
    if found.unit not in ("mm", "pair"):
        said = UNIT_WORDS.get(found.unit, f"measured in {found.unit}")
        why = f"is a length, and {found.name} is {said}."
        yield "tolerance", why, "Put it in `limit`, or leave it out."


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
