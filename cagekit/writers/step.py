"""STEP files straight from solid records: exact, named, coloured, the same bytes every time.

The assembly is kept shallow: cage / group / part. Parts lie in vehicle axes, mm.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from enum import Enum
from pathlib import Path
from re import fullmatch
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.colours import Colour
from cagekit.errors import KernelError, OutputError
from cagekit.geometry.arrays import Array
from cagekit.solids.bodies import (
    SolidBody,
    build_records,
    colours,
    expected_volumes,
    groups,
    plain_name,
)
from cagekit.solids.brep import (
    ConeSurface,
    CylinderSurface,
    Edge,
    EllipseCurve,
    Face,
    LineCurve,
    PlaneSurface,
    Record,
    RuledSurface,
)
from cagekit.solids.telling import to_judge
from cagekit.solids.worker import KernelWorker
from cagekit.units.tolerance import NOISE
from cagekit.version import __version__
from cagekit.writers.part21 import Deck, parse, real, refs, splice, string
from cagekit.writers.step_check import ReadBack, StepReport, confirm, rebuild
from cagekit.writers.step_pcurve import Poles, parameter_curve, parameter_poles

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.design import Design

UNSOUND = "the kernel takes it for no sound solid"
UNCERTAINTY = 1e-5
"""Accuracy stated in the file, mm: cope edges lie within 2e-5 mm of the exact curve."""


class Schema(Enum):
    """Application protocols that can be written: schema, context text, protocol, year."""

    AP214 = (
        "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }",
        "core data for automotive mechanical design processes",
        "automotive_design",
        2000,
    )
    AP242 = (
        "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }",
        "managed model based 3d engineering",
        "ap242_managed_model_based_3d_engineering",
        2013,
    )


class StepPart(Struct, frozen=True, kw_only=True):
    """One solid of a STEP file.

    ``solid`` is a record, or the text of a STEP file that holds one solid (a shape that came
    from the kernel). Names are made of letters, digits and ``_``. ``curves`` are a record's in
    parameter planes, when they are known.
    """

    name: str
    solid: Record | str
    colour: Colour
    group: str = "tubes"
    curves: Poles | None = None


def write_cage(design: Design, folder: Path) -> ReadBack:
    """Write ``cage.step`` and one STEP file each in ``members/``, ``plates/`` and ``parts/``."""
    return start_files(design.cage, folder)


def write_files(cage: Cage, folder: Path, *, kernel: bool = True) -> StepReport:
    """Write a cage's STEP files into ``folder``, read them back and wait for the result.

    Args:
        cage: the cage.
        folder: where to.
        kernel: also let the kernel judge every solid.

    Raises:
        KernelError: a solid cannot be made, or is not what it should be when read back.
        OutputError: a file cannot be written or read back.
    """
    reading = start_files(cage, folder, kernel=kernel)
    try:
        return reading.result()
    finally:
        reading.close()


def start_files(cage: Cage, folder: Path, *, kernel: bool = True) -> ReadBack:
    """Write a cage's STEP files and read them back; the kernel goes on judging the solids.

    The whole cage is rebuilt from its file and measured; the single parts hold the same solids,
    so of them the file is compared with what was to be written. Arguments and errors as
    :func:`write_files`.

    Args:
        cage: the cage.
        folder: where they go.
        kernel: whether the kernel judges them.
    """
    worker = KernelWorker() if kernel else None
    try:
        return _write_all(cage, folder, worker)
    except BaseException:
        if worker is not None:
            worker.close()
        raise


def _write_all(
    cage: Cage,
    folder: Path,
    worker: KernelWorker | None,
    by_kernel: Collection[str] = (),
    unsound: Collection[str] = (),
) -> ReadBack:
    left_out = dict.fromkeys(unsound, UNSOUND)
    bodies = build_records(cage, worker=worker, by_kernel=by_kernel, left_out=left_out)
    if not bodies:
        raise KernelError(*left_out.values())
    parts = step_parts(cage, bodies)
    kernel_made = tuple(i for i, body in bodies.items() if not isinstance(body, Record))
    whole = folder / "cage.step"
    write_step(whole, plain_name(cage.name), parts, left_out=left_out)
    expected = {i: v for i, v in expected_volumes(cage).items() if i in bodies}
    report, solids = rebuild(whole, expected, kernel_made=kernel_made)
    verdicts = [worker.submit("judge", to_judge(solids))] if worker is not None else []

    def again(found: tuple[str, ...]) -> ReadBack:
        # a member that the kernel finds unsound is cut by the kernel, once
        worse = [i for i in found if i in by_kernel or i not in cage.members]
        return _write_all(cage, folder, worker, {*by_kernel, *found} - {*worse}, [*unsound, *worse])

    for id_ in left_out:
        _home(cage, folder, id_).unlink(missing_ok=True)
    for part in parts:
        path = _home(cage, folder, part.name)
        path.parent.mkdir(exist_ok=True)
        text = part_text(part)
        _save(path, text)
        confirm(path, text)
        if worker is not None and part.name in kernel_made:
            verdicts.append(worker.submit("read", str(path)))
    if worker is not None:
        worker.rest()  # it holds 300 MB, and what comes next wants them
    return ReadBack(replace(report, left_out=left_out), expected, verdicts, worker, again)


def _home(cage: Cage, folder: Path, id_: str) -> Path:
    """The file of a single part."""
    group = next(g for g, ids in groups(cage).items() if id_ in ids)
    return folder / ("members" if id_ in cage.members else group) / f"{id_}.step"


def step_parts(cage: Cage, bodies: Mapping[str, SolidBody]) -> tuple[StepPart, ...]:
    """The parts of a cage's STEP file that there are solids of, with group and colour."""
    colour = colours(cage)
    records = {i: body for i, body in bodies.items() if isinstance(body, Record)}
    curves = dict(zip(records, parameter_poles(list(records.values())), strict=True))
    return tuple(
        StepPart(
            name=i,
            solid=body if isinstance(body := bodies[i], Record) else body.step,
            colour=colour[i],
            group=group,
            curves=curves.get(i),
        )
        for group, ids in groups(cage).items()
        for i in ids
        if i in bodies
    )


