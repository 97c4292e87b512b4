"""Names for people: what the trade says, nothing lost, what is typed left as it is."""

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cagekit.inputs.member_kinds import MEMBER_KINDS
from cagekit.names import KEEP, at_start, bound, filled, in_words, named
from cagekit.parts.kinds import JOINTS, PLATES

TABLE = tomllib.loads(files("cagekit.data").joinpath("names.toml").read_text("utf-8"))
PARTS = st.lists(st.sampled_from(["bar", "main", "left", "a", "b", "pillar", "foot", "x", "2"]))
IDS = PARTS.map("_".join)


@pytest.mark.parametrize(
    ("id_", "name"),
    [
        ("main_hoop", "main hoop"),
        ("a_pillar_bar_left", "A-pillar bar left"),
        ("a_pillar_bar", "A-pillar bar"),
        ("a_pillar_bar_left.b", "A-pillar bar left B"),
        ("harness_bar_1", "harness bar 1"),
        ("foot_main_hoop_a", "foot of main hoop A"),
        ("foot_a_pillar_bar_left_b", "foot of A-pillar bar left B"),
        ("foot_main_hoop_b_front", "foot of main hoop B front"),
        ("backing_rear_brace_left_b", "backing plate of rear brace left B"),
        ("gusset_door_bar_1_b", "gusset of door bar 1 B"),
        (
            "gusset_hoop_diagonal_cross_1_b_to_a",
            "gusset of hoop diagonal cross 1 B towards A",
        ),
        # tubes whose own name ends in a letter: the last one is the end, and the only one
        ("foot_stay_a_b", "foot of stay a B"),
        ("gusset_stay_a_b", "gusset of stay a B"),
        ("foot_stay_b_a_top", "foot of stay b A top"),
        ("wing_a_to_b", "wing a towards B"),
        # pieces of bolted tubes
        ("rear_brace_left_piece_b", "rear brace left piece B"),
        ("rear_brace_left_piece_b.a", "rear brace left piece B end A"),
        ("foot_rear_brace_left_piece_b_b", "foot of rear brace left piece B end B"),
        ("x", "X"),
        ("v", "V"),
        # a user's own ids stay as typed
        ("footrest_a", "footrest a"),
        ("foot_rest", "foot rest"),
        ("my_brace_7", "my brace 7"),
        ("alfa_pillar", "alfa pillar"),
    ],
)
def test_as_the_trade_says_it(id_: str, name: str) -> None:
    assert named(id_) == name


@pytest.mark.parametrize("kind", [*MEMBER_KINDS, *PLATES, *JOINTS])
def test_a_kind_reads_as_its_own_row_tells_it(kind: str) -> None:
    """What the row's text calls it with its letters, its name does too."""
    about = MEMBER_KINDS[kind].about if kind in MEMBER_KINDS else {**PLATES, **JOINTS}[kind]
    told = about.partition(",")[0]
    lettered = re.match(r"[A-Z]-[a-z]", told)
    assert named(kind) == (told if lettered else kind.replace("_", " "))


@given(IDS)
def test_no_two_ids_of_one_shape_read_the_same(id_: str) -> None:
    """A name holds every letter of its id, in order, and no underscore."""
    name = named(id_)
    assert "_" not in name
    letters = iter(re.sub(r"\W", "", name).lower())
    assert all(c in letters for c in id_.replace("_", ""))


def test_ids_in_a_text() -> None:
    assert in_words("halo end a is coped to hoop_diagonal too") == (
        "halo end A is coped to hoop diagonal too"
    )
    assert in_words("a_pillar_bar_left.b under halo.a, main_hoop") == (
        "A-pillar bar left B under halo A, main hoop"
    )
    assert in_words("in the end a tube bends") == "in the end a tube bends"


@pytest.mark.parametrize(
    "typed",
    [
        "Lower the nodes (`height_rear`, `height_front`).",
        "Fix the bar: swing_out = false.",
        'give rear_brace split_by = ["main_hoop"]'.replace("give rear_brace ", ""),
        "on main_hoop.left at height 450",
        "[swing_out/grip]",
        "foot_main_hoop_a.dxf",
        "tapes.roof_to_header",
        "[members.main_hoop]",
    ],
)
def test_what_is_typed_in_a_file_stays(typed: str) -> None:
    assert in_words(typed) == typed


def test_a_sentence_begins_with_a_capital_and_keeps_the_rest() -> None:
    assert at_start(named("foot_main_hoop_a")) == "Foot of main hoop A"
    assert at_start("") == ""


@pytest.mark.parametrize(
    ("text", "set_"),
    [
        ("foot of main hoop A", "foot of main hoop~A"),
        ("door bar left cross 1 B towards A", "door bar left cross~1~B towards~A"),
        ("harness bar 1, harness bar 2", "harness bar~1, harness bar~2"),
        ("bend 2 of 4", "bend~2 of~4"),
        ("a wall of 3 mm", "a wall of 3 mm"),
        ("blank 20 1/8 in, 1.625 in x 0.134 in", "blank 20 1/8 in, 1.625 in x 0.134 in"),
        ("at 5.5 or A-pillar", "at 5.5 or A-pillar"),
        ("1 main hoop, 3 hoop diagonal cross 1", "1~main hoop, 3~hoop diagonal cross~1"),
        ("before 11, 9, 13", "before~11, 9,~13"),
    ],
)
def test_a_lone_letter_stays_with_its_word(text: str, set_: str) -> None:
    assert bound(text).replace(KEEP, "~") == set_
    assert bound(text).replace(KEEP, " ") == text


@given(st.lists(st.sampled_from(["main", "hoop", "A", "12", "B", "bar", "left"]), min_size=1))
def test_no_line_is_a_lone_letter(words: list[str]) -> None:
    """Whatever the width: a line starts with a word, unless the text does."""
    text = " ".join(words)
    lines = filled(text, 14).splitlines()
    assert " ".join(lines) == text
    assert not any(re.match(r"([A-Z]|\d+)\b", line) for line in lines[1:])


READ_OUT = {
    "names.py",
    "finding.py",  # the word of a status
    "make.py",  # the same
    "quantity.py",  # a quantity without a label
    "profile.py",  # a fact of a condition
    "params.py",  # a field of a file beside its slider
    "session.py",  # the same
    "sources_page.py",  # a table of data
}
"""Where an underscore becomes a space and no tube, plate, role or kind is meant."""


def test_ids_are_read_out_by_the_one_function() -> None:
    package = Path(str(files("cagekit")))
    by_hand = re.compile(r"""\.replace\(["']_["'], ["'] ["']\)|replaceAll\("_", " "\)""")
    found = {p.name for p in package.rglob("*.py") if by_hand.search(p.read_text("utf-8"))}
    assert found <= READ_OUT
