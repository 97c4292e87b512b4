"""The tube file: one size of tube in one steel, e.g. ``presets/tubes/dom-1.625x0.134.toml``."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from cagekit.data import rows
from cagekit.errors import InputError, NotFoundError
from cagekit.inputs.fields import FileModel, Length, SteelKey
from cagekit.inputs.presets import find_preset, load_file
from cagekit.materials.tubes import Tube
from cagekit.units import format_length, parse_length


class TubeFile(FileModel):
    """A tube as people write it down."""

    kind: Literal["tube"] = "tube"
    name: str = Field(pattern=r"^[A-Za-z0-9.-]+$", description="letters, digits, dot and hyphen")
    description: str = Field("", description="one line for lists")
    units: Literal["mm", "in"] = "mm"
    od: Length = Field(gt=0, description="outside diameter")
    wall: Length = Field(gt=0, description="wall thickness")
    material: SteelKey = Field(description="key of a steel, e.g. 1020-dom, 4130-n, e355-n")
    source: str = Field(description="where the size comes from: catalogue, rulebook, habit")

    @model_validator(mode="after")
    def _bore(self) -> Self:
        if self.wall >= self.od / 2:
            raise InputError(
                "tube",
                "wall",
                problem=f"a wall of {format_length(self.wall, self.units)} leaves no bore in a "
                f"tube of {format_length(self.od, self.units)}.",
                hint="Is it the wall's own unit?",
            )
        return self

    def tube(self) -> Tube:
        """Return the tube."""
        return Tube(od=self.od, wall=self.wall, material=self.material, name=self.name)


def load_tube(reference: str, *, beside: Path | None = None) -> tuple[Tube, Path | None]:
    """Return the tube of a name or path, and its file; a size of the table has none.

    A preset wins over a size of the table ``tubes`` of the same name.

    Args:
        reference: name of a preset, path of a file, or name of a size in the table.
        beside: folder of the file that names it; a relative path is tried from there first.

    Raises:
        NotFoundError: there is neither; tells the closest names of both.
        InputError: the file is wrong.
    """
    try:
        path = find_preset("tube", reference, beside=beside, more=_sizes())
    except NotFoundError:
        row = next((row for row in rows("tubes") if row["name"] == reference), None)
        if row is None:
            raise
        od, wall = (parse_length(f"{row[key]} {row['unit']}") for key in ("od", "wall"))
        return Tube(od=od, wall=wall, material=row["material"], name=reference), None
    return load_file("tube", path, TubeFile).tube(), path


def _sizes() -> Iterator[str]:
    """Names of the table's sizes; it is read when the first of them is asked for."""
    for row in rows("tubes"):
        yield row["name"]
