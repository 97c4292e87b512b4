"""The rasteriser against closed forms and a test of every pixel by itself."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import cut_end
from cagekit.view.camera import FRONT, OBLIQUE, SIDE, TOP, Camera
from cagekit.view.mesh import Mesh, tube_mesh
from cagekit.view.nearest import ViewFrame
from cagekit.view.raster import render, render_both
from cagekit.view.scene import SceneBody

PAPER = (255, 255, 255)


def tube(
    name: str, start: tuple[float, ...], end: tuple[float, ...], od: float = 40.0
) -> SceneBody:
    path = CentreLine.straight(start, end)
    cuts = [cut_end(path, e, od / 2, od / 2 - 3) for e in "ab"]  # type: ignore[arg-type]
    mesh = tube_mesh(path, od / 2, od / 2 - 3, *cuts)
    return SceneBody(name=name, group="members", colour=(0.8, 0.2, 0.2), mesh=mesh)


def frame(camera: Camera, width: int = 300, height: int = 200, scale: float = 0.5) -> ViewFrame:
    return ViewFrame(camera=camera, width=width, height=height, scale=scale, centre=(0.0, 0.0))


def triangles(points: np.ndarray) -> SceneBody:
    normals = np.tile([0.0, 0.0, 1.0], (len(points), 1))
    mesh = Mesh(points, normals, np.arange(len(points)).reshape(-1, 3))
    return SceneBody(name="t", group="members", colour=(0.5, 0.5, 0.5), mesh=mesh)


def test_where_things_stand_in_each_view() -> None:
    """From the left: front on the left. From the front: the car's left on the right. From above:
    front on the left, the car's left below (first-angle projection).
    """
    for camera, right, up in (
        (SIDE, (-1, 0, 0), (0, 0, 1)),
        (FRONT, (0, 1, 0), (0, 0, 1)),
        (TOP, (-1, 0, 0), (0, -1, 0)),
    ):
        assert np.allclose(camera.right, right)
        assert np.allclose(camera.up, up)
    for camera in (SIDE, FRONT, TOP, OBLIQUE):
        assert np.allclose(camera.axes @ camera.axes.T, np.eye(3))
        assert np.linalg.det(camera.axes) == pytest.approx(1.0)
    assert (OBLIQUE.eye > 0).all()  # seen from the front left, from above


def test_a_tube_covers_its_shadow() -> None:
    """Diameter times length from the side; an ellipse's ends seen askew."""
    body = tube("a", (-200, 0, 0), (200, 0, 0))
    shown = render([body], frame(SIDE), paper=PAPER)
    assert (shown.seen >= 0).sum() / 0.5**2 == pytest.approx(40 * 400, rel=0.01)
    end_on = render([body], frame(FRONT), paper=PAPER)
    ring = np.pi * (20**2 - 17**2)
    assert (end_on.seen >= 0).sum() / 0.5**2 == pytest.approx(ring, rel=0.05)
    askew = Camera.looking("askew", (1, 1, 0), (0, 0, 1))
    shown = render([body], frame(askew), paper=PAPER)
    # the near end's bore is filled by its own inside
    area = (40 * 400 + np.pi * 20**2) * np.sqrt(0.5)
    assert (shown.seen >= 0).sum() / 0.5**2 == pytest.approx(area, rel=0.02)


def test_the_nearer_tube_hides_the_other() -> None:
    near, far = tube("near", (-100, 50, 0), (100, 50, 0)), tube("far", (0, -50, -90), (0, -50, 90))
    shown = render([near, far], frame(SIDE), paper=PAPER)
    assert shown.seen[100, 150] == 0
    behind = Camera.looking("right", (0, -1, 0), (0, 0, 1))
    assert render([near, far], frame(behind), paper=PAPER).seen[100, 150] == 1
    assert render([far, near], frame(SIDE), paper=PAPER).seen[100, 150] == 1


