"""Rule profiles: what is wrong in one is told with its line, and one made by the README works."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import demos
import pytest

from cagekit.assembly.assemble import members_only
from cagekit.checks import Certainty, Status, run
from cagekit.checks.profile import GENERAL, compile_file, load_profile
from cagekit.checks.profile_sheet import profile_text, quantities_text
from cagekit.checks.quantities.quantity import Pick, quantities
from cagekit.checks.quantities.survey import Survey
from cagekit.design import Design
from cagekit.errors import InputError
from cagekit.inputs.presets import list_presets
from cagekit.inputs.resolve import load_build

README = (Path(__file__).parents[3] / "README.md").read_text("utf-8")
RULES = sorted((Path(__file__).parents[3] / "presets" / "rules").glob("*.toml"))
RULEBOOKS = ["fia-253", "formula-sae", "motorsport-uk", "nasa-ccr", "nhra", "scca-gcr"]
SHIPPED = sorted(["common-practice", *RULEBOOKS, *GENERAL])

HEAD = """kind = "rules"
name = "mine"
title = "My rules"

"""
GOOD = """[[rule]]
code = "angle"
quantity = "rear_brace_angle"
op = ">="
limit = 30
text = "At least 30 degrees."
cure = "Move the foot."
"""


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def fault(tmp_path: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        compile_file(write(tmp_path, text))
    return str(caught.value)


def test_the_shipped_ones_are_found() -> None:
    assert [p.name for p in list_presets("rules")] == SHIPPED


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_one_is_whole(name: str) -> None:
    profile = load_profile(name)
    assert profile.name == name
    assert profile.file.caution
    assert profile.file.gaps
    for rule in profile.rules:
        assert rule.source
        assert rule.certainty in Certainty
        assert rule.entry.text.endswith(".")
        assert "legal" not in f"{rule.entry.text} {rule.entry.cure}".lower()
        assert rule.measured or rule.entry.op is None


def test_an_unknown_quantity_names_its_line(tmp_path: Path) -> None:
    message = fault(tmp_path, GOOD.replace("rear_brace_angle", "rear_brace_angel"))
    assert "mine.toml:7" in message
    assert "rear_brace_angel" in message
    assert "'rear_brace_angle'" in message


@pytest.mark.parametrize(
    ("old", "new", "line", "word"),
    [
        ("limit = 30", 'limit = "30 mm"', 9, "number"),
        ('op = ">="', 'op = "=>"', 8, "op"),
        ('cure = "Move the foot."', "", 5, "cure"),
        ("limit = 30", "", 5, "limit"),
        ('code = "angle"', 'code = "The Angle"', 6, "code"),
        ("limit = 30", 'limit = 30\nwhen = { homologted = ">= 2007" }', 10, "homologated"),
        ("limit = 30", 'limit = 30\nof = ["rear_brce"]', 10, "rear_brace"),
        # a kind of foot: a rule on tubes would look at nothing, and pass over it in silence
        ("limit = 30", 'limit = 30\nof = ["backstay"]', 10, "is a kind of foot"),
        ("limit = 30", "limit = 30\nclauze = '1'", 10, "clause"),
        # what nothing can be: the rule would never apply, or never pass
        (
            "limit = 30",
            'limit = 30\nwhen = { body = "coupe" }',
            10,
            "none of what it can be: closed",
        ),
        ("limit = 30", 'limit = 30\nwhen = { layout = ["halo", "cage"] }', 10, "half_hoops"),
        ("limit = 30", 'limit = 30\nwhen = { frame = "!= tub" }', 10, "unibody, frame"),
        ("limit = 30", 'limit = "steep"', 9, "rear_brace_angle is measured in deg"),
    ],
)
def test_a_slip_names_its_line(tmp_path: Path, old: str, new: str, line: int, word: str) -> None:
    message = fault(tmp_path, GOOD.replace(old, new))
    assert f"mine.toml:{line}" in message
    assert word in message


def test_a_limit_that_nothing_can_have_is_refused(tmp_path: Path) -> None:
    pattern = GOOD.replace("rear_brace_angle", "roof_pattern").replace('op = ">="', 'op = "in"')
    message = fault(tmp_path, pattern.replace("limit = 30", 'limit = ["x", "V"]'))
    assert "'V' is none of what it can be: none, single, x, v" in message
    size = GOOD.replace("rear_brace_angle", "tube_size")
    assert "tube_size is a size of two lengths, such as '45 x 2.5 mm'" in fault(tmp_path, size)
    message = fault(tmp_path, size.replace("limit = 30", 'limit = ["45 x 2.5 mm", "2.5 x 45 mm"]'))
    assert "a wall of 45 mm leaves no bore in a tube of 2.5 mm" in message


def test_what_a_text_can_be_is_all_that_is_measured() -> None:
    told: dict[str, set[object]] = {}
    for name in ("gravel-hatch", "sprint-wagon", "hillclimb-coupe", "track-roadster"):
        survey = Survey(demos.design(name))
        for q in quantities().values():
            if q.words:
                told.setdefault(q.name, set()).update(m.value for m in q.measure(survey, Pick()))
    assert {q.name for q in quantities().values() if q.unit == "text"} == {*told, "tube_process"}
    assert all(told[name] <= set(quantities()[name].words) for name in told)


def test_quantities_of_feet_are_those_that_take_kinds_of_them() -> None:
    """Any other yields of a kind of foot what it yields of a tube that the cage has not."""
    design = demos.design("gravel-hatch")
    survey = Survey(design)
    told = set()
    for q in quantities().values():
        some, none = (
            [m.value for m in q.measure(survey, Pick(roles=(role,)))]
            for role in ("hoop", "no_tube")
        )
        if some != none:
            assert q.feet, q.name
            told.add(q.name)
    assert {"plate_area", "plate_thickness", "plates_at_foot", "mounting_points"} <= told


def test_all_slips_are_told_at_once(tmp_path: Path) -> None:
    text = GOOD.replace("rear_brace_angle", "no_such_thing")
    message = fault(tmp_path, text + text.replace('"angle"', '"other"'))
    assert message.count("is no quantity") == 2


def test_two_rules_of_one_code(tmp_path: Path) -> None:
    assert '[rule entry 2] code = "angle": two rules have this code' in fault(tmp_path, GOOD + GOOD)


def test_what_needs_inspection_compares_nothing(tmp_path: Path) -> None:
    message = fault(tmp_path, GOOD.replace('op = ">="', 'op = ">="\nneeds = "inspection"'))
    assert "nothing is compared" in message


def test_the_profile_of_the_readme_works_without_code(tmp_path: Path) -> None:
    """Saved as it stands, held against a demo cage: passes, and fails with another limit."""
    (block,) = re.findall(r'```toml\n(kind = "rules".*?)```', README, re.DOTALL)
    path = tmp_path / "my-club.toml"
    path.write_text(block, encoding="utf-8")
    build = load_build("hillclimb-coupe")
    cage = members_only(build)
    rows = run(Design(build, cage=cage), groups=["rules"], rules=[str(path)])
    hoops = {f.subject: f.status for f in rows if f.code == "my-club/hoop-tube"}
    assert hoops["main_hoop"] is Status.PASS
    assert hoops["half_hoop_left"] is hoops["half_hoop_right"] is Status.FAIL
    found = {f.code: f for f in rows}
    assert found["my-club/brace-angle"].status is Status.PASS
    assert found["my-club/brace-angle"].certainty is Certainty.FROM_MEMORY
    assert found["my-club/welds"].status is Status.NEEDS_INSPECTION
    path.write_text(block.replace("[30, 60]", "[70, 80]"), encoding="utf-8")
    found = {f.code: f for f in run(Design(build, cage=cage), groups=["rules"], rules=[str(path)])}
    assert found["my-club/brace-angle"].status is Status.WARN


def test_print_of_a_profile_shows_gaps_and_certainty() -> None:
    profile = load_profile("nhra")
    text = profile_text(profile, width=80)
    assert max(map(len, text.splitlines())) <= 80
    assert "Not in this profile:" in text
    for gap in profile.file.gaps:
        assert gap.split()[0] in text
    for rule in profile.rules:
        assert f"{rule.entry.code}:" in text
        assert rule.certainty.value in text
    assert text.count("(from memory)") == sum(
        r.certainty is Certainty.FROM_MEMORY for r in profile.rules
    )


def test_every_quantity_says_what_it_is() -> None:
    text = quantities_text(width=80)
    for q in quantities().values():
        assert len(q.about) > 15, q.name
        assert f"{q.name} [{q.unit}]" in text


@pytest.mark.parametrize("path", RULES, ids=lambda p: p.stem)
def test_what_is_looked_at_on_the_car_says_its_limit_in_words(path: Path) -> None:
    for row in tomllib.loads(path.read_text(encoding="utf-8"))["rule"]:
        if row.get("needs") == "inspection" and "limit" in row:
            said = row["limit"]
            assert isinstance(said, str), row["code"]
            # a bare 25 tells neither how much of what nor whether it is the least or the most
            assert re.search(r"[A-Za-z]{4}|[A-Z]{3}|free|full", said), (row["code"], said)
