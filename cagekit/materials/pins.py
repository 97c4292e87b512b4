"""Pins of swing-out bars: bolts and quick-release pins, with their sleeves, washers and holes."""

from __future__ import annotations

from functools import cache
from typing import Literal

from msgspec import Struct

from cagekit.data import Row, rows
from cagekit.errors import NotFoundError
from cagekit.hints import did_you_mean
from cagekit.materials.source import Certainty, certainty
from cagekit.units import INCH

PinKind = Literal["bolt", "quick-release"]

_LENGTH = {"mm": 1.0, "in": INCH}


class PinSize(Struct, frozen=True, kw_only=True):
    """One size of pin with all that goes round it; lengths mm.

    Args:
        size: e.g. ``"3/8"`` or ``"M10"``.
        diameter: nominal.
        thread: of the bolt of that size, key of the fastener table.
        hole: in the bracket plate.
        sleeve_od: tube welded through the bar.
        sleeve_wall: its wall.
        sleeve_bore: its bore as finished.
        spacer_od: spacer washer between sleeve and plate.
        spacer_thickness: its thickness.
        side_play: between the plates and what stands between them, both sides together.
        washer_od: washer under head and nut.
        washer_thickness: its thickness.
        head_height: of the hexagon head.
        nut_height: of the nut.
        source: documents of the row.
        certainty: how sure the row is.
    """

    size: str
    diameter: float
    thread: str
    hole: float
    sleeve_od: float
    sleeve_wall: float
    sleeve_bore: float
    spacer_od: float
    spacer_thickness: float
    side_play: float
    washer_od: float
    washer_thickness: float
    head_height: float
    nut_height: float
    source: str
    certainty: Certainty


class PinLengths(Struct, frozen=True, kw_only=True):
    """Lengths that a kind of pin of one size is sold in, mm, rising.

    For a bolt under the head, for a quick-release pin the usable length (its grip).
    ``thread_length`` is the threaded part of a bolt, 0 for a pin without thread.
    """

    kind: PinKind
    size: str
    lengths: tuple[float, ...]
    thread_length: float
    source: str
    certainty: Certainty


def _size(row: Row) -> PinSize:
    f = _LENGTH[row["unit"]]
    return PinSize(
        size=row["size"],
        diameter=float(row["diameter"]) * f,
        thread=row["thread"],
        hole=float(row["hole"]) * f,
        sleeve_od=float(row["sleeve_od"]) * f,
        sleeve_wall=float(row["sleeve_wall"]) * f,
        sleeve_bore=float(row["sleeve_bore"]) * f,
        spacer_od=float(row["spacer_od"]) * f,
        spacer_thickness=float(row["spacer_thickness"]) * f,
        side_play=float(row["side_play"]) * f,
        washer_od=float(row["washer_od"]) * f,
        washer_thickness=float(row["washer_thickness"]) * f,
        head_height=float(row["head_height"]) * f,
        nut_height=float(row["nut_height"]) * f,
        source=row["source"],
        certainty=certainty(row["certainty"]),
    )


def _lengths(row: Row) -> PinLengths:
    f = _LENGTH[row["unit"]]
    return PinLengths(
        kind="bolt" if row["kind"] == "bolt" else "quick-release",
        size=row["size"],
        lengths=tuple(float(x) * f for x in row["lengths"].split(";")),
        thread_length=float(row["thread_length"] or 0.0) * f,
        source=row["source"],
        certainty=certainty(row["certainty"]),
    )


@cache
def pin_sizes() -> tuple[PinSize, ...]:
    """Return every pin size of the table."""
    return tuple(_size(row) for row in rows("pins"))


@cache
def pin_lengths() -> tuple[PinLengths, ...]:
    """Return the lengths of every kind and size of pin."""
    return tuple(_lengths(row) for row in rows("pin_lengths"))


def pin_size(size: str) -> PinSize:
    """Return one pin size, e.g. ``pin_size("3/8")``.

    Raises:
        NotFoundError: there is no such size; names what there is.
    """
    known = {p.size: p for p in pin_sizes()}
    if size not in known:
        raise NotFoundError(f"pin {size!r}: not in the table. {did_you_mean(size, known)}")
    return known[size]


def lengths_of(kind: PinKind, size: str) -> PinLengths:
    """Return the lengths that a kind of pin of one size is sold in; NotFoundError if none.

    Raises:
        NotFoundError: no pin of that size; names the closest.
    """
    for row in pin_lengths():
        if (row.kind, row.size) == (kind, size):
            return row
    raise NotFoundError(f"{kind} pin {size!r}: no lengths in the table.")
