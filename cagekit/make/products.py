"""The products of ``make``. A product is a function ``(design: Design, folder: Path) -> None``.

It writes its files below ``folder``, which exists and is empty of other products' files of the
same name. It is imported when it is made. A new product is one more line here.

A product whose files are still being read back in a process of their own returns the
:class:`Check` of it instead of None; ``make`` waits for it when everything else is written.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, cast

from msgspec import Struct

from cagekit.errors import InputError
from cagekit.hints import did_you_mean

if TYPE_CHECKING:
    from cagekit.design import Design


class Result(Protocol):
    """What a check found."""

    @property
    def left_out(self) -> Mapping[str, str]:
        """Parts that could not be made and are in no file of the product, each with why."""


class Check(Protocol):
    """A check of written files that goes on while other products are made."""

    def result(self) -> Result:
        """Wait for it; raises when the files are not what they should be."""

    def close(self) -> None:
        """Give up what it uses; always called at the end."""


BESIDE = ".beside"
"""Where a second process makes its files, in the folder of the run."""

Writer = Callable[["Design", Path], Check | None]


class Product(Struct, frozen=True):
    """One product: its name for ``--only``, ``module:function``, and what it is in a line."""

    name: str
    target: str
    about: str

    def load(self) -> Writer:
        """Import the function that writes it."""
        module, _, name = self.target.partition(":")
        return cast(Writer, getattr(import_module(module), name))

    def write(self, design: Design, folder: Path) -> tuple[tuple[str, ...], Check | None]:
        """Write it into ``folder``; return its files, and the check that goes on meanwhile."""
        before = _tree(folder)
        check = self.load()(design, folder)
        return tuple(sorted(_tree(folder) - before)), check


def _tree(folder: Path) -> set[str]:
    """Every file below the folder, relative; what a second process makes there is not seen."""
    found: set[str] = set()
    for here, folders, files in os.walk(folder):
        folders[:] = [f for f in folders if f != BESIDE]
        below = Path(here).relative_to(folder).as_posix()
        found |= set(files) if below == "." else {f"{below}/{f}" for f in files}
    return found


PRODUCTS: tuple[Product, ...] = (
    Product(
        "step",
        "cagekit.writers.step:write_cage",
        "cage.step, members/<id>.step, plates/<id>.step: exact solids",
    ),
    Product(
        "report",
        "cagekit.writers.report:write_report",
        "report.html: the cage in 3D, findings and tubes in one file for any browser",
    ),
    Product("png", "cagekit.writers.png:write_cage", "cage.png: side, front, top and oblique view"),
    Product(
        "strength_png",
        "cagekit.writers.strength_png:write_png",
        "strength.png: how hard the tubes work, how they move, where they fold",
    ),
    Product(
        "strength_pdf",
        "cagekit.writers.strength_pdf:write_pdf",
        "strength.pdf: for the engineer: model, loads, results, what is not covered",
    ),
    Product(
        "strength",
        "cagekit.writers.strength:write_csv",
        "strength.csv: screening of tubes, joints and feet under the load cases",
    ),
    Product(
        "frame",
        "cagekit.writers.strength:write_frame",
        "frame.json: the frame with its load cases and results, for any other solver",
    ),
    Product(
        "doors",
        "cagekit.writers.doors:write_doors",
        "door_open.step, door_open.glb, doors.png: swing-out bars open; plates/<bracket>.png",
    ),
    Product(
        "json",
        "cagekit.writers.json:write_cage",
        "cage.json: every member, joint and plate as data",
    ),
    Product(
        "checks",
        "cagekit.writers.checks:write_checks",
        "checks.json: every check with number, limit, source and cure",
    ),
    Product("glb", "cagekit.writers.glb:write_cage", "cage.glb: the cage for any 3D viewer"),
    Product(
        "fit",
        "cagekit.writers.fit:write_fit",
        "fit.png, sight.png: the people in the cage, what the driver sees",
    ),
    Product(
        "sheets",
        "cagekit.writers.dxf:write_sheets",
        "sheets/sheet-NN.dxf: plates nested on sheets, with pictures and a piece list",
    ),
    Product(
        "dxf",
        "cagekit.writers.dxf:write_plates",
        "plates/<id>.dxf: every plate for the cutting table",
    ),
    Product(
        "shopbook",
        "cagekit.writers.shopbook:write_shopbook",
        "shopbook.pdf: drawings, bends, cuts, order of work, weld map, inspection",
    ),
    Product(
        "copes",
        "cagekit.writers.copes:write_copes",
        "copes.pdf, copes.csv, copes/<member>-<end>.dxf: templates and notching table",
    ),
    Product(
        "labels",
        "cagekit.writers.labels:write_labels",
        "labels.pdf: a stick-on label for every tube and plate",
    ),
    Product("bends", "cagekit.writers.csv:write_bends", "bends.csv: bend schedule of every tube"),
    Product(
        "setting-out",
        "cagekit.writers.csv:write_setting_out",
        "setting-out.csv: feet and plates in the car, mark list of every tube",
    ),
    Product(
        "inspection",
        "cagekit.writers.csv:write_inspection",
        "inspection.csv: where to measure every tube, with blanks",
    ),
    Product(
        "scrutineer",
        "cagekit.writers.csv:write_scrutineer",
        "scrutineer.csv: what the rules ask and what was measured",
    ),
    Product(
        "welds",
        "cagekit.writers.csv:write_welds",
        "welds.csv: weld map with reach of the torch",
    ),
    Product(
        "order",
        "cagekit.writers.csv:write_order",
        "order.csv: order of work with tape checks",
    ),
    Product(
        "materials",
        "cagekit.writers.csv:write_materials",
        "materials.csv: what to buy, masses and centre of gravity",
    ),
    Product("cuts", "cagekit.writers.csv:write_cuts", "cuts.csv: what is sawn from which stick"),
)
"""Every product, in the order they are made: the solids first, as the kernel judges them meanwhile.
A second process takes them from the end. So what is worked out from the same things stands
together: at the front what hangs on the strength, at the end the schedules, and before them the
templates and the shop book that prints them: setting the book needs memory that the kernel has
until then. Before it stands what is drawn as DXF. In the middle, where the two meet, stands what
either makes alone as soon, the longest (swing-out bars, people) outside: so neither begins with it
when the other is nearly done."""


def chosen(only: Sequence[str]) -> tuple[Product, ...]:
    """Return the products named in ``only``, or all; an unknown name tells the closest.

    Raises:
        InputError: there is no such product.
    """
    if not only:
        return PRODUCTS
    known = {p.name for p in PRODUCTS}
    for name in only:
        if name not in known:
            hint = did_you_mean(name, known, what="Products")
            raise InputError("--only", problem=f"there is no product {name!r}.", hint=hint)
    return tuple(p for p in PRODUCTS if p.name in only)
