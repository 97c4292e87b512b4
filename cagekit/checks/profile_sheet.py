"""A rule profile in print: its rules, how sure each is, and what it leaves out."""

from __future__ import annotations

import textwrap
from collections import Counter

from cagekit.checks.facts import FACTS
from cagekit.checks.limit import OPERATOR_WORDS
from cagekit.checks.profile import Profile, Rule
from cagekit.checks.quantities.quantity import quantities

_MARK = {"": "measured", "inspection": "look", "input": "input"}


def profile_text(profile: Profile, *, width: int = 80) -> str:
    """The profile for people: head, rules in the file's order, gaps, and counts."""
    file = profile.file
    edition = f", edition {file.edition}" if file.edition not in ("", "-") else ""
    blocks = [
        "\n".join(
            [
                _wrapped("", f"{file.name}: {file.title}{edition}", width),
                _wrapped("", file.description, width),
                _wrapped("Caution: ", file.caution, width) if file.caution else "",
            ]
        ).rstrip()
    ]
    blocks += [_rule(r, width) for r in profile.rules]
    if file.gaps:
        rows = [_wrapped("  - ", gap, width) for gap in file.gaps]
        blocks.append("\n".join(["Not in this profile:", *rows]))
    blocks.append(_counts(profile, width))
    return "\n\n".join(blocks)


def _rule(rule: Rule, width: int) -> str:
    entry = rule.entry
    head = _wrapped(f"{entry.code}: ", rule.text, width, hang=4)
    rows = [head, _wrapped("    ", _asks(rule), width)]
    for word, conditions in (("when", rule.when), ("unless", rule.unless)):
        if conditions:
            said = f"{word} {', '.join(c.words for c in conditions)}"
            rows.append(_wrapped("    ", said, width))
    where = " ".join(t for t in (rule.source, entry.clause) if t)
    edition = f", {rule.edition}" if rule.edition not in ("", "-") else ""
    kind = _MARK[entry.needs]
    rows.append(_wrapped("    ", f"{where}{edition} ({rule.certainty.value}) [{kind}]", width))
    return "\n".join(rows)


def _asks(rule: Rule) -> str:
    """What a rule measures, looks at or asks for, in one line."""
    entry = rule.entry
    if entry.needs == "input":
        return f"asks for {rule.written}" if rule.written else "asks for a paper or fact"
    said = rule.quantity.label if rule.quantity else "judged on the car"
    said += f" of {', '.join(entry.of)}" if entry.of else ""
    said += f", {entry.side} side" if entry.side else ""
    said += f", {entry.steel} steel" if entry.steel else ""
    if rule.written:
        op = "from" if rule.op == "between" else OPERATOR_WORDS.get(rule.op, "")
        said += f": {op} {rule.written}" if op else f": {rule.written}"
    return f"{said} (advice)" if entry.level == "should" else said


def _counts(profile: Profile, width: int) -> str:
    kinds = Counter(_MARK[r.entry.needs] for r in profile.rules)
    sure = Counter(r.certainty.value for r in profile.rules)
    said = ", ".join(f"{n} {k}" for k, n in kinds.items())
    how = ", ".join(f"{n} {k}" for k, n in sure.most_common())
    return _wrapped("", f"{len(profile.rules)} rules: {said}. How sure: {how}.", width)


def quantities_text(*, width: int = 80) -> str:
    """Every quantity and every fact that a profile may name."""
    rows = ["Quantities, for `quantity` (and for `when`):", ""]
    for q in sorted(quantities().values(), key=lambda q: q.name):
        rows.append(f"{q.name} [{q.unit}]")
        rows.append(_wrapped("    ", q.about, width))
    rows += ["", "Facts, for `when` and `unless`:", ""]
    for fact in FACTS.values():
        rows.append(_wrapped(f"{fact.name} [{fact.unit}]: ", fact.about, width, hang=4))
    return "\n".join(rows)


def _wrapped(lead: str, text: str, width: int, *, hang: int | None = None) -> str:
    return textwrap.fill(
        text,
        width,
        initial_indent=lead,
        subsequent_indent=" " * (len(lead) if hang is None else hang),
        break_long_words=False,
        break_on_hyphens=False,
    )
