"""The list of parts that can be made alone, which is read without them."""

from __future__ import annotations

from cagekit.parts.kinds import part_kinds, summaries


def test_every_kind_is_listed_and_nothing_else() -> None:
    assert list(summaries()) == list(part_kinds())
    assert all(kind.summary == summaries()[name] for name, kind in part_kinds().items())
