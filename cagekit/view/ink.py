"""Colours of the sheets, red, green and blue from 0 to 255 each."""

from __future__ import annotations

Rgb = tuple[int, int, int]

PAPER: Rgb = (255, 255, 255)
INK: Rgb = (38, 44, 54)
SOFT: Rgb = (120, 128, 140)
HAIR: Rgb = (196, 202, 210)