def write_step(
    path: Path,
    name: str,
    parts: Sequence[StepPart],
    *,
    schema: Schema = Schema.AP214,
    left_out: Collection[str] = (),
) -> None:
    """Write an assembly of parts into ``path``.

    Args:
        path: of the file.
        name: of the assembly.
        parts: the solids by name.
        schema: of the file.
        left_out: what could not be made; the file's description names it.

    Raises:
        OutputError: a name cannot be used, a part occurs twice or the file cannot be written.
    """
    text = assembly_text(name, parts, schema=schema, left_out=left_out)
    _save(path, text)


def _save(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="ascii", newline="\n")
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}).") from error


def part_text(part: StepPart, *, schema: Schema = Schema.AP214) -> str:
    """The text of a STEP file that holds ``part`` alone."""
    file = _File(part.name, schema)
    file.part(part)
    return file.finish()


def assembly_text(
    name: str,
    parts: Sequence[StepPart],
    *,
    schema: Schema = Schema.AP214,
    left_out: Collection[str] = (),
) -> str:
    """The text of a STEP file with the assembly ``name`` / group / part.

    Args:
        name: of the assembly.
        parts: the solids by name.
        schema: of the file.
        left_out: what could not be made; the file's description names it.

    Raises:
        OutputError: a name cannot be used or occurs twice, or there is nothing to write.
    """
    if not parts:
        raise OutputError(f"{name}: there is no part to write.")
    _check_names(name, parts)
    file = _File(name, schema, left_out)
    groups: dict[str, list[tuple[str, _Product]]] = {}
    for part in parts:
        groups.setdefault(part.group, []).append((part.name, file.part(part)))
    inner = [(group, file.assembly(group, children)) for group, children in groups.items()]
    file.assembly(name, inner)
    return file.finish()


