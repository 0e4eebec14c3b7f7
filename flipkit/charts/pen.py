"""A pen for scale drawings in inches: lines, boxes, dimensions and words as one SVG, sized in millimetres."""

from __future__ import annotations

import itertools
import math
from html import escape

MM_PER_IN = 25.4
#: Scales that a drawing may have, one to so many.
SCALES = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60)
#: Printable part of an upright page, letter or A4, less the margins of the drawing. [mm]
PAGE_MM = (165.0, 205.0)
_MARGIN = (20.0, 14.0, 12.0, 22.0)  # left, top, right, bottom
_KINDS = {
    "cut": 'stroke="#000" stroke-width="0.5"',
    "fold": 'stroke="#1f5f9e" stroke-width="0.4" stroke-dasharray="3 1.5"',
    "old": 'stroke="#767676" stroke-width="0.35" stroke-dasharray="0.6 1.2"',
    "thin": 'stroke="#4d4d4d" stroke-width="0.18"',
    "edge": 'stroke="#000" stroke-width="0.35"',
}


def inch_text(value_in: float) -> str:
    """A length as a tape measure shows it, to the nearest sixteenth.

    Parameters
    ----------
    value_in : float
        The length. [in]

    Returns
    -------
    str
        Such as ``12 3/8``.

    Examples
    --------
    >>> inch_text(12.38), inch_text(0.5), inch_text(7.99), inch_text(0)
    ('12 3/8', '1/2', '8', '0')
    """
    sixteenths = math.floor(value_in * 16 + 0.5)
    whole, part = divmod(sixteenths, 16)
    if not part:
        return str(whole)
    common = math.gcd(part, 16)
    fraction = f"{part // common}/{16 // common}"
    return f"{whole} {fraction}" if whole else fraction


def fitting_scale(length_in: float, width_in: float) -> int:
    """The largest drawing scale at which a sheet fits the page.

    Parameters
    ----------
    length_in, width_in : float
        What is drawn. [in]

    Returns
    -------
    int
        One to so many.

    Examples
    --------
    >>> fitting_scale(96, 48)
    15
    """
    for scale in SCALES:
        if length_in * MM_PER_IN / scale <= PAGE_MM[0] and width_in * MM_PER_IN / scale <= PAGE_MM[1]:
            return scale
    return SCALES[-1]


