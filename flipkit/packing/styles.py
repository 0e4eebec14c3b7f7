"""Ways to pack an item, as drafts: what goes where and how large it gets, before any price."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from flipkit.assumptions import Assumptions
from flipkit.errors import MeasureError
from flipkit.packing.at_hand import Carton, Sheet, Stock, flattened
from flipkit.packing.blanks import Blank
from flipkit.packing.cushioning import Closure, Padding, Sides, fill_volume_cuft, padding
from flipkit.packing.materials import Grade, Packaging, Strength, carton_grade, gross_limit_lb
from flipkit.rules.packing_rules import PackingRules
from flipkit.units import SNAP

#: Styles in the order in which equal costs are decided, with their names in words.
STYLES = {
    "stock": "carton as it is",
    "cut_down": "carton cut down",
    "bag": "padded bag",
    "tube": "tube",
    "slotted": "slotted carton made to size",
    "slotted_two": "slotted carton made of two pieces",
    "folded_wrap": "folded wrap",
    "five_panel": "five-panel wrap",
    "telescope": "telescope of two trays",
    "joined": "two cartons joined",
    "wrapped": "stretch wrap without a carton",
    "pickup": "local pick-up",
}


@dataclass(frozen=True)
class PackItem:
    """What is to be packed.

    Attributes
    ----------
    item_id, title : str
        As in the books.
    length_in, width_in, height_in : float
        The bare item; height as it stands. [in]
    weight_lb : float
        The bare item. [lb]
    fragility : str
        Its class, as in the cushioning table.
    value_cents : int
        What is lost if it arrives broken. [cents]
    upright : bool
        Whether its height must stay upright.
    round_section : bool
        Whether it is round along its longest side, or can be rolled.
    pickup : bool
        Whether the buyer can collect it.
    """

    item_id: str
    title: str
    length_in: float
    width_in: float
    height_in: float
    weight_lb: float
    fragility: str
    value_cents: int = 0
    upright: bool = False
    round_section: bool = False
    pickup: bool = False

    @property
    def sides_in(self) -> Sides:
        """Length, width, height. [in]"""
        return (self.length_in, self.width_in, self.height_in)


@dataclass(frozen=True)
class Draft:
    """One way to pack the item.

    Attributes
    ----------
    style : str
        Key of ``STYLES``.
    what : str
        Which carton, tube, bag or board.
    inside_in, outside_in : tuple of float
        Length, width, height. [in]
    padding : Padding or None
        Layers around the item; None for a pick-up.
    turn : tuple of int
        Which side of the item lies along length, width, height.
    container_cents : int
        Cost of cartons, tube or bag; sheets are added when they are nested. [cents]
    container_lb : float
        Weight of what is around the padding. [lb]
    fill_cuft : float
        Void fill. [cu ft]
    film_sqft : float
        Stretch wrap. [sq ft]
    strips_in : tuple of float
        Strips of tape. [in]
    blanks : tuple of Blank
        What is cut from sheets.
    board : tuple of str
        Flute and grade that the blanks are for.
    knife_in, score_in : float
        Lines to cut and to score. [in]
    packaging : str
        What the outside is, in carriers' words.
    nonrectangular : bool
        Whether it is round.
    grade : Grade or None
        Strength of the carton, where known.
    caliper_in : float
        Thickness of its board. [in]
    most_lb : float
        Most that a tube or bag may weigh; infinite for cartons. [lb]
    used : bool
        Whether a carton has travelled before.
    pieces : tuple of Carton
        Cartons that it takes.
    """

    style: str
    what: str
    inside_in: Sides
    outside_in: Sides
    padding: Padding | None
    turn: tuple[int, int, int]
    container_cents: int = 0
    container_lb: float = 0.0
    fill_cuft: float = 0.0
    film_sqft: float = 0.0
    strips_in: tuple[float, ...] = ()
    blanks: tuple[Blank, ...] = ()
    board: tuple[str, str] = ("", "")
    knife_in: float = 0.0
    score_in: float = 0.0
    packaging: Packaging = "box"
    nonrectangular: bool = False
    grade: Grade | None = None
    caliper_in: float = 0.0
    most_lb: float = float("inf")
    used: bool = False
    pieces: tuple[Carton, ...] = ()

    def gross_lb(self, item: PackItem, stock: Stock) -> float:
        """Parcel as packed: item, padding, fill, container. [lb]"""
        soft = self.padding.weight_lb if self.padding else 0.0
        fill = self.fill_cuft * stock.fill.lb_per_cuft if stock.fill else 0.0
        return item.weight_lb + soft + fill + self.container_lb


@dataclass(frozen=True, order=True)
class Refusal:
    """Why a way to pack the item is out.

    Attributes
    ----------
    short : float
        How far it is out; the nearest miss is the one that is told.
    style : str
        Key of ``STYLES``.
    what : str
        Which carton, tube, bag or board.
    reason : str
        In words.
    """

    short: float
    style: str = field(compare=False)
    what: str = field(compare=False)
    reason: str = field(compare=False)


@dataclass(frozen=True)
class Bench:
    """Everything that the makers of drafts share.

    Attributes
    ----------
    item : PackItem
        What is packed.
    stock : Stock
        What is at hand.
    rules : PackingRules
        Rules in force.
    assumptions : Assumptions
        What is assumed.
    paddings : tuple of Padding
        Ways to pad it.
    """

    item: PackItem
    stock: Stock
    rules: PackingRules
    assumptions: Assumptions
    paddings: tuple[Padding, ...]

    @property
    def closure(self) -> Closure:
        """Which seams are taped."""
        return self.assumptions.text("packing.closure")  # type: ignore[return-value]

    def turns(self) -> Iterator[tuple[int, int, int]]:
        """Ways to lay the item's sides along length, width and height, each set of sides once."""
        seen = set()
        for turn in itertools.permutations(range(3)):
            if self.item.upright and turn[2] != 2:
                continue
            sides = tuple(self.item.sides_in[axis] for axis in turn)
            if sides in seen:
                continue
            seen.add(sides)
            yield turn  # type: ignore[misc]

    def grade(self, text: str) -> Grade | None:
        """The carton rule's row for a certificate; None where it cannot be read."""
        return carton_grade(text, block=self.rules.cartons) if text.strip() else None

    def filled(self, draft: Draft) -> Draft | str:
        """The draft with its hollows filled, or why they cannot be."""
        if draft.padding is None:
            return draft
        if draft.style in ("bag", "wrapped"):
            return draft
        wrapped = turned(draft.padding.wrapped_in, draft.turn)
        play = max(room - side for room, side in zip(draft.inside_in, wrapped, strict=True))
        if draft.style == "tube":
            play = draft.inside_in[0] - wrapped[0]  # across, the circle holds it
        if self.stock.fill is None:
            if play > self.assumptions.number("packing.snug_in") + SNAP:
                return f"would rattle: {play:.1f} in of play and no void fill in stock"
            return replace(draft, fill_cuft=0.0)
        volume = draft.fill_cuft if draft.style == "tube" else fill_volume_cuft(draft.inside_in, wrapped)
        if self.stock.fill.volume_cuft is not None and volume > self.stock.fill.volume_cuft + SNAP:
            return f"needs {volume:.2f} cu ft of {self.stock.fill.name}, {self.stock.fill.volume_cuft:.2f} left"
        return replace(draft, fill_cuft=volume)

    def weak(self, draft: Draft) -> str:
        """Why the container must not carry this, or empty."""
        gross = draft.gross_lb(self.item, self.stock)
        if gross > draft.most_lb + SNAP:
            return f"{gross:.1f} lb packed, it takes {draft.most_lb:g} lb"
        if draft.grade is None:
            return ""
        strength: Strength = self.assumptions.text("packing.strength")  # type: ignore[assignment]
        limit = gross_limit_lb(draft.grade, strength=strength, block=self.rules.cartons)
        if gross > limit + SNAP:
            return f"{gross:.1f} lb packed, the {strength} allows {limit:g} lb for {draft.grade.text}"
        united = sum(draft.outside_in)
        if united > draft.grade.united_in + SNAP and self.assumptions.text("packing.over_united") == "refuse":
            return f"{united:.1f} united in, the carton rule allows {draft.grade.united_in:g} for {draft.grade.text}"
        return ""


