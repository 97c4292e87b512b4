"""The shop book: ``shopbook.pdf``, everything that is needed in the shop to build one cage.

Gathers the schedules that others work out, says lengths in the builder's units, and hands them
to the document ``shopbook.typ`` together with line drawings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from math import degrees
from pathlib import Path
from typing import Any

from cagekit.checks import run
from cagekit.checks.books import book_names
from cagekit.design import Design
from cagekit.names import in_words, named
from cagekit.shop.papers.inspection import inspection_rows
from cagekit.shop.papers.order import Step
from cagekit.shop.papers.takeoff import PaddingOrder, PlateOrder, TubeOrder
from cagekit.shop.papers.tape import TapeCheck
from cagekit.shop.sawing.plan import CutPlan
from cagekit.shop.sawing.templates import SawSetting, Template, ordinates, saw_setting
from cagekit.shop.welding.weld_rows import WeldRow
from cagekit.shop.welding.welds import Way, Weld
from cagekit.units import format_area, format_length, format_mass, lengths_in
from cagekit.view.camera import FRONT, OBLIQUE, SIDE, TOP, Camera
from cagekit.view.linework import LineDrawing, cage_drawing
from cagekit.view.overview import numbers_of
from cagekit.writers.copes import all_templates, lay_out, shop_cuts, stands_on
from cagekit.writers.machined_pages import machined_cards
from cagekit.writers.pdf import document
from cagekit.writers.plate_pages import plate_cards
from cagekit.writers.scrutineer_page import scrutineer_sheet
from cagekit.writers.setting_pages import mark_lists, setting_page
from cagekit.writers.tube_pages import card, wall_page
from cagekit.writers.weld_pages import plates_title, weld_maps

FIELD: Mapping[str, tuple[float, float]] = {"a4": (186.0, 264.0), "letter": (191.0, 246.0)}
"""Free width and height of a page of the book, mm."""


VIEWS: tuple[tuple[Camera, str], ...] = (
    (SIDE, "From the left"),
    (FRONT, "From the front"),
    (TOP, "From above"),
)


class Book:
    """Data of one shop book; pictures are collected on the way."""

    def __init__(self, design: Design) -> None:
        self.design, self.build = design, design.build
        self.tooling = design.tooling
        self.page = str(design.options.get("page", self.tooling.paper.page))
        # swing-out bars are bent, coped and welded whole, and cut when their brackets are on
        self.cage = self.design.fitted
        self.numbers = {id_: i for i, id_ in enumerate(self.cage.members, start=1)}
        self.pictures: dict[str, bytes] = {}
        self.width, self.height = FIELD[self.page]
        self.welds = self.design.welds
        self.steps = design.steps
        self.templates = all_templates(design)
        self.deepest: dict[tuple[str, str], float] = {
            (t.member, t.end): t.deepest for t in self.templates
        }

    # -- words ---------------------------------------------------------------------------------

    def length(self, mm: float) -> str:
        """A length for the tape: tenths of a millimetre, or inches with a fraction."""
        mm = 0.0 if abs(mm) < 0.05 else mm
        if self.design.units == "in":
            return format_length(mm, "in", denominator=self.tooling.paper.fraction)
        return format_length(mm, decimals=1 if abs(mm) < 100 else 0)

    def most(self, mm: float) -> str:
        """The same of the most that something can be: rounded up."""
        if self.design.units == "in":
            part = self.tooling.paper.fraction
            return format_length(mm, "in", denominator=part, rounding="up")
        return format_length(mm, decimals=1 if abs(mm) < 100 else 0, rounding="up")

    def bare(self, mm: float) -> str:
        """A length for the tape without its unit, for tables that say it in the head."""
        if self.design.units == "in":
            return format_length(mm, "in", denominator=self.tooling.paper.fraction, unit=False)
        return format_length(mm, unit=False)

    def size(self, mm: float) -> str:
        """A size of stock: three decimals of an inch, or the millimetres as they are."""
        return format_length(mm, "in", decimals=3) if self.design.units == "in" else f"{mm:g} mm"

    def leg(self, mm: float) -> str:
        """The leg of a fillet: three decimals of an inch, where a sixteenth is too rough."""
        return self.size(mm) if self.design.units == "in" else self.length(mm)

    def fine(self, mm: float) -> str:
        """A size for the lathe: thousandths of an inch, or hundredths of a millimetre if any."""
        if self.design.units == "in":
            return format_length(mm, "in", decimals=3)
        told = format_length(mm, decimals=2, unit=False)
        return told[:-1] if told.endswith("0") else told

    def mass(self, kg: float) -> str:
        """A mass beside the book's lengths: pounds beside inches."""
        return format_mass(kg, self.design.units)

    def area(self, mm2: float) -> str:
        """An area of plate to buy: square metres, or square inches."""
        if self.design.units == "in":
            return format_area(mm2, "in", decimals=0)
        return f"{mm2 / 1e6:.3f} m²"

    def tube(self, member: str) -> str:
        """Size and steel of a member's tube."""
        t = self.cage.members[member].tube
        return f"{self.size(t.od)} x {self.size(t.wall)}"

    def number(self, member: str) -> str:
        """A member as the book calls it: its number and name."""
        plain = named(member)
        return f"{self.numbers[member]} {plain}" if member in self.numbers else plain

    def picture(self, name: str, drawing: LineDrawing) -> dict[str, Any]:
        """Keep a drawing and return how the document finds it."""
        self.pictures[f"{name}.svg"] = drawing.svg.encode()
        return {"file": f"{name}.svg", "width": drawing.width, "height": drawing.height}

    # -- parts ---------------------------------------------------------------------------------

    def data(self) -> dict[str, Any]:
        """Everything the document shows."""
        found = run(self.design)
        bent = [wall_page(self, s) for s in self.design.bends if s.bends]
        hung = [page["title"] for page in bent if page["marks"]]
        return {
            "name": self.design.name,
            "page": self.page,
            "description": self.build.file.description,
            "facts": self.facts(),
            "cover": self.picture(
                "oblique", cage_drawing(self.cage, OBLIQUE, self.width, 94.0, {}, margin=2.0)
            ),
            "views": [self.view(camera, title) for camera, title in VIEWS],
            "members": [self.member(m) for m in self.numbers],
            "bent": bent,
            "straight": [card(self, s) for s in self.design.bends if not s.bends],
            "setting": setting_page(self),
            "marks": mark_lists(self, hung),
            "framed": any(self.design.setting_out.on(tube) for tube in self.cage.chassis),
            "hung": ", ".join(hung),
            "unit": self.design.units,
            "copes": self.copes(),
            "clocks": self.clocks(),
            "saws": self.saws(),
            "machines": self.machines(),
            "stations": [
                f"{k * 360 / self.tooling.paper.stations:g}°"
                for k in range(self.tooling.paper.stations)
            ],
            "ordinates": self.ordinates(),
            "cuts": [self.cut(p, i) for i, p in enumerate(self.design.cuts)],
            "materials": self.materials(),
            "plates": plate_cards(self),
            "machined": machined_cards(self),
            "steps": [self.step(s) for s in self.steps],
            "filler": self.filler(),
            "maps": weld_maps(self),
            "welds": [self.weld(r, r.weld) for r in self.design.weld_rows if r.weld],
            "plates_title": plates_title(self.design.weld_rows),
            "plate_welds": [self.plate_weld(r) for r in self.design.weld_rows if not r.weld],
            "inspection": inspection_rows(self.cage, self.size, self.length),
            "scrutineer": scrutineer_sheet(self, found),
            "springback": self.springback(),
        }

    def member(self, id_: str) -> list[str]:
        """One line of the member list."""
        return [
            str(self.numbers[id_]),
            named(id_),
            self.tube(id_),
            self.length(self.cage.cut_length(id_)),
            self.mass(self.cage.mass(id_)),
        ]

    def facts(self) -> list[list[str]]:
        """What the cover says of the cage: pairs of name and words."""
        listed = self.design.materials
        run = sum(self.cage.cut_length(m) for m in self.cage.members)
        total = f"{run / 304.8:.1f} ft" if self.design.units == "in" else f"{run / 1000:.1f} m"
        tubes = sorted({self.tube(m) for m in self.cage.members})
        x, y, z = (float(v) for v in listed.mass.centre)
        side = "left" if y >= 0 else "right"
        along = "ahead of" if x >= 0 else "behind"
        high = "above" if z >= 0 else "below"
        where = (
            f"{self.length(abs(x))} {along} the hoop's feet, {self.length(abs(y))} to the {side}, "
            f"{self.length(abs(z))} {high} the sills"
        )
        return [
            ["Car", self.build.car.description or self.build.car.name],
            ["Driver", ", ".join(d.name for d in self.build.drivers) or "none given"],
            ["Layout", self.layout()],
            ["Members", f"{len(self.cage.members)} tubes, {total}"],
            ["Tube", "; ".join(tubes)],
            ["Plates", str(sum(p.quantity for p in self.cage.plates))],
            ["Mass", f"{self.mass(listed.mass.total)} without welds, bolts of plates and padding"],
            ["Centre of gravity", where],
            ["Tooling", self.tooling.description or self.tooling.name],
            ["Rules looked at", ", ".join(book_names(self.design)) or "none"],
        ]

    def view(self, camera: Camera, title: str) -> dict[str, Any]:
        """A view with balloons and overall sizes."""
        drawing = cage_drawing(
            self.cage, camera, self.width, 0.53 * self.height, self.numbers, size=self.length
        )
        return {"title": title, **self.picture(camera.name, drawing)}

    def layout(self) -> str:
        """The layout in its own words; its name where the build has other members than they say."""
        layout = self.build.layout
        said = self.build.file.members.values()
        if any(field in one for one in said for field in ("omit", "swing_out")):
            return f"{layout.name}, with other members: the list on the next page tells them"
        return layout.description or layout.name

    def springback(self) -> list[list[str]]:
        """Which springback each die was given, in words; by tube where a die's tubes differ."""
        tubes: dict[tuple[str, str, str], list[str]] = {}
        notes: dict[str, str] = {}
        for s in self.design.bends:
            if s.die is not None and s.springback is not None:
                warned = lengths_in("; ".join(s.springback.warnings), self.design.units)
                tubes.setdefault((s.die.name, s.springback.words, warned), []).append(
                    self.tube(s.member)
                )
                notes[s.die.name] = s.die.note
        alike = Counter(die for die, *_ in tubes)
        return [
            [
                die if alike[die] == 1 else f"{die}, {' and '.join(dict.fromkeys(of))}",
                words,
                warned,
                notes[die],
            ]
            for (die, words, warned), of in tubes.items()
        ]

    def machines(self) -> str:
        """What the shop calls its machines, those that it has."""
        sheet = self.tooling
        parts = (sheet.bender, sheet.saw, sheet.notcher, sheet.brake, sheet.table)
        return ", ".join(dict.fromkeys(part.name for part in parts if part is not None))

    def copes(self) -> list[list[str]]:
        """Where each template is: tube, end, parents, deepest, depth, sheet."""
        found = self.templates
        numbers = numbers_of(self.design.cage) | self.numbers
        sheet_of = {
            p.index: n for n, sheet in enumerate(lay_out(found, self.page), start=1) for p in sheet
        }
        return [
            [
                f"{numbers[t.member]} {named(t.member)}",
                t.end.upper(),
                ", ".join(self.number(p) for p in t.parents)
                or stands_on(self.design, t.member, t.end),
                "square" if t.square else f"{round(t.deepest) % 360}°",
                self.length(t.depth),
                str(sheet_of[i]),
            ]
            for i, t in enumerate(found)
        ]

    def clocks(self) -> list[list[str]]:
        """Reference line of every coped tube and how its two ends are turned to each other."""
        ends: dict[str, dict[str, Template]] = {}
        for t in self.templates:
            if t.member in self.cage.members:
                ends.setdefault(t.member, {})[t.end] = t
        rows = []
        for member, found in ends.items():
            turn = "-"
            if len(found) == 2:
                # each clock turns about the way out of its own end, so along the tube they add
                both = found["a"].deepest + found["b"].deepest
                turn = signed_degrees(180.0 - (180.0 - both) % 360.0)
            deep = [f"{round(found[e].deepest) % 360}°" if e in found else "square" for e in "ab"]
            rows.append([self.number(member), next(iter(found.values())).reference, *deep, turn])
        return rows

    def saws(self) -> list[list[str]]:
        """How every end is sawn, or notched with a hole saw or a mill, or why it is not."""
        rows = []
        for member in self.cage.members.values():
            for end, how in member.ends:
                if not how.parents and how.plane is None:
                    continue
                saw = saw_setting(self.cage, member.id, end)
                told = saw.reason or shop_cuts(saw, self.tooling, self.design.units)
                cells = [""] * 7 if saw.reason else self.saw_cells(saw)
                rows.append([self.number(member.id), end.upper(), *cells, told])
        return rows

    def saw_cells(self, saw: SawSetting) -> list[str]:
        """Angle, dial, clock, saw, depth, where the axes pass, offset."""
        aside = f"{self.length(saw.offset)} to {saw.offset_clock:.0f}°"
        return [
            f"{degrees(saw.angle):.1f}°",
            f"{abs(degrees(saw.dial)):.1f}°",
            f"{round(saw.clock) % 360}°",
            "-" if saw.flat else self.size(round(saw.diameter, 2)),
            self.length(saw.depth),
            self.length(saw.position),
            aside if saw.offset > 0.05 else "none",
        ]

    def ordinates(self) -> list[list[str]]:
        """Depths from the finished tip round every end, for the grinder."""
        short = self.tooling.paper.fraction
        rows = []
        ends = [(t.member, t.end) for t in self.templates if t.member in self.cage.members]
        for found in ordinates(self.cage, ends, self.tooling.paper.stations):
            if self.design.units == "in":
                depths = [
                    format_length(d, "in", denominator=short, unit=False) for d in found.depths
                ]
            else:
                depths = [format_length(abs(d), unit=False) for d in found.depths]
            rows.append([f"{self.numbers[found.member]} {found.end.upper()}", *depths])
        return rows

    def cut(self, plan: CutPlan, index: int) -> dict[str, Any]:
        """One cutting plan as bars to draw."""
        longest = max((b.bar.length for b in plan.bars), default=1.0)
        bars = []
        for b in plan.bars:
            source = " ".join(("own off-cut", b.bar.label)).strip() if b.bar.owned else "stick"
            bars.append(
                {
                    "label": f"{b.number}: {source}, {self.stick(b.bar.length)}",
                    "length": b.bar.length / longest,
                    "pieces": [
                        {
                            "start": start / longest,
                            "width": p.length / longest,
                            "name": str(self.numbers.get(p.name, named(p.name))),
                            "length": self.length(p.length),
                        }
                        for p, start in zip(b.pieces, b.starts, strict=True)
                    ],
                    "left": self.length(b.remnant),
                    "kept": b.kept,
                }
            )
        tube = plan.tube
        title = "Tube" if tube is None else f"{self.size(tube.od)} x {self.size(tube.wall)}"
        return {
            "title": title,
            "bars": bars,
            "verdict": plan.verdict,
            "lost": self.length(plan.lost),
            "left": [self.length(r) for r in plan.remnants],
        }

    def materials(self) -> dict[str, Any]:
        """What to buy."""
        m = self.design.materials
        return {
            "spare": f"{m.spare:.0%}",
            "tubes": [self.tube_order(t) for t in m.tubes],
            "plates": [self.plate_order(p) for p in m.plates],
            "fasteners": [
                [f.size, f.grade, str(f.bolts), in_words(", ".join(f.plates))] for f in m.fasteners
            ],
            "padding": [self.padding_order(p) for p in m.padding],
            "small_parts": "Small parts of the tubes that come apart"
            if self.design.cage.bolted
            else "Small parts of the swing-out door bars",
            "hardware": [
                [
                    named(h.kind),
                    h.size_inches if self.design.units == "in" else h.size,
                    h.material,
                    str(h.count),
                    self.joints_of(h.parts),
                ]
                for h in m.hardware
            ],
            "weld": [
                ["Joints of tubes", self.length(m.weld.joints)],
                ["Plates", self.length(m.weld.plates)],
                *([["Bolted joints", self.length(m.weld.bolted)]] if m.weld.bolted else []),
                ["Filler to buy", f"{self.mass(m.weld.filler)}: {m.weld.assumption}"],
            ],
        }

    def joints_of(self, parts: Sequence[str]) -> str:
        """The joints that small parts belong to, and how many each takes."""
        names = [f"{d.bar}_{j.name}" for d in self.design.cage.doors for j in d.joints]
        names += [j.id for t in self.design.cage.bolted for j in t.joints]
        owners = Counter(
            max((n for n in names if p.startswith(n)), key=len, default=p) for p in parts
        )
        return ", ".join(f"{named(n)} ({count})" for n, count in owners.items())

    def stick(self, mm: float) -> str:
        """A stick as it is bought: in feet on inch papers."""
        if self.design.units == "in":
            return format_length(mm, "in", feet=True, denominator=16)
        return self.length(mm)

    def tube_order(self, t: TubeOrder) -> list[str]:
        """One size of tube to buy."""
        sticks = ", ".join(f"{n} of {self.stick(length)}" for length, n in t.sticks)
        return [
            f"{self.size(t.od)} x {self.size(t.wall)}, {t.material}",
            str(t.pieces),
            self.length(t.needed),
            sticks or "own off-cuts",
            self.mass(t.mass),
        ]

    def plate_order(self, p: PlateOrder) -> list[str]:
        """One thickness of plate to buy."""
        area, order = (self.area(v) for v in (p.area, p.order))
        return [self.size(p.thickness), p.material, str(p.pieces), area, order, self.mass(p.mass)]

    def padding_order(self, p: PaddingOrder) -> list[str]:
        """Padding of one tube."""
        asked = f"asked for, {p.standard}" if p.standard else "asked for"
        why = asked if p.asked else "within reach of a helmet; the build does not pad it"
        thick = self.length(p.thickness) if p.asked else "not chosen"
        return [self.number(p.member), self.length(p.length), thick, why]

    def step(self, s: Step) -> dict[str, Any]:
        """One step of the order of work."""
        return {
            "number": s.number,
            "title": s.title,
            "members": ", ".join(self.number(m) for m in s.members),
            "text": list(s.text),
            "tack": ", ".join(s.tack),
            "weld": ", ".join(j for j in s.weld if j not in s.partly),
            "checks": [self.check(c) for c in s.checks],
            "tries": list(s.tries),
        }

    def check(self, c: TapeCheck) -> list[str]:
        """One tape check: from, to, distance, crossed distance."""
        return [
            c.start,
            c.end,
            self.length(c.distance),
            "" if c.twin is None else self.length(c.twin),
        ]

    def filler(self) -> str:
        """Processes and usual fillers of all welds, a sentence each."""
        used = dict.fromkeys((r.process, r.filler) for r in self.design.weld_rows)
        return " ".join(f"{process}, usual filler {rod}." for process, rod in used)

    def plate_weld(self, r: WeldRow) -> list[str]:
        """One row of the welds of plates."""
        count = f"{r.count} x " if r.count > 1 else ""
        name, _, end = r.to.partition(".")
        to = f"{self.number(name)} {end.upper()}".rstrip() if name in self.numbers else named(r.to)
        return [
            r.id,
            r.kind,
            named(r.what),
            to,
            r.form,
            f"{count}{self.length(r.length)}",
            self.leg(r.leg),
            str(r.tacks),
        ]

    def weld(self, r: WeldRow, w: Weld) -> list[str]:
        """One row of the weld map."""
        j = w.joint
        how = w.way.value
        if w.way is Way.BEFORE:
            how = "before " + ", ".join(str(self.numbers[m]) for m in w.before)
        elif w.way is Way.PARTLY:
            how = f"in part: {w.best:.0%}"
        elif w.way in (Way.LOWERED, Way.SLID):
            how = f"{how} {self.length(abs(w.amount))}"
        elif w.way is Way.LEANED:
            how = f"{how} {degrees(w.amount):+.0f}°"
        if w.pose and w.pose.glass:
            how = f"{how}, glass out"
        return [
            j.id,
            f"{self.number(j.branch)} {j.branch_end.upper()}",
            ", ".join(self.number(p) for p in j.parents),
            f"{degrees(j.angle):.0f}°",
            self.length(j.weld_length),
            self.leg(r.leg),
            str(r.tacks),
            f"{w.reach.share:.0%}",
            how,
        ]


def signed_degrees(turn: float) -> str:
    """A turn in whole degrees with its sign; none where there is no turn."""
    return f"{round(turn):+d}°" if round(turn) else "0°"


def write_shopbook(design: Design, folder: Path) -> None:
    """Write ``shopbook.pdf``."""
    book = Book(design)
    data = book.data()
    (folder / "shopbook.pdf").write_bytes(document("shopbook", data, book.pictures))
