"""The live server lets its own page through and nobody else; files are written back with care."""

from __future__ import annotations

import http.client
import json
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import tomllib
import weakref
from base64 import b64encode
from hashlib import sha256
from pathlib import Path

import pytest
from msgspec import UNSET

from cagekit.checks import Status, run
from cagekit.cli import view
from cagekit.design import Design
from cagekit.errors import CopeError, GeometryError, InputError
from cagekit.inputs.build import spread
from cagekit.inputs.resolve import load_build
from cagekit.inputs.usual import usual_at
from cagekit.live.document import Document
from cagekit.live.offered import Offered
from cagekit.live.params import params
from cagekit.live.scene import Drawn
from cagekit.live.server import LiveServer
from cagekit.live.session import Session

BUILDS = Path(__file__).parents[3] / "presets" / "builds"
HEIGHT = "build.members.harness_bar.height"


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    file = tmp_path_factory.mktemp("live") / "own.toml"
    shutil.copy(BUILDS / "track-roadster.toml", file)
    made = LiveServer(Session(str(file)))
    threading.Thread(target=made.serve_forever, args=(0.05,), daemon=True).start()
    yield made
    made.session.close()
    made.shutdown()
    made.server_close()


def answer(server, method, path, body=None, **headers):
    link = http.client.HTTPConnection("127.0.0.1", server.port, timeout=120)
    own = {"Host": f"127.0.0.1:{server.port}"} | headers
    link.request(method, path, body=body, headers=own)
    got = link.getresponse()
    text = got.read().decode()
    link.close()
    return got.status, text, got.headers


def test_only_this_machine_is_served(server):
    assert server.server_address[0] == "127.0.0.1"


def test_the_page_comes_with_a_policy_and_is_not_kept(server):
    status, text, headers = answer(server, "GET", f"/{server.token}/")
    assert status == 200
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Cache-Control"] == "no-store"
    assert '"live":true' in text


@pytest.mark.parametrize("token", ["", "x", "x" * 32])
def test_without_the_token_nothing_is_told(server, token):
    status, text, _ = answer(server, "GET", f"/{token}/state")
    assert status == 403
    assert "members" not in text


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "localhost"])
def test_another_name_for_this_machine_is_refused(server, host):
    assert answer(server, "GET", f"/{server.token}/state", Host=host)[0] == 403


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "OWN", "Content-Type": "text/plain"},
    ],
)
def test_another_page_cannot_change_anything(server, headers):
    own = f"http://127.0.0.1:{server.port}"
    sent = {"Content-Type": "application/json"} | headers
    sent = {k: own if v == "OWN" else v for k, v in sent.items()}
    before = server.session.version
    body = json.dumps({"key": HEIGHT, "value": 470})
    assert answer(server, "POST", f"/{server.token}/change", body, **sent)[0] == 403
    assert server.session.version == before


@pytest.mark.parametrize("body", ["", "[]", "{", '{"key": 1}', '{"key": "no.such", "value": 1}',
                                  json.dumps({"key": HEIGHT, "value": {"a": 1}})])  # fmt: skip
def test_nonsense_is_refused_with_a_word(server, body):
    own = {"Origin": f"http://127.0.0.1:{server.port}", "Content-Type": "application/json"}
    status, text, _ = answer(server, "POST", f"/{server.token}/change", body, **own)
    assert status == 200
    assert json.loads(text)["refused"]


def test_a_change_sends_only_the_meshes_that_changed(server):
    session = server.session
    have = session.version
    full = session.state()
    assert all("packed" in b for b in full["bodies"])
    session.change(HEIGHT, 471)
    rows = session.state(have)["bodies"]
    new = {b["id"] for b in rows if "packed" in b}
    assert "harness_bar_1" in new
    assert "main_hoop" not in new
    assert {b["id"] for b in rows} == {b["id"] for b in full["bodies"]}
    session.undo()


def test_an_answer_looks_for_the_bodies_of_each_stage_once(monkeypatch):
    from cagekit.design import Design
    from cagekit.live import scene

    design, asked, real = Design.load("track-roadster"), [], scene.tube_bodies
    monkeypatch.setattr(
        scene, "tube_bodies", lambda cage, **k: (asked.append(k["rough"]), real(cage, **k))[1]
    )
    shown = scene.Scene()
    for stage in (scene.Drawn.WHOLE, scene.Drawn.TUBES):
        shown.prepare(design, stage)
        assert len(shown.rows(design, 1, 0, stage)["bodies"]) > len(design.cage.members)
        assert shown.alike(design, 1, stage)
    assert asked == [False, True]
    moved = design.changed("main_hoop", height="951 mm")
    keys = [r["key"] for r in shown.rows(moved, 2, 0)["bodies"]]
    assert keys != [r["key"] for r in shown.rows(design, 3, 0)["bodies"]]


