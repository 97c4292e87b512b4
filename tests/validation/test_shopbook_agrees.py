"""Every dimension in the printed shop book against cage.json, read back by words on the page.

The reader (`tests/bookreader.py`) knows nothing of the writers; what is right is worked out here
from cage.json alone: paths, cut curves, outlines. Tolerances are what the paper rounds to.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import bookreader
import demos
import numpy as np
import pytest
from bookreader import degrees_of, mm

from cagekit.names import named
from cagekit.writers.json import write_cage

SAW = ("Tube", "End", "Angle", "Dial", "Clock", "Saw", "Depth", "Axis", "Offset", "With")
COPES = ("Tube", "End", "To", "Deepest at", "Depth", "Sheet")
LIST = ("No", "Member", "Tube", "Cut length", "Mass")


class Printed:
    """A demo's book as read, and its cage as data."""

    def __init__(self, name: str, folder: Path, spare: Path) -> None:
        design = demos.design(name)
        self.design = design
        self.unit = design.units
        self.pages = bookreader.read(folder / "shopbook.pdf")
        self.cage: dict[str, Any] = json.loads((folder / "cage.json").read_text("utf-8"))
        self.bends = rows_of(folder / "bends.csv")
        self.cuts = rows_of(folder / "cuts.csv")
        self.placed = rows_of(folder / "setting-out.csv")
        # the book tells of swing-out bars whole
        whole = {m.id for m in design.fitted.members.values()}
        data = self.cage["members"] if whole <= {m["id"] for m in self.cage["members"]} else None
        if data is None:
            from cagekit.design import Design

            bare = Design(design.build, cage=design.fitted)
            write_cage(bare, spare)
            data = json.loads((spare / "cage.json").read_text("utf-8"))["members"]
        self.members = {m["id"]: m for m in data}
        self.called = {named(i): i for i in self.members}
        # tenths, or the tape's fraction
        self.fine = 25.4 / design.tooling.paper.fraction / 2 if self.unit == "in" else 0.51

    def rows(self, heads: tuple[str, ...]) -> Iterator[dict[str, str]]:
        for page in self.pages:
            yield from page.table(heads)

    def member(self, words: str) -> dict[str, Any]:
        """The member that a printed number and name mean."""
        number, _, name = words.partition(" ")
        found = self.members[self.called[name]]
        assert list(self.members).index(found["id"]) + 1 == int(number)
        return found


def rows_of(file: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(file.read_text("utf-8").splitlines()))


_READ: dict[str, Printed] = {}


# One process reads a book: that takes longer than all that is asked of it.
@pytest.fixture(
    scope="module",
    params=[
        pytest.param(
            n,
            marks=[
                pytest.mark.xdist_group(f"book of {n}"),
                *([pytest.mark.study] if n in ("hillclimb-coupe", "gravel-hatch") else []),
            ],
        )
        for n in demos.DEMOS
    ],
)
def printed(
    request: pytest.FixtureRequest,
    made: Callable[[str], Path],
    tmp_path_factory: pytest.TempPathFactory,
) -> Printed:
    name = request.param
    if name not in _READ:
        _READ[name] = Printed(name, made(name), tmp_path_factory.mktemp(name))
    return _READ[name]


# ---- cage.json alone ----


def curve(member: dict[str, Any], end: str, which: str = "outer") -> np.ndarray:
    """A cut's curve ``(n, 2)``: degrees round, mm back; a square one where none is told."""
    found = member["ends"][end].get(which)
    return np.array(found, float) if found else np.array([[0.0, 0.0]])


def tip(member: dict[str, Any], end: str) -> float:
    return float(min(curve(member, end)[:, 1].min(), curve(member, end, "inner")[:, 1].min()))


def deepest(member: dict[str, Any], end: str) -> float:
    return float(curve(member, end)[:, 1].max())


def piece_length(piece: dict[str, Any]) -> float:
    if piece["kind"] == "arc":
        return float(np.radians(piece["angle_deg"]) * piece["radius"])
    return float(np.linalg.norm(np.subtract(piece["end"], piece["start"])))


def outside(member: dict[str, Any]) -> np.ndarray:
    """Points on the outside of a tube ``(n, 3)``, mm: rings along the path, rims of the cuts."""
    r = member["tube"]["od"] / 2
    out = []
    total = sum(piece_length(p) for p in member["path"])
    low, high = max(deepest(member, "a"), 0.0), total - max(deepest(member, "b"), 0.0)
    here = 0.0
    around = np.linspace(0, 2 * np.pi, 181)[:-1]
    for p in member["path"]:
        n = 2 if p["kind"] == "line" else 60
        for s in np.clip(np.linspace(0.0, piece_length(p), n) + here, low, high) - here:
            if not -1e-6 <= s <= piece_length(p) + 1e-6:
                continue
            centre, along = spot(p, s)
            one = np.cross(along, [0.31, 0.77, 0.55])
            one /= np.linalg.norm(one)
            two = np.cross(along, one)
            out.append(centre + r * (np.cos(around)[:, None] * one + np.sin(around)[:, None] * two))
        here += piece_length(p)
    for end, p, s, sign in (
        ("a", member["path"][0], 0.0, -1.0),
        ("b", member["path"][-1], piece_length(member["path"][-1]), 1.0),
    ):
        told = member["ends"][end]
        if "zero" not in told or not told.get("outer"):
            continue
        centre, along = spot(p, s)
        way = sign * along
        zero = np.array(told["zero"])
        side = np.cross(way, zero)
        phi, back = np.radians(curve(member, end)[:, 0]), curve(member, end)[:, 1]
        ring = r * (np.cos(phi)[:, None] * zero + np.sin(phi)[:, None] * side)
        out.append(centre + ring - back[:, None] * way)
    return np.concatenate(out)


