"""Texts as papers set them: whoever wrote them, they stay on the page and in their order."""

from __future__ import annotations

import pytest

from cagekit.writers.pdf import WHOLE, settable

BREAK = "\u200b"


@pytest.mark.parametrize(
    "text",
    ["rear brace left, 3 mm", "gusset_hoop_diagonal_cross_2_a_to_b.dxf", "Bügel, עוגן", "a\nb"],
)
def test_what_people_write_is_set_as_it_is(text: str) -> None:
    assert settable(text).replace("\u00a0", " ") == text


def test_a_word_longer_than_its_column_may_break() -> None:
    word = "x" * (3 * WHOLE + 1)
    parts = settable(word).split(BREAK)
    assert [len(p) for p in parts] == [WHOLE, WHOLE, WHOLE, 1]
    assert "".join(parts) == word
    assert settable("x" * WHOLE) == "x" * WHOLE


@pytest.mark.parametrize("sign", ["\u202e", "\u2067", "\u200f", "\x1b", "\x07"])
def test_a_sign_that_hides_or_turns_letters_is_shown(sign: str) -> None:
    """Unicode Standard Annex 9: overrides and isolates reorder what follows them."""
    shown = settable(f"gap {sign}31 mm")
    assert sign not in shown
    assert shown == f"gap {sign.encode('unicode_escape').decode()}31 mm"