def _check_names(name: str, parts: Sequence[StepPart]) -> None:
    names = [name, *dict.fromkeys(p.group for p in parts), *(p.name for p in parts)]
    for n in names:
        if not fullmatch(r"[A-Za-z0-9_]+", n):
            raise OutputError(f"{n!r} cannot be a STEP name: letters, digits and _ only.")
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise OutputError(f"STEP names must differ, these occur twice: {', '.join(twice)}.")


class _Product(Struct, frozen=True):
    """Numbers of a product's definition and of its shape."""

    definition: int
    shape: int


class _File:
    """One STEP file while it is written."""

    def __init__(self, name: str, schema: Schema, left_out: Collection[str] = ()) -> None:
        self.name, self.schema, self.deck = name, schema, Deck()
        self.left_out = left_out
        self.styled: list[int] = []
        self.styles: dict[Colour, int] = {}
        self.placed = 0
        self._context()

    def _context(self) -> None:
        add = self.deck.add
        _, about, protocol, year = self.schema.value
        app = add(f"APPLICATION_CONTEXT({string(about)})")
        add(
            "APPLICATION_PROTOCOL_DEFINITION('international standard',"
            f"{string(protocol)},{year},#{app})"
        )
        self.product_context = add(f"PRODUCT_CONTEXT('',#{app},'mechanical')")
        self.design = add(f"PRODUCT_DEFINITION_CONTEXT('part definition',#{app},'design')")
        length = add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
        angle = add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
        solid = add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
        accuracy = add(
            f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE({real(UNCERTAINTY)}),#{length},"
            "'distance_accuracy_value','accuracy of edges')"
        )
        self.space = add(
            "(GEOMETRIC_REPRESENTATION_CONTEXT(3)"
            f"GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#{accuracy}))"
            f"GLOBAL_UNIT_ASSIGNED_CONTEXT((#{length},#{angle},#{solid}))"
            "REPRESENTATION_CONTEXT('','3D'))"
        )
        self.origin = self.deck.frame((0, 0, 0), (0, 0, 1), (1, 0, 0))
        self.planes = add(
            "(GEOMETRIC_REPRESENTATION_CONTEXT(2)PARAMETRIC_REPRESENTATION_CONTEXT()"
            "REPRESENTATION_CONTEXT('','parameters'))"
        )

    def _product(self, name: str) -> tuple[int, int]:
        add, quoted = self.deck.add, string(name)
        product = add(f"PRODUCT({quoted},{quoted},'',(#{self.product_context}))")
        version = add(f"PRODUCT_DEFINITION_FORMATION('','',#{product})")
        definition = add(f"PRODUCT_DEFINITION('design','',#{version},#{self.design})")
        shape = add(f"PRODUCT_DEFINITION_SHAPE('','',#{definition})")
        add(f"PRODUCT_RELATED_PRODUCT_CATEGORY('part',$,(#{product}))")
        return definition, shape

    def part(self, part: StepPart) -> _Product:
        """Write a part's solid, product and colour."""
        add = self.deck.add
        if isinstance(part.solid, Record):
            curves = part.curves
            if curves is None:
                curves = parameter_poles([part.solid])[0]
            solids = [write_brep(self.deck, part.solid, part.name, self.planes, curves)]
        else:
            solids = _splice_solids(self.deck, part.solid, part.name)
        items = refs([self.origin, *solids])
        shape = add(
            f"ADVANCED_BREP_SHAPE_REPRESENTATION({string(part.name)},{items},#{self.space})"
        )
        definition, holder = self._product(part.name)
        add(f"SHAPE_DEFINITION_REPRESENTATION(#{holder},#{shape})")
        style = self._style(part.colour)
        self.styled += [add(f"STYLED_ITEM('colour',(#{style}),#{s})") for s in solids]
        return _Product(definition, shape)

    def _style(self, colour: Colour) -> int:
        if colour not in self.styles:
            add = self.deck.add
            n = add(f"COLOUR_RGB('',{','.join(real(c) for c in colour)})")
            n = add(f"FILL_AREA_STYLE_COLOUR('',#{n})")
            n = add(f"FILL_AREA_STYLE('',(#{n}))")
            n = add(f"SURFACE_STYLE_FILL_AREA(#{n})")
            n = add(f"SURFACE_SIDE_STYLE('',(#{n}))")
            n = add(f"SURFACE_STYLE_USAGE(.BOTH.,#{n})")
            self.styles[colour] = add(f"PRESENTATION_STYLE_ASSIGNMENT((#{n}))")
        return self.styles[colour]

    def assembly(self, name: str, children: Sequence[tuple[str, _Product]]) -> _Product:
        """Write an assembly whose children lie where they are."""
        add = self.deck.add
        definition, holder = self._product(name)
        shape = add(f"SHAPE_REPRESENTATION({string(name)},(#{self.origin}),#{self.space})")
        add(f"SHAPE_DEFINITION_REPRESENTATION(#{holder},#{shape})")
        for child, product in children:
            self.placed += 1
            use = add(
                f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{self.placed}',{string(child)},'',"
                f"#{definition},#{product.definition},$)"
            )
            place = add(f"PRODUCT_DEFINITION_SHAPE('placement','',#{use})")
            move = add(f"ITEM_DEFINED_TRANSFORMATION('','',#{self.origin},#{self.origin})")
            relation = add(
                f"(REPRESENTATION_RELATIONSHIP('','',#{product.shape},#{shape})"
                f"REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION(#{move})"
                "SHAPE_REPRESENTATION_RELATIONSHIP())"
            )
            add(f"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION(#{relation},#{place})")
        return _Product(definition, shape)

    def finish(self) -> str:
        self.deck.add(
            "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION(''"
            f",{refs(self.styled)},#{self.space})"
        )
        maker = string(f"cagekit {__version__}")
        about = ",".join(map(string, [self.name, *(f"left out: {i}" for i in self.left_out)]))
        header = (
            f"HEADER;\nFILE_DESCRIPTION(({about}),'2;1');\n"
            # the standard wants a time; a fixed one keeps equal input equal to the byte
            f"FILE_NAME({string(self.name)},'2000-01-01T00:00:00',(''),(''),{maker},{maker},'');\n"
            f"FILE_SCHEMA(('{self.schema.value[0]}'));\nENDSEC;"
        )
        return self.deck.text(header)