def spot(piece: dict[str, Any], s: float) -> tuple[np.ndarray, np.ndarray]:
    """Point and direction at ``s`` mm along a piece of a path."""
    start, end = np.array(piece["start"]), np.array(piece["end"])
    if piece["kind"] == "line":
        way = (end - start) / np.linalg.norm(end - start)
        return start + s * way, way
    centre, axis = np.array(piece["centre"]), np.array(piece["axis"])
    a = s / piece["radius"]
    x = start - centre
    y = np.cross(axis, x)
    point = centre + np.cos(a) * x + np.sin(a) * y
    way = -np.sin(a) * x + np.cos(a) * y
    return point, way / np.linalg.norm(way)


# ---- the book against it ----


MASSES = {
    "kg": (1.0, 0.05),
    "g": (1e-3, 0.5),
    "lb": (0.45359237, 0.05),
    "oz": (0.45359237 / 16, 0.05),
}
"""What a unit is in kg, and half of its last digit."""


def test_member_list(printed: Printed) -> None:
    text = next(p for p in printed.pages if p.title == "From the left").text()
    said = re.findall(r"([\d/ .]+ (?:in|mm)) ([\d.]+) (kg|g|lb|oz)\b", text)
    found = [mm(a.strip().split("  ")[-1]) for a, _, _ in said]
    assert len(found) == len(printed.members)
    lengths = sorted(m["cut_length"] for m in printed.members.values())
    np.testing.assert_allclose(sorted(found), lengths, atol=printed.fine + 1e-6)
    masses = sorted(m["mass_kg"] for m in printed.members.values())
    told = sorted((float(m) * MASSES[u][0], MASSES[u][0] * MASSES[u][1]) for _, m, u in said)
    for want, (mass, half) in zip(masses, told, strict=True):
        assert mass == pytest.approx(want, abs=1.01 * half)


@pytest.mark.parametrize(
    ("title", "wide", "tall"),
    [("From the left", 0, 2), ("From the front", 1, 2), ("From above", 0, 1)],
)
def test_overall_sizes(printed: Printed, title: str, wide: int, tall: int) -> None:
    page = next(p for p in printed.pages if p.title == title)
    points = [outside(m) for m in printed.members.values()]
    for q in printed.design.cage.plates:
        # folded by the package; that the mesh agrees is tested elsewhere
        rim = q.outline.sampled(2.0)
        points += [q.car_points(rim, 0.0), q.car_points(rim, -q.thickness)]
    low, high = (f(np.concatenate(points), axis=0) for f in (np.min, np.max))
    text = page.text()
    across = [mm(t) for t in re.findall(r"^([\d/ ]+ (?:in|mm))$", text, re.M)]
    upward = [mm(t) for t in page.upright]
    slack = printed.fine + 0.3
    assert min(abs(v - float((high - low)[wide])) for v in across) < slack, (across, high - low)
    assert min(abs(v - float((high - low)[tall])) for v in upward) < slack, (upward, high - low)


def wall_pages(printed: Printed) -> Iterator[tuple[Any, dict[str, Any]]]:
    for page in printed.pages:
        number, _, name = page.title.partition(" ")
        if number.isdigit() and name in printed.called:
            yield page, printed.member(page.title)


def test_every_bent_tube_has_its_page_and_bends(printed: Printed) -> None:
    bent = [m for m in printed.members.values() if any(p["kind"] == "arc" for p in m["path"])]
    pages = list(wall_pages(printed))
    assert [m["id"] for _, m in pages] == [m["id"] for m in bent]
    dial = np.degrees(printed.design.tooling.bender.angle_step)
    for page, m in pages:
        heads = next(h for h in ("a", "b") if f"Mark from {h.upper()}" in page.text())
        table = list(
            page.table(
                (
                    "Bend", "First in", f"Mark from {heads.upper()}, {printed.unit}", "Turn",
                    "Line at", "Set to", "Leaves",
                )
            )
        )  # fmt: skip
        arcs = [p for p in m["path"] if p["kind"] == "arc"]
        assert sorted(int(r["Bend"]) for r in table) == list(range(1, len(arcs) + 1))
        die = printed.design.tooling.die_for(m["tube"]["od"], arcs[0]["radius"])
        rows = [r for r in printed.bends if r["member"] == m["id"]]
        extra = float(rows[0]["extra_a_mm"])
        blank = float(rows[0]["blank_mm"])
        spans, here = [], extra - tip(m, "a")
        for p in m["path"]:
            long = piece_length(p)
            if p["kind"] == "arc":
                long /= 1 + die.stretch
                spans.append((here, here + long))
            here += long
        here += float(rows[0]["extra_b_mm"]) - tip(m, "b")
        assert here == pytest.approx(blank, abs=0.05)
        for r in table:
            n = int(r["Bend"]) - 1
            assert degrees_of(r["Leaves"]) == pytest.approx(arcs[n]["angle_deg"], abs=dial + 0.06)
            assert degrees_of(r["Set to"]) / dial == pytest.approx(
                round(degrees_of(r["Set to"]) / dial), abs=0.06 / dial * 0.1 + 1e-6
            )
            near, far = spans[n] if r["First in"] == "A" else spans[n][::-1]
            tail = 1.0 if r["First in"] == "A" else -1.0
            mark = {
                "start": near, "centre": (near + far) / 2, "offset": near + tail * die.mark_offset
            }[die.mark_at]  # fmt: skip
            mark = mark if heads == "a" else blank - mark
            said = mm(r[next(k for k in r if k.startswith("Mark"))], printed.unit)
            assert said == pytest.approx(mark, abs=min(printed.fine, 0.8) + 0.06)