def meshes(told):
    """Meshes of an answer, their triangles in place of the number."""
    return {
        b["id"]: {**b["packed"], "triangles": told["triangles"][b["packed"]["triangles"]]}
        for b in told["bodies"] if "packed" in b
    }  # fmt: skip


def told_until(heard, wanted):
    """Messages up to the first that is wanted, that one included."""
    out = []
    while not out or not wanted(out[-1]):
        out.append(heard.get(timeout=60))
    return out


def test_a_drag_shows_tubes_first_and_ends_as_a_change_at_once_does(server):
    session = server.session
    heard, have = session.listen(), session.state()["version"]
    with session.answering():
        session.change(HEIGHT, 473, drag=True)
        first, version = session.state(have, brief=True), session.version
    plates = [b for b in first["bodies"] if b["group"] == "plates"]
    assert plates
    assert first["stage"] == Drawn.TUBES
    assert all(b["late"] for b in plates)
    told = told_until(heard, lambda m: m.get("stage") == Drawn.WHOLE and m["of"] == version)
    session.forget(heard)
    assert [m["stage"] for m in told if m.get("of") == version and "stage" in m] == [1, 2]
    last = {b["id"]: b for b in told[-1]["bodies"]}
    alone = Session(str(session.base.documents["build"].path))
    alone.change(HEIGHT, 473)
    exact = alone.state()
    whole = {b["id"]: b for b in exact["bodies"]}
    alone.close()
    assert {i: b["key"] for i, b in last.items()} == {i: b["key"] for i, b in whole.items()}
    # what the first answer had not is there, as its exact shape is another
    moved = [b for b in first["bodies"] if b["key"] != last[b["id"]]["key"]]
    assert moved
    sent, want = meshes(told[-1]), meshes(exact)
    assert all(sent[b["id"]] == want[b["id"]] for b in moved)
    session.undo()


def test_a_drag_of_the_cars_field_shows_tubes_and_car_first_and_ends_the_same(tmp_path):
    file = tmp_path / "own.toml"
    shutil.copy(BUILDS / "hillclimb-coupe.toml", file)
    sessions = [Session(str(file)) for _ in range(2)]
    try:
        dragged, alone = sessions
        heard, have = dragged.listen(), dragged.state()["version"]
        for key in ("car.side.hoop.height_belt", "car.wheel.diameter"):
            value = dragged.base.params[key].value + 4
            with dragged.answering():
                dragged.change(key, value, drag=1)
                first, version = dragged.state(have, brief=True), dragged.version
            assert first["stage"] == Drawn.TUBES
            assert {b["group"] for b in first["bodies"] if "late" in b} == {"plates"}
            alone.change(key, value)
            exact = alone.state()
            around = [{b["id"]: b["key"] for b in s["bodies"] if b["group"] == "car"}
                      for s in (first, exact)]  # fmt: skip
            assert around[0] == around[1]
            told = told_until(heard, lambda m, v=version: "texts" in m and m["of"] == v)
            last = next(m for m in told if m.get("stage") == Drawn.WHOLE and m["of"] == version)
            assert [b["key"] for b in last["bodies"]] == [b["key"] for b in exact["bodies"]]
            assert told[-1]["texts"] == {k: exact[k] for k in told[-1]["texts"]}
            have = version
    finally:
        for session in sessions:
            session.close()


def test_findings_told_are_those_before_but_for_what_changed(server):
    session = server.session
    heard, page = session.listen(), None
    for height in (474, 476):
        session.change(HEIGHT, height)
        told = told_until(heard, lambda m: m.get("judged") == session.version)[-1]
        if page is not None:
            assert told["after"] == page["judged"]
            numbers = [f for f in told["findings"] if isinstance(f, int)]
            assert len(told["findings"]) / 2 < len(numbers) < len(told["findings"])
            now = [page["findings"][f] if isinstance(f, int) else f for f in told["findings"]]
            assert now == session.state()["findings"]
        page = session.state()
    session.forget(heard)
    session.undo()
    session.undo()


def test_plates_that_cannot_be_made_after_a_drag_are_told_and_the_last_whole_cage_stays(
    server, monkeypatch
):
    from cagekit.design import design as room

    session = server.session
    session.state()  # tubes alone follow on a picture that a page has
    before = session.design
    seen = threading.Event()

    def fails(build, cage):
        seen.wait(30)
        raise GeometryError("foot_main_hoop_a", "cannot be made here.", "Move it.")

    monkeypatch.setattr(room, "with_plates", fails)
    heard = session.listen()
    with session.answering():
        session.change(HEIGHT, 474.5, drag=True)
        assert not session.problem
        seen.set()
    told_until(heard, lambda m: m.get("version", 0) > 0 and bool(session.problem))
    session.forget(heard)
    assert "foot of main hoop A" in session.problem
    assert session.design is before
    with pytest.raises(InputError, match="cannot be made"):
        session.save()
    monkeypatch.undo()
    session.undo()
    assert not session.problem