def turned(sides_in: Sides, turn: tuple[int, int, int]) -> Sides:
    """Sides laid along length, width and height.

    Parameters
    ----------
    sides_in : tuple of float
        Sides of the item. [in]
    turn : tuple of int
        Which side lies along length, width, height.

    Returns
    -------
    tuple of float
        The sides in that order. [in]

    Examples
    --------
    >>> turned((30.0, 20.0, 10.0), (2, 0, 1))
    (10.0, 30.0, 20.0)
    """
    return (sides_in[turn[0]], sides_in[turn[1]], sides_in[turn[2]])


def paddings(
    item: PackItem, stock: Stock, rules: PackingRules, assumptions: Assumptions
) -> tuple[list[Padding], list[str]]:
    """Ways to pad an item with the cushioning at hand.

    Each cushioning comes with just enough layers for the fall and, where the least clearance to the
    walls is more than that, with every number of layers up to the clearance, so that less or no
    fill is needed there.

    Parameters
    ----------
    item : PackItem
        The item.
    stock : Stock
        What is at hand.
    rules : PackingRules
        Rules in force.
    assumptions : Assumptions
        Whether to reckon with rougher handling.

    Returns
    -------
    found : list of Padding
        Ways that the stock allows.
    reasons : list of str
        Why a cushioning is out.

    Raises
    ------
    MeasureError
        If the item's fragility or a material is unknown.
    """
    kind = rules.cushions.fragility_class(item.fragility)
    rough = assumptions.text("packing.rough") == "yes"
    common = {"fragility": item.fragility, "rough": rough, "table": rules.cushions}
    if kind.g is None:
        return [padding(item.sides_in, item.weight_lb, cushion=None, **common)], []  # type: ignore[arg-type]
    found: list[Padding] = []
    reasons = []
    for cushion in stock.cushions:
        if cushion.form not in ("wrap", "plate"):
            raise MeasureError("form", need="wrap or plate", got=cushion.form, where=cushion.name)
        least = padding(item.sides_in, item.weight_lb, cushion=cushion, **common)  # type: ignore[arg-type]
        most = max(least.layers, math.ceil(least.clearance_in / cushion.thickness_in - SNAP))
        ways = [least] + [
            padding(item.sides_in, item.weight_lb, cushion=cushion, least_layers=layers, **common)  # type: ignore[arg-type]
            for layers in range(least.layers + 1, most + 1)
        ]
        for way in ways:
            if cushion.area_sqft is not None and way.area_sqft > cushion.area_sqft + SNAP:
                reasons.append(f"needs {way.area_sqft:.1f} sq ft of {cushion.name}, {cushion.area_sqft:g} left")
            else:
                found.append(way)
    if not stock.cushions:
        reasons.append(f"no cushioning in stock for a {item.fragility} item")
    return found, reasons


def boards(stock: Stock) -> dict[tuple[str, str], list[list[Sheet]]]:
    """Sheets at hand by flute and grade, flattened cartons among them.

    A flattened carton gives its body or its panels, not both: each comes as an alternative.

    Parameters
    ----------
    stock : Stock
        What is at hand.

    Returns
    -------
    dict
        Flute and grade to alternative lists of sheets.
    """
    plain: dict[tuple[str, str], list[Sheet]] = {}
    bodies: dict[tuple[str, str], list[Sheet]] = {}
    panels: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in stock.sheets:
        if sheet.quantity > 0:
            plain.setdefault((sheet.flute, sheet.grade), []).append(sheet)
    for carton in stock.cartons if stock.flatten else ():
        if carton.quantity > 0:
            body, *rest = flattened(carton)
            bodies.setdefault((carton.flute, carton.grade), []).append(body)
            panels.setdefault((carton.flute, carton.grade), []).extend(rest)
    found = {}
    for key in {**plain, **bodies}:
        own = plain.get(key, [])
        found[key] = [own + bodies[key], own + panels[key]] if key in bodies else [own]
    return found