def square_at_tips(m: dict[str, Any]) -> np.ndarray:
    """The outside of a tube that is not yet coped: rings square to its axis from tip to tip."""
    last = len(m["path"]) - 1
    rings = []
    for i, p in enumerate(m["path"]):
        low = tip(m, "a") if i == 0 else 0.0
        high = piece_length(p) - (tip(m, "b") if i == last else 0.0)
        for s in np.linspace(low, high, 60):
            at, way = spot(p, float(s))
            turn = np.linspace(0.0, 2 * np.pi, 180)[:, None]
            one = np.cross(way, [0.3, 0.5, 0.8])
            one /= np.linalg.norm(one)
            rim = np.cos(turn) * one + np.sin(turn) * np.cross(way, one)
            rings.append(at + m["tube"]["od"] / 2 * rim)
    return np.concatenate(rings)


def test_sizes_on_a_wall_page(printed: Printed) -> None:
    flat = 0
    for page, m in wall_pages(printed):
        words = page.text() + "\n" + "\n".join(page.upright)
        said = [
            mm(t, printed.unit)
            for t in re.findall(r"(?m)^.*?([\d/ .]*[\d/]+(?: in)?) over the outside", words)
        ]
        assert said
        a = spot(m["path"][0], tip(m, "a"))[0]
        b = spot(m["path"][-1], piece_length(m["path"][-1]) - tip(m, "b"))[0]
        found = re.search(r"A to B ([\d/ .]+(?: in)?)", words)
        if found:
            across = float(np.linalg.norm(b - a))
            assert mm(found[1], printed.unit) == pytest.approx(across, abs=printed.fine + 0.06)
        # the same tube over its outside: square at both tips, along A to B and across it
        axes = {tuple(np.round(np.abs(p["axis"]), 9)) for p in m["path"] if p["kind"] == "arc"}
        if len(axes) == 1 and "over the outside" in words:
            discs = square_at_tips(m)
            along = (b - a) / np.linalg.norm(b - a)
            upward = np.cross(next(p["axis"] for p in m["path"] if p["kind"] == "arc"), along)
            sizes = [float(np.ptp(discs @ way)) for way in (along, upward)]
            for size in said:
                assert min(abs(size - want) for want in sizes) < printed.fine + 0.3, (m["id"], said)
            flat += 1
        radius = next(p["radius"] for p in m["path"] if p["kind"] == "arc")
        told = re.search(r"centre-line radius ([\d/ .]+ (?:in|mm))", " ".join(words.split()))
        assert told
        assert mm(told[1]) == pytest.approx(radius, abs=printed.fine)
    assert flat


def test_saw_settings_are_the_cut(printed: Printed) -> None:
    joints = {(j["branch"], j["branch_end"]): j for j in printed.cage["joints"]}
    seen = 0
    for r in printed.rows(SAW):
        if not r["Angle"]:
            continue
        m, end = printed.member(r["Tube"]), r["End"].lower()
        cut = curve(m, end)
        depth = cut[:, 1].max() - tip(m, end)
        assert mm(r["Depth"]) == pytest.approx(depth, abs=min(printed.fine, 0.8) + 0.1)
        joint = joints.get((m["id"], end))
        if joint and len(joint["parents"]) == 1:
            assert degrees_of(r["Angle"]) == pytest.approx(joint["angle_deg"], abs=0.06)
            assert degrees_of(r["Dial"]) == pytest.approx(90 - joint["angle_deg"], abs=0.06)
            clock = degrees_of(r["Clock"])
            # the deep side: there the cut is as deep as anywhere, where it leans at all
            at = np.interp(clock, cut[:, 0], cut[:, 1], period=360)
            assert at == pytest.approx(cut[:, 1].max(), abs=0.2)
        seen += 1
    assert seen


