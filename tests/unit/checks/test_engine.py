"""The engine: what passes, fails, lacks input, needs inspection or does not apply."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.checks.engine import evaluate
from cagekit.checks.finding import Evidence, Finding, Status, to_json_text, worst_first
from cagekit.checks.profile import compile_file
from cagekit.checks.quantities.survey import Survey
from cagekit.checks.sheet import sheet_rows
from cagekit.checks.table import explain_text, table_text
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.source import Certainty
from cagekit.materials.tubes import Tube

HEAD = """kind = "rules"
name = "mine"
title = "My rules"
edition = "2026"
certainty = "from memory"

"""


def rule(code: str = "size", **fields: Any) -> str:
    base = {
        "quantity": "tube_size", "op": ">=", "limit": ["45 x 2.5", "50 x 2.0"],
        "text": "Tubes are large.", "cure": "Use a larger tube.",
    }  # fmt: skip
    lines = [f'code = "{code}"']
    for name, value in {**base, **fields}.items():
        if value is None:
            continue
        lines.append(f"{name} = {_toml(value)}")
    return "[[rule]]\n" + "\n".join(lines) + "\n\n"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return json.dumps(value)


def car(**facts: Any) -> Any:
    base = {
        "body": "closed", "frame": "unibody", "doors": 3, "class_": "", "homologated": None,
        "mass": None, "quarter_mile_time": None, "engine_capacity": None, "driver_side": "left",
        "suspension_x": None,
    }  # fmt: skip
    return SimpleNamespace(**{**base, **facts})


def tubes(*sizes: tuple[str, float, float]) -> list[Member]:
    out = []
    for name, od, wall in sizes:
        role, _, side = name.rpartition("_")
        sided = side in ("left", "right")
        out.append(
            Member(
                id=name,
                role=role if sided else name,
                side=side if sided else "centre",  # type: ignore[arg-type]
                tube=Tube(od=od, wall=wall, material="e355-n"),
                path=CentreLine.straight((0, 0, 0), (0, 0, 900)),
            )
        )
    return out


def judge(tmp_path: Path, text: str, members: list[Member], **facts: Any) -> list[Finding]:
    path = tmp_path / "mine.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    drivers = facts.pop("drivers", ())
    build = SimpleNamespace(car=car(**facts), drivers=drivers, entries=())
    cage = Cage("by hand", members)
    design = Design(build, cage=cage, name="by hand", units="mm", rules=(), files={})  # type: ignore[arg-type]
    survey = Survey(design)
    return list(evaluate(compile_file(path), survey))


GOOD = tubes(("main_hoop", 45.0, 2.5), ("door_bar_left", 50.0, 2.0))
THIN = tubes(("main_hoop", 45.0, 2.5), ("door_bar_left", 40.0, 2.0), ("door_bar_right", 40.0, 2.0))


def test_all_that_pass_are_one_finding_with_the_most_critical(tmp_path: Path) -> None:
    (f,) = judge(
        tmp_path, rule(), tubes(("main_hoop", 60.0, 3.0), ("halo", 45.0, 2.5), ("strut", 50.0, 2.5))
    )
    assert f.status is Status.PASS
    assert f.subject == "3 parts"
    assert f.measured == (45.0, 2.5)
    assert f.evidence.members == ("main_hoop", "halo", "strut")
    assert "halo" in f.evidence.note


def test_each_failure_is_a_finding(tmp_path: Path) -> None:
    found = judge(tmp_path, rule(), THIN)
    failed = [f for f in found if f.status is Status.FAIL]
    assert [f.subject for f in failed] == ["door_bar_left", "door_bar_right"]
    assert all(f.measured == (40.0, 2.0) and f.cure == "Use a larger tube." for f in failed)
    assert all(f.evidence.members == (f.subject,) for f in failed)


def test_every_finding_carries_its_source(tmp_path: Path) -> None:
    for f in judge(tmp_path, rule(clause="8.3"), THIN):
        assert (f.source, f.clause, f.edition) == ("My rules", "8.3", "2026")
        assert f.certainty is Certainty.FROM_MEMORY
        assert f.code == "mine/size"
        assert f.written == "45 x 2.5 mm or 50 x 2.0 mm"


def test_advice_warns(tmp_path: Path) -> None:
    found = judge(tmp_path, rule(level="should"), THIN)
    assert {f.status for f in found} == {Status.WARN, Status.PASS}


def test_nothing_to_look_at_does_not_apply(tmp_path: Path) -> None:
    (f,) = judge(tmp_path, rule(of=["halo"]), GOOD)
    assert f.status is Status.NOT_APPLICABLE
    assert f.subject == "halo"


def test_a_role_can_be_left_out(tmp_path: Path) -> None:
    (f,) = judge(tmp_path, rule(of=["!door_bar"]), THIN)
    assert f.status is Status.PASS
    assert f.subject == "main_hoop"


def test_a_set_is_its_roles_and_a_side_is_the_drivers(tmp_path: Path) -> None:
    sets = '[sets]\nbars = ["door_bar"]\n\n'
    found = judge(tmp_path, sets + rule(of=["bars"], side="passenger"), THIN)
    assert [f.subject for f in found] == ["door_bar_right"]


@pytest.mark.parametrize(
    ("when", "facts", "status"),
    [
        ({"homologated": ">= 2007"}, {"homologated": 2010}, Status.FAIL),
        ({"homologated": ">= 2007"}, {"homologated": 2004}, Status.NOT_APPLICABLE),
        ({"homologated": ">= 2007"}, {}, Status.NEEDS_INPUT),
        ({"body": "open"}, {}, Status.NOT_APPLICABLE),
        ({"body": ["open", "closed"]}, {}, Status.FAIL),
        ({"mass": "< 1700 lb"}, {"mass": 770.0}, Status.FAIL),
        ({"mass": "< 1700 lb"}, {"mass": 772.0}, Status.NOT_APPLICABLE),
        ({"mass": ["> 600 kg", "<= 700 kg"]}, {"mass": 700.0}, Status.FAIL),
        ({"mass": ["> 600 kg", "<= 700 kg"]}, {"mass": 600.0}, Status.NOT_APPLICABLE),
        ({"mass": [600, 700]}, {"mass": 600.0}, Status.FAIL),
        ({"mass_with_driver": "< 900"}, {"mass": 700.0}, Status.NEEDS_INPUT),
        (
            {"mass_with_driver": "< 900"},
            {"mass": 700.0, "drivers": (SimpleNamespace(role="driver", mass=95.0),)},
            Status.FAIL,
        ),
        ({"co_driver": True}, {}, Status.NOT_APPLICABLE),
        (
            {"co_driver": True},
            {"drivers": (SimpleNamespace(role="co_driver", mass=None),)},
            Status.FAIL,
        ),
        ({"class": "rally"}, {"class_": "rally"}, Status.FAIL),
        ({"class": "rally"}, {}, Status.NEEDS_INPUT),
        ({"bar_count": ">= 3"}, {}, Status.FAIL),
        ({"bar_count": "> 3"}, {}, Status.NOT_APPLICABLE),
    ],
)
def test_conditions(tmp_path: Path, when: Any, facts: Any, status: Status) -> None:
    found = judge(tmp_path, rule(when=when), THIN, **facts)
    assert worst_first(found)[0].status is status
    if status is Status.NEEDS_INPUT:
        assert "Give" in found[0].cure
        assert found[0].measured is None


@pytest.mark.parametrize(
    ("when", "facts", "words"),
    [
        ({"homologated": "< 2002"}, {"homologated": 2004}, "only for cars homologated before 2002"),
        ({"homologated": ">= 2007"}, {"homologated": 2004}, "only for cars homologated from 2007"),
        ({"homologated": "<= 2001"}, {"homologated": 2004}, "only for cars homologated up to 2001"),
        ({"homologated": [1990, 2001]}, {"homologated": 2004}, "homologated from 1990 to 2001"),
        ({"co_driver": True}, {}, "only when a co-driver rides along"),
        ({"engine_capacity": "> 2000"}, {"engine_capacity": 1600.0}, "more than 2000 cm3"),
        ({"quarter_mile_time": [7.5, 9.99]}, {"quarter_mile_time": 12.0}, "time 7.5 to 9.99 s"),
        ({"mass": "< 700"}, {"mass": 772.0}, "only when mass less than 700 kg"),
        ({"homologated": ">= 2007"}, {}, "(applies for cars homologated from 2007)"),
        ({"mass": "< 700"}, {}, "(applies when mass less than 700 kg)"),
    ],
)
def test_a_condition_is_told_as_people_say_it(
    tmp_path: Path, when: Any, facts: Any, words: str
) -> None:
    (f,) = judge(tmp_path, rule(when=when), THIN, **facts)
    assert words in f.text


def test_another_way_to_meet_it(tmp_path: Path) -> None:
    (f,) = judge(tmp_path, rule(unless={"body": "closed"}), THIN)
    assert f.status is Status.NOT_APPLICABLE
    assert "met the other way" in f.text
    found = judge(tmp_path, rule(unless={"body": "open"}), THIN)
    assert worst_first(found)[0].status is Status.FAIL


def test_what_is_missing_is_never_a_pass(tmp_path: Path) -> None:
    (f,) = judge(tmp_path, rule(quantity="beyond_suspension", op="<=", limit=0), THIN)
    assert f.status is Status.NEEDS_INPUT
    assert "suspension_x" in f.cure
    assert f.evidence.members == ("main_hoop", "door_bar_left", "door_bar_right")


def test_lines_for_the_inspection_sheet(tmp_path: Path) -> None:
    text = rule("welds", quantity=None, op=None, limit=None, cure=None, needs="inspection")
    text += rule(
        "seen", quantity="tube_od", op=None, limit="as bought", cure=None, needs="inspection"
    )
    text += rule("paper", quantity=None, op=None, limit="the certificate", cure=None, needs="input")
    found = judge(tmp_path, text, GOOD)
    by_code = {f.code: f for f in found}
    assert by_code["mine/welds"].status is Status.NEEDS_INSPECTION
    assert by_code["mine/paper"].status is Status.NEEDS_INPUT
    assert by_code["mine/paper"].cure == "Give the certificate."
    assert [f.measured for f in found if f.code == "mine/seen"] == [45.0, 50.0]
    rows = {r.code: r for r in sheet_rows(found)}
    assert len(rows) == 3
    assert rows["mine/seen"].subject == "door_bar_left, main_hoop"
    assert rows["mine/seen"].measured == "50 mm, 45 mm"
    assert rows["mine/welds"].sign
    assert rows["mine/welds"].signature == ""
    assert "from memory" in rows["mine/welds"].source


# --- findings, their order and their faces ------------------------------------------------------


def findings(tmp_path: Path) -> list[Finding]:
    text = rule() + rule("advice", level="should") + rule("old", when={"homologated": ">= 2007"})
    text += rule("welds", quantity=None, op=None, limit=None, cure=None, needs="inspection")
    text += rule("other", of=["halo"])
    return judge(tmp_path, text, THIN)


def test_worst_first(tmp_path: Path) -> None:
    ranks = [f.status.rank for f in worst_first(findings(tmp_path))]
    assert ranks == sorted(ranks)
    assert len(set(ranks)) == len(Status)


def test_of_two_failures_the_larger_excess_is_first() -> None:
    def one(code: str, measured: float) -> Finding:
        return Finding(
            code=code, group="rules", subject="x", quantity="q", status=Status.FAIL,
            measured=measured, op="<=", limit=100.0, unit="mm",
        )  # fmt: skip

    assert [f.code for f in worst_first([one("a", 110.0), one("b", 190.0)])] == ["b", "a"]


def test_json_is_the_contracts_row_and_stable(tmp_path: Path) -> None:
    rows = json.loads(to_json_text(findings(tmp_path)))
    keys = [
        "code", "group", "subject", "quantity", "measured", "op", "limit", "unit", "status",
        "source", "clause", "edition", "evidence", "cure",
    ]  # fmt: skip
    for row in rows:
        assert list(row)[: len(keys)] == keys
        assert row["status"] in {s.value for s in Status}
        assert row["certainty"] == "from memory"
    shuffled = to_json_text(reversed(findings(tmp_path)))
    assert shuffled == to_json_text(findings(tmp_path))


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("everything", [False, True])
def test_the_table_fits_80_columns_and_has_no_colour(
    tmp_path: Path, units: Any, everything: bool
) -> None:
    text = table_text(findings(tmp_path), units=units, width=80, everything=everything)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "\x1b" not in text
    assert "legal" not in text.lower()
    assert text.startswith("2 fail, 2 warn, 1 need input, 1 to look at")
    assert ("pass    main hoop" in text) is everything
    assert ("Cannot be judged yet" in text) is everything


def test_subjects_that_say_the_same_share_a_block(tmp_path: Path) -> None:
    text = table_text(findings(tmp_path))
    assert "door bar left, door bar right 40 x 2 mm each" in text


def test_a_fact_is_told_once_with_all_its_limits(tmp_path: Path) -> None:
    """One number held against two limits of two books is one block; fails stand before warns."""

    def one(code: str, subject: str, status: Status, measured: float, limit: float) -> Finding:
        return Finding(
            code=code, group="fit", subject=subject, quantity="helmet to hoop", status=status,
            measured=measured, op="<=", limit=limit, unit="mm", measures="helmet_to_hoop",
            cure="Move the seat.",
        )  # fmt: skip

    found = [
        one("a/x", "tall", Status.WARN, 160.0, 152.4),
        one("b/x", "tall", Status.FAIL, 160.0, 150.0),
        one("c/y", "short", Status.WARN, 151.0, 100.0),
    ]
    rows = table_text(found).splitlines()
    assert rows == [
        "1 fail, 2 warn",
        "",
        "FAIL  helmet to hoop: tall 160 mm",
        "      must be at most 150 mm: [b/x]",
        "      should be at most 152.4 mm: [a/x]",
        "      Cure: Move the seat.",
        "warn  helmet to hoop: short 151 mm",
        "      should be at most 100 mm: [c/y]",
        "      Cure: Move the seat.",
    ]


def test_sides_share_a_block_and_one_number_with_unlike_limits_too() -> None:
    def one(code: str, subject: str, what: str, measured: float, limit: float) -> Finding:
        return Finding(
            code=code, group="car", subject=subject, quantity=what, status=Status.FAIL,
            measured=measured, op=">=", limit=limit, unit="mm",
            cure=f"Move {subject} off." if what.startswith("room") else "Use a larger tube.",
        )  # fmt: skip

    found = [
        one("car/left-door", "bar_l", "room to left door", -47.0, 0.0),
        one("car/right-door", "bar_r", "room to right door", -44.0, 0.0),
        one("a/size", "hoop", "outside diameter", 38.1, 45.0),
        one("a/size", "rail", "outside diameter", 38.1, 40.0),
    ]
    assert table_text(found).splitlines() == [
        "4 fail, 0 warn",
        "",
        "FAIL  room to left/right door: bar l -47 mm, bar r -44 mm",
        "      must be at least 0 mm: [car/left-door]; [car/right-door]",
        "      Cure: Move each off.",
        "FAIL  outside diameter: hoop, rail 38.1 mm each",
        "      must be at least 45 mm for hoop: [a/size]",
        "      must be at least 40 mm for rail: [a/size]",
        "      Cure: Use a larger tube.",
    ]


def test_a_limit_is_shown_as_its_source_writes_it(tmp_path: Path) -> None:
    found = judge(tmp_path, rule(limit=["1 3/4 x 0.118 in"]), THIN)
    metric, inch = (table_text(found, units=u) for u in ("mm", "in"))  # type: ignore[arg-type]
    assert "44.45 x 3.0 mm" in metric or "44.45 x 3 mm" in metric
    assert "(written 1 3/4 x 0.118 in)" in " ".join(metric.split())
    assert "1.772 x 0.098 in must be at least 1 3/4 x 0.118 in" in " ".join(inch.split())


def test_why_tells_all(tmp_path: Path) -> None:
    bad = worst_first(findings(tmp_path))[0]
    text = explain_text(bad, width=80)
    assert max(len(line) for line in text.splitlines()) <= 80
    for word in (
        "mine/size",
        "fail",
        "door bar left",
        "40 x 2 mm",
        "Tubes are large.",
        "Use a larger tube.",
        "nobody has looked it up",
    ):
        assert word in " ".join(text.split())


def test_evidence_of_loose_values() -> None:
    e = Evidence.of("main_hoop", points=[(1, 2, 3)], note="n")
    assert e.to_json() == {
        "members": ["main_hoop"], "plates": [], "points": [[1.0, 2.0, 3.0]], "note": "n",
    }  # fmt: skip
