"""STEP through the kernel: write one shape as text, read a file back part by part."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

from msgspec import Struct

from cagekit.errors import KernelError
from cagekit.solids.kernel import is_valid, occ, solids_of, volume


class ReadPart(Struct, frozen=True, kw_only=True):
    """What the kernel found in a STEP file under one leaf of the assembly.

    ``path`` are the names from the root's child down to the part; ``volume`` in mm3, if
    it was asked for.
    """

    path: tuple[str, ...]
    solids: int
    volume: float | None
    valid: bool
    colour: tuple[float, float, float] | None = None

    @property
    def name(self) -> str:
        """The part's own name."""
        return self.path[-1] if self.path else ""


def hush() -> None:
    """Keep the kernel from printing its statistics."""
    message = occ("Message")
    for printer in message.Message.DefaultMessenger_s().Printers():
        printer.SetTraceLevel(message.Message_Gravity.Message_Fail)


def shape_text(shape: Any) -> str:
    """The text of a STEP file that holds one shape, without curves in parameter planes.

    Raises:
        KernelError: the kernel cannot make or read it; names the part.
    """
    import tempfile  # loads much that nothing else here needs

    hush()
    control = occ("STEPControl")
    writer = control.STEPControl_Writer()
    occ("Interface").Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    writer.Transfer(shape, control.STEPControl_StepModelType.STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        status = writer.Write(str(path))
        if status != occ("IFSelect").IFSelect_ReturnStatus.IFSelect_RetDone:
            raise KernelError("the kernel could not write a part as STEP.")
        return path.read_text(encoding="ascii")


def read_step(path: Path, *, measured: Collection[str] | None = None) -> tuple[ReadPart, ...]:
    """Read a STEP file with the kernel's own reader.

    Args:
        path: the file.
        measured: names of the parts whose volume is wanted; all by default.

    Raises:
        KernelError: the kernel cannot read it.
    """
    hush()
    document = occ("TDocStd").TDocStd_Document(
        occ("TCollection").TCollection_ExtendedString("cage")
    )
    reader = occ("STEPCAFControl").STEPCAFControl_Reader()
    reader.SetNameMode(True)
    reader.SetColorMode(True)
    done = occ("IFSelect").IFSelect_ReturnStatus.IFSelect_RetDone
    if reader.ReadFile(str(path)) != done or not reader.Transfer(document):
        raise KernelError(f"{path.name}: the kernel cannot read the file back.")
    tool = occ("XCAFDoc").XCAFDoc_DocumentTool
    shapes = tool.ShapeTool_s(document.Main())
    colours = tool.ColorTool_s(document.Main())
    roots = occ("TDF").TDF_LabelSequence()
    shapes.GetFreeShapes(roots)
    out: list[ReadPart] = []
    for root in _labels(roots):
        out += _leaves(shapes, colours, root, (), measured)
    return tuple(out)


def _labels(sequence: Any) -> Iterator[Any]:
    for i in range(1, sequence.Length() + 1):
        yield sequence.Value(i)


def _leaves(
    shapes: Any, colours: Any, label: Any, above: tuple[str, ...], measured: Collection[str] | None
) -> list[ReadPart]:
    if shapes.IsAssembly_s(label):
        children = occ("TDF").TDF_LabelSequence()
        shapes.GetComponents_s(label, children, False)
        out: list[ReadPart] = []
        for child in _labels(children):
            target = occ("TDF").TDF_Label()
            shapes.GetReferredShape_s(child, target)
            out += _leaves(shapes, colours, target, (*above, _name(child)), measured)
        return out
    shape = shapes.GetShape_s(label)
    solids = solids_of(shape)
    path = above or (_name(label),)
    wanted = measured is None or path[-1] in measured
    return [
        ReadPart(
            path=path,
            solids=len(solids),
            volume=sum(volume(s) for s in solids) if wanted else None,
            valid=all(is_valid(s) for s in solids),
            colour=_colour(colours, label, shape),
        )
    ]


def _name(label: Any) -> str:
    attribute = occ("TDataStd").TDataStd_Name()
    if not label.FindAttribute(occ("TDataStd").TDataStd_Name.GetID_s(), attribute):
        return ""
    return str(attribute.Get().ToExtString())


def _colour(colours: Any, label: Any, shape: Any) -> tuple[float, float, float] | None:
    quantity = occ("Quantity")
    found = quantity.Quantity_Color()
    kinds = occ("XCAFDoc").XCAFDoc_ColorType
    for kind in (kinds.XCAFDoc_ColorSurf, kinds.XCAFDoc_ColorGen):
        for solid in (label, *solids_of(shape)):
            where = colours.GetColor_s if solid is label else colours.GetColor
            if where(solid, kind, found):
                srgb = quantity.Quantity_TypeOfColor.Quantity_TOC_sRGB
                r, g, b = found.Values(srgb)
                return round(r, 4), round(g, 4), round(b, 4)
    return None