def test_deepest_of_each_template(printed: Printed) -> None:
    """Pieces of bars that swing out too: what is drilled beyond the cut is no depth of it."""
    pieces = {named(m["id"]): m for m in printed.cage["members"]}
    seen = 0
    for r in printed.rows(COPES):
        words = r["Tube"].partition(" ")[2]
        m = printed.members[printed.called[words]] if words in printed.called else pieces[words]
        cut = curve(m, r["End"].lower())
        if r["Deepest at"] != "square":
            at = np.interp(degrees_of(r["Deepest at"]), cut[:, 0], cut[:, 1], period=360)
            assert at == pytest.approx(cut[:, 1].max(), abs=0.2), r
        assert mm(r["Depth"]) == pytest.approx(
            cut[:, 1].max() - tip(m, r["End"].lower()), abs=min(printed.fine, 0.8) + 0.1
        )
        seen += 1
    assert seen


GRIND = ("Tube", *(f"{k}°" for k in range(0, 360, 30)))


def test_grinder_depths_are_the_cut(printed: Printed) -> None:
    numbers = {str(n): m for n, m in enumerate(printed.members.values(), start=1)}
    seen = 0
    for r in printed.rows(GRIND):
        number, end = r["Tube"].split()
        m = numbers[number]
        rim = curve(m, end.lower())
        for head in GRIND[1:]:
            at = np.interp(degrees_of(head), rim[:, 0], rim[:, 1], period=360)
            said = mm(r[head], printed.unit)
            assert said == pytest.approx(at - tip(m, end.lower()), abs=printed.fine + 0.15), r
        seen += 1
    assert seen > len(numbers)


def test_blanks_are_what_the_cutting_list_says(printed: Printed) -> None:
    said = {}
    for page in printed.pages:
        words = " ".join(page.text().split())
        if not page.title and "Blank to saw" not in words:
            continue
        for t in re.findall(r"Blank to saw ([\d/ .]+ (?:in|mm))", words):
            said.setdefault(round(mm(t), 1), 0)
            said[round(mm(t), 1)] += 1
    lengths = [float(r["length_mm"]) for r in printed.cuts if r["cut"]]
    printed_lengths = [v for v, n in said.items() for _ in range(n)]
    assert len(printed_lengths) == len(lengths) == len(printed.members)
    np.testing.assert_allclose(sorted(printed_lengths), sorted(lengths), atol=printed.fine + 0.11)


def test_plates(printed: Printed) -> None:
    sizes, quantity = [], 0
    for page in printed.pages:
        words = page.text()
        for one in re.findall(r"Flat ([\d/ .]+ (?:in|mm)) x ([\d/ .]+ (?:in|mm)) x", words):
            sizes.append(tuple(mm(v) for v in one))
        quantity += sum(int(n) for n in re.findall(r"\bP\d+ (\d+) off", words))
    plates = printed.cage["plates"]
    assert quantity == sum(p.get("quantity", 1) for p in plates)
    for p in plates:
        low, high = flat_box(p["outline"])
        want = high - low
        assert any(
            abs(a - want[0]) < printed.fine + 0.06 and abs(b - want[1]) < printed.fine + 0.06
            for a, b in sizes
        ), p["id"]


HOLES = ("No", "Hole", "Width", "Left", "Lower")
FOLDS = ("Fold", "Inside R", "From", "To")


def cards(printed: Printed) -> Iterator[bookreader.Page]:
    """The columns of the pages of plates: cards stand two side by side."""
    for page in printed.pages:
        if re.search(r"\bP\d+ \d+ off", page.text()):
            yield from page.halves()


def test_holes_and_folds_of_plates(printed: Printed) -> None:
    """Every printed hole and fold is one of cage.json, and every one of those is printed."""
    unit, slack = printed.unit, printed.fine + 0.06
    holes = [
        (mm(r["Left"], unit), mm(r["Lower"], unit), r["Width"])
        for page in cards(printed)
        for r in page.table(HOLES)
        if r["No"].isdigit()  # the heads of the folds may follow
    ]
    folds = []
    for r in (r for page in cards(printed) for r in page.table(FOLDS)):
        if not re.match(r"[a-j] (UP|DOWN) ", r["Fold"]):
            continue
        ends = [mm(v, unit) for k in ("From", "To") for v in r[k].split(", ")]
        folds.append((r["Fold"], mm(r["Inside R"], unit), np.array(ends)))
    used_holes, used_folds = set(), set()
    for p in printed.cage["plates"]:
        low, _ = flat_box(p["outline"])
        for hole in p["holes"]:
            lo, hi = flat_box(hole["outline"])
            middle = (lo + hi) / 2 - low
            fits = {
                k
                for k, (x, y, width) in enumerate(holes)
                if abs(x - middle[0]) < slack
                and abs(y - middle[1]) < slack
                and (not hole.get("diameter") or str(width))
            }
            assert fits, (p["id"], middle)
            used_holes |= fits
            if hole.get("diameter"):
                widths = [mm(holes[k][2].replace("slot ", ""), unit) for k in fits]
                assert any(abs(w - hole["diameter"]) < 0.02 for w in widths), p["id"]
        for fold in p["folds"]:
            line = np.array([fold["start"], fold["end"]], float) - low
            angle = fold["angle_deg"]
            said = f"{'UP' if angle > 0 else 'DOWN'} {abs(angle):.1f}°"
            fits = {
                k
                for k, (words, radius, ends) in enumerate(folds)
                if words.endswith(said)
                and abs(radius - fold["inside_radius"]) < 0.02
                and np.abs(ends - line.ravel()).max() < slack
            }
            assert fits, (p["id"], said, line)
            used_folds |= fits
    assert used_holes == set(range(len(holes)))
    assert used_folds == set(range(len(folds)))


