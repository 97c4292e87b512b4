"""``report.html`` in a real browser, opened from the disk."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.benchmarks.browser import until
from cagekit.checks import run
from cagekit.design import Design
from cagekit.names import named
from cagekit.page.data import page_data
from cagekit.page.html import html
from cagekit.page.rows import finding_rows
from cagekit.view.bands import BANDS
from cagekit.writers.report import write_report

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PROJECT = (
    "id => { const c = state.data.cards[id].axis;"
    "return viewer.project(c[Math.floor(c.length / 2)]) }"
)


@pytest.fixture(scope="session")
def design() -> Design:
    return Design.load("sprint-wagon")


@pytest.fixture(scope="session")
def report(design, tmp_path_factory) -> str:
    folder = tmp_path_factory.mktemp("report")
    write_report(design, folder)
    return (folder / "report.html").as_uri()


@pytest.fixture
def page(opened, report):
    return opened(report)


LOUD = ("fail", "warn", "needs_input", "needs_inspection")


def arrived(page):
    """The camera stands still and the picture is drawn."""
    until(page, "viewer.still")


def said(page) -> str:
    return page.inner_text("#said")


def canvas_box(page):
    return page.locator("#canvas").bounding_box()


def test_picks_the_tube_that_is_drawn_there(page, design):
    """Where the main hoop's leg is from the left, by our own arithmetic, the page finds it."""
    page.keyboard.press("o")
    page.keyboard.press("b")
    page.keyboard.press("4")
    arrived(page)
    box = canvas_box(page)
    reach = page.evaluate("viewer.camera.reach")
    target = np.array(page.evaluate("viewer.camera.target"))
    scale = box["height"] / max(reach * max(1, box["height"] / box["width"]), 1)
    for id_, station in (("main_hoop", 0.1), ("a_pillar_bar_left", 0.8), ("rear_brace_left", 0.6)):
        path = design.cage.member(id_).path
        p = path.points(np.array([path.length * station]))[0] - target
        # from the left, X runs to the left of the picture
        x, y = box["width"] / 2 - p[0] * scale, box["height"] / 2 - p[2] * scale
        page.mouse.click(box["x"] + x, box["y"] + y)
        assert page.inner_text("#card-title") == named(id_)
        assert f"{design.cage.cut_length(id_) / 25.4:.3f} in" in page.inner_text("#card")
    page.mouse.click(box["x"] + 3, box["y"] + box["height"] - 3)
    assert page.locator("#card-title").count() == 0


def test_the_picture_is_not_empty_and_turns_with_the_keys(page):
    before = page.locator("#canvas").screenshot()
    page.focus("#canvas")
    for key in ("ArrowLeft", "ArrowUp", "+"):
        page.keyboard.press(key)
    arrived(page)
    after = page.locator("#canvas").screenshot()
    assert before != after
    assert min(len(before), len(after)) > 20_000  # an even picture packs to a few kB


def camera(page):
    arrived(page)
    return page.evaluate("structuredClone(viewer.camera)")


def test_the_mouse_turns_moves_and_zooms_about_the_spot_it_is_on(page):
    box = canvas_box(page)
    x, y = box["x"] + 300, box["y"] + 200

    def drag(button="left"):
        page.mouse.move(x, y)
        page.mouse.down(button=button)
        page.mouse.move(x + 60, y + 20, steps=4)
        page.mouse.up(button=button)
        return camera(page)

    start = camera(page)
    turned = drag()
    assert turned["eye"] != start["eye"]
    assert turned["target"] == start["target"]
    page.keyboard.down("Shift")
    moved = drag()
    page.keyboard.up("Shift")
    assert moved["eye"] == turned["eye"]
    assert moved["target"] != turned["target"]
    also = drag("right")
    assert also["eye"] == moved["eye"]
    step = np.subtract(moved["target"], turned["target"])
    assert np.subtract(also["target"], moved["target"]) == pytest.approx(step, abs=1e-6)
    assert page.evaluate("state.selected") == ""  # a drag picks nothing
    # what lies in the target's plane under the mouse stays there
    spot = (
        "({ from, along } = viewer.ray(300, 200),"
        " add(from, scale(along, dot(sub(viewer.camera.target, from), viewer.camera.eye)"
        " / dot(along, viewer.camera.eye))))"
    )
    page.evaluate("var from, along")
    before = page.evaluate(spot)
    page.mouse.move(x, y)
    page.mouse.wheel(0, -300)
    until(page, f"viewer.camera.reach < {also['reach']}")
    assert camera(page)["reach"] < 0.9 * also["reach"]
    assert page.evaluate(spot) == pytest.approx(before, abs=0.5)