def test_findings_are_told_before_the_texts_of_the_same_version(server):
    session = server.session
    heard = session.listen()
    session.change(HEIGHT, 515)
    order = []
    while "texts" not in order:
        message = heard.get(timeout=60)
        if session.version in (message.get("judged"), message.get("of")):
            order.append("texts" if "texts" in message else "findings")
    session.forget(heard)
    session.undo()
    assert order == ["findings", "texts"]


def test_the_first_picture_is_worked_out_before_a_browser_asks(monkeypatch):
    from cagekit.live import session as room

    done, real = threading.Event(), room.texts
    monkeypatch.setattr(room, "texts", lambda design, **k: (real(design, **k), done.set())[0])
    made = Session("track-roadster", patience=60.0)
    assert done.wait(60)
    made.close()


def test_what_is_done_after_the_start_is_done_once_and_after_all_is_told():
    told: list[int] = []
    done = threading.Event()
    made = Session("track-roadster", settled=lambda: (told.append(made.judged), done.set())[0])
    try:
        assert done.wait(60)
        assert told == [1]
        heard = made.listen()
        made.change("build.members.main_hoop.height", 900)
        told_until(heard, lambda m: "texts" in m)
        assert told == [1]
    finally:
        made.close()


def test_a_version_that_is_gone_waits_for_no_collector():
    """Its arrays would stay, and looking for them stops the session: 0.4 s after 120 changes."""
    made = Session("track-roadster")
    try:
        heard = made.listen()
        gone = []
        for height in (900, 905, 910):
            made.change("build.members.main_hoop.height", height)
            told_until(heard, lambda m: "texts" in m)
            gone.append(weakref.ref(made.design))
        made.change("build.members.main_hoop.height", 915)
        told_until(heard, lambda m: "texts" in m)
        assert [ref() for ref in gone[:-1]] == [None, None]
    finally:
        made.close()


def test_exact_edges_and_masses_follow_the_first_picture():
    made = Session("track-roadster", patience=60.0)
    try:
        heard = made.listen()
        with made.answering():
            first = made.state()
        assert (first["stage"], first["weighed"]) == (Drawn.PLATES, False)
        assert made.hello()["stage"] == Drawn.PLATES
        tube, plates = first["cards"]["main_hoop"], first["cards"]["foot_main_hoop_a"]
        assert dict(tube["rows"])["Mass"] == tube["mass"] == "being weighed ..."
        assert dict(plates["rows"])["Mass"].endswith((" g", " kg"))
        # a page that listens hears them
        told = told_until(heard, lambda m: "texts" in m)
        exact = next(m for m in told if m.get("stage") == Drawn.WHOLE)
        texts = told[-1]["texts"]
        assert made.hello()["weighed"]
        # and has then what is there without haste
        calm = Session("track-roadster")
        want = calm.state()
        calm.close()
        assert [b["key"] for b in exact["bodies"]] == [b["key"] for b in want["bodies"]]
        assert texts == {k: want[k] for k in texts}
        after = made.state(1)
        assert after["weighed"]
        assert after["cards"] == want["cards"]
    finally:
        made.close()


def test_a_taken_port_is_told(server):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match="--port"):
            LiveServer(server.session, port=taken.getsockname()[1])


@pytest.fixture
def early():
    """A server that has no session yet."""
    made = LiveServer(name="own <b>")
    threading.Thread(target=made.serve_forever, args=(0.05,), daemon=True).start()
    yield made
    made.shutdown()
    made.server_close()