def flat_box(loop: Any) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of an outline of lines and arcs, ``(2,)`` mm."""
    points = []
    for s in loop:
        a, b = np.array(s["start"][:2], float), np.array(s["end"][:2], float)
        points += [a, b]
        if s["kind"] == "arc":
            c = np.array(s["centre"][:2], float)
            r = np.linalg.norm(a - c)
            first = np.arctan2(*(a - c)[::-1])
            last = np.arctan2(*(b - c)[::-1])
            way = float(np.sign(s["angle_deg"]))
            sweep = (way * (last - first)) % (2 * np.pi) or 2 * np.pi
            t = first + way * np.linspace(0, sweep, 200)
            points += list(c + r * np.column_stack([np.cos(t), np.sin(t)]))
    grid = np.array(points)
    return grid.min(axis=0), grid.max(axis=0)


def test_tape_is_never_rounded_twice(printed: Printed) -> None:
    """Marks on a page grow along the tube; none is at or beyond the blank."""
    for page, m in wall_pages(printed):
        blank = float(next(r["blank_mm"] for r in printed.bends if r["member"] == m["id"]))
        marks = [
            mm(line[2]["text"], printed.unit)
            for line in page.lines()
            if len(line) > 6 and line[0]["size"] > 13 and line[0]["text"].isdigit()
        ]
        assert all(0 < v < blank for v in marks)
        assert all(a != b for a, b in pairwise(sorted(marks)))


TAPES = ("From", "To", "Left to right", "Right to left", "Measured")
TAPE_END = re.compile(r"(.+), (?:end ([AB])|(left|right) end(?: \(crossed: right end\))?)$")


def tape_end(printed: Printed, words: str, *, crossed: bool) -> tuple[np.ndarray, Any]:
    """An end that a tape row names: its node and, turned away from a point, its corner."""
    found = TAPE_END.match(words)
    assert found, words
    m = printed.members[printed.called[found[1]]]
    side = "right" if crossed and "crossed" in words else found[3]
    left = np.array(m["path"][0]["start"])[1] > 0
    end = (found[2] or ("A" if left == (side == "left") else "B")).lower()
    p = m["path"][0 if end == "a" else -1]
    node, along = spot(p, 0.0 if end == "a" else piece_length(p))
    way = -along if end == "a" else along
    told = m["ends"][end]

    def corner(other: np.ndarray) -> np.ndarray:
        off = node - other
        off = off - (off @ way) * way
        size = float(np.linalg.norm(off))
        if size < 1e-9:
            return node
        off /= size
        r = m["tube"]["od"] / 2
        if not told.get("outer"):
            return node + r * off
        zero = np.array(told["zero"])
        phi = np.degrees(np.arctan2(off @ np.cross(way, zero), off @ zero)) % 360
        rim = curve(m, end)
        rim = rim[np.argsort(rim[:, 0] % 360)]
        back = np.interp(phi, rim[:, 0] % 360, rim[:, 1], period=360)
        return node + r * off - back * way

    return node, corner


def test_tapes_lie_on_corners_that_a_hand_can_reach(printed: Printed) -> None:
    seen = 0
    for page in printed.pages:
        for r in page.table(TAPES):
            if "bend" in r["To"]:
                continue
            assert "Over the outside" in page.text()
            for head, crossed in (("Left to right", False), ("Right to left", True)):
                names = (r["From"], r["To"])
                if crossed and "crossed" not in r["From"]:
                    continue
                (a, at_a), (b, at_b) = (tape_end(printed, w, crossed=crossed) for w in names)
                true = float(np.linalg.norm(at_a(b) - at_b(a)))
                assert mm(r[head], printed.unit) == pytest.approx(true, abs=printed.fine + 0.05)
                seen += 1
    assert seen >= 4


PLATES = ("Plate", "X", "Y", "Z", "Slope")


def test_plates_lie_where_the_folded_steel_is(printed: Printed) -> None:
    heads = {named(p.id): p for p in printed.design.fitted.plates}
    seen = 0
    for r in printed.rows(PLATES):
        plate = heads[r["Plate"]]
        rim = plate.outline.sampled(2.0)
        metal = np.concatenate(
            [plate.car_points(rim, 0.0), plate.car_points(rim, -plate.thickness)]
        )
        for k, axis in enumerate("XYZ"):
            high, low = both_edges(r[axis], printed.unit)
            assert high == pytest.approx(float(metal[:, k].max()), abs=printed.fine + 0.3)
            assert low == pytest.approx(float(metal[:, k].min()), abs=printed.fine + 0.3)
        seen += 1
    on_car = [p for p in heads.values() if p.ends or p.kind == "backing_plate"]
    assert seen >= len(on_car) > 0


def both_edges(text: str, unit: str) -> tuple[float, float]:
    """Two places of a cell whose head says the unit; a way that both lie told once, at the end."""
    first, last = text.split(" to ")
    way = last.split()[-1]
    if not re.search(r"[a-z]", first) and not way[0].isdigit() and mm(first, unit):
        first = f"{first} {way}"
    return signed_in(first, unit), signed_in(last, unit)


def signed_in(text: str, unit: str) -> float:
    """A place of a table that says its unit in the head, with its sign in words."""
    sign = -1.0 if text.split()[-1] in ("behind", "right", "below") else 1.0
    return sign * mm(text, unit)


MARKS = ("Middle", "Edges", "Clock", "Round", "What", "Angle")
FEET = ("Foot", "X", "Y", "Z", "From plumb", "On")


def signed(text: str) -> float:
    """A place with its sign in words."""
    if text == "0":
        return 0.0
    sign = -1.0 if text.split()[-1] in ("behind", "right", "below") else 1.0
    return sign * mm(text)


def test_feet_stand_where_the_paths_end(printed: Printed) -> None:
    seen = set()
    for r in printed.rows(FEET):
        words, _, end = r["Foot"].rpartition(" ")
        m = printed.member(words)
        piece = m["path"][0 if end == "A" else -1]
        want = np.array(piece["start"] if end == "A" else piece["end"])
        said = [signed(r[k]) for k in ("X", "Y", "Z")]
        np.testing.assert_allclose(said, want, atol=printed.fine + 0.06)
        seen.add((m["id"], end.lower()))
    flat = {
        (m["id"], e)
        for m in printed.members.values()
        for e in "ab"
        if m["ends"][e]["kind"] == "flat"
    }
    assert seen == flat


def test_marks_are_where_branches_land(printed: Printed) -> None:
    """A mark's middle, walked along the parent from its tip, is at the joint of cage.json."""
    joints = {(j["branch"], j["branch_end"]): j for j in printed.cage["joints"]}
    seen = off = told = 0
    for page in printed.pages:
        for r in page.table(MARKS):
            told += r["Middle"].startswith("edges only")
            words, _, end = r["What"].rpartition(" ")
            name = printed.called.get(words.partition(" ")[2])
            if end not in ("A", "B") or name is None or "bend" in r["Middle"]:
                continue
            joint = joints.get((name, end.lower()))
            if joint is None:
                continue
            if r["Middle"].startswith("edges only"):
                off += any(off_its_edges(printed, p, joint, r) for p in joint["parents"])
                continue
            assert not r["Middle"].startswith("-"), "no tape reads below its hook"
            said = mm(r["Middle"], printed.unit)
            low, high = (mm(t, printed.unit) for t in r["Edges"].split(" to "))
            assert low - printed.fine <= said <= high + printed.fine, r
            angle = degrees_of(r["Angle"].split()[0])
            clock = degrees_of(r["Clock"])
            gaps = []
            for parent in joint["parents"]:
                m = printed.members[parent]
                gaps.append(abs(straight_reach(m, np.array(joint["point"])) - said))
                radius = m["tube"]["od"] / 2
                turned = clock / 360 * 2 * np.pi * radius
                gaps[-1] = max(gaps[-1], 0.0)
                if gaps[-1] < printed.fine + 0.1:
                    slack = printed.fine + 0.51 * np.pi * radius / 180
                    assert mm(r["Round"], printed.unit) == pytest.approx(turned, abs=slack)
            if min(gaps) < printed.fine + 0.1:
                seen += 1
            if len(joint["parents"]) == 1:
                assert angle == pytest.approx(joint["angle_deg"], abs=0.06)
    assert seen >= 2
    assert off == told