def test_two_fingers_move_and_zoom_one_turns(opened, report):
    page = opened(report, has_touch=True)
    box = canvas_box(page)
    hand = page.context.new_cdp_session(page)

    def fingers(kind, *spots):
        points = [{"x": box["x"] + u, "y": box["y"] + v, "id": n} for n, (u, v) in enumerate(spots)]
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    start = camera(page)
    fingers("touchStart", (300, 200))
    fingers("touchMove", (330, 210))
    fingers("touchMove", (360, 220))
    fingers("touchEnd")
    turned = camera(page)
    assert turned["eye"] != start["eye"]
    assert turned["target"] == start["target"]
    fingers("touchStart", (300, 200))
    fingers("touchStart", (300, 200), (400, 200))
    fingers("touchMove", (270, 200), (430, 200))
    fingers("touchMove", (240, 200), (460, 200))
    fingers("touchEnd")
    apart = camera(page)
    assert apart["reach"] == pytest.approx(turned["reach"] * 100 / 220, rel=0.02)
    assert apart["eye"] == turned["eye"]
    fingers("touchStart", (300, 200))
    fingers("touchStart", (300, 200), (400, 200))
    fingers("touchMove", (340, 240), (440, 240))
    fingers("touchEnd")
    moved = camera(page)
    assert moved["reach"] == pytest.approx(apart["reach"], rel=0.02)
    assert moved["target"] != apart["target"]
    assert page.evaluate("state.selected") == ""


@pytest.mark.parametrize("size", [(1400, 900), (320, 640)])
def test_every_view_by_key_shows_the_whole_cage(opened, report, size):
    page = opened(report, width=size[0], height=size[1])
    page.emulate_media(reduced_motion="reduce")
    page.focus("#canvas")
    for key in "123456":
        page.keyboard.press(key)
        until(page, "!viewer.flight")
        # centre lines from end to end: what is nearest to the eye looks largest
        out = page.evaluate(
            "viewer.bodies.filter(b => b.group === 'members').flatMap(b => state.data.cards[b.id]"
            ".axis.map(p => viewer.project(p))).filter(p => !p || p[0] < 0 || p[1] < 0"
            " || p[0] > viewer.canvas.clientWidth || p[1] > viewer.canvas.clientHeight).length"
        )
        assert out == 0, key


def test_the_drivers_view_has_a_drivers_width_and_lets_people_come_back(page, design):
    page.emulate_media(reduced_motion="reduce")
    page.keyboard.press("7")
    arrived(page)
    eye = np.array(page.evaluate("viewer.matrix().from"))
    assert eye == pytest.approx(np.array(design.people[0].eye), abs=0.2)
    assert page.evaluate("state.hidden.has('people')")
    # 40 degrees off to the side a point is still in the picture, and stands where it should
    ahead = 1000 * np.array([1, np.tan(np.radians(40)), 0])
    x, y = page.evaluate("p => viewer.project(p)", (eye + ahead).tolist())
    box = canvas_box(page)
    assert 0 < x < box["width"] / 2
    assert y == pytest.approx(box["height"] / 2, abs=1)
    page.keyboard.press("1")
    arrived(page)
    assert not page.evaluate("state.hidden.has('people')")
    page.keyboard.press("b")
    page.keyboard.press("7")
    page.keyboard.press("1")
    assert page.evaluate("state.hidden.has('people')")  # who was sent away stays away


def test_the_cage_stands_in_the_middle_of_the_picture(page):
    page.emulate_media(reduced_motion="reduce")
    for key in "1246":
        page.keyboard.press(key)
        arrived(page)
        box = canvas_box(page)
        spots = np.array(page.evaluate(
            "viewer.shown().flatMap(b => { const p = b.mesh.points, out = [];"
            "for (let i = 0; i < p.length; i += 30)"
            "  out.push(viewer.project([p[i], p[i+1], p[i+2]]));"
            "return out })"
        ))  # fmt: skip
        low, high = spots.min(axis=0), spots.max(axis=0)
        size = np.array([box["width"], box["height"]])
        assert (low + high) / 2 == pytest.approx(size / 2, abs=12)
        assert (low > 0).all()
        assert (high < size).all()
        assert ((high - low) / size).max() > 0.7


