"""``cagekit show NAME``: print one preset as it is written, with where it comes from."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path

from cagekit.cli.console import LINE, emit, width
from cagekit.cli.tables import TABLES, show_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    parser.add_argument(
        "name", help="preset name, KIND/NAME where several kinds share it, a path or a table"
    )
    columns = max(map(len, [*TABLES, "quantities"]))
    rows = "\n".join(f"  {name:<{columns}}  {about}" for name, about in TABLES.items())
    parser.epilog = f"tables:\n{rows}\n  {'quantities':<{columns}}  what a rule can measure"


def run(args: argparse.Namespace) -> int:
    """Print the file; comments and sources in it are part of what is shown."""
    from cagekit.errors import NotFoundError
    from cagekit.inputs.presets import find_any, list_presets, read_toml, shown

    if args.name == "quantities":
        return _quantities()
    if args.name in TABLES:
        return show_table(args.name, as_json=args.json)
    try:
        kind, path = find_any(args.name)
    except NotFoundError:
        if not _size(args.name, args.json):
            raise
        return 0
    data, text = read_toml(path)
    if args.json:
        emit(
            {"kind": kind, "path": str(path), "sources": list(_sources(data)), "data": _plain(data)}
        )
        return 0
    print(f"# {kind or 'file'} {path.stem}, from {shown(path)}")
    others = [p.kind for p in list_presets() if p.name == args.name and p.kind != kind]
    if others:
        more = ", ".join(f"{kind}/{args.name}" for kind in others)
        print(f"# of the same name: {more}")
    sources = list(dict.fromkeys(_sources(data)))
    for source in sources:
        print(_folded(f"# source: {source}"))
    print()
    if kind == "rules":
        return _profile(path)
    print("\n".join(map(_folded, text.rstrip().splitlines())))
    return 0


def _size(name: str, as_json: bool) -> bool:
    """Print a size of the table of tubes as the file that it would be; False when it is none."""
    from cagekit.data import rows

    row = next((r for r in rows("tubes") if r["name"] == name), None)
    if row is None:
        return False
    data = {
        "kind": "tube", "name": name, "od": f"{row['od']} {row['unit']}",
        "wall": f"{row['wall']} {row['unit']}", "material": row["material"],
        "source": row["source"],
    }  # fmt: skip
    if as_json:
        emit({"kind": "tube", "path": None, "sources": [row["source"]], "data": data})
        return True
    print(f"# tube {name}, from the table of sizes (cagekit show tubes)")
    print(_folded(f"# source: {row['source']}"))
    print()
    print("\n".join(f'{key} = "{value}"' for key, value in data.items()))
    return True


def _folded(line: str) -> str:
    """A line of a file, a comment folded to be read; anything else as it is written."""
    if len(line) <= LINE or not line.startswith("#"):
        return line
    return textwrap.fill(line, LINE, subsequent_indent="# ", break_long_words=False)


def _profile(path: Path) -> int:
    """A rule profile with its gaps, and what is wrong in it."""
    from cagekit.checks.profile import compile_file
    from cagekit.checks.profile_sheet import profile_text

    print(profile_text(compile_file(path), width=min(width(), LINE)))
    return 0


def _quantities() -> int:
    """What a rule profile may name."""
    from cagekit.checks.profile_sheet import quantities_text

    print(quantities_text(width=min(width(), LINE)))
    return 0


def _sources(data: object) -> list[str]:
    """Every ``source`` that the file names, in the order of the file."""
    found: list[str] = []
    if isinstance(data, dict):
        for key, value in data.items():
            if key in ("source", "sources"):
                texts = value if isinstance(value, list) else [value]
                found += [t for t in texts if isinstance(t, str) and t.strip()]
            else:
                found += _sources(value)
    elif isinstance(data, list):
        for value in data:
            found += _sources(value)
    return found


def _plain(value: object) -> object:
    """TOML values as JSON can hold them (dates become text)."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value if isinstance(value, str | int | float | bool) else str(value)