def test_every_pixel_by_itself() -> None:
    """Random triangles: covered pixels are those whose centre lies inside, nearest on top."""
    rng = np.random.default_rng(3)
    look = Camera.looking("plan", (0, 0, 1), (0, 1, 0))
    points = rng.uniform(-60, 60, (36, 3))
    points[:, 2] *= 0.5
    t = points.reshape(-1, 3, 3)
    turn = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])[:, 2]
    t[turn < 0] = t[turn < 0][:, ::-1]
    scene = [triangles(one) for one in t]
    view = ViewFrame(camera=look, width=120, height=110, scale=1.0, centre=(0.0, 0.0))
    shown = render(scene, view, paper=PAPER)
    # the picture keeps every second pixel of twice the size: centres at quarters
    x = (np.arange(120) + 0.25) - 60
    y = 55 - (np.arange(110) + 0.25)
    gx, gy = np.meshgrid(x, y)
    best = np.full(gx.shape, -np.inf)
    wanted = np.full(gx.shape, -1)
    for n, (a, b, c) in enumerate(t):
        det = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        wb = ((gx - a[0]) * (c[1] - a[1]) - (gy - a[1]) * (c[0] - a[0])) / det
        wc = ((b[0] - a[0]) * (gy - a[1]) - (b[1] - a[1]) * (gx - a[0])) / det
        depth = a[2] + wb * (b[2] - a[2]) + wc * (c[2] - a[2])
        on_top = (wb > 0) & (wc > 0) & (wb + wc < 1) & (depth > best)
        best[on_top], wanted[on_top] = depth[on_top], n
    assert (wanted >= 0).sum() > 3000
    assert (shown.seen == wanted).all()


def test_things_outside_the_frame_are_cut_off() -> None:
    shown = render([tube("a", (-9000, 0, 0), (9000, 0, 0))], frame(SIDE), paper=PAPER)
    assert (shown.seen[100] >= 0).all()
    assert (shown.seen[:60] < 0).all()
    away = render([tube("a", (0, 0, 5000), (100, 0, 5000))], frame(SIDE), paper=PAPER)
    assert (away.image == 255).all()


def test_an_end_on_tube_is_not_drawn_black() -> None:
    """A steep surface is no edge: outlines cover a small part of a tube seen almost end on."""
    camera = Camera.around("steep", 4.0, 3.0)
    body = tube("a", (-600, 0, 0), (600, 0, 0))
    shown = render([body], frame(camera, scale=1.0), paper=PAPER)
    on = shown.image[shown.seen >= 0].astype(int).sum(axis=1)
    assert (on < 150).mean() < 0.2


def test_the_same_scene_gives_the_same_picture() -> None:
    scene = [tube("a", (-100, 0, 0), (100, 40, 30)), tube("b", (0, 0, -90), (10, 0, 90))]
    one, two = (render(scene, frame(OBLIQUE), paper=PAPER) for _ in range(2))
    assert np.array_equal(one.image, two.image)
    assert render([], frame(SIDE), paper=PAPER).image.min() == 255


def test_what_tubes_hide_is_drawn_where_they_are_seen() -> None:
    """Both at once is what one after the other gives: all of it, and those behind alone."""
    front = [tube("a", (-100, 50, 10), (100, 50, 30)), tube("b", (0, -90, -90), (10, -90, 90))]
    behind = [tube("c", (-60, 0, -80), (60, 0, 80), od=60.0)]
    whole, alone = render_both(front, behind, frame(SIDE), paper=PAPER)
    assert np.array_equal(whole.image, render([*front, *behind], frame(SIDE), paper=PAPER).image)
    seen = render(behind, frame(SIDE), paper=PAPER)
    where = np.isin(whole.seen, (0, 1)) & (seen.seen >= 0)
    assert where.sum() > 200
    assert (alone.image[where] == seen.image[where]).all()
    assert (alone.image[whole.seen == 2] == 255).all()


def test_where_two_sides_meet_the_colours_are_mixed() -> None:
    """A roof of two flat sides whose ridge runs through the middle of a column of pixels."""
    look = Camera.looking("plan", (0, 0, 1), (0, 1, 0))
    low, ridge, high = (-20.0, -20.0, 0.0), (0.25, -20.0, 12.0), (21.0, -20.0, 0.0)
    sides = []
    for a, b in ((low, ridge), (ridge, high)):
        c, d = (b[0], 20.0, b[2]), (a[0], 20.0, a[2])
        sides += [a, b, c, a, c, d]
    points = np.array(sides)
    t = points.reshape(-1, 3, 3)
    normals = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    normals = np.repeat(normals / np.linalg.norm(normals, axis=1)[:, None], 3, axis=0)
    mesh = Mesh(points, normals, np.arange(12).reshape(-1, 3))
    roof = SceneBody(name="roof", group="plates", colour=(0.9, 0.5, 0.3), mesh=mesh)
    view = ViewFrame(camera=look, width=60, height=60, scale=1.0, centre=(-0.25, 0.0))
    row = render([roof], view, paper=PAPER).image[30].astype(int)
    left, mixed, right = row[29], row[30], row[31]
    assert np.abs(left - right).max() > 20
    assert np.abs(mixed - (left + right) / 2).max() <= 2
