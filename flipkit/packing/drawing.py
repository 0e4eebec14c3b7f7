"""Drawings to cut and pack by: blanks, sheets with their cuts, a carton cut down, the packed layers."""

from __future__ import annotations

from flipkit.charts.pen import Pen, inch_text
from flipkit.items.nesting import Nest, SheetUse
from flipkit.items.packing import Plan
from flipkit.packing.blanks import Blank
from flipkit.packing.styles import Draft, PackItem, turned

_BLANK = "#eef3f8"
_PADDING = "#e4e4e4"
_ITEM = "#c9d8e8"


def plot_blank(blank: Blank) -> str:
    """A blank to scale: outline and slots to cut, scores to fold, every measure along two edges.

    What stays is tinted; corners that fall away are white.

    Parameters
    ----------
    blank : Blank
        From :mod:`flipkit.packing.blanks`.

    Returns
    -------
    str
        One SVG element, sized in millimetres for an upright page.

    Examples
    --------
    >>> from flipkit.packing.blanks import pad_blank
    >>> plot_blank(pad_blank("pad", 12, 10)).startswith("<svg")
    True
    """
    code = f" ({blank.code})" if blank.code else ""
    sides = f"{inch_text(blank.length_in)} x {inch_text(blank.width_in)} in"
    pen = Pen(blank.length_in, blank.width_in, title=f"{blank.name.capitalize()}{code}, blank {sides}")
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


def plot_sheet(use: SheetUse, blanks: tuple[Blank, ...]) -> str:
    """A sheet to scale with the blanks on it, the cuts numbered in order, old scores and waste.

    Parameters
    ----------
    use : SheetUse
        One sheet of a nest.
    blanks : tuple of Blank
        The blanks that the nest placed, in its order.

    Returns
    -------
    str
        One SVG element, sized in millimetres for an upright page.
    """
    sheet = use.sheet
    title = f"{sheet.name.capitalize()}, {inch_text(sheet.length_in)} x {inch_text(sheet.width_in)} in"
    waste = use.waste_in2 / use.area_in2
    pen = Pen(sheet.length_in, sheet.width_in, title=title, note=f"{waste:.0%} left over, flutes run upright here")
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
        words = f"{blank.name} {inch_text(place.length_in)} x {inch_text(place.width_in)}"
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


def plot_nest(nest: Nest, blanks: tuple[Blank, ...]) -> list[str]:
    """Every sheet of a nest.

    Parameters
    ----------
    nest : Nest
        From :func:`flipkit.items.nesting.nest`.
    blanks : tuple of Blank
        The blanks that it placed, in its order.

    Returns
    -------
    list of str
        One SVG element a sheet.
    """
    return [plot_sheet(use, blanks) for use in nest.uses]


def plot_cut_down(draft: Draft) -> str:
    """A wall of a carton that is cut down: where to slit, score anew and trim.

    Parameters
    ----------
    draft : Draft
        A draft of the style ``cut_down``.

    Returns
    -------
    str
        One SVG element: the long wall with its upper flap folded up, laid flat.
    """
    carton = draft.pieces[0]
    height, flap = draft.inside_in[2], carton.width_in / 2
    # Opened upward, the wall and its old flap together; the new flap is the old half width again.
    tall = carton.height_in + flap
    trim = min(height + flap, tall)
    title = f"{carton.name}, cut down from {inch_text(carton.height_in)} to {inch_text(height)} in inside"
    note = "each wall with its upper flap opened up"
    pen = Pen(carton.length_in, tall, title=title, note=note)
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


def plot_layers(draft: Draft, item: PackItem) -> list[str]:
    """The packed item from above and from the front: outside, clearance, padding, item.

    Parameters
    ----------
    draft : Draft
        Any draft but a pick-up.
    item : PackItem
        The item.

    Returns
    -------
    list of str
        Two SVG elements.
    """
    views = []
    way = draft.padding
    bare = turned(item.sides_in, draft.turn)
    wrapped = turned(way.wrapped_in, draft.turn) if way else bare
    for name, one, two in (("from above", 0, 1), ("from the front", 0, 2)):
        pen = Pen(draft.outside_in[one], draft.outside_in[two], title=f"{item.title}, packed, {name}", note=draft.what)
        centre = (draft.outside_in[one] / 2, draft.outside_in[two] / 2)
        for sides, kind, fill in (
            (draft.outside_in, "edge", "#fff"),
            (draft.inside_in, "edge", "none"),
            (wrapped, "thin", _PADDING),
            (bare, "edge", _ITEM),
        ):
            long, wide = sides[one], sides[two]
            pen.box(centre[0] - long / 2, centre[1] - wide / 2, long, wide, kind, fill=fill)
        pen.word(*centre, f"{inch_text(bare[one])} x {inch_text(bare[two])}", room_in=bare[one])
        for across, axis in ((True, one), (False, two)):
            middle = draft.outside_in[axis] / 2
            halves = [draft.outside_in[axis] / 2, wrapped[axis] / 2, bare[axis] / 2]
            pen.chain([middle + sign * half for half in halves for sign in (-1, 1)], across=across)
            pen.chain([0.0, draft.outside_in[axis]], across=across, row=1)
        views.append(pen.svg(legend=("edge",)))
    return views


def plot_plan(plan: Plan) -> list[str]:
    """Every drawing that a plan's best way asks for, in the order of work.

    Parameters
    ----------
    plan : Plan
        From :func:`flipkit.items.packing.packing_plan`.

    Returns
    -------
    list of str
        SVG elements: sheets, then blanks or the carton cut down, then the packed layers; empty
        for a pick-up and where nothing is possible.
    """
    best = plan.best
    if best is None or best.draft.style == "pickup":
        return []
    drawings = []
    if best.nest is not None:
        drawings += plot_nest(best.nest, best.draft.blanks)
        drawings += [plot_blank(blank) for blank in best.draft.blanks]
    elif best.draft.style == "cut_down":
        drawings.append(plot_cut_down(best.draft))
    return drawings + plot_layers(best.draft, plan.item)