def test_sizes_stand_whole_in_the_picture(page):
    page.emulate_media(reduced_motion="reduce")
    for key in "d124":
        page.keyboard.press(key)
        arrived(page)
        box = canvas_box(page)
        ends = page.evaluate("viewer.beside().map(p => viewer.project(p))")
        assert len(ends) == 6
        assert all(0 < x < box["width"] and 0 < y < box["height"] for x, y in ends), key
    page.keyboard.press("d")
    before = page.evaluate("viewer.camera.reach")
    page.keyboard.press("1")
    arrived(page)
    assert page.evaluate("viewer.camera.reach") < before
    # nobody who looks at one spot is taken away from it
    for _ in range(8):
        page.keyboard.press("+")
    near = camera(page)
    page.keyboard.press("d")
    assert camera(page) == near


def test_notes_and_how_many_tubes_are_told(page, design):
    page.click("#notes > summary")
    assert page.locator("#notes li").count() == len(design.cage.notes)
    assert "Halo end A is coped to hoop diagonal too" in page.inner_text("#notes")
    fitted = len(design.fitted.members)
    assert page.inner_text("#about").startswith(
        f"{fitted} tubes in {len(design.cage.members)} pieces, "
    )


def test_all_by_keyboard(page, design):
    page.keyboard.press("]")
    first = page.inner_text("#card-title")
    page.keyboard.press("]")
    assert page.inner_text("#card-title") != first
    page.keyboard.press("[")
    assert page.inner_text("#card-title") == first
    page.keyboard.press("Escape")
    assert page.locator("#card-title").count() == 0
    page.locator("#tubes > summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.inner_text("#card-title") == named(next(iter(design.cage.members)))


@pytest.mark.parametrize("spots", [1, 2, 6])
def test_a_finding_flies_to_its_evidence_and_lights_it(page, design, spots):
    rows = finding_rows(run(design), design.units)
    index = next(i for i, r in enumerate(rows) if len(r["points"]) == 6 and r["status"] in LOUD)
    page.evaluate("([i, n]) => { state.data.findings[i].points.length = n }", [index, spots])
    before = page.evaluate("viewer.camera.target")
    page.click(f".finding[data-index='{index}']")
    arrived(page)
    assert page.evaluate("viewer.camera.target") != before
    seen = page.evaluate("state.lit.points.map(p => viewer.project(p))")
    assert len(seen) == spots
    box = canvas_box(page)
    for x, y in seen:
        assert 0 < x < box["width"]
        assert 0 < y < box["height"]
    if spots == 1:
        assert seen[0] == pytest.approx([box["width"] / 2, box["height"] / 2], abs=1)
    assert rows[index]["quantity"] in said(page)


def test_findings_stand_worst_first_with_a_word_and_a_sign(page, design):
    marks = page.locator("#findings > .body > .finding .mark").all_inner_texts()
    ranks = [["✗ FAIL", "▲ warn", "? input", "◎ look"].index(m) for m in marks]
    assert ranks == sorted(ranks)
    assert len(marks) == sum(f.status.rank < 4 for f in run(design))


@pytest.mark.parametrize(
    "pair",
    [
        ("sill_bar_left", "sill_bar_right"),
        ("hoop_diagonal", "cross_member"),
        ("halo", "sill_bar_left"),
    ],
)
def test_measures_the_true_distance_between_tubes(page, design, pair):
    """Distance of the round surfaces, from centre lines sampled and refined by scipy.

    Where a cut end is nearest, the facets count: 0.1 mm.
    """
    from scipy.optimize import minimize

    one, two = (design.cage.member(i) for i in pair)

    def at(path, station):
        return path.points(np.clip([station], 0, path.length))[0]

    def gap(st):
        return float(np.linalg.norm(at(one.path, st[0]) - at(two.path, st[1])))

    rows = [np.linspace(0, m.path.length, 400) for m in (one, two)]
    points = [m.path.points(r) for m, r in zip((one, two), rows, strict=True)]
    apart = np.linalg.norm(points[0][:, None] - points[1][None], axis=-1)
    i, k = np.unravel_index(apart.argmin(), apart.shape)
    best = minimize(gap, [rows[0][i], rows[1][k]], method="Nelder-Mead", tol=1e-9).fun
    found = page.evaluate(
        "ids => { const [a, b] = ids.map(i => solid(viewer.bodies.find(x => x.id === i)));"
        "return distance(a, b).gap }",
        [one.id, two.id],
    )
    assert found == pytest.approx(best - one.tube.od, abs=0.1)


@pytest.mark.kernel
@pytest.mark.parametrize(
    "pair",
    [
        ("door_bar_left_hinge_stub", "door_bar_left_latch_stub"),
        ("cross_member", "door_bar_left_latch_stub"),
        ("roof_diagonal", "sill_bar_right"),
        ("rear_brace_left", "a_pillar_bar_left"),
    ],
)
def test_measures_where_tubes_are_cut_as_the_kernel_does(page, design, pair):
    """A stub is all cut: what the saw took off is not there to measure to."""
    from cagekit.solids.bodies import member_solid

    one, two = (member_solid(design.cage, id_) for id_ in pair)
    found = page.evaluate(
        "ids => { const [a, b] = ids.map(i => solid(viewer.bodies.find(x => x.id === i)));"
        "const found = distance(a, b); return [found.gap, size(sub(found.one, found.two))] }",
        list(pair),
    )
    assert found == pytest.approx([one.distance(two)] * 2, abs=0.1)


def test_measures_between_triangles_as_an_independent_solver(page):
    """Random pairs of triangles: the least distance as a convex program, solved by scipy."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(14)
    pairs = rng.uniform(-1, 1, (40, 2, 3, 3)) + rng.uniform(-1.2, 1.2, (40, 1, 1, 3)) * [
        [[[0.0]], [[1.0]]]
    ]
    found = page.evaluate(
        "pairs => pairs.map(([a, b]) => triangleTriangle(a, b).gap)", pairs.tolist()
    )
    simplex = [{"type": "ineq", "fun": lambda w: np.append(w, [1 - w[0] - w[1], 1 - w[2] - w[3]])}]
    for (a, b), gap in zip(pairs, found, strict=True):

        def squared(w, a=a, b=b):
            p = a[0] + w[0] * (a[1] - a[0]) + w[1] * (a[2] - a[0])
            q = b[0] + w[2] * (b[1] - b[0]) + w[3] * (b[2] - b[0])
            return float((p - q) @ (p - q))

        best = minimize(squared, [0.3] * 4, constraints=simplex, tol=1e-14).fun
        assert gap == pytest.approx(max(best, 0.0) ** 0.5, abs=2e-4)


def test_measure_with_two_clicks(page):
    page.keyboard.press("b")
    page.keyboard.press("m")
    box = canvas_box(page)
    for id_ in ("sill_bar_left", "main_hoop"):
        x, y = page.evaluate(PROJECT, id_)
        page.mouse.click(box["x"] + x, box["y"] + y)
    assert "apart at the nearest" in said(page) or "they touch" in said(page)


def test_measure_without_a_mouse(page):
    page.focus("#canvas")
    page.keyboard.press("m")
    page.keyboard.press("Enter")
    assert "then Enter" in said(page)  # nothing is picked yet
    for id_ in ("sill_bar_left", "sill_bar_right"):
        while page.evaluate("state.selected") != id_:
            page.keyboard.press("]")
        page.keyboard.press("Enter")
        if id_ == "sill_bar_left":
            page.keyboard.press("Enter")  # from a tube to itself there is nothing to measure
            assert page.evaluate("state.picks.length") == 1
    assert said(page).startswith("sill bar left and sill bar right: ")
    assert "apart at the nearest" in said(page)
    page.keyboard.press("Escape")
    assert page.evaluate("state.picks.length") == 0


def test_strength_is_told_by_colour_pattern_number_and_shape(page, design):
    """The tube that works hardest has the highest band, and vertices go where the frame goes."""
    worst = design.strength.worst
    page.click("#strength > summary")
    page.select_option("#strain-case", worst.case.id)
    arrived(page)
    hardest = worst.hardest
    band = page.evaluate("id => bandOf({ id })", hardest.member)
    assert band == next(n for n, b in enumerate(BANDS, 1) if hardest.use <= b.upto)
    assert f"{hardest.use:.2f}" in page.inner_text("#strength tbody tr >> nth=0")
    assert "never approval" in page.inner_text("#strength")
    times = page.evaluate("strain.times")
    rest, bent = (
        np.array(page.evaluate(f"[...viewer.bodies.find(b => b.id === 'main_hoop').mesh.{n}]"))
        for n in ("points", "bent")
    )
    shift = ((bent - rest) / times).reshape(-1, 3)
    at = design.strength.model.nodes_of["main_hoop"]
    moved = worst.response.moved[[n for _, n in at], :3]
    assert np.linalg.norm(shift, axis=1).max() == pytest.approx(
        np.linalg.norm(moved, axis=1).max(), rel=0.02
    )
    page.locator("#strain-times").fill("0")
    assert page.evaluate("viewer.bodies.every(b => !b.mesh.bent)")
    page.select_option("#strain-case", "")
    assert page.evaluate("id => bandOf({ id })", hardest.member) == 0


def test_a_door_bar_opens_and_the_section_hides(page):
    name = page.evaluate("state.data.doors[0].name")
    bar = page.evaluate("state.data.doors[0].bodies[0]")
    before = page.evaluate("id => viewer.motion({id})", bar)
    page.click("#doors > summary")
    page.locator(f"#door-{name}").fill("1")
    assert page.evaluate("id => viewer.motion({id})", bar) != before
    assert "°" in page.inner_text("#doors output >> nth=0")
    page.click("#section > summary")
    page.check("#cut-on")
    assert page.evaluate("viewer.cut[1]") == 1
    page.keyboard.press("Escape")


def test_the_length_of_a_picked_tube_stands_at_its_middle_wherever_it_is(page, design):
    name = page.evaluate("state.data.doors[0].name")
    page.evaluate("window.told = new Map(); label = (pen, at, words) => told.set(words, at)")
    page.keyboard.press("d")
    for picked, share in (("main_hoop", 0), (name, 0), (name, 1)):
        page.evaluate("([id, by]) => { state.angles[id] = by; turnDoors() }", [name, share])
        page.evaluate("id => select(id)", picked)
        path = design.cage.member(picked).path
        middle = path.points(np.array([path.length / 2]))[0]
        if share:
            (door,) = [d for d in design.cage.doors if d.bar == name]
            full = page.evaluate("state.data.doors[0].full")
            pin, origin = np.array(door.hinge.pin), np.array(door.hinge.origin)
            arm = middle - origin
            along = (arm @ pin) * pin
            middle = (
                origin + along + np.cos(full) * (arm - along) + np.sin(full) * np.cross(pin, arm)
            )
        # both at one go: a picture that is drawn between them may have another size
        want, at = page.evaluate(
            "p => { told.clear(); viewer.words(); return [viewer.project(p),"
            " [...told].find(([t]) => t.startsWith(title(state.selected)))[1]] }",
            middle.tolist(),
        )
        assert at == pytest.approx(want, abs=1.5), (picked, share)


def test_a_layer_can_be_hidden_and_is_not_picked_then(page):
    page.click("#layers > summary")
    page.uncheck("input[data-layer='role main hoop']")
    hits = page.evaluate(
        "() => { const out = []; for (let x = 0; x < 900; x += 9) for (let y = 0; y < 500; y += 9)"
        "{ const h = viewer.pick(x, y); if (h) out.push(h.body.id) } return [...new Set(out)] }"
    )
    assert "main_hoop" not in hits
    assert "halo" in hits
    page.keyboard.press("4")  # the tick has the focus still, and takes no letters
    arrived(page)
    assert page.evaluate("viewer.camera.eye") == pytest.approx([0, 1, 0], abs=1e-6)


def test_a_phone_of_320_pixels(opened, report):
    page = opened(report, width=320, height=640, has_touch=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    box = canvas_box(page)
    assert box["width"] >= 300
    assert box["height"] >= 240
    x, y = page.evaluate(PROJECT, "main_hoop")
    page.touchscreen.tap(box["x"] + x, box["y"] + y)
    assert page.locator("#card-title").count() == 1
    # a finding far down the list lights up in a picture that is in sight
    button = page.locator("#findings > .body > .finding").nth(8)
    button.scroll_into_view_if_needed()
    button.click()
    box = canvas_box(page)
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= button.bounding_box()["y"] + button.bounding_box()["height"]


def test_without_webgl_the_still_picture_with_a_word(flat_browser, report):
    page = flat_browser.new_page()
    faults = []
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.goto(report)
    page.wait_for_selector("body[data-ready='flat']")
    assert "no WebGL2" in page.inner_text("#why")
    assert page.evaluate("document.getElementById('still').naturalWidth") > 1000
    assert page.locator(".finding").count() > 3
    page.click("#tubes > summary")
    page.click("#tubes button >> nth=0")
    assert page.locator("#card-title").count() == 1
    page.keyboard.press("Escape")
    assert "picture" not in page.inner_text("#card")
    page.keyboard.press("]")
    assert page.locator("#card-title").count() == 1
    for key in "1fmodsp7+":
        page.keyboard.press(key)  # nothing to do, and no fault
    assert page.evaluate("document.body.dataset.ready") == "flat"
    assert faults == []
    page.close()


def test_print_shows_picture_findings_and_tubes(page):
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    assert page.locator("#still").is_visible()
    assert page.evaluate("document.getElementById('still').src").startswith("data:image/png")
    assert page.locator("#tubes table").is_visible()
    assert page.locator("#caution").is_visible()
    assert not page.locator("#tools").is_visible()
    # a long name takes no room from the sizes beside it
    page.evaluate(
        "document.querySelector('#tubes td button').textContent = 'very long '.repeat(40)"
    )
    lines = page.evaluate(
        "[...document.querySelectorAll('#tubes td:nth-child(2)')].map(td => {"
        "const all = document.createRange(); all.selectNodeContents(td);"
        "return all.getClientRects().length })"
    )
    assert set(lines) == {1}


def test_in_the_colours_of_the_reader_swatches_keep_theirs_and_pressed_is_seen(opened, report):
    page = opened(report, forced_colors="active")
    page.evaluate("openSection('layers')")
    look = "e => getComputedStyle(e).backgroundColor"
    seen = {s.evaluate(look) for s in page.locator("#layers .swatch").all()}
    assert len(seen) > 5
    measure, sizes = page.locator("#measure"), page.locator("#sizes")
    assert measure.evaluate(look) == sizes.evaluate(look)
    measure.click()
    assert measure.evaluate(look) != sizes.evaluate(look)


def test_layers_count_parts_and_not_the_bodies_that_a_person_is_drawn_of(page, design):
    page.evaluate("openSection('layers')")
    told = page.inner_text("#layers")
    assert f"plates ({len(design.cage.plates)})" in told
    assert "people" in told
    assert "people (" not in told


MARKUP = (
    "<img src=x onerror=\"document.title='owned'\"></script><script>document.title='owned'</script>"
)
HOSTILE = f"{MARKUP} \u202egnol\u202c {'W' * 300}"
SHOWN = HOSTILE.replace("\u202e", "\\u202e").replace("\u202c", "\\u202c")
"""What turns the direction of writing is shown, not obeyed."""


@pytest.mark.parametrize("width", [320, 1400])
def test_hostile_names_cannot_run_script(opened, design, tmp_path, width):
    data = page_data(design) | {"findings": finding_rows(run(design), design.units)}
    first = next(iter(design.cage.members))
    data |= {"name": HOSTILE, "about": HOSTILE, "notes": [HOSTILE]}
    data["cards"][first] |= {"title": HOSTILE, "rows": [["Role", HOSTILE]], "layer": HOSTILE}
    for row in data["findings"]:
        row |= dict.fromkeys(("subject", "quantity", "text", "cure", "source", "note"), HOSTILE)
    file = tmp_path / "evil.html"
    file.write_text(html(data, title="plain"), "utf-8")
    page = opened(file.as_uri(), width=width)
    page.keyboard.press("]")
    page.evaluate("document.querySelectorAll('#side > details').forEach(d => d.open = true)")
    page.click(".finding >> nth=0")
    arrived(page)
    assert page.title() == "plain"
    assert page.locator("img[src=x]").count() == 0
    assert page.inner_text("#name") == page.inner_text("#card-title") == SHOWN
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.evaluate("$('side').scrollWidth === $('side').clientWidth")
    # what is told of a finding leaves most of the picture free
    said, stage = (page.locator(s).bounding_box()["height"] for s in ("#said", "#stage"))
    assert said < stage / 2


def test_the_policy_stops_what_a_page_would_load(browser, report):
    """Even a script that got in could not send anything out."""
    page = browser.new_page()
    page.goto(report)
    page.wait_for_selector("body[data-ready]")
    blocked = page.evaluate("() => fetch('http://127.0.0.1:9/').then(() => 'sent', e => String(e))")
    assert "sent" not in blocked
    assert page.evaluate(
        "() => new Promise(done => {"
        "addEventListener('securitypolicyviolation', e => done(e.effectiveDirective));"
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1';"
        "document.body.append(s);"
        "setTimeout(() => done('nothing'), 500) })"
    ).startswith("script-src")
    page.close()
