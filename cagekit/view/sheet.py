"""A sheet of a picture: paper, words, rules, title and caution, the same on every one of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.view.fonts import font
from cagekit.view.ink import HAIR, INK, PAPER, SOFT, Rgb

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

OnSheet = tuple[float, float]
"""A place on the sheet, px from its upper left corner."""


class PictureSheet:
    """White paper to draw on, ``width`` x ``height`` px; ``pen`` draws what has no method here.

    Args:
        width: of the paper.
        height: of the paper.
        edge: left free at both sides by title, rules and caution.
    """

    def __init__(self, width: int, height: int, *, edge: int) -> None:
        from PIL import Image as image_module
        from PIL import ImageDraw as draw_module

        self.width, self.height, self.edge = width, height, edge
        self.image: Image = image_module.new("RGB", (width, height), PAPER)
        self.pen: ImageDraw = draw_module.Draw(self.image)

    def lay(self, picture: NDArray[Any], at: tuple[int, int]) -> None:
        """Lay a picture, ``(h, w, 3)`` bytes, with its upper left corner at a place."""
        from PIL import Image as image_module

        self.image.paste(image_module.fromarray(picture), at)

    def write(
        self,
        at: OnSheet,
        text: str,
        size: int,
        colour: Rgb = INK,
        *,
        bold: bool = False,
        anchor: str = "la",
    ) -> None:
        """Write words.

        Args:
            at: where the anchor lies.
            text: one line.
            size: of the letters, px.
            colour: of the letters.
            bold: in bold letters.
            anchor: of the words, as pillow names it: left, middle, right; ascender, middle, s.
        """
        self.pen.text(at, text, colour, font(size, bold=bold), anchor=anchor)

    def rule(self, y: float) -> None:
        """A level line from edge to edge."""
        self.pen.line((self.edge, y, self.width - self.edge, y), HAIR, 2)

    def tips(
        self,
        ends: tuple[ArrayLike, ArrayLike],
        colour: Rgb,
        *,
        head: tuple[float, float],
        dot: float,
        least: float = 0.0,
    ) -> None:
        """Arrowheads at both ends of a line, pointing outwards; dots where it is too short.

        Args:
            ends: of the line, ``(2,)`` px each.
            colour: of the heads.
            head: length and half the width of a head, px.
            dot: radius of a dot, px.
            least: length of a line that has room for heads, px.
        """
        a, b = (np.asarray(end, float) for end in ends)
        way = b - a
        size = float(np.hypot(*way))
        long, half = head
        for tip, sign in ((a, 1.0), (b, -1.0)):
            if size < least:
                self.pen.ellipse((*(tip - dot), *(tip + dot)), colour)
                continue
            d = sign * way / size
            n = np.array([-d[1], d[0]])
            corners = (tip, tip + long * d + half * n, tip + long * d - half * n)
            self.pen.polygon([tuple(c) for c in corners], colour)

    def head(self, title: str, aside: str = "", *, size: int = 40) -> None:
        """The title of the sheet, and what stands to its right.

        Args:
            title: what the sheet shows; cut where it would run into what stands beside it.
            aside: smaller, at the right edge; cut where it would take more than half the sheet.
            size: of the title's letters, px.
        """
        across = self.width - 2 * self.edge
        aside = self.fitted(aside, across / 2, 22)
        room = across - (self.pen.textlength(aside, font(22)) + 30)
        self.write((self.edge, 26), self.fitted(title, room, size, bold=True), size, bold=True)
        self.write((self.width - self.edge, 54), aside, 22, SOFT, anchor="rm")

    def foot(self, caution: str, *, size: int = 20) -> None:
        """The caution at the lower edge, one line, below a rule.

        Args:
            caution: as every picture carries it.
            size: of the letters, px.
        """
        self.rule(self.height - 62)
        self.write((self.edge, self.height - 44), caution, size)

    def fitted(self, text: str, room: float, size: int, *, bold: bool = False) -> str:
        """The text, cut with dots where it is wider than ``room`` px; the dots stay.

        Args:
            text: one line.
            room: for it, px.
            size: of the letters, px.
            bold: in bold letters.
        """
        letters = font(size, bold=bold)
        while len(text) > 1 and self.pen.textlength(text, letters) > room:
            text = text[:-2] + "…" if text.endswith("…") else text[:-1] + "…"
        return text