class Pen:
    """One drawing of a part whose lower left corner is the origin.

    Parameters
    ----------
    length_in, width_in : float
        Size of what is drawn. [in]
    title : str
        What it is.
    note : str
        A second line below the title.
    """

    def __init__(self, length_in: float, width_in: float, *, title: str, note: str = "") -> None:
        self.length_in, self.width_in = length_in, width_in
        self.scale = fitting_scale(length_in, width_in)
        self.title = title
        self.note = note
        self._marks: list[str] = []

    def x(self, value_in: float) -> float:
        """Place across the page. [mm]"""
        return _MARGIN[0] + value_in * MM_PER_IN / self.scale

    def y(self, value_in: float) -> float:
        """Place down the page: inches grow upward, millimetres downward. [mm]"""
        return _MARGIN[1] + (self.width_in - value_in) * MM_PER_IN / self.scale

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """A line of a kind: cut, fold, old, edge or thin. [in]"""
        self._marks.append(
            f'<line class="{kind}" x1="{self.x(x1):.2f}" y1="{self.y(y1):.2f}" '
            f'x2="{self.x(x2):.2f}" y2="{self.y(y2):.2f}"/>'
        )

    def box(self, x: float, y: float, length: float, width: float, kind: str, *, fill: str = "none") -> None:
        """A rectangle by its lower left corner; of the kind ``part`` it has no outline. [in]"""
        self._marks.append(
            f'<rect class="{kind}" x="{self.x(x):.2f}" y="{self.y(y + width):.2f}" '
            f'width="{self.x(length) - self.x(0):.2f}" height="{self.y(0) - self.y(width):.2f}" fill="{fill}"/>'
        )

    def word(self, x: float, y: float, text: str, *, size: float = 2.8, room_in: float = 0.0, up: bool = False) -> None:
        """Words centred on a point, smaller where there is little room. [in]"""
        room = room_in * MM_PER_IN / self.scale
        if room and len(text) * size * 0.55 > room:
            size = room / (len(text) * 0.55)
        if size < 1.0:
            return
        at = f"{self.x(x):.2f} {self.y(y):.2f}"
        turn = f' transform="rotate(-90 {at})"' if up else ""
        self._marks.append(
            f'<text x="{self.x(x):.2f}" y="{self.y(y) + size * 0.35:.2f}" font-size="{size:.2f}"{turn}>'
            f"{escape(text)}</text>"
        )

    def chain(self, marks_in: list[float], *, across: bool, row: int = 0) -> None:
        """A chain of dimensions between marks, below the drawing or left of it; further rows lie further out. [in]"""
        marks = sorted({round(mark, 6) for mark in marks_in})
        per = self.scale / MM_PER_IN
        out = (4.5 + 5.5 * row) * per
        for mark in marks:
            ends = (mark, 0.0, mark, -out - per) if across else (0.0, mark, -out - per, mark)
            self.line(*ends, "thin")
        if across:
            self.line(marks[0], -out, marks[-1], -out, "thin")
        else:
            self.line(-out, marks[0], -out, marks[-1], "thin")
        for one, two in itertools.pairwise(marks):
            middle, gap = (one + two) / 2, two - one
            text = inch_text(gap)
            if across:
                self.word(middle, -out + 1.4 * per, text, size=2.4, room_in=gap)
            else:
                self.word(-out + 1.4 * per, middle, text, size=2.4, room_in=gap, up=True)

    def svg(self, *, legend: tuple[str, ...] = ("cut", "fold", "old")) -> str:
        """The drawing as one SVG element, complete in itself."""
        wide = self.x(self.length_in) + _MARGIN[2]
        wide = max(wide, 120.0)
        tall = self.y(0.0) + _MARGIN[3]
        words = {"cut": "cut", "fold": "fold", "old": "old score", "edge": "outline"}
        style = "".join(f".{kind}{{{_css(look)}}}" for kind, look in _KINDS.items())
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}mm" height="{tall:.1f}mm" '
            f'viewBox="0 0 {wide:.1f} {tall:.1f}" role="img">',
            f"<title>{escape(self.title)}</title>",
            f"<style>{style}text{{font-family:sans-serif;text-anchor:middle;fill:#000;paint-order:stroke;stroke:#fff;stroke-width:0.7}}"
            f".left{{text-anchor:start}}rect{{vector-effect:none}}</style>",
            f'<rect x="0" y="0" width="{wide:.1f}" height="{tall:.1f}" fill="#fff"/>',
            f'<text class="left" x="4" y="5" font-size="3.6" font-weight="bold">{escape(self.title)}</text>',
            f'<text class="left" x="4" y="9.5" font-size="2.8">{escape(self._second_line())}</text>',
            *self._marks,
        ]
        at = 4.0
        base = tall - 3.5
        for kind in legend:
            parts.append(f'<line class="{kind}" x1="{at:.1f}" y1="{base:.1f}" x2="{at + 9:.1f}" y2="{base:.1f}"/>')
            parts.append(
                f'<text class="left" x="{at + 10.5:.1f}" y="{base + 1:.1f}" font-size="2.8">{words[kind]}</text>'
            )
            at += 30
        return "\n".join([*parts, "</svg>"])

    def _second_line(self) -> str:
        said = f"scale 1 : {self.scale}, measures in inches to the nearest 1/16"
        return f"{self.note}; {said}" if self.note else said


def _css(look: str) -> str:
    return ";".join(part.replace('="', ":").rstrip('"') for part in look.split('" ')) + ";"
