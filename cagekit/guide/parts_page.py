"""The chapter of parts: every kind with pictures made by its own code and its arguments."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import cagekit.parts.kinds as parts
from cagekit.face.kinds import arguments, make
from cagekit.face.plate_part import PlatePart
from cagekit.face.tube_part import TubePart
from cagekit.guide.drawings import part_drawing
from cagekit.guide.markdown import cell, table
from cagekit.guide.pictures import save_picture
from cagekit.view.plate_drawing import plate_drawing

SHOWN: Mapping[str, Mapping[str, Any]] = {
    "main_hoop": {"reach_belt": -50, "reach_top": -110},
    "floor_plate": {"fold_at": 45, "fold_angle": 35},
}
"""Arguments that are nothing at their default, drawn with a value that one can see."""

HEAD = """# Every part

Each kind of tube and plate, made by its own code with its default sizes: lengths in mm, angles in
degrees. A name in a drawing is the argument that sets what is measured there:
`ck.main_hoop(height=1050)` in a script, `cagekit part main_hoop --height 1050` in a shell. Every
function also takes `units`, `tooling` and, for tubes, `tube`: the name of a preset that sets
diameter, wall and steel at once.

A coped end meets a stub of the tube that it will be welded to; the stub is drawn, and is no part of
what is made.
"""


def write_page(folder: Path) -> Iterator[str]:
    """Write the pictures below a folder and give the page's Markdown.

    Args:
        folder: where the page will lie.
    """
    pictures = folder / "parts"
    pictures.mkdir()
    yield HEAD
    usual = dict(_defaults("strut"))
    for kind in parts.part_kinds():
        dims = dict(SHOWN.get(kind, {}))
        yield f"\n({kind})=\n## {kind}\n"
        about = parts.part_kinds()[kind].summary
        yield f"\n{about[:1].upper()}{about[1:]}. {_facts(kind)}\n"
        save_picture(make(kind, dims).design.cage, pictures / f"{kind}.png")
        yield f"\n![{kind}](parts/{kind}.png)\n"
        drawn = _drawing(kind, dims)
        if drawn:
            (pictures / f"{kind}.svg").write_text(drawn, "utf-8")
            yield f"\n![{kind} with its sizes](parts/{kind}.svg)\n"
        if dims:
            said = ", ".join(f"`{k}={v}`" for k, v in dims.items())
            yield f"\nDrawn with {said}.\n"
        yield from _arguments(kind, usual)


def _drawing(kind: str, dims: Mapping[str, Any]) -> str:
    """The part with its sizes; its flat pattern where no argument is measured; else nothing."""
    drawn = part_drawing(kind, dims)
    if drawn is not None:
        return drawn.svg
    part = make(kind, dims)
    plates = tuple(part.plates.values()) if isinstance(part, PlatePart) else ()
    return plate_drawing(plates[0], 110.0, 110.0, lambda mm: f"{mm:.1f}").svg if plates else ""


def _facts(kind: str) -> str:
    part = make(kind, {})
    if isinstance(part, TubePart):
        return f"As it is: {part.length:.1f} mm long, {part.mass:.2f} kg."
    many = len(part.plates)
    pieces = f"{many} plates, " if many > 1 else ""
    return f"As it is: {pieces}{part.mass:.2f} kg."


def _defaults(kind: str) -> Iterator[tuple[str, Any]]:
    for name, _, default, _ in arguments(parts.part_kind(kind)):
        yield name, default


def _arguments(kind: str, usual: Mapping[str, Any]) -> Iterator[str]:
    """The table of arguments; of a strut only what it does not share with every strut."""
    rows = [
        (f"`{name}`", _default(default), cell(about))
        for name, _, default, about in arguments(parts.part_kind(kind))
        if name not in ("units", "tooling", "tube")
    ]
    if kind != "strut" and [n for n, _ in _defaults(kind)] == list(usual):
        own = [r for r in rows if r[1] != _default(usual[r[0].strip("`")])]
        yield "\nThe arguments are those of a [strut](#strut)"
        if not own:
            yield " with the same defaults.\n"
            return
        yield ", with defaults of its own:\n"
        rows = own
    yield "\n" + table(("Argument", "Default", "What it is"), rows)


def _default(value: Any) -> str:
    if value is None:
        return "worked out"
    return f"`{value!r}`".replace("'", '"')
