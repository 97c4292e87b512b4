"""Overall sizes: the same in every view, and as far as the steel itself reaches."""

from __future__ import annotations

import re

import demos
import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube
from cagekit.view.camera import FRONT, OBLIQUE, SIDE, TOP
from cagekit.view.extents import cage_extents
from cagekit.view.linework import cage_drawing
from cagekit.view.mesh import tube_mesh
from cagekit.view.plate_mesh import plate_mesh


def fine_points(cage: Cage) -> np.ndarray:
    """Points on the outside of everything, from a mesh four times as fine as the pictures'."""
    tubes = [
        tube_mesh(
            m.path, m.tube.outer_radius, m.tube.inner_radius,
            cage.cut(m.id, "a"), cage.cut(m.id, "b"), sides=192, bend_step=0.01,
        ).vertices
        for m in cage.members.values()
    ]  # fmt: skip
    plates = [plate_mesh(p).vertices for p in cage.plates]
    small = [plate_mesh(q).vertices for h in cage.hardware for q in h.prisms()]
    return np.concatenate([*tubes, *plates, *small])


@pytest.mark.parametrize("name", demos.DEMOS)
def test_reach_is_that_of_the_mesh(name: str) -> None:
    cage = demos.design(name).fitted
    points = fine_points(cage)
    for camera in (SIDE, FRONT, TOP, OBLIQUE):
        flat = camera.project(points)[:, :2]
        mesh = np.array([flat.min(axis=0), flat.max(axis=0)])
        found = cage_extents(cage, camera)
        np.testing.assert_allclose(found, mesh, atol=0.02, err_msg=f"{name} {camera.name}")


def test_a_short_tube_that_is_cut_like_a_parallelogram_has_a_size() -> None:
    """Both cuts together are longer than the tube, and meet nowhere: no disc of it is whole."""
    tube = Tube(od=40.0, wall=2.0, material="e355-n")
    posts = [
        Member(id=i, role="strut", tube=tube, path=CentreLine.straight((x, 0, 0), (x, 0, 800)))
        for i, x in (("p", 0), ("q", 60))
    ]
    path = CentreLine.straight((0, 0, 400), (60, 0, 460))
    short = Member(
        id="short", role="strut", tube=tube, path=path, a=End.coped("p"), b=End.coped("q")
    )
    cage = Cage("by hand", [*posts, short])
    assert cage.cut("short", "a").longest + cage.cut("short", "b").longest > path.length
    alone = Cage("alone", [short], chassis=posts)
    for camera in (SIDE, FRONT, TOP, OBLIQUE):
        flat = camera.project(fine_points(alone))[:, :2]
        mesh = np.array([flat.min(axis=0), flat.max(axis=0)])
        np.testing.assert_allclose(cage_extents(alone, camera), mesh, atol=0.02)


def test_the_arrow_spans_what_its_number_says() -> None:
    cage = demos.design("track-roadster").fitted
    drawing = cage_drawing(cage, SIDE, 186.0, 140.0, {}, size=lambda mm: f"W{mm:.3f}")
    said = sorted(float(w) for w in re.findall(r">W([\d.]+)<", drawing.svg))
    room = sorted(
        (v - 28.0) / drawing.scale for v in (drawing.width, drawing.height)
    )  # the margins hold balloons and the sizes themselves
    np.testing.assert_allclose(sorted(set(said)), room, atol=0.01)
