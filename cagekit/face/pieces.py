"""What tubes and plates of a script have in common: origin, replace, save."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Self

from msgspec import Struct, field

from cagekit.cage.cage import Cage
from cagekit.errors import InputError, KernelError, OutputError
from cagekit.face.arguments import names_of
from cagekit.units import LengthUnit

if TYPE_CHECKING:
    import cadquery

    from cagekit.design.design import Design
    from cagekit.make.run import Made


BY_PRODUCT = {
    ".step": "step",
    ".stp": "step",
    ".dxf": "dxf",
    ".glb": "glb",
    ".csv": "bends",
    ".pdf": "copes",
    ".png": "png",
    ".json": "json",
}
"""Product of ``make`` that writes files of an ending."""
OF_TUBES = ("bends", "copes")
"""Products of a tube only."""
BY_CADQUERY = (".stl", ".3mf", ".svg", ".amf", ".vrml", ".brep")
"""Endings that CadQuery's own exporters write."""


class Origin(Struct, frozen=True, kw_only=True):
    """How a part was made: its kind and its dimensions as typed."""

    kind: str
    given: Mapping[str, Any] = field(default_factory=dict)
    units: LengthUnit = "mm"
    tooling: str | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """What tubes and plates of a script have in common.

    Args:
        cage: the cage that it stands in, or itself with the stubs that it meets.
        id: of the tube or plate in it.
        origin: kind and dimensions of a part that a function of the face made.
    """

    cage: Cage
    id: str
    origin: Origin | None = None
    _word: ClassVar[str] = "piece"

    def __repr__(self) -> str:
        """The kind and name in a line."""
        kind = self.origin.kind if self.origin else self._word
        name = self.id if kind == self.id else f"{kind} {self.id}"
        return f"<{name}: {self.mass:.3g} kg>"

    @property
    def parameters(self) -> Mapping[str, Any]:
        """Every dimension by name, mm and degrees; empty for a tube of a whole cage."""
        if self.origin is None:
            return MappingProxyType({})
        from cagekit.face.kinds import typed_values

        o = self.origin
        return MappingProxyType(typed_values(o.kind, o.given, o.units))

    def replace(self, **dims: Any) -> Self:
        """The same part with other dimensions, its own left as it is.

        Raises:
            InputError: it is no part of a kind, or a dimension cannot be.
        """
        if self.origin is None:
            raise InputError(
                self.id,
                problem="belongs to a whole cage.",
                hint="Change the design instead: design.change({'members.ID.field': value}).",
            )
        from cagekit.face.kinds import make

        o = self.origin
        made = make(o.kind, {**o.given, **dims}, units=o.units, tooling=o.tooling)
        assert isinstance(made, type(self))
        return made

    @property
    def mass(self) -> float:
        """Mass, kg."""
        raise NotImplementedError

    @property
    def volume(self) -> float:
        """Volume of steel, mm3."""
        raise NotImplementedError

    def solid(self) -> cadquery.Solid | cadquery.Assembly:
        """The piece as CadQuery's own object."""
        raise NotImplementedError

    @cached_property
    def design(self) -> Design:
        """The piece alone, as writers and schedules take it."""
        raise NotImplementedError

    def save(self, path: str | Path) -> Path:
        """Write the piece into one file; the ending says which: step, dxf, glb, csv, pdf, stl ...

        ``.csv`` is the bend schedule, ``.pdf`` the templates of the ends, ``.dxf`` the flat
        pattern of a plate or the template of a tube's end (``hoop-a.dxf`` for end a).

        Raises:
            InputError: there is no such file of this piece.
            OutputError: it cannot be written.
        """
        if not isinstance(path, str | Path):
            problem = "is no path: name a file, such as 'hoop.step'."
            raise InputError(f"{self.id}.save", "path", path, problem=problem)
        target = Path(path)
        ending = target.suffix.lower()
        if not target.parent.is_dir():
            raise OutputError(f"{target}: there is no folder {target.parent}.")
        if ending in BY_CADQUERY:
            from cagekit.solids.frames import export

            export(_one_shape(self.solid()), target)
            return target
        if ending not in BY_PRODUCT:
            known = ", ".join([*BY_PRODUCT, *BY_CADQUERY])
            raise InputError(
                str(target), problem="no file of that ending.", hint=f"Known: {known}."
            )
        with tempfile.TemporaryDirectory() as folder:
            self._write(BY_PRODUCT[ending], Path(folder))
            made = self._choose(Path(folder), ending, target)
            try:
                shutil.copyfile(made, target)
            except OSError as error:
                raise OutputError(f"{target}: {error.strerror}.") from None
        return target

    def make(
        self,
        out: str | Path | None = None,
        only: str | Sequence[str] = (),
        *,
        progress: Callable[[str], None] = lambda name: None,
    ) -> Made:
        """Write the files of ``cagekit part`` into a folder, whole or not at all.

        Args:
            out: the folder; ``outputs/part-<kind>`` when left out.
            only: names of products; all that suit a part if empty.
            progress: told the name of each product before it is made.

        Raises:
            InputError: ``only`` names no product.
            OutputError: the folder cannot be written.
            GeometryError: a product cannot be made.
        """
        from cagekit.make.part import make_part

        kind = self.origin.kind if self.origin else self.id
        target = Path(out) if out else Path("outputs") / f"part-{kind}"
        return make_part(self.design, target, only=names_of(only) or (), progress=progress)

    def _write(self, product: str, folder: Path) -> None:
        from cagekit.make.products import chosen

        names = [product]
        tube = self.id in self.cage.members
        if product in OF_TUBES and not tube:
            problem = "is no tube: its bends and ends have no such file."
            raise InputError(self.id, problem=problem, hint="Save it as .step, .dxf, .glb or .png.")
        if product == "dxf" and tube:
            names = ["copes"]
        for one in chosen(names):
            check = one.load()(self.design, folder)
            if check is not None:
                try:
                    left_out = check.result().left_out
                    if left_out:
                        raise KernelError(*left_out.values())
                finally:
                    check.close()

    def _choose(self, folder: Path, ending: str, target: Path) -> Path:
        """The one file that is meant among those that were written."""
        files = sorted(p for p in folder.rglob(f"*{ending.replace('.stp', '.step')}"))
        if len(files) > 1:
            parts = [f for f in files if f.parent != folder and f.stem == self.id]
            wholes = [f for f in files if f.parent == folder]
            named = [f for f in files if target.stem.endswith(f.stem[-2:]) and f.stem[-2:-1] == "-"]
            files = named or (wholes if ending in (".step", ".stp") and wholes else parts) or files
        if not files:
            raise InputError(str(target), problem=f"{self.id} has no {ending} file.")
        if len(files) > 1:
            names = ", ".join(f.stem for f in files)
            raise InputError(
                str(target),
                problem=f"{self.id} has {len(files)} such files: {names}.",
                hint="End the name with -a or -b for the end of a tube, or save one plate.",
            )
        return files[0]

    def _repr_svg_(self) -> str:
        from cagekit.view.camera import OBLIQUE
        from cagekit.view.linework import cage_drawing

        return cage_drawing(self.design.cage, OBLIQUE, 150.0, 100.0, {}, margin=6.0).svg


def _one_shape(solid: Any) -> Any:
    """A shape that CadQuery exports: the solid, or all of an assembly."""
    to_compound = getattr(solid, "toCompound", None)
    return solid if to_compound is None else to_compound()
