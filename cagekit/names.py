"""Names for people: what is read out where the program has an id.

Ids are for files, tables that programs read and what is typed in TOML. Wherever a person reads, an
id goes through `named`, a text that holds ids through `in_words`. What the trade writes otherwise
than with spaces stands in ``cagekit/data/names.toml``.
"""

from __future__ import annotations

import re
import textwrap
from functools import cache, lru_cache

from cagekit.data import tables
from cagekit.errors import CagekitError, GeometryError

KEEP = "\u00a0"
"""A space that no line breaks at."""
KNOWN = 4000
"""Texts whose words are remembered: findings of a few versions of a cage."""

_BOX = "top|base|front|rear|left|right"
_AT_END = re.compile(r"\.([ab])$")
_TOWARDS = re.compile(r"_to_([ab])$")
_PLATE = re.compile(rf"([a-z]+)_(.+)_([ab])(?:_({_BOX}))?$")
_PIECE = re.compile(r"_piece_([a-c])$")
# what is typed in a file stands in quotes, backticks or brackets, or before = ; a place has a dot
_IDS = re.compile(
    r"(?<![\w\"'`\[/.-])[a-z0-9]+(?:_[a-z0-9]+)+(?:\.[ab])?(?![\w\"'`\]/]|\s?=|\.\w)"
    r"|(?<![\w\"'`\[/.-])[a-z]\w*\.[ab](?![\w\"'`\]/.-])"
)
_ENDS = re.compile(r"\bend ([ab])(?=$|[,;:.)]| (?:of|to|on|under|is|and|or|towards|down|up)\b)")
_BINDS = re.compile(
    r"(?<=[A-Za-z0-9]) "
    r"(?=[A-Z](?![\w°%/-]|\.\w)|\d{1,2}(?![\w°%/-]|\.\d| (?:mm|in|m|ft|kg|lb|x|\d+/\d+)\b))"
)
_LEADS = re.compile(r"(?:(?<=^)|(?<=, ))(\d{1,3}) (?=[A-Za-z])")
_LAST = re.compile(r"(?<=,) (?=(?:[A-Z]|\d{1,2})$)")


@cache
def named(id_: str) -> str:
    """Return what people call a tube, a plate, a role or a kind.

    Args:
        id_: as the program has it; with ``.a`` or ``.b`` that end of it.

    >>> named("a_pillar_bar_left.b")
    'A-pillar bar left B'
    >>> named("foot_main_hoop_a")
    'foot of main hoop A'
    >>> named("gusset_door_bar_left_cross_1_b_to_a")
    'gusset of door bar left cross 1 B towards A'
    >>> named("harness_bar_piece_a.b")
    'harness bar piece A end B'
    """
    end = _AT_END.search(id_)
    if end:
        return _at(id_[: end.start()], end[1])
    way = _TOWARDS.search(id_)
    if way:
        return f"{named(id_[: way.start()])} towards {way[1].upper()}"
    piece = _PIECE.search(id_)
    if piece:
        return f"{named(id_[: piece.start()])} piece {piece[1].upper()}"
    plate = plate_at_end(id_)
    if plate:
        kind, tube, letter, box = plate
        return " ".join(filter(None, (tables("names")["plates"][kind], _at(tube, letter), box)))
    text = f"_{id_}_"
    for part, said in tables("names")["words"].items():
        text = text.replace(f"_{part}_", f"_{said}_")
    return text[1:-1].replace("_", " ")


def plate_at_end(id_: str) -> tuple[str, str, str, str] | None:
    """Read an id that the program makes of the tube end a plate is fitted to.

    Args:
        id_: of a plate.

    Returns:
        Kind of the plate, tube, end, and place in the box or nothing; None for any other id.
    """
    found = _PLATE.fullmatch(id_)
    if not found or found[1] not in tables("names")["plates"]:
        return None
    return found[1], found[2], found[3], found[4] or ""


def _at(tube: str, end: str) -> str:
    """An end of a tube; that of a piece, which has a letter too, is called an end."""
    return f"{named(tube)} {'end ' if _PIECE.search(tube) else ''}{end.upper()}"


@lru_cache(maxsize=KNOWN)
def in_words(text: str) -> str:
    """Return a text with its ids as people read them; what is to be typed in a file stays.

    >>> in_words("rear_brace_left.b under a_pillar_bar_left")
    'rear brace left B under A-pillar bar left'
    >>> in_words("weld of roof_rail_left end a")
    'weld of roof rail left end A'
    >>> in_words("Use fewer bends (`straight_legs = true`).")
    'Use fewer bends (`straight_legs = true`).'
    """
    found = _IDS.sub(lambda m: named(m[0]), text)
    return _ENDS.sub(lambda m: f"end {m[1].upper()}", found)


def error_words(error: CagekitError) -> str:
    """Return an error as people read it: of a shape the names; what is typed in a file stays."""
    said = str(error)
    return in_words(said) if isinstance(error, GeometryError) else said


def at_start(words: str) -> str:
    """Return words as they begin a sentence."""
    return words[:1].upper() + words[1:]


def bound(text: str) -> str:
    """Return a text whose lone letters and numbers stay on the line of their word.

    That is the word before, or for the number before a name the word behind.

    >>> bound("3 rear brace left B").replace(KEEP, "~")
    '3~rear brace left~B'
    """
    text = _LEADS.sub(rf"\1{KEEP}", _BINDS.sub(KEEP, text))
    return _LAST.sub(KEEP, text)


def filled(text: str, width: int, *, first: str = "", rest: str = "") -> str:
    """Return a text in lines of a width, every lone letter and number with its word.

    Args:
        text: to be set.
        width: of a line, letters.
        first: before the first line.
        rest: before every other line.
    """
    lines = textwrap.fill(
        bound(text),
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return lines.replace(KEEP, " ")
