"""Numbers on the weld map and sizes on the plan: each readable, none on what it points at."""

from __future__ import annotations

import re
from itertools import combinations

import demos
import numpy as np

from cagekit.assembly.assemble import members_only
from cagekit.view.camera import OBLIQUE, SIDE, TOP
from cagekit.view.linework import BALLOON, DOT, cage_drawing, weld_drawing
from cagekit.view.plan_drawing import PlanFoot, plan_drawing

CIRCLE = re.compile(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"')


def test_every_weld_is_a_dot_with_its_own_number_beside_it() -> None:
    cage = members_only(demos.build("gravel-hatch"))
    spots = {j.id: np.asarray(j.point) for j in cage.joints}
    drawn = weld_drawing(cage, OBLIQUE, 186.0, 124.0, spots)
    circles = [(np.array([float(x), float(y)]), float(r)) for x, y, r in CIRCLE.findall(drawn.svg)]
    dots = [at for at, r in circles if r == DOT]
    numbers = [at for at, r in circles if r == BALLOON]
    assert len(dots) == len(numbers) == len(spots)
    assert all(f">{id_}</text>" in drawn.svg for id_ in spots)
    for a, b in combinations(numbers, 2):
        assert np.hypot(*(a - b)) > 2 * BALLOON, "no number covers another"
    for number in numbers:
        assert min(np.hypot(*(number - d)) for d in dots) > BALLOON + DOT, "no dot is covered"


def test_no_line_to_a_tube_runs_over_the_number_of_another() -> None:
    """Three pieces of the harness bar lie behind each other from the left: two stand aside."""
    cage = members_only(demos.build("hillclimb-coupe"))
    numbers = {id_: k for k, id_ in enumerate(cage.members, 1)}
    svg = cage_drawing(cage, SIDE, 186.0, 124.0, numbers).svg
    lines = [m.start() for m in re.finditer(r'stroke-width="0.2"', svg)]
    assert len(lines) >= 2
    assert max(lines) < CIRCLE.search(svg).start(), "circles are laid over all lines"


def test_no_number_lies_on_an_overall_size() -> None:
    """Posts between bars that lie over each other, at the edge of the picture from above."""
    cage = members_only(demos.build("heath"))
    numbers = {id_: k for k, id_ in enumerate(cage.members, 1)}
    drawn = cage_drawing(cage, TOP, 186.0, 124.0, numbers, size=lambda mm: f"{mm:.0f} mm")
    wide = re.findall(r'<text x="([.0-9]+)" y="([.0-9]+)"[^>]*size="2.70"[^>]*>\d+ mm', drawn.svg)
    foot = max(float(y) for _, y in wide)
    for x, y, r in CIRCLE.findall(drawn.svg):
        assert float(y) + float(r) < foot - 2.7
        assert float(x) - float(r) > min(float(x) for x, _ in wide)


def test_a_size_longer_than_its_line_stands_beside_it() -> None:
    feet = [
        PlanFoot(name=name, point=np.array([x, y, 0.0]), od=40.0)
        for name, x, y in (
            ("1 A", 0.0, 130.0),
            ("1 B", 0.0, 640.0),
            ("2 A", 0.0, -130.0),
            ("2 B", 0.0, -640.0),
            ("3 B", -860.0, 500.0),
        )
    ]
    svg = plan_drawing(feet, [], 186.0, 110.0, lambda mm: f"{mm:.0f} millimetres").svg
    turned = {w for w, _ in re.findall(r"rotate[^>]*>(\d+) (millimetres)", svg)}
    assert "640" in turned
    assert "130" not in turned, "it would run over the one on the other side"
    assert svg.count(">130 millimetres</text>") == 4


def test_no_size_or_name_lies_on_a_plate_that_reaches_inboard_of_its_foot() -> None:
    """A plate outrigger lies along the size of its own foot; sizes end where a main foot stands."""
    feet = [
        PlanFoot(name=name, point=np.array([x, y, 0.0]), od=40.0)
        for name, x, y in (("1 A", 0.0, 565.0), ("1 B", 0.0, -568.0), ("5 B", -730.0, 486.0))
    ]
    boxes = [
        np.array([(x, side * y, 0.0) for x, y in ((35, 120), (35, 610), (-35, 610), (-35, 120))])
        for side in (1, -1)
    ]
    drawn = plan_drawing(feet, boxes, 186.0, 110.0, lambda mm: f"{mm:.0f} mm")
    paths = re.findall(r'<path d="M([^"]*) Z" fill="#e8e8e8"', drawn.svg)
    outlines = [np.array(re.findall(r"[-\d.]+", p), float).reshape(-1, 2) for p in paths]
    assert len(outlines) == 2
    texts = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)</text>', drawn.svg)
    words = {w: np.array([float(x), float(y)]) for x, y, w in texts}
    for name in ("565 mm", "568 mm", "1 A", "1 B"):
        for outline in outlines:
            low, high = outline.min(axis=0), outline.max(axis=0)
            assert not ((words[name] > low) & (words[name] < high)).all(), name
    # the size along the car of the rear foot ends at X = 0, and the name is on its other side
    assert words["1 A"][0] < min(o[:, 0].min() for o in outlines) < words["730 mm"][0]


def test_no_size_is_written_over_a_foot_that_stands_nearer_to_the_middle() -> None:
    """Outriggers from rails half-way out to the sill."""
    feet = [
        PlanFoot(name=name, point=np.array([x, y, 0.0]), od=44.0)
        for name, x, y in (("1 A", 0.0, 380.0), ("1 B", 0.0, 710.0), ("7 A", 1370.0, 640.0))
    ]
    svg = plan_drawing(feet, [], 186.0, 110.0, lambda mm: f"{mm:.0f} mm long").svg
    foot = min(((float(x), float(y)) for x, y, _ in CIRCLE.findall(svg)), key=lambda at: at[1])
    (words,) = {
        (float(x), float(y))
        for x, y in re.findall(r'<text x="([.0-9]+)" y="([.0-9]+)"[^>]*>710 mm', svg)
    }
    assert abs(words[1] - foot[1]) < 12, "the size is where the foot is"
    assert abs(words[0] - foot[0]) > 2.7


def test_a_foot_that_stands_farther_out_puts_no_name_on_the_size_of_another() -> None:
    """A strut on the sill, between the main hoop's foot and one nearer to the middle."""
    feet = [
        PlanFoot(name=name, point=np.array([x, y, 0.0]), od=42.0)
        for name, x, y in (
            ("1 A", 0.0, 625.0), ("1 B", 0.0, -625.0), ("8 A", 1330.0, 640.0),
            ("8 B", 1330.0, -640.0), ("28 B", 520.0, 745.0), ("29 B", 520.0, -745.0),
        )
    ]  # fmt: skip
    svg = plan_drawing(feet, [], 186.0, 110.0, lambda mm: f"{mm:.0f} mm").svg
    texts = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]+)</text>', svg)
    at: dict[str, list[float]] = {}
    for _, y, words in texts:
        at.setdefault(words, []).append(float(y))
    for name, outward in (("29 B", -1.0), ("28 B", 1.0)):
        own = at[name][0]  # a halo draws it twice
        for size in ("520 mm", "1330 mm"):
            # of two equal sizes the one on the side of this foot
            nearest = min(at[size], key=lambda y, own=own: abs(y - own))
            assert (nearest - own) * outward > 2.5, f"{size} would lie on {name}"
    assert all(abs(a - b) > 4.0 for a, b in zip(at["520 mm"], at["1330 mm"], strict=True))
