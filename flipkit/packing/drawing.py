"""A packing plan's sheets and cuts drawn to scale, as SVG in inches."""

from __future__ import annotations

import itertools
import math
from html import escape

from flipkit.packing.blanks import Blank, Nest, SheetUse
from flipkit.packing.plan import Plan
from flipkit.packing.styles import PackingOption, PackItem, turned
from flipkit.units import Measures

# A pen for scale drawings in inches: lines, boxes, dimensions and words as one SVG, sized in millimetres.

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


def tape_text(value_in: float, measures: Measures) -> str:
    """A length as the shop's tape measure shows it: sixteenths of an inch, or millimeters as parts of a centimeter.

    >>> tape_text(12.38, Measures()), tape_text(12.38, Measures("cm", "kg"))
    ('12 3/8', '31.4')
    """
    return f"{measures.sides_of(value_in):.1f}" if measures.metric else inch_text(value_in)


def tape_span(*values_in: float, measures: Measures) -> str:
    """Lengths as a tape measure shows them, with their unit."""
    return f"{' x '.join(tape_text(value, measures) for value in values_in)} {measures.side_unit}"


def fitting_scale(length_in: float, width_in: float) -> int:
    """The largest drawing scale at which a sheet fits the page.

    >>> fitting_scale(96, 48)
    15
    """
    for scale in SCALES:
        if length_in * MM_PER_IN / scale <= PAGE_MM[0] and width_in * MM_PER_IN / scale <= PAGE_MM[1]:
            return scale
    return SCALES[-1]


class Pen:
    """One drawing of a part whose lower left corner is the origin."""

    def __init__(
        self,
        length_in: float,
        width_in: float,
        *,
        title: str,
        note: str = "",
        measures: Measures = Measures(),  # noqa: B008 - it is frozen
    ) -> None:
        self.length_in, self.width_in = length_in, width_in
        self.scale = fitting_scale(length_in, width_in)
        self.title = title
        self.measures = measures
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
            text = tape_text(gap, self.measures)
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
        unit = "centimeters to the millimeter" if self.measures.metric else "inches to the nearest 1/16"
        said = f"scale 1 : {self.scale}, measures in {unit}"
        return f"{self.note}; {said}" if self.note else said


def _css(look: str) -> str:
    return ";".join(part.replace('="', ":").rstrip('"') for part in look.split('" ')) + ";"


# Drawings to cut and pack by: blanks, sheets with their cuts, a carton cut down, the packed layers.

_BLANK = "#eef3f8"
_PADDING = "#e4e4e4"
_ITEM = "#c9d8e8"


def plot_blank(blank: Blank, measures: Measures = Measures()) -> str:  # noqa: B008 - it is frozen
    """A blank to scale: outline and slots to cut, scores to fold, every measure along two edges.

    What stays is tinted; corners that fall away are white.

    >>> plot_blank(Blank("pad", "", 12, 10)).startswith("<svg")
    True
    """
    code = f" ({blank.code})" if blank.code else ""
    sides = tape_span(blank.length_in, blank.width_in, measures=measures)
    title = f"{blank.name.capitalize()}{code}, blank {sides}"
    pen = Pen(blank.length_in, blank.width_in, title=title, measures=measures)
    for _, x, y, length, width in blank.panels:
        pen.box(x, y, length, width, "part", fill=_BLANK)
    pen.box(0, 0, blank.length_in, blank.width_in, "cut")
    for line in blank.folds:
        pen.line(*line, "fold")
    for line in blank.cuts:
        pen.line(*line, "cut")
    for name, x, y, length, width in blank.panels:
        pen.word(x + length / 2, y + width / 2, name, size=2.6, room_in=max(length, width), up=width > 3 * length)
    lines = [*blank.folds, *blank.cuts]
    pen.chain([0.0, blank.length_in, *(end for line in lines for end in (line[0], line[2]))], across=True)
    pen.chain([0.0, blank.length_in], across=True, row=1)
    pen.chain([0.0, blank.width_in, *(end for line in lines for end in (line[1], line[3]))], across=False)
    pen.chain([0.0, blank.width_in], across=False, row=1)
    return pen.svg(legend=("cut", "fold"))


def plot_sheet(use: SheetUse, blanks: tuple[Blank, ...], measures: Measures = Measures()) -> str:  # noqa: B008
    """A sheet to scale with the blanks on it, the cuts numbered in order, old scores and waste."""
    sheet = use.sheet
    title = f"{sheet.name.capitalize()}, {tape_span(sheet.length_in, sheet.width_in, measures=measures)}"
    waste = use.waste_in2 / use.area_in2
    note = f"{waste:.0%} left over, flutes run upright here"
    pen = Pen(sheet.length_in, sheet.width_in, title=title, note=note, measures=measures)
    pen.box(0, 0, sheet.length_in, sheet.width_in, "edge")
    for place in use.placements:
        blank = blanks[place.blank]
        for _, x, y, long, wide in blank.panels:
            x1, y1, x2, y2 = _laid((x, y, x + long, y + wide), blank, place.x_in, place.y_in, place.turned)
            pen.box(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1), "part", fill=_BLANK)
        pen.box(place.x_in, place.y_in, place.length_in, place.width_in, "cut")
        for line in blank.folds:
            pen.line(*_laid(line, blank, place.x_in, place.y_in, place.turned), "fold")
        for line in blank.cuts:
            pen.line(*_laid(line, blank, place.x_in, place.y_in, place.turned), "cut")
    for score in sheet.scores_in:
        pen.line(score, 0, score, sheet.width_in, "old")
    for place in use.placements:
        blank = blanks[place.blank]
        words = f"{blank.name} {tape_text(place.length_in, measures)} x {tape_text(place.width_in, measures)}"
        words += ", turned" if place.turned else ""
        middle = (place.x_in + place.length_in / 2, place.y_in + place.width_in / 2)
        pen.word(*middle, words, size=3.0, room_in=place.length_in)
    for number, (x1, y1, x2, y2) in enumerate(use.cuts, start=1):
        pen.line(x1, y1, x2, y2, "cut")
        per = pen.scale / 25.4
        pen.word(x1 + 2.0 * per, y1 + (2.0 if y1 < sheet.width_in / 2 else -2.0) * per, str(number), size=2.6)
    xs = [end for place in use.placements for end in (place.x_in, place.x_in + place.length_in)]
    ys = [end for place in use.placements for end in (place.y_in, place.y_in + place.width_in)]
    pen.chain([0.0, sheet.length_in, *xs], across=True)
    pen.chain([0.0, sheet.width_in, *ys], across=False)
    return pen.svg()


