"""What a line that is no TOML was probably meant as, in words that tell the cure."""

from __future__ import annotations

import re

_SAID = {
    "cannot overwrite a value": "this stands in its table twice",
    r"illegal character '\n'": "a text has no quote at its end",
    "unclosed array": "a list above has no ] at its end",
    "expected newline or end of document after a statement": "the value goes on past its end",
    "expected '=' after a key in a key/value pair": "a name is followed by no =",
    "expected ']' at the end of a table declaration": "the name of a table has no ] at its end",
    "expected ']]' at the end of an array declaration": "[[ has no ]] at its end",
    "unclosed inline table": "{ has no } at its end in the same line",
}
"""What the reader of TOML calls slips of the pen, in words that tell where to look."""

_CURES: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), cure)
    for pattern, cure in (
        ("[\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb]", 'Use straight quotes, as in "x".'),
        (r"^[\w.-]+\s*:", "Write = after the name, not a colon."),
        (r"^[^=\[#]*[^\x00-\x7f=][^=]*=", "A name is of letters a to z, digits, _ and -."),
        (r"=\s*[-+]?\d+,\d+\s*(#|$)", "Write a decimal point, not a comma."),
        (r"=\s*[-+]?\.\d|=\s*[-+]?\d+\.\s*(#|$)", "Write a digit before and after the point."),
        (r"=\s*[-+]?0\d", "A number has no zeros before it."),
        (r"=\s*\?", "Measure it, and write the number in place of the ?."),
        (
            r"=\s*[-+]?\d[\d.]*\s*([a-z]+\b|/|'|\"|\d+\s*/)",
            'A length with a unit or a fraction stands in quotes, as in "1 5/8 in".',
        ),
        (r"=\s*(True|False|TRUE|FALSE|yes|no)\b", "It is true or false, in small letters."),
        (r"=\s*[A-Za-z_]", 'A text stands in quotes, as in "mm".'),
        (r"[\d\"]\s+[-+\d\"]|[\d\"]\s*;", "What stands in a list is parted by commas."),
    )
)
"""Looks of a line, and what would do; the first that fits is said."""


def slip_of(said: str, row: str) -> tuple[str, str]:
    """What is wrong with a line, and what would do where its look tells.

    Args:
        said: what the reader of TOML says, without the place.
        row: the line.
    """
    said = said.lower()
    table = re.fullmatch(r"cannot declare \((.*)\) twice", said)
    if table or (said == "cannot overwrite a value" and row.startswith("[")):
        name = row.strip("[] ").split("]")[0]
        cure = (
            f"What is [{name}] above cannot be a list here."
            if row.startswith("[[")
            else f"Write all of it in one place; a further entry of a list begins with [[{name}]]."
        )
        return f"the table {name!r} stands above already", cure
    what = _SAID.get(said, said)
    if said.startswith(("cannot", "unescaped", "illegal")):
        return what, ""
    return what, next((cure for look, cure in _CURES if look.search(row)), "")
