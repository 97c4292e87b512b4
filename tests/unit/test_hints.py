"""Names close to what was typed."""

from __future__ import annotations

from cagekit.hints import closest, did_you_mean

NAMES = ("main_hoop", "front_hoop", "halo", "harness_bar")


def test_case_and_hyphens_do_not_matter() -> None:
    assert closest("Main-Hoop", NAMES)[0] == "main_hoop"
    assert closest("main_hop", NAMES)[0] == "main_hoop"


def test_a_piece_of_a_name_finds_it() -> None:
    assert closest("harness", NAMES) == ["harness_bar"]


def test_what_begins_as_typed_comes_first() -> None:
    assert closest("cds-45", ("cds-48x2.5", "cds-45x2.5", "cds-45x3.0"))[:2] == [
        "cds-45x2.5",
        "cds-45x3.0",
    ]


def test_nothing_near_lists_what_there_is() -> None:
    assert closest("zzzz", NAMES) == []
    assert did_you_mean("zzzz", NAMES) == "Known: front_hoop, halo, harness_bar, main_hoop."
    assert did_you_mean("zzzz", []) == ""
    assert did_you_mean("zzzz", map(str, range(20))).endswith(", ...")
    # one more than is shown of a long list: none of them stays hidden
    assert did_you_mean("zzzz", map(str, range(13))).endswith(", 9.")
    assert did_you_mean("hallo", NAMES) == "Did you mean 'halo'?"