def _laid(
    line: tuple[float, float, float, float], blank: Blank, x: float, y: float, is_turned: bool
) -> tuple[float, float, float, float]:
    """A line of a blank where the blank lies on the sheet; turned by a quarter to the left."""
    x1, y1, x2, y2 = line
    if not is_turned:
        return x + x1, y + y1, x + x2, y + y2
    wide = blank.width_in
    return x + wide - y1, y + x1, x + wide - y2, y + x2


def plot_nest(nest: Nest, blanks: tuple[Blank, ...], measures: Measures) -> list[str]:
    """Every sheet of a nest."""
    return [plot_sheet(use, blanks, measures) for use in nest.uses]


def plot_cut_down(draft: PackingOption, measures: Measures = Measures()) -> str:  # noqa: B008
    """A wall of a carton that is cut down: where to slit, score anew and trim."""
    carton = draft.pieces[0]
    height, flap = draft.inside_in[2], carton.width_in / 2
    # Opened upward, the wall and its old flap together; the new flap is the old half width again.
    tall = carton.height_in + flap
    trim = min(height + flap, tall)
    was, now = tape_text(carton.height_in, measures), tape_span(height, measures=measures)
    title = f"{carton.name}, cut down from {was} to {now} inside"
    note = "each wall with its upper flap opened up"
    pen = Pen(carton.length_in, tall, title=title, note=note, measures=measures)
    pen.box(0, 0, carton.length_in, tall, "edge")
    pen.box(0, 0, carton.length_in, height, "thin", fill=_BLANK)
    pen.line(0, carton.height_in, carton.length_in, carton.height_in, "old")
    pen.line(0, height, carton.length_in, height, "fold")
    pen.line(0, trim, carton.length_in, trim, "cut")
    for x in (0.0, carton.length_in):
        pen.line(x, height, x, trim, "cut")
    pen.word(carton.length_in / 2, height / 2, "wall", room_in=carton.length_in)
    pen.word(carton.length_in / 2, (height + trim) / 2, "new flap", room_in=carton.length_in)
    if tall > trim:
        pen.word(carton.length_in / 2, (trim + tall) / 2, "off", room_in=carton.length_in)
    pen.chain([0.0, carton.length_in], across=True)
    pen.chain([0.0, height, trim, tall], across=False)
    return pen.svg()


def plot_layers(draft: PackingOption, item: PackItem, measures: Measures = Measures()) -> list[str]:  # noqa: B008
    """The packed item from above and from the front: outside, clearance, padding, item."""
    views = []
    way = draft.padding
    bare = turned(item.sides_in, draft.turn)
    wrapped = turned(way.wrapped_in, draft.turn) if way else bare
    for name, one, two in (("from above", 0, 1), ("from the front", 0, 2)):
        title = f"{item.title}, packed, {name}"
        pen = Pen(draft.outside_in[one], draft.outside_in[two], title=title, note=draft.what, measures=measures)
        centre = (draft.outside_in[one] / 2, draft.outside_in[two] / 2)
        for sides, kind, fill in (
            (draft.outside_in, "edge", "#fff"),
            (draft.inside_in, "edge", "none"),
            (wrapped, "thin", _PADDING),
            (bare, "edge", _ITEM),
        ):
            long, wide = sides[one], sides[two]
            pen.box(centre[0] - long / 2, centre[1] - wide / 2, long, wide, kind, fill=fill)
        pen.word(*centre, f"{tape_text(bare[one], measures)} x {tape_text(bare[two], measures)}", room_in=bare[one])
        for across, axis in ((True, one), (False, two)):
            middle = draft.outside_in[axis] / 2
            halves = [draft.outside_in[axis] / 2, wrapped[axis] / 2, bare[axis] / 2]
            pen.chain([middle + sign * half for half in halves for sign in (-1, 1)], across=across)
            pen.chain([0.0, draft.outside_in[axis]], across=across, row=1)
        views.append(pen.svg(legend=("edge",)))
    return views


def plot_plan(plan: Plan) -> list[str]:
    """Every drawing that a plan's best way asks for, in the order of work."""
    best = plan.best
    if best is None or best.draft.style == "pickup":
        return []
    drawings, measures = [], plan.assumptions.measures
    if best.nest is not None:
        drawings += plot_nest(best.nest, best.draft.blanks, measures)
        drawings += [plot_blank(blank, measures) for blank in best.draft.blanks]
    elif best.draft.style == "cut_down":
        drawings.append(plot_cut_down(best.draft, measures))
    return drawings + plot_layers(best.draft, plan.item, measures)
