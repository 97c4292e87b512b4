"""The chapter of sources: what the numbers rest on, and how sure each is, read off the data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from importlib.resources import files

from cagekit.checks.profile import Profile, load_profile
from cagekit.data import rows
from cagekit.guide.markdown import cell, table
from cagekit.inputs.presets import list_presets
from cagekit.materials.source import Certainty

HEAD = """# What the numbers rest on

Made from the data that the package works with. Every row of a table and every rule of a book
carries its source and how sure it is:

- `read in text`: the document was open when the number was written down;
- `in two editions`: read in two editions that agree;
- `paraphrase`: taken from somebody's account of the document;
- `from memory`: known to the trade, not looked up;
- `common practice`: a habit of the trade that no document says;
- `measured`: of the build itself.

The rulebook in force, the mill certificate and the tape measure go before all of them.
"""

ABOUT: Mapping[str, str] = {
    "anthropometry": "sizes of people",
    "cutting": "what a cutting process can do",
    "fasteners": "bolts, grades and holes",
    "fillers": "welding wire and rod",
    "headforms": "heads and helmets",
    "pin_lengths": "lengths that bolts and pins are sold in",
    "pins": "pins of swing-out bars, with sleeve, washer and hole",
    "plates": "plate in stock",
    "process_thickness": "thicknesses that a process cuts",
    "steels": "steels with their strengths",
    "stock": "lengths that tube is sold in",
    "tolerances": "how far bought tube may differ from its size",
    "tubes": "tube in stock",
    "usual_ranges": "usual ranges of fields of car and driver sheets",
    "weld_softening": "strength beside a weld",
}


def page() -> Iterator[str]:
    """The page's Markdown."""
    yield HEAD
    yield "\n## Tables\n"
    names = sorted(
        p.name.removesuffix(".csv")
        for p in files("cagekit.data").iterdir()
        if p.name.endswith(".csv")
    )
    for name in names:
        yield from _table(name)
    yield "\n## Books\n\n"
    books = [
        load_profile(p.name) for p in list_presets() if p.kind == "rules" and p.origin == "shipped"
    ]
    yield table(("Book", "Edition", "Rules", *Certainty), (_book(b) for b in books))


def _table(name: str) -> Iterator[str]:
    found = rows(name)
    sure = Counter(r.get("certainty") or r.get("how") or "not said" for r in found)
    sources = Counter(r["source"] for r in found)
    how = ", ".join(f"{n} {word}" for word, n in sure.most_common())
    about = ABOUT.get(name, name.replace("_", " "))
    yield f"\n### {about[:1].upper()}{about[1:]}\n\n"
    yield f"`data/{name}.csv`, {len(found)} rows: {cell(how)}.\n\n"
    yield table(("Source", "Rows"), ((cell(s), str(n)) for s, n in sources.most_common()))


def _book(book: Profile) -> tuple[str, ...]:
    sure = Counter(r.certainty for r in book.rules)
    counts = [str(sure[c]) if sure[c] else "" for c in Certainty]
    title = f"`{book.name}`: {cell(book.file.title)}"
    return (title, cell(book.file.edition or ""), str(len(book.rules)), *counts)
