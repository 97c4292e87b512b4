"""Plausible single slips of reading and typing in any sheet of a build, by seed: told or refused.

A slip is what a tired hand does with one number that could be meant: a digit beside the right one,
two digits or two lines swapped, a digit lost or doubled, a tape held at its 100 mm or 1 in mark, a
sign, a tenth. The cars are without tapes from mark to mark, which would find most of it. Numbers of
``[members]`` of a build are left out: where a builder puts a bar nobody else can tell from a slip.
Counts are printed: ``pytest -s -m study tests/stability/test_slips.py``; the whole sweep is that of
``HYPOTHESIS_PROFILE=explore``.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from mistaken import BUILDS, files_of, outcome
from sweeps import size

from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.inputs.presets import shipped_root
from cagekit.writers.json import cage_dict

NUMBER = re.compile(r"(?<![\w.\"/-])-?\d+(?:\.\d+)?(?![\w.\"/])")
MEASURED = ("cars", "drivers")
"""Sheets of what was measured; a number of the others may be another choice as well as a slip."""
FOLDERS = ("cars", "cars", "cars", "drivers", "builds", "tooling", "tubes", "layouts", "plates")
MOVED = 0.5
"""A number of the cage that differs by less, mm, is the same to a shop."""


def untaped(text: str) -> str:
    """A sheet without the tapes that prove it."""
    return re.sub(r"# tapes from mark.*", "", text.partition("[tapes]")[0])


def numbered(text: str) -> tuple[list[str], list[int]]:
    """The lines of a file, and which of them hold a number that was measured."""
    lines, found, table = text.splitlines(), [], ""
    for n, line in enumerate(lines):
        table = line if line.startswith("[") else table
        value = line.partition("=")[2].partition("#")[0]
        if re.match(r"^\w+ = ", line) and NUMBER.search(value) and "[members" not in table:
            found.append(n)
    return lines, found


def slip(text: str, rng: random.Random) -> str:
    """The text with one slip; the same text where this slip cannot be made."""
    lines, places = numbered(text)
    n = rng.choice(places)
    key, _, value = lines[n].partition(" = ")
    spots = list(NUMBER.finditer(value.partition("#")[0]))
    kind = rng.choice(("digit", "swap", "sign", "pair", "mark", "line", "lost", "tenth"))
    if kind == "line":
        k = rng.choice([k for k in places if abs(k - n) <= 3])
        other, _, its = lines[k].partition(" = ")
        if len(NUMBER.findall(its)) == len(spots):
            lines[n], lines[k] = f"{key} = {its}", f"{other} = {value}"
    elif kind == "pair":
        first, second = sorted(rng.choices(spots, k=2), key=lambda m: m.start())
        if first is not second:
            between = value[first.end() : second.start()]
            swapped = f"{second.group()}{between}{first.group()}"
            lines[n] = f"{key} = {value[: first.start()]}{swapped}{value[second.end() :]}"
    else:
        spot = rng.choice(spots)
        new = mistyped(spot.group(), kind, 'units = "in"' in text, rng)
        lines[n] = f"{key} = {value[: spot.start()]}{new}{value[spot.end() :]}"
    return "\n".join(lines) + "\n"


def mistyped(old: str, kind: str, inches: bool, rng: random.Random) -> str:
    """A number as it is read or typed wrong."""
    digits = [i for i, c in enumerate(old) if c.isdigit()]
    if kind == "sign":
        return old[1:] if old.startswith("-") else f"-{old}"
    if kind == "tenth":
        return f"{float(old) * rng.choice((10.0, 0.1)):.10g}"
    if kind == "mark":
        mark = rng.choice((1.0, 10.0)) if inches else 100.0
        return f"{float(old) + rng.choice((mark, -mark)):.10g}"
    if kind == "digit":
        # not the last: 1 mm more is what a tape may be off
        i = rng.choice(digits[: max(len(old.lstrip("-").partition(".")[0]) - 1, 1)])
        new = f"{old[:i]}{(int(old[i]) + rng.choice((1, 9))) % 10}{old[i + 1 :]}"
    elif kind == "swap":
        i = rng.choice(digits)
        new = f"{old[:i]}{old[i + 1 : i + 2]}{old[i]}{old[i + 2 :]}" if i + 1 in digits else old
    else:
        i = rng.choice(digits)
        new = old[:i] + (old[i] * 2 if rng.random() < 0.5 else "") + old[i + 1 :]
    new = re.sub(r"^(-?)0+(?=\d)", r"\1", new).removesuffix(".")
    return new if re.fullmatch(r"-?\d+(\.\d+)?", new) else old


def numbers_of(value: Any) -> Iterator[float | str]:
    """Every number and text of a cage as data, in order."""
    if isinstance(value, dict):
        for key, one in value.items():
            yield key
            yield from numbers_of(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from numbers_of(one)
    else:
        yield value if isinstance(value, str) else float(value or 0.0)


def shape(build: str) -> tuple[float | str, ...]:
    """What the cage of a build comes to; the reason when it comes to none."""
    try:
        return tuple(numbers_of(cage_dict(Design.load(build).cage)))
    except CagekitError as error:
        return (str(error),)


@cache
def right(build: str) -> tuple[float | str, ...]:
    """The cage of the build without a slip."""
    return shape(build)


def moved(build: str) -> bool:
    """Whether a shop would make another cage of the build as its files are now."""
    now, then = shape(build), right(build)
    if len(now) != len(then):
        return True
    pairs = zip(now, then, strict=True)
    return any(abs(a - b) > MOVED if isinstance(a, float) and isinstance(b, float) else a != b
               for a, b in pairs)  # fmt: skip


def swept(count: int) -> tuple[Counter[str], list[str]]:
    """Counts by outcome over ``count`` slips, and what nobody told."""
    found: Counter[str] = Counter()
    silent: list[str] = []
    for build in BUILDS:
        car = Path("presets/cars") / f"{build}.toml"
        car.parent.mkdir(parents=True, exist_ok=True)
        car.write_text(untaped((shipped_root() / "cars" / car.name).read_text("utf-8")))
        right(build)
    for i in range(count):
        rng = random.Random(f"slip of a hand {i}")
        build = rng.choice(BUILDS)
        folder = rng.choice(FOLDERS)
        file = rng.choice(
            [f for f in files_of(build) if f.startswith(folder)] or [f"cars/{build}.toml"]
        )
        source = untaped((shipped_root() / file).read_text("utf-8"))
        text = slip(source, rng) if numbered(source)[1] else source
        if text.strip() == source.strip():
            continue
        result = outcome(build, file, text)
        target = Path("presets") / file
        if result == "silent":
            target.write_text(text)
            result = "silent, another cage" if moved(build) else "silent, the same cage"
            target.unlink()
            old, new = source.splitlines(), text.splitlines()
            line = next(b for a, b in zip(old, new, strict=True) if a != b)
            silent.append(f"{i} {file} {line!r}: {result}")
        if folder == "cars" or file.startswith("cars"):
            target.write_text(source)
        whose = "measured" if file.startswith(MEASURED) else "chosen"
        found[f"{whose}: {result.partition(':')[0]}"] += 1
    return found, silent


def share(found: Counter[str], whose: str) -> float:
    """Of the slips that change the cage, those that are told."""
    told = sum(
        found[f"{whose}: {w}"] for w in ("refused with line", "refused without line", "told")
    )
    return told / max(told + found[f"{whose}: silent, another cage"], 1)


@pytest.mark.study
@pytest.mark.slow
def test_single_slips_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found, silent = swept(size(everyday=60, whole=400))
    print(*(f"{n:5d} {what}" for what, n in sorted(found.items())), *silent, sep="\n")  # noqa: T201
    shares = {whose: share(found, whose) for whose in ("measured", "chosen")}
    print("told of those that change the cage:", shares)  # noqa: T201
    assert not {w for w in found if ": fault" in w or ": hang" in w or ": exit" in w}, found
    assert shares["measured"] >= 0.95, silent
    # another plate or another fillet may be meant
    assert shares["chosen"] >= 0.75, silent