def off_its_edges(
    printed: Printed, parent: str, joint: dict[str, Any], row: dict[str, str]
) -> bool:
    """Whether a joint lies along a parent beside the edges that its row tells."""
    reads = straight_reach(printed.members[parent], np.array(joint["point"]))
    low, high = (mm(t, printed.unit) for t in row["Edges"].split(" to "))
    return not low - printed.fine <= reads <= high + printed.fine


def straight_reach(m: dict[str, Any], point: np.ndarray) -> float:
    """Along a tube's reference line, outside its bends, from the tip of end A to a point, mm."""
    here, best = -tip(m, "a"), (np.inf, 0.0)
    for p in m["path"]:
        long = piece_length(p)
        if p["kind"] == "line":
            start, way = spot(p, 0.0)
            s = float(np.clip((point - start) @ way, 0.0, long))
            gap = float(np.linalg.norm(point - start - s * way))
            if gap < best[0]:
                best = (gap, here + s)
            here += long
        else:
            # the line runs on the outside of the first bend; in a flat tube of all of them
            here += long * (1 + m["tube"]["od"] / 2 / p["radius"])
    return best[1]


JOINTS = ("Joint", "Branch", "To", "Angle", "Saddle", "Leg", "Tacks", "Reached", "All round",
          "Welder", "Date")  # fmt: skip
ON_PLATES = ("Weld", "What", "Plate", "To", "Form", "Length", "Leg", "Tacks", "Welder", "Date")


