"""The page as one HTML text: markup, style and scripts of our own, and the data.

What comes from files stands in the data only, never in markup, and the page's own policy lets
nothing else run or load: scripts and style are allowed by their hashes.

Source: W3C Content Security Policy Level 3, section 6.7.3 (matching of inline scripts by hash).
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import Any

SCRIPTS = ("measure.js", "drawing.js", "viewer.js", "strength.js", "page.js")
LIVE_SCRIPTS = (*SCRIPTS[:-1], "wait.js", SCRIPTS[-1], "live.js")
STYLE = "page.css"
MARKUP = "page.html"


def html(data: Any, *, title: str, picture: bytes = b"", live: bool = False) -> str:
    """The whole page.

    Args:
        data: JSON values; see ``page_data``.
        title: of the window.
        picture: PNG that is shown where the browser cannot draw.
        live: for the page that is served, which talks to its server and to nothing else.
    """
    script, style = _script(live), asset(STYLE)
    still = f"data:image/png;base64,{b64encode(picture).decode('ascii')}" if picture else ""
    parts = {
        "policy": escape(policy(live=live)),
        "title": escape(title),
        "style": style,
        "data": inert(data),
        "picture": still,
        "script": script,
    }
    return _filled(asset(MARKUP), parts)


def _filled(text: str, parts: Mapping[str, str]) -> str:
    """Put parts in place of their marks; no mark within a part is looked at."""
    out = ""
    while True:
        head, mark, rest = text.partition("<!--")
        if not mark:
            return out + text
        name, _, text = rest.partition("-->")
        out += head + parts[name]


def policy(*, live: bool) -> str:
    """The content security policy; the served page may ask its own server."""
    own = "'self'" if live else "'none'"
    image = "'self' data:" if live else "data:"
    return (
        f"default-src 'none'; script-src '{_hash(_script(live))}'; "
        f"style-src '{_hash(asset(STYLE))}'; img-src {image}; connect-src {own}; "
        "base-uri 'none'; form-action 'none'"
    )


def inert(data: Any) -> str:
    """JSON that cannot end its script element, whatever its texts say."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for char in ("<", ">", "&", "\u2028", "\u2029"):
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text


@cache
def asset(name: str) -> str:
    """Text of one of the page's own files."""
    place = files("cagekit.page").joinpath("assets", name)
    return place.read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _script(live: bool) -> str:
    return "\n".join(asset(n) for n in (LIVE_SCRIPTS if live else SCRIPTS))


@cache
def _hash(text: str) -> str:
    return f"sha256-{b64encode(sha256(text.encode()).digest()).decode('ascii')}"