def _splice_solids(deck: Deck, text: str, name: str) -> list[int]:
    entities = parse(text)
    found = [n for n, t in entities.items() if t.startswith("MANIFOLD_SOLID_BREP(")]
    if not found:
        raise OutputError(f"{name}: the kernel's file holds no solid.")
    for n in found:
        _, _, rest = entities[n].partition(",")
        entities[n] = f"MANIFOLD_SOLID_BREP({string(name)},{rest}"
    return [splice(deck, entities, n) for n in found]


def write_brep(deck: Deck, record: Record, name: str, planes: int, curves: Poles) -> int:
    """Write a record's boundary; returns the number of its MANIFOLD_SOLID_BREP.

    Args:
        deck: the file.
        record: the solid.
        name: of the solid.
        planes: number of the context of parameter planes.
        curves: poles of curves in them.
    """
    surfaces = [_surface(deck, f) for f in record.faces]
    uses: dict[int, list[int]] = {}
    for k, e in curves:
        uses.setdefault(e, []).append(k)
    vertices = [deck.add(f"VERTEX_POINT('',#{deck.point(p)})") for p in record.vertices]
    edges = []
    for i, edge in enumerate(record.edges):
        curve = _curve(deck, edge)
        images = [
            parameter_curve(deck, edge, curves[k, i], record.faces[k], surfaces[k], planes)
            for k in sorted(uses.get(i, ()))
        ]
        if images:
            curve = deck.add(f"SURFACE_CURVE('',#{curve},{refs(images)},.CURVE_3D.)")
        edges.append(
            deck.add(f"EDGE_CURVE('',#{vertices[edge.first]},#{vertices[edge.last]},#{curve},.T.)")
        )
    faces = [_face(deck, f, edges, s) for f, s in zip(record.faces, surfaces, strict=True)]
    shell = deck.add(f"CLOSED_SHELL('',{refs(faces)})")
    return deck.add(f"MANIFOLD_SOLID_BREP({string(name)},#{shell})")


