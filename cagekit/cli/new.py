"""``cagekit new NAME --from BUILD``: a commented build file of one's own to start from."""

from __future__ import annotations

import argparse
from pathlib import Path

from cagekit.cli.console import emit, note

UNIT_WORDS = {"mm": "mm", "in": "inches"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    parser.add_argument("name", metavar="NAME", help="name of the build; writes NAME.toml here")
    parser.add_argument(
        "--from", dest="origin", metavar="BUILD", help="build to start from, preset or file"
    )
    parser.epilog = (
        "For another car, copy the car sheet nearest to yours and name it in the new file:\n"
        '  cagekit show car/sprint-wagon > my-sheet.toml      then: car = "my-sheet.toml"'
    )


def run(args: argparse.Namespace) -> int:
    """Write the file; one that exists is left alone.

    Raises:
        InputError: no build to start from, or no name of a build.
        OutputError: the file is there already or cannot be written.
    """
    from cagekit.errors import InputError, OutputError
    from cagekit.inputs.build import BuildFile
    from cagekit.inputs.presets import find_preset, list_presets, load_file, shown
    from cagekit.inputs.starter import starter_text, valid_name
    from cagekit.writers.folder import output_error
    from cagekit.writers.whole import write_whole

    name = args.name.removesuffix(".toml")
    valid_name(name)
    if args.origin is None:
        known = ", ".join(p.name for p in list_presets("build"))
        raise InputError(
            "cagekit new", "--from", problem="a build to start from is needed.",
            hint=f"Take the one nearest to your cage: {known}; or a build file of your own.",
        )  # fmt: skip
    origin = find_preset("build", args.origin)
    file = load_file("build", origin, BuildFile)
    if args.units not in (None, file.units):
        raise InputError(
            "cagekit new", "--units", args.units,
            problem=f"{shown(origin)} counts in {UNIT_WORDS[file.units]} and stays as it is.",
            hint=f"Leave it out, or start from a build that counts in {UNIT_WORDS[args.units]}.",
        )  # fmt: skip
    target = Path(f"{name}.toml")
    text = starter_text(name, origin, file, folder=target.parent)
    try:
        write_whole(target, text.encode(), over=False)
    except FileExistsError:
        raise OutputError(f"{target}: is there already; choose another name.") from None
    except OSError as error:
        raise output_error(error, target) from error
    if args.json:
        emit({"path": str(target), "from": shown(origin)})
    else:
        print(target)
        note(f"Edit it, then: cagekit check {target}")
    return 0
