"""``cagekit presets``: list what there is, or print the schema of a kind of file."""

from __future__ import annotations

import argparse

from cagekit.cli.console import LINE, emit, note, table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    parser.add_argument(
        "kind", nargs="?", help="car, driver, tube, tooling, layout, rules, plate, loads or build"
    )
    parser.add_argument(
        "--schema",
        action="store_true",
        help="print the JSON Schema of KIND, with which an editor completes and checks such files",
    )
    parser.epilog = (
        "examples:\n  cagekit presets builds\n  cagekit presets car --schema > car.schema.json\n"
    )


def run(args: argparse.Namespace) -> int:
    """List presets or print a schema."""
    from cagekit.inputs import presets

    kind = _kind(args.kind) if args.kind else None
    if args.schema:
        return _schema(kind)
    found = presets.list_presets(kind)
    rows = [(p, _about(p.path)) for p in found]
    if args.json:
        emit(
            [
                {
                    "kind": p.kind,
                    "name": p.name,
                    "origin": p.origin,
                    "path": str(p.path),
                    "about": a,
                }
                for p, a in rows
            ]
        )
        return 0
    if not found:
        note(f"There are no presets{f' of kind {kind}' if kind else ''} yet.")
    shown = [(p.kind, p.name, "" if p.origin == "shipped" else p.origin, a) for p, a in rows]
    if not any(row[2] for row in shown):
        shown = [(kind, name, about) for kind, name, _, about in shown]  # type: ignore[misc]
    table(shown, most=LINE)
    return 0


def _kind(word: str) -> str:
    """Accept the kind and the name of its folder."""
    from cagekit.inputs.presets import FOLDERS

    return next((kind for kind, folder in FOLDERS.items() if word in (kind, folder)), word)


def _schema(kind: str | None) -> int:
    from cagekit.errors import InputError
    from cagekit.inputs.presets import FOLDERS
    from cagekit.inputs.schema_export import schema_of

    if kind is None:
        raise InputError(
            "cagekit presets --schema",
            problem="needs the kind of file.",
            hint=f"One of: {', '.join(FOLDERS)}.",
        )
    emit(schema_of(kind))
    return 0


def _about(path: object) -> str:
    """The description a preset gives of itself; a broken file shows here instead of stopping."""
    from pathlib import Path

    from cagekit.inputs.messages import FileInputError
    from cagekit.inputs.presets import read_toml

    try:
        data, _ = read_toml(Path(str(path)))
    except FileInputError as error:
        return f"cannot be read: {error.problem}"
    text = data.get("description") or data.get("name") or ""
    return " ".join(str(text).split())