def test_before_the_cage_is_there_a_page_waits_and_nothing_else_is_told(early, server):
    status, text, headers = answer(early, "GET", f"/{early.token}/")
    assert status == 200
    assert '"waiting":true' in text
    assert "A cage can kill" in text
    assert "own &lt;b&gt;" in text
    assert "<!--" not in text.removeprefix("<!")
    assert r"\u003cb\u003e" in text
    script = text.split("<script>")[1].split("</script>")[0]
    digest = b64encode(sha256(script.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in headers["Content-Security-Policy"]
    assert answer(early, "GET", f"/{early.token}/state")[0] == 503
    own = {"Origin": f"http://127.0.0.1:{early.port}", "Content-Type": "application/json"}
    assert answer(early, "POST", f"/{early.token}/undo", "{}", **own)[0] == 503
    assert answer(early, "GET", "/x/ready")[0] == 403
    heard = []
    asking = threading.Thread(
        target=lambda: heard.append(answer(early, "GET", f"/{early.token}/ready")[1])
    )
    asking.start()
    early.begin(server.session)
    asking.join(60)
    assert json.loads(heard[0]) == {"ready": True, "problem": ""}
    assert '"waiting":true' not in answer(early, "GET", f"/{early.token}/")[1]
    assert answer(early, "GET", f"/{early.token}/state")[0] == 200


def test_why_there_is_no_cage_is_told_to_the_page_that_waits(early):
    early.give_up("main_hoop: <cannot> be made")
    assert not early.told.is_set()
    told = json.loads(answer(early, "GET", f"/{early.token}/ready")[1])
    assert told == {"ready": False, "problem": "main_hoop: <cannot> be made"}
    assert early.told.wait(60)
    assert '"waiting":true' in answer(early, "GET", f"/{early.token}/")[1]


@pytest.mark.slow
def test_a_cage_that_cannot_be_made_ends_the_command_with_its_code(tmp_path):
    file = tmp_path / "own.toml"
    text = (BUILDS / "track-roadster.toml").read_text("utf-8")
    file.write_text(text + '\n[[strut]]\nid = "far"\nfrom = "on main_hoop at height 5000"\n'
                    'to = "on main_hoop at middle"\n', "utf-8")  # fmt: skip
    told = subprocess.run(
        [sys.executable, "-m", "cagekit", "view", str(file), "--no-open"],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert told.returncode == 3, told.stderr
    assert "5000" in told.stderr
    assert "Traceback" not in told.stderr


@pytest.mark.slow
def test_a_taken_port_is_told_by_the_command(server):
    command = ["view", "track-roadster", "--no-open", "--port", str(server.port)]
    told = subprocess.run(
        [sys.executable, "-m", "cagekit", *command], capture_output=True, text=True, timeout=120
    )
    assert told.returncode == 2
    assert "--port" in told.stderr
    assert "Leave --port out" in told.stderr


@pytest.mark.slow
def test_without_a_browser_the_address_is_left_to_the_user(tmp_path):
    """Where no browser can be found, and that is what Ctrl-C stops."""
    server = subprocess.Popen(
        [sys.executable, "-m", "cagekit", "view", "track-roadster"],
        env={"PATH": str(tmp_path), "HOME": str(tmp_path), "PYTHONPATH": str(Path.cwd())},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    told = ""
    for line in server.stderr:
        told += line
        if "No browser was found" in line:
            break
    server.send_signal(signal.SIGINT)
    out, err = server.communicate(timeout=180)
    assert "http://127.0.0.1:" in out
    assert "open the address above" in told
    assert "stopped" in err
    assert "Traceback" not in err


@pytest.mark.slow
def test_ctrl_c_counts_where_python_drops_the_interrupt():
    """It fell into a clean-up while modules were loaded, and the server went on."""
    code = (
        "import os, signal, sys, weakref\nimport cagekit.cli.view as view\n"
        "from cagekit.cli.main import run\nmake = view._session\n"
        "class Thing: pass\n"
        "def dropped(*given):\n"
        "    thing = Thing()\n"
        "    gone = weakref.ref(thing, lambda _: os.kill(os.getpid(), signal.SIGINT))\n"
        "    del thing\n"
        "    return make(*given)\n"
        "view._session = dropped\nsys.exit(run(['view', 'track-roadster', '--no-open']))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=180)
    assert "Exception ignored" in done.stderr  # it was dropped
    assert done.returncode == 0
    assert done.stderr.rstrip().endswith("stopped.")


def test_every_parameter_has_a_range_that_holds_its_value(server):
    for p in server.session.base.params.values():
        if not p.choices and p.value is not None:
            assert p.low <= p.value <= p.high, p.key
            assert p.unit in ("mm", "in", "deg")


def test_a_member_that_was_left_out_and_saved_can_come_back(tmp_path):
    file = tmp_path / "own.toml"
    shutil.copy(BUILDS / "hillclimb-coupe.toml", file)
    key = "build.members.roof_diagonal.omit"
    one = Session(str(file))
    one.change(key, value=True)
    assert "roof_diagonal" not in one.design.cage.members
    one.save()
    one.close()
    two = Session(str(file))
    p = two.base.params[key]
    assert (p.owner, p.value) == ("roof diagonal (left out)", True)
    assert [k for k in two.base.params if "roof_diagonal" in k] == [key]
    two.change(key, value=False)
    assert two.problem == ""
    assert "roof_diagonal" in two.design.cage.members
    two.save()
    two.close()
    assert tomllib.loads(file.read_text("utf-8"))["members"]["roof_diagonal"]["omit"] is False


def test_what_a_layout_offers_and_leaves_out_can_be_had():
    build = load_build("sprint-wagon")
    files = {"build": "build", "car": f"car {build.file.car}"}
    files |= {f"driver {n}": f"driver {d}" for n, d in enumerate(build.file.drivers)}
    documents = {key: Document(build.files[name]) for key, name in files.items()}
    known = {p.key: p for p in params(build, documents)}
    made = {name for e in build.entries for name in (e.id, e.group)}
    offered = [e for e in spread(build.layout.member) if e.omit and e.group not in made]
    assert offered
    for entry in offered:
        assert known[f"build.members.{entry.group}.omit"].value is True
    assert all(p.value is False for k, p in known.items()
               if k.endswith(".omit") and p.steps[1] in made)  # fmt: skip


def test_a_parameter_says_its_word_and_where_the_file_says_it(server):
    rows = {k: p.to_json() for k, p in server.session.base.params.items()}
    width = rows["build.members.main_hoop.half_width_top"]
    assert (width["owner"], width["name"]) == ("main hoop", "half width top")
    assert (width["place"], width["typed"]) == ("[members.main_hoop]", "half_width_top")
    # the height is said: a second field for it would be refused
    assert HEIGHT in rows
    assert "build.members.harness_bar.below_shoulder" not in rows
    said = {k: (r["name"], r["typed"]) for k, r in rows.items()}
    assert said["car.wheel.centre.2"] == ("centre z", "[wheel] centre entry 3")
    assert said["car.seats.0.hip.0"] == ("hip x", "[seats entry 1] hip entry 1")
    assert rows["car.seats.0.hip.0"]["owner"] == "car: seats 1"
    assert said["car.floor_z"] == ("floor z", "floor_z")
    assert "above the sill plane" in rows["car.side.hoop.height_belt"]["about"]
    assert all(r["member"] == "" for k, r in rows.items() if not k.startswith("build"))


def test_corners_in_a_plane_have_the_axes_of_their_plane():
    build = load_build("hillclimb-coupe")
    files = {"build": "build", "car": "car hillclimb-coupe", "driver 0": "driver short-driver"}
    documents = {key: Document(build.files[name]) for key, name in files.items()}
    names = {p.key: p.name for p in params(build, documents)}
    typed = {p.key: p.typed for p in params(build, documents)}
    assert names["car.side.main_foot.profile.0.1"] == "main foot profile 1 z"
    assert names["car.side.door.outline.4.0"] == "door outline 5 x"
    assert typed["car.side.door.outline.4.0"] == "[side.door] outline entry 5 entry 1"


def test_no_slider_of_a_sheet_reaches_beyond_what_is_usual_or_typed(server):
    known_params = server.session.base.params
    for key, p in known_params.items():
        known = usual_at(p.file.partition(" ")[0], p.steps) if p.file != "build" else None
        if known is None:
            continue
        one = {"in": 25.4}.get(p.unit, 1.0)
        assert p.low * one >= min(known.low, p.value * one) - 0.01, key
        assert p.high * one <= max(known.high, p.value * one) + 0.01, key
        turns = (p.value - p.low) / p.step  # where a browser's slider can stand
        assert turns == pytest.approx(round(turns), abs=0.01), key
    sheet = known_params["car.side.main_foot.sheet"]
    assert 0 < sheet.low < sheet.value < sheet.high < 10
    assert sheet.step < sheet.value


TEXT = """\
# my build
kind = "build"   # of course
units = "in"

[members.door_bar]
height_rear = 13    # measured twice

# the hoop last
[members.main_hoop]
gap = "5/16"
"""


def test_a_document_changes_what_was_touched_and_no_other_letter(tmp_path):
    file = tmp_path / "b.toml"
    file.write_text(TEXT, "utf-8")
    document = Document(file)
    values = {
        ("members", "door_bar", "height_rear"): 14.5,
        ("members", "harness_bar", "height"): 18,
    }
    text = document.written(values)
    assert text.startswith(TEXT.replace("= 13 ", "= 14.5 ").rstrip())
    read = tomllib.loads(text)["members"]
    assert read["door_bar"]["height_rear"] == 14.5
    assert read["harness_bar"] == {"height": 18}
    assert document.changed(values)["members"] == read
    assert file.read_text("utf-8") == TEXT


def test_a_file_that_changed_or_is_gone_is_not_written(tmp_path):
    file = tmp_path / "b.toml"
    file.write_text(TEXT, "utf-8")
    document = Document(file)
    file.write_text(TEXT + "# more\n", "utf-8")
    with pytest.raises(InputError, match="changed on disk"):
        document.save({("units",): "mm"})
    assert file.read_text("utf-8") == TEXT + "# more\n"
    file.unlink()
    with pytest.raises(InputError, match="no longer there"):
        document.save({("units",): "mm"})


def test_a_preset_that_came_with_cagekit_is_not_written():
    with pytest.raises(InputError, match="came with cagekit"):
        Document(BUILDS / "sprint-wagon.toml").save({("units",): "mm"})


def test_an_opener_that_finds_no_browser_is_told(early, monkeypatch, capsys):
    """Some openers say that all is well and then find none: who comes for the page counts."""
    asked = []
    monkeypatch.setattr("webbrowser.open", lambda address: bool(asked.append(address)) or True)
    monkeypatch.setattr(view, "ARRIVAL", 0.05)
    view._open(early)
    assert asked == [early.address]
    assert "No browser has come yet" in capsys.readouterr().err
    answer(early, "GET", "/wrong/")
    assert not early.visited.is_set()
    answer(early, "GET", f"/{early.token}/")
    view._open(early)
    assert capsys.readouterr().err == ""


def told(heard, *, until):
    """Messages until one of them is what is waited for."""
    while not until(message := heard.get(timeout=60)):
        pass
    return message


def test_a_file_that_is_named_before_it_is_there_is_taken_in_when_it_comes(tmp_path):
    file, car = tmp_path / "own.toml", tmp_path / "own-car.toml"
    text = (BUILDS / "track-roadster.toml").read_text("utf-8")
    file.write_text(text, "utf-8")
    session = Session(str(file))
    try:
        heard = session.listen()
        file.write_text(text.replace('car = "track-roadster"', 'car = "own-car.toml"'), "utf-8")
        told(heard, until=lambda m: session.trouble)
        assert "own-car.toml" in session.trouble
        version = session.version
        shutil.copy(BUILDS.parent / "cars" / "track-roadster.toml", car)
        told(heard, until=lambda m: m.get("files"))
        with session.lock:
            assert session.trouble == ""
            assert session.version == version + 1  # what stayed wrong meanwhile was told once
        assert session.base.documents["car"].path.resolve() == car.resolve()
    finally:
        session.close()


def test_a_fault_while_all_is_made_is_told_and_it_can_be_tried_again(tmp_path, monkeypatch):
    from cagekit.make import run

    monkeypatch.setattr(run, "make", lambda *a, **k: 1 / 0)
    session = Session(str(BUILDS / "track-roadster.toml"))
    try:
        heard = session.listen()
        session.make(tmp_path / "made")
        last = told(heard, until=lambda m: "made" in m)["made"]
        assert last.startswith("Not made: a fault in cagekit itself: ZeroDivisionError")
        assert session.making == ""
    finally:
        session.close()


def test_what_one_side_says_alone_is_not_shown_for_both(tmp_path):
    file = tmp_path / "own.toml"
    text = (BUILDS / "sprint-wagon.toml").read_text("utf-8")
    file.write_text(f'{text}\n[members.door_bar_left]\nswing_out = false\nstyle = "x"\n', "utf-8")
    session = Session(str(file))
    try:
        known = session.base.params
        both, left = (f"build.members.{name}" for name in ("door_bar", "door_bar_left"))
        assert (known[f"{both}.style"].value, known[f"{left}.style"].value) == ("single", "x")
        assert (known[f"{both}.swing_out"].value, known[f"{left}.swing_out"].value) == (True, False)
        assert f"{both}.open_angle" in known
        assert f"{left}.open_angle" not in known
        # the roof says how high the hoop is: a height beside it would be refused
        assert "build.members.main_hoop.roof_gap" in known
        assert "build.members.main_hoop.height" not in known
    finally:
        session.close()


def test_a_tube_that_moves_after_the_car_was_changed_is_all_that_is_made_anew(tmp_path):
    file = tmp_path / "own.toml"
    text = (BUILDS / "track-roadster.toml").read_text("utf-8")
    file.write_text(re.sub(r"drivers = .*", 'drivers = ["tall-driver"]', text), "utf-8")
    session = Session(str(file))
    try:
        session.change("car.wheel.diameter", 350)
        on_driver = next(p for k, p in session.base.params.items() if k.startswith("driver 0"))
        session.change(on_driver.key, on_driver.value + on_driver.step)
        assert session.problem == ""
        before = session.design
        session.change(HEIGHT, 470)
        after = session.design
        assert after.build.car is before.build.car
        assert after.build.drivers[0] is before.build.drivers[0]
        assert after.cage.member("main_hoop") is before.cage.member("main_hoop")
        session.change("car.wheel.diameter", 360)
        assert session.design.build.car.wheel.diameter == 360
    finally:
        session.close()


def test_answers_on_their_way_are_waited_for_when_the_server_stops(server):
    session = server.session
    waits = threading.Thread(target=session.answered, args=(30.0,))
    with session.answering():
        waits.start()
        waits.join(0.1)
        assert waits.is_alive()
    waits.join(60.0)
    assert not waits.is_alive()


@pytest.mark.parametrize("name", ["sprint-wagon", "hillclimb-coupe", "gravel-hatch"])
def test_a_plate_stays_as_it_is_when_all_that_is_shown_of_it_is_typed(name):
    """So a field shows what is made, whichever table, preset or habit says it."""
    build = load_build(name)
    files = {"build": build.files["build"], "car": build.files[f"car {build.file.car}"]}
    files |= {f"driver {n}": build.files[f"driver {d}"] for n, d in enumerate(build.file.drivers)}
    offered = Offered(build, {file: Document(path) for file, path in files.items()})
    shown = {p.steps: p.value for p in offered.rows if p.steps[0] == "plate"}
    assert len({steps[1] for steps in shown}) == len(build.file.plate)
    typed = offered.build_with({s: v for s, v in shown.items() if v is not None})
    before, after = (Design(b).cage.plates for b in (build, typed))
    assert [p.body for p in after] == [p.body for p in before]
    # and what is typed acts
    size, mm = (0.2, 5.08) if build.units == "in" else (3.5, 3.5)
    thick = {steps: size for steps in shown if steps[2] == "thickness"}
    thicker = Design(offered.build_with(thick)).cage.plates
    changed = [p for p, was in zip(thicker, before, strict=True) if p.thickness != was.thickness]
    assert {p.kind for p in changed} >= {e.kind for e in build.file.plate}
    assert [p.thickness for p in changed] == pytest.approx([mm] * len(changed))


def test_what_a_file_says_can_be_taken_out_of_it(tmp_path):
    file, driver = tmp_path / "own.toml", tmp_path / "me.toml"
    driver.write_text(
        'kind = "driver"\nname = "me"\n[population]\nsex = "male"\n[helmet]\nwidth = 258\n'
        "[seated]\nhelmet_top = [235, 345, 905]\n",
        "utf-8",
    )
    text = (BUILDS / "hillclimb-coupe.toml").read_text("utf-8")
    text = re.sub(r"drivers = .*", f'drivers = ["{driver.name}"]', text)
    file.write_text(text, "utf-8")
    session = Session(str(file))
    key, style = "build.members.harness_bar.height", "build.members.door_bar_right.style"
    helmet = "driver 0.seated.helmet_top"
    try:
        known = session.base.params
        assert known[key].said == ("members", "harness_bar", "height")
        assert known["build.members.rear_brace.drop"].said == ()  # the layout's
        assert known["car.floor_z"].said == ()  # no car without
        assert known["car.dash.face_x"].said == ()
        before = session.design.cage.member("harness_bar_1").path.start[2]
        session.change("driver 0.seated.helmet_top.2", 900)
        for one in (key, style, f"{helmet}.0"):
            session.change(one, UNSET)
        assert session.problem == ""
        assert [c["key"] for c in session.state()["changes"]] == [key, style, f"{helmet}.0"]
        rows = {c["key"]: c for c in session.state()["changes"]}
        assert (rows[key]["was"], rows[key]["now"]) == (412, None)
        assert (rows[style]["was"], rows[style]["now"]) == ("single", "x")  # as the layout says
        assert rows[f"{helmet}.0"]["gone"] == [f"{helmet}.{n}" for n in range(3)]
        assert session.design.cage.member("harness_bar_1").path.start[2] != before
        made = session.design
        session.save()
        want = Design.load(str(file))
        assert "height = 412" not in file.read_text("utf-8")
        assert "helmet_top" not in driver.read_text("utf-8")
        assert made.build.drivers == want.build.drivers
        assert made.build.entries == want.build.entries
        lengths = [{n: d.cage.cut_length(n) for n in d.cage.members} for d in (made, want)]
        assert lengths[0] == lengths[1]
        session.follow()
        assert session.changes == {}
        with pytest.raises(InputError, match="does not say it"):
            session.change(key, UNSET)
    finally:
        session.close()


def test_what_is_taken_out_can_be_undone_saved_or_not(tmp_path):
    file = tmp_path / "own.toml"
    shutil.copy(BUILDS / "track-roadster.toml", file)
    text = file.read_text("utf-8")
    key = "build.members.harness_bar.height"
    session = Session(str(file))
    try:
        first = session.design.cage
        session.change(key, UNSET)
        session.save()
        assert file.read_text("utf-8") != text
        session.undo()
        assert session.design.cage is first
        session.save()
        assert file.read_text("utf-8") == text
        # what is not in the file any more is no longer taken out
        session.redo()
        file.write_text(text.replace("height = 425", ""), "utf-8")
        session.follow()
        assert (session.changes, session.problem) == ({}, "")
    finally:
        session.close()


def test_a_car_or_a_person_that_check_would_not_read_is_not_shown_nor_saved(tmp_path):
    car, me, file = (tmp_path / f"{n}.toml" for n in ("car", "me", "own"))
    shutil.copy(BUILDS.parent / "cars" / "hillclimb-coupe.toml", car)
    me.write_text(
        'kind = "driver"\nname = "me"\n[population]\nsex = "male"\n[seated]\n'
        "helmet_top = [235, 345, 905]\n",
        "utf-8",
    )
    text = (BUILDS / "hillclimb-coupe.toml").read_text("utf-8")
    text = re.sub(r"drivers = .*", 'drivers = ["me.toml"]', text)
    file.write_text(text.replace('car = "hillclimb-coupe"', 'car = "car.toml"'), "utf-8")
    session = Session(str(file))
    try:
        good = session.design
        for key, value, told in (
            ("car.wheel.centre.1", -335, "670.0 mm beside the driver"),
            ("car.roof.header_x", -830, "is behind the main hoop"),
            ("car.side.hoop.half_width_rail", 20, "20.0 mm cannot be"),
            ("driver 0.seated.helmet_top.1", -345, "right of the hip point"),
        ):
            session.change(key, value)
            assert told in session.problem, key
            assert f" = {value}" in session.problem or f", {value}" in session.problem  # as changed
            assert session.design is good
            with pytest.raises(InputError, match="cannot be made"):
                session.save()
            session.undo()
            assert session.problem == ""
        # what is told of one is looked at with the other: the wheel follows the seat
        session.change("car.seats.0.hip.1", 120)
        assert "beside the driver" in session.problem
        session.change("car.wheel.centre.1", 130)
        assert session.problem.count("hip point") == 1  # of the helmet, which stays where it was
        session.change("driver 0.seated.helmet_top.1", 125)
        assert session.problem == ""
        session.save()
        assert load_build(str(file)).car.driver_seat.hip[1] == 120
    finally:
        session.close()


def test_a_tube_that_its_cuts_part_is_shown_and_told_by_the_checks(tmp_path):
    file = tmp_path / "own.toml"
    text = (BUILDS / "track-roadster.toml").read_text("utf-8")
    strut = 'from = "on main_hoop.left at height 785"\nto = "on rear_brace_left at fraction 0.05"'
    file.write_text(f'{text}\n[[strut]]\nid = "short"\n{strut}\n', "utf-8")
    session = Session(str(file))
    try:
        with pytest.raises(CopeError, match="its two cuts need"):
            session.design.cage.mass("short")
        state = session.state()  # the page comes, and each version after it
        assert state["problem"] == ""
        assert state["cards"]["short"]["mass"] == "no mass, as its cuts part it"
        assert state["cards"]["main_hoop"]["mass"].endswith("kg")
        assert "no mass" in state["about"]
        session.change("build.members.harness_bar.height", 430)
        assert session.problem == ""
        assert session.state()["cards"]["short"]["mass"].startswith("no mass")
        found = run(session.design, ["geometry"])
        (told,) = [f for f in found if f.code == "geometry/wall-between" and f.subject == "short"]
        assert told.status is Status.FAIL
    finally:
        session.close()


def test_what_an_entry_of_its_own_says_can_be_taken_out_of_it(tmp_path):
    file = tmp_path / "own.toml"
    text = (BUILDS / "sprint-wagon.toml").read_text("utf-8")
    text += '\n[[add]]\nkind = "dash_bar"\nid = "knee_bar"\nset_back = 2 # by eye\n'
    text += '\n[[strut]]\nid = "prop"\nfrom = "on main_hoop.left at height 20"\n'
    text += 'to = "on rear_brace_left at middle"\nomit = false\n'
    file.write_text(text, "utf-8")
    session = Session(str(file))
    key, omit = "build.members.knee_bar.set_back", "build.members.prop.omit"
    try:
        known = session.base.params
        assert known[key].said == ("add", 0, "set_back")
        assert known[omit].said == ("strut", 0, "omit")
        assert len(session.design.cage.member("knee_bar").path.pieces) > 1  # bent
        session.change(key, UNSET)
        session.change(omit, UNSET)
        assert session.problem == ""
        (row, _) = session.state()["changes"]
        assert (row["was"], row["now"], row["gone"]) == (2, 0, [key])
        assert session.state()["params"]  # the field stays, to be said again
        assert key in {p.key for p in session.base.offered.rows}
        assert len(session.design.cage.member("knee_bar").path.pieces) == 1
        session.change("build.members.main_hoop.gap", "5/8")  # with another on top
        assert session.problem == ""
        session.undo()
        session.save()
        assert file.read_text("utf-8") == text.replace("set_back = 2 # by eye\n", "").replace(
            "omit = false\n", ""
        )
        want, made = Design.load(str(file)).cage, session.design.cage
        assert {m: want.cut_length(m) for m in want.members} == {
            m: made.cut_length(m) for m in made.members
        }
        session.follow()
        assert (session.changes, session.problem) == ({}, "")
        assert session.base.params[key].said == ()
    finally:
        session.close()


def test_the_very_value_of_the_file_is_no_change(tmp_path):
    file = tmp_path / "own.toml"
    shutil.copy(BUILDS / "sprint-wagon.toml", file)
    text = file.read_text("utf-8")
    session = Session(str(file))
    gap, front = "build.members.main_hoop.gap", "build.members.door_bar.height_front"
    try:
        for key, other, same in (
            (gap, "3/8", 0.3125),
            (gap, 0.5, "5/16 in"),
            (front, 12, "12 1/2"),
        ):
            session.change(key, other)
            assert session.state()["unsaved"]
            session.change(key, same)
            assert session.state()["changes"] == []
            assert not session.state()["unsaved"]
        # what the file does not say is said with the value that it has anyway
        lean = "build.members.main_hoop.lean"
        session.change(lean, session.base.params[lean].value)
        assert session.state()["unsaved"]
        session.undo()
        # of a saved value too: what was there before comes back
        session.change(gap, "3/8")
        session.save()
        assert file.read_text("utf-8") == text.replace('gap = "5/16"', 'gap = "3/8"', 1)
        session.change(gap, "5/16")
        session.save()
        assert file.read_text("utf-8") == text
    finally:
        session.close()