def test_weld_map_holds_every_joint(printed: Printed) -> None:
    """Numbers, tubes, angles, lengths and legs; the pieces of a divided bar go by the whole one."""
    rows = list(printed.rows(JOINTS))
    joints = {j["id"]: j for j in printed.cage["joints"]}
    assert [r["Joint"] for r in rows] == list(joints)
    told = " ".join(" ".join(p.text().split()) for p in printed.pages)
    over = re.search(r"leg over wall ([\d.]+)", told)
    assert over
    for r in rows:
        joint = joints[r["Joint"]]
        words, _, end = r["Branch"].rpartition(" ")
        m = printed.member(words)
        assert end.lower() == joint["branch_end"]
        assert m["id"] == joint["branch"] or joint["branch"] not in printed.members
        assert [printed.member(t)["id"] for t in r["To"].split(", ")] == joint["parents"]
        assert degrees_of(r["Angle"]) == pytest.approx(joint["angle_deg"], abs=0.51)
        assert mm(r["Saddle"]) == pytest.approx(joint["weld_length"], abs=printed.fine + 0.01)
        leg = float(over[1]) * m["tube"]["wall"]
        assert mm(r["Leg"]) == pytest.approx(leg, abs=0.051), "to a tenth of a mm in inches too"
        assert int(r["Tacks"]) >= 2


def test_weld_map_holds_every_weld_of_a_plate(printed: Printed) -> None:
    rows = list(printed.rows(ON_PLATES))
    welds = [(p["id"], w) for p in printed.cage["plates"] for w in p.get("welds", ())]
    assert [r["Weld"] for r in rows] == [f"p{n:02}" for n in range(1, len(welds) + 1)]
    for r, (plate, w) in zip(rows, welds, strict=True):
        assert r["Plate"] == named(plate)
        to, _, end = w["to"].partition(" end ")
        if to in printed.members:
            words, _, said = r["To"].rpartition(" ") if end else (r["To"], "", "")
            assert (printed.member(words)["id"], said.lower()) == (to, end)
        else:
            assert r["To"] == named(w["to"])
        assert r["Form"] == w["kind"]
        count, _, each = r["Length"].rpartition(" x ")
        assert int(count or 1) == w.get("count", 1)
        assert mm(each) == pytest.approx(w["length"], abs=printed.fine + 0.01)
        assert mm(r["Leg"]) == pytest.approx(w["leg"], abs=0.061)


def test_what_to_buy_counts_the_welds_of_the_map(printed: Printed) -> None:
    """The lengths beside the filler are the sums of both lists."""
    text = "\n".join(p.text() for p in printed.pages)
    buy = text[text.index("\nWhat to buy") :]
    whole = sum(j["weld_length"] for j in printed.cage["joints"])
    found = re.search(r"Joints of tubes ([\d/ .]+ (?:in|mm))", buy)
    assert found
    assert mm(found[1]) == pytest.approx(whole, abs=printed.fine + 0.01)
    plates = sum(
        w["length"] * w.get("count", 1) * p["quantity"]
        for p in printed.cage["plates"]
        for w in p.get("welds", ())
    )
    found = re.search(r"\nPlates ([\d/ .]+ (?:in|mm))", buy)
    assert found
    assert mm(found[1]) == pytest.approx(plates, abs=printed.fine + 0.01)


def steps_of(printed: Printed) -> list[dict[str, str]]:
    """Steps of the order of work as printed: number, title, tubes, tacks, welds and all words."""
    out: list[dict[str, str]] = []
    part, inside = "", False
    for page in printed.pages:
        for line in page.lines():
            words = " ".join(w["text"] for w in line)
            if line[0]["size"] > 16:
                inside = words == "Order of work"
                continue
            if not inside or line[0]["size"] < 7.5 or line[0]["top"] < 40:
                continue
            if line[0]["size"] > 12 and line[0]["text"].isdigit():
                title = " ".join(w["text"] for w in line[1:])
                out.append({"number": line[0]["text"], "title": title, "all": ""})
                part = ""
                continue
            step = out[-1]
            step["all"] += f" {words}"
            head, _, rest = words.partition(": ")
            if head in ("Tubes", "Tack", "Weld all round"):
                part, words = head, rest
                step[part] = ""
            elif line[0]["size"] > 8.5 or not re.match(r"[a-z\d]|[A-Z]-", words):
                part = ""
            if part:
                step[part] += f" {words}"
    return out


