"""``cagekit measure [LAYOUT]``: the blank measuring sheet, and the car sheet to fill in."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.cli.console import caution, emit, note

if TYPE_CHECKING:
    from cagekit.inputs.car import Car
    from cagekit.inputs.entries import MemberEntry
    from cagekit.units import LengthUnit

SHEET, CAR = "measuring-sheet.pdf", "car.toml"
LAYOUT = "halo-a-pillar"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    parser.add_argument(
        "layout", metavar="LAYOUT", nargs="?", default=LAYOUT,
        help=f"layout preset or path, or a build ({LAYOUT})",
    )  # fmt: skip
    parser.add_argument("--out", metavar="DIR", default=".", help="folder to write (here)")
    parser.add_argument(
        "--page", choices=("a4", "letter"), help="paper (a4; letter where units are in)"
    )
    parser.add_argument(
        "--toml", action="store_true",
        help=f"also write {CAR}: the car sheet with a blank for every number",
    )  # fmt: skip
    parser.epilog = (
        "The sheet asks for what the layout's members need, in the order of taking, with a\n"
        "picture of every point and the tapes that must agree before anything is cut."
    )


def run(args: argparse.Namespace) -> int:
    """Write the sheet."""
    from cagekit.measuring.paper import measuring_pdf

    entries, what, own_units, own_page, car = _asked(args.layout)
    units: LengthUnit = args.units or own_units
    page = args.page or own_page or ("letter" if units == "in" else "a4")
    made = {SHEET: measuring_pdf(entries, what, units=units, page=page)}
    if args.toml:
        from cagekit.measuring.car_file import car_toml

        made[CAR] = car_toml(entries, what, units=units, car=car).encode()
    folder = Path(args.out)
    paths = [_write(folder / name, content) for name, content in made.items()]
    if args.json:
        emit({"files": [str(p) for p in paths], "units": units, "page": page})
    else:
        for path in paths:
            print(path)
        note(f"{what}. Fill it in by hand; then write the numbers into a car sheet.")
    caution()
    return 0


def _asked(
    name: str,
) -> tuple[tuple[MemberEntry, ...], str, LengthUnit, str | None, Car | None]:
    """Members of a layout or a build, what it is, its units, its paper and car if it has some."""
    from cagekit.errors import InputError, NotFoundError
    from cagekit.hints import did_you_mean
    from cagekit.inputs.build import spread
    from cagekit.inputs.layout import Layout
    from cagekit.inputs.messages import shorten
    from cagekit.inputs.presets import find_any, find_preset, list_presets, load_file
    from cagekit.inputs.resolve import load_build

    try:
        kind, path = "layout", find_preset("layout", name)
    except NotFoundError:
        try:
            kind, path = "build", find_preset("build", name)
        except NotFoundError:
            known = [p.name for kind in ("layout", "build") for p in list_presets(kind)]
            raise InputError(
                "LAYOUT",
                problem=f"there is no layout or build {shorten(name)}.",
                hint=did_you_mean(name, known),
            ) from None
    else:
        if name.endswith(".toml") or "/" in name:
            kind = find_any(name)[0]
    if kind == "build":
        build = load_build(name)
        return (
            build.entries,
            f"For the build {build.name}, layout {build.layout.name}",
            build.units,
            build.tooling.paper.page,
            build.car,
        )
    layout = load_file("layout", path, Layout)
    entries = tuple(e for e in spread(list(layout.member)) if not e.omit)
    return entries, f"For the layout {layout.name}", layout.units, None, None


def _write(path: Path, content: bytes) -> Path:
    from cagekit.errors import OutputError
    from cagekit.writers.folder import output_error
    from cagekit.writers.whole import write_whole

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, content, over=path.name != CAR)
    except FileExistsError:
        raise OutputError(f"{path}: is there already and stays; choose another --out.") from None
    except OSError as error:
        raise output_error(error, path) from error
    return path