def _curve(deck: Deck, edge: Edge) -> int:
    c = edge.curve
    if isinstance(c, LineCurve):
        along = deck.vector(c.direction)
        return deck.add(f"LINE('',#{deck.point(c.origin)},#{along})")
    if isinstance(c, EllipseCurve):
        frame = deck.frame(c.centre, c.axis, c.x)
        if c.is_circle:
            return deck.add(f"CIRCLE('',#{frame},{real(c.major)})")
        return deck.add(f"ELLIPSE('',#{frame},{real(c.major)},{real(c.minor)})")
    poles = refs(deck.points(c.poles.tolist()))
    counts = ",".join(map(str, c.multiplicities))
    knots = ",".join([real(k) for k in _knots(c.knots).tolist()])
    return deck.add(
        f"B_SPLINE_CURVE_WITH_KNOTS('',{c.degree},{poles},.UNSPECIFIED.,.F.,.F.,"
        f"({counts}),({knots}),.UNSPECIFIED.)"
    )


def _knots(knots: Array) -> Array:
    """Knots from 0 to 1: a few digits each where their nodes were chosen so."""
    part = (knots - knots[0]) / (knots[-1] - knots[0])
    short = np.round(part, 4)
    return np.asarray(short if np.abs(short - part).max() < NOISE else part)


def _face(deck: Deck, face: Face, edges: Sequence[int], surface: int) -> int:
    sense = ".T." if face.same_sense else ".F."
    bounds = []
    for k, loop in enumerate(face.loops):
        walk = [
            deck.add(f"ORIENTED_EDGE('',*,*,#{edges[e]},{'.T.' if forward else '.F.'})")
            for e, forward in loop
        ]
        around = deck.add(f"EDGE_LOOP('',{refs(walk)})")
        kind = "FACE_OUTER_BOUND" if k == 0 else "FACE_BOUND"
        bounds.append(deck.add(f"{kind}('',#{around},{sense})"))
    return deck.add(f"ADVANCED_FACE('',{refs(bounds)},#{surface},{sense})")


def _surface(deck: Deck, face: Face) -> int:
    s = face.surface
    if isinstance(s, PlaneSurface):
        return deck.add(f"PLANE('',#{deck.frame(s.origin, s.normal, s.x)})")
    if isinstance(s, CylinderSurface):
        frame = deck.frame(s.origin, s.axis, s.x)
        return deck.add(f"CYLINDRICAL_SURFACE('',#{frame},{real(s.radius)})")
    if isinstance(s, ConeSurface):
        frame = deck.frame(s.origin, s.axis, s.x)
        return deck.add(f"CONICAL_SURFACE('',#{frame},{real(s.radius)},{real(s.half)})")
    if isinstance(s, RuledSurface):
        return _ruled(deck, s)
    frame = deck.frame(s.centre, s.axis, s.x)
    return deck.add(f"TOROIDAL_SURFACE('',#{frame},{real(s.major)},{real(s.minor)})")


def _ruled(deck: Deck, s: RuledSurface) -> int:
    c = s.first
    rows = zip(deck.points(c.poles.tolist()), deck.points(s.second.poles.tolist()), strict=True)
    poles = ",".join(refs(row) for row in rows)
    counts = ",".join(map(str, c.multiplicities))
    knots = ",".join([real(k) for k in _knots(c.knots).tolist()])
    return deck.add(
        f"B_SPLINE_SURFACE_WITH_KNOTS('',{c.degree},1,({poles}),.UNSPECIFIED.,.F.,.F.,.F.,"
        f"({counts}),(2,2),({knots}),(0.,1.),.UNSPECIFIED.)"
    )