def test_order_of_work_fits_and_tacks_all_of_the_cage(printed: Printed) -> None:
    """Each tube is fitted once and after what it lands on; each joint is tacked, then welded."""
    steps = steps_of(printed)
    assert [s["number"] for s in steps] == [str(n) for n in range(1, len(steps) + 1)]
    fitted: dict[str, int] = {}
    tacked: dict[str, int] = {}
    for n, s in enumerate(steps):
        for t in s.get("Tubes", "").split(", "):
            if t.strip():
                fitted.setdefault(printed.member(t.strip())["id"], n)
        for j in re.findall(r"j\d+", s.get("Tack", "")):
            assert tacked.setdefault(j, n) == n
    assert set(fitted) == set(printed.members)
    rows = {r["Joint"]: r for r in printed.rows(JOINTS)}
    assert set(tacked) == set(rows)
    welded: dict[str, list[int]] = {}
    for n, s in enumerate(steps):
        loose = re.findall(r"\b(j\d+) (\d+)%", s["all"])
        for j in (*re.findall(r"j\d+", s.get("Weld all round", "")), *(j for j, _ in loose)):
            welded.setdefault(j, []).append(n)
        for j, share in loose:
            assert rows[j]["All round"] == f"in part: {share}%"
    for j, r in rows.items():
        branch = printed.member(r["Branch"].rpartition(" ")[0])["id"]
        both = [branch, *(printed.member(t)["id"] for t in r["To"].split(", "))]
        assert tacked[j] == max(fitted[t] for t in both), r
        assert min(welded[j]) > tacked[j], r
        before = re.fullmatch(r"before ([\d, ]+)", r["All round"])
        if before:
            numbers = {str(k): m for k, m in enumerate(printed.members, start=1)}
            assert min(welded[j]) < min(fitted[numbers[k]] for k in before[1].split(", "))


def test_setting_out_on_paper_is_that_of_its_file(printed: Printed) -> None:
    """setting-out.csv row by row: feet, plates, each mark once, on its tube's page or listed."""
    rows = printed.placed
    feet = [r for r in rows if r["kind"] == "foot"]
    for r, said in zip(feet, printed.rows(FEET), strict=True):
        assert said["Foot"].partition(" ")[2] == named(f"{r['what']}.{r['end']}")
        for axis in "xyz":
            one = signed(said[axis.upper()])
            assert one == pytest.approx(float(r[f"{axis}_mm"]), abs=printed.fine + 0.06)
        assert degrees_of(said["From plumb"]) == pytest.approx(float(r["angle_deg"]), abs=0.06)
    plates = [r for r in rows if r["kind"] == "plate on the car"]
    for r, said in zip(plates, printed.rows(PLATES), strict=True):
        assert said["Plate"] == named(r["what"])
        for axis in "xyz":
            high, low = both_edges(said[axis.upper()], printed.unit)
            assert high == pytest.approx(float(r[f"{axis}_to_mm"]), abs=printed.fine + 0.06)
            assert low == pytest.approx(float(r[f"{axis}_mm"]), abs=printed.fine + 0.06)
    marks = [r for r in rows if r["starts_mm"]]
    hung = {page.number: m["id"] for page, m in wall_pages(printed)}
    listed = [s for p in printed.pages if p.number not in hung for s in p.table(MARKS)]
    own = set()
    for page in printed.pages:
        there = list(page.table(MARKS)) if page.number in hung else []
        if there:
            own.add(hung[page.number])
            here = [r for r in marks if r["on"] == hung[page.number]]
            for r, said in zip(here, there, strict=True):
                same_mark(printed, r, said)
    # once in the book: on the tube's page or in the list
    for r, said in zip((r for r in marks if r["on"] not in own), listed, strict=True):
        same_mark(printed, r, said)


def same_mark(printed: Printed, row: dict[str, str], said: dict[str, str]) -> None:
    """Hold a printed mark against its row of setting-out.csv."""
    name = named(row["what"])
    if row["kind"] == "branch":
        assert said["What"].partition(" ")[2] == f"{name} {row['end'].upper()}"
        lean = f" to {row['leans_to'].upper()}" if row["leans_to"] else ""
        assert said["Angle"] == f"{float(row['angle_deg']):.1f}°{lean}"
        assert said["Middle"].startswith("edges only") == row["note"].startswith("axes pass")
    else:
        assert said["What"] == name
    edges = said["Edges"].split(" to ")
    slack = printed.fine + 0.06
    for text, key in zip(edges, ("starts_mm", "ends_mm"), strict=True):
        assert mm(text, printed.unit) == pytest.approx(float(row[key]), abs=slack)
    if not said["Middle"].startswith("edges only"):
        assert ("bend" in said["Middle"]) == (row["note"] == "lands on a bend")
        assert mm(said["Middle"].removesuffix(" in bend"), printed.unit) == pytest.approx(
            float(row["from_a_mm"]), abs=slack
        )
    turned = (degrees_of(said["Clock"]) - float(row["clock_deg"]) + 180) % 360 - 180
    assert abs(turned) <= 0.51
    assert mm(said["Round"], printed.unit) == pytest.approx(float(row["round_mm"]), abs=slack)


def test_the_book_prints_no_id(printed: Printed) -> None:
    """Names are for people; only names of files keep their underscores."""
    for page in printed.pages:
        text = re.sub(r"\w+\.(?:dxf|pdf|step|csv)\b", "", page.text())
        assert not re.search(r"[a-z]_[a-z]", text), page.number
        assert not re.search(r"\bend [ab]\b", text), page.number


def test_plug_holes_are_spoken_of_where_a_plate_has_them(printed: Printed) -> None:
    plugs = any(w["kind"] == "plug" for p in printed.cage["plates"] for w in p.get("welds", ()))
    assert any("plug holes" in s["all"] for s in steps_of(printed)) == plugs
