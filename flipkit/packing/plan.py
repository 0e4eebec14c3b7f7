"""What each draft costs: container, materials, minutes, label, expected damage; the cheapest of all."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from flipkit.items.hands import Hands, hands
from flipkit.items.labels import LabelPrices, Labels
from flipkit.items.nesting import Nest, nest
from flipkit.money import percentage
from flipkit.packing.at_hand import Sheet
from flipkit.packing.cushioning import M_PER_IN
from flipkit.packing.styles import STYLES, Bench, Draft, Refusal, boards

IN_PER_FT = 12.0


@dataclass(frozen=True)
class Line:
    """A material that a packing uses.

    Attributes
    ----------
    what : str
        Its name in the stock.
    quantity : float
        How much.
    unit : str
        ``sq ft``, ``cu ft``, ``m`` or ``piece``.
    cents : int
        What that costs. [cents]
    """

    what: str
    quantity: float
    unit: str
    cents: int


@dataclass(frozen=True)
class Priced:
    """A draft with everything that it costs.

    Attributes
    ----------
    draft : Draft
        The way to pack.
    gross_lb : float
        Parcel as packed. [lb]
    container_cents : int
        Cartons, tube, bag or sheets. [cents]
    materials : tuple of Line
        Cushioning, fill, tape, film.
    owner_min, helper_min : float
        Minutes of each, both counted where two lift. [min]
    owner_cents, helper_cents : int
        What those minutes cost. [cents]
    label_cents : int
        The label. [cents]
    damage_cents : int
        Chance of damage x value. [cents]
    billable_lb : float
        Weight billed; NaN where unknown. [lb]
    service : str
        Service of the label.
    hands : Hands
        Who lifts.
    nest : Nest or None
        How the blanks lie on the sheets.
    """

    draft: Draft
    gross_lb: float
    container_cents: int
    materials: tuple[Line, ...]
    owner_min: float
    helper_min: float
    owner_cents: int
    helper_cents: int
    label_cents: int
    damage_cents: int
    billable_lb: float
    service: str
    hands: Hands
    nest: Nest | None = None

    @property
    def materials_cents(self) -> int:
        """All materials but the container. [cents]"""
        return sum(line.cents for line in self.materials)

    @property
    def total_cents(self) -> int:
        """Everything that the plan makes as small as it can. [cents]"""
        return (
            self.container_cents
            + self.materials_cents
            + self.owner_cents
            + self.helper_cents
            + self.label_cents
            + self.damage_cents
        )


def whole_cents(amount: float) -> int:
    """An amount of cents rounded half up, conversion noise aside.

    Parameters
    ----------
    amount : float
        At least 0. [cents]

    Returns
    -------
    int
        Whole cents.

    Examples
    --------
    >>> whole_cents(2.5), whole_cents(0.1 * 3 * 5)
    (3, 2)
    """
    return math.floor(round(amount, 6) + 0.5)


def priced_drafts(
    drafts: Iterable[Draft | Refusal], bench: Bench, labels: Labels
) -> tuple[list[Priced], list[Refusal]]:
    """Every style and container at its cheapest, and why the others are out.

    Blanks are nested only where they can still matter: drafts of one style and board are taken in
    order of what they cost with sheets for nothing, and the rest is left once that alone is more
    than the best found with its sheets.

    Parameters
    ----------
    drafts : iterable of Draft or Refusal
        From the makers of drafts.
    bench : Bench
        Item, stock, rules, assumptions.
    labels : Labels
        What prices the labels.

    Returns
    -------
    priced : list of Priced
        The cheapest draft of each style and container, cheapest first.
    refusals : list of Refusal
        The nearest miss of each style and container of which nothing is possible.
    """
    sound, refusals = _sound(drafts, bench)
    prices = _labels_of(sound, bench, labels)
    damage = {style: _damage_cents(style, bench) for style in STYLES}
    hour = bench.assumptions.cents("hour.target"), _helper_hour_cents(bench)
    groups: dict[tuple[str, str], list[Priced]] = {}
    for place, draft in enumerate(sound):
        if prices.refused[place]:
            refusals.append(Refusal(0.0, draft.style, draft.what, f"label refused: {prices.refused[place]}"))
        else:
            one = _price(draft, place, prices, bench, damage[draft.style], hour)
            groups.setdefault((draft.style, draft.what), []).append(one)
    sheets = boards(bench.stock)
    best = []
    for (style, what), found in groups.items():
        found.sort(key=_rank)
        if not found[0].draft.blanks:
            best.append(found[0])
            continue
        chosen = _nested(found, sheets, bench)
        if chosen is not None:
            best.append(chosen)
        else:
            smallest = min(found, key=lambda one: max(blank.area_in2 for blank in one.draft.blanks)).draft.blanks
            sizes = " and ".join(f"{blank.length_in:.1f} x {blank.width_in:.1f} in" for blank in smallest)
            refusals.append(Refusal(0.0, style, what, f"no sheet at hand takes a blank of {sizes}"))
    best.sort(key=_rank)
    done = {(one.draft.style, one.draft.what) for one in best}
    nearest: dict[tuple[str, str], Refusal] = {}
    for refusal in refusals:
        key = (refusal.style, refusal.what)
        if key not in done and (key not in nearest or refusal < nearest[key]):
            nearest[key] = refusal
    return best, sorted(nearest.values(), key=lambda one: (list(STYLES).index(one.style), one.what))


def _rank(one: Priced) -> tuple[int, int, str, tuple[float, ...]]:
    """Cheapest first; of equals the plainer style, then by name and size, so that the order is fixed."""
    return one.total_cents, list(STYLES).index(one.draft.style), one.draft.what, one.draft.outside_in


def _sound(drafts: Iterable[Draft | Refusal], bench: Bench) -> tuple[list[Draft], list[Refusal]]:
    """Drafts that can be filled and that carry the weight."""
    sound, refusals = [], []
    for draft in drafts:
        if isinstance(draft, Refusal):
            refusals.append(draft)
            continue
        filled = bench.filled(draft)
        reason = filled if isinstance(filled, str) else bench.weak(filled)
        if reason or isinstance(filled, str):
            refusals.append(Refusal(0.0, draft.style, draft.what, reason))
        else:
            sound.append(filled)
    return sound, refusals


def _labels_of(drafts: list[Draft], bench: Bench, labels: Labels) -> LabelPrices:
    """Labels of all drafts in one call; a pick-up needs none."""
    at = [place for place, draft in enumerate(drafts) if draft.style != "pickup"]
    cents = np.zeros(len(drafts), dtype=np.int64)
    billable = np.full(len(drafts), np.nan)
    service, refused = [""] * len(drafts), [""] * len(drafts)
    if at:
        sides = np.array([drafts[place].outside_in for place in at])
        weights = np.array([drafts[place].gross_lb(bench.item, bench.stock) for place in at])
        found = labels(
            sides[:, 0],
            sides[:, 1],
            sides[:, 2],
            weights,
            [drafts[place].packaging for place in at],
            [drafts[place].nonrectangular for place in at],
        )
        cents[at] = found.cents
        billable[at] = found.billable_lb
        for place, name, reason in zip(at, found.service, found.refused, strict=True):
            service[place], refused[place] = name, reason
    return LabelPrices(cents, billable, service, refused)


def _damage_cents(style: str, bench: Bench) -> int:
    """Chance of damage x value. [cents]"""
    assumptions, item = bench.assumptions, bench.item
    usual = assumptions.ppm(f"packing.damage.{item.fragility}")
    chance = int(percentage(usual, assumptions.ppm(f"packing.damage_by_style.{style}")))
    return int(percentage(item.value_cents, min(chance, 1_000_000)))


def _helper_hour_cents(bench: Bench) -> int:
    """Wage and payroll burden of an hour. [cents]"""
    wage = bench.assumptions.cents("help.wage")
    return wage + int(percentage(wage, bench.assumptions.ppm("help.burden")))


def _price(
    draft: Draft, place: int, prices: LabelPrices, bench: Bench, damage_cents: int, hour_cents: tuple[int, int]
) -> Priced:
    gross = draft.gross_lb(bench.item, bench.stock)
    lift = hands(draft.outside_in, gross, equation=bench.rules.lifting, assumptions=bench.assumptions)
    owner, helper = _minutes(draft, lift, bench)
    return Priced(
        draft=draft,
        gross_lb=gross,
        container_cents=draft.container_cents,
        materials=_materials(draft, bench),
        owner_min=owner,
        helper_min=helper,
        owner_cents=whole_cents(owner / 60 * hour_cents[0]),
        helper_cents=whole_cents(helper / 60 * hour_cents[1]),
        label_cents=int(prices.cents[place]),
        damage_cents=damage_cents,
        billable_lb=float(prices.billable_lb[place]),
        service=prices.service[place],
        hands=lift,
    )


def _materials(draft: Draft, bench: Bench) -> tuple[Line, ...]:
    stock, lines = bench.stock, []
    way = draft.padding
    if way is not None and way.cushion is not None:
        cost = whole_cents(way.area_sqft * way.cushion.cents_per_sqft)
        lines.append(Line(way.cushion.name, way.area_sqft, "sq ft", cost))
    if stock.fill is not None and draft.fill_cuft > 0:
        cost = whole_cents(draft.fill_cuft * stock.fill.cents_per_cuft)
        lines.append(Line(stock.fill.name, draft.fill_cuft, "cu ft", cost))
    if stock.stretch is not None and draft.film_sqft > 0:
        cost = whole_cents(draft.film_sqft * stock.stretch.cents_per_sqft)
        lines.append(Line(stock.stretch.name, draft.film_sqft, "sq ft", cost))
    if stock.tape is not None and draft.strips_in:
        metres = sum(draft.strips_in) * M_PER_IN
        lines.append(Line(stock.tape.name, metres, "m", whole_cents(metres * stock.tape.cents_per_m)))
    return tuple(lines)


def _minutes(draft: Draft, lift: Hands, bench: Bench) -> tuple[float, float]:
    """Owner's and helper's minutes: one packs, and above the lifting limit both carry."""

    def work(name: str) -> float:
        return bench.assumptions.number(f"packing.work.{name}")

    way = draft.padding
    minutes = bench.assumptions.number(f"packing.minutes.{draft.style}")
    if way is not None and way.cushion is not None:
        minutes += way.area_sqft * work("wrap_per_sqft" if way.cushion.form == "wrap" else "plate_per_sqft")
    minutes += draft.fill_cuft * work("fill_per_cuft")
    minutes += draft.film_sqft * work("film_per_sqft")
    minutes += len(draft.strips_in) * work("per_strip")
    minutes += draft.knife_in / IN_PER_FT * work("cut_per_ft") + draft.score_in / IN_PER_FT * work("score_per_ft")
    handling = work("handling")
    both = handling if lift.people == 2 else 0.0
    if bench.assumptions.text("packing.packer") == "owner":
        return minutes + handling, both
    return both, minutes + handling


def _nested(found: list[Priced], sheets: dict[tuple[str, str], list[list[Sheet]]], bench: Bench) -> Priced | None:
    """The cheapest of one style and board once its blanks lie on sheets; None where none fits."""
    cutting = bench.assumptions.text("packing.cutting")
    best: Priced | None = None
    for one in found:
        if best is not None and one.total_cents >= best.total_cents:
            break
        for choice in sheets[one.draft.board]:
            laid = nest(one.draft.blanks, choice, cutting=cutting)  # type: ignore[arg-type]
            if laid is None:
                continue
            whole = replace(one, container_cents=one.container_cents + laid.cost_cents, nest=laid)
            if best is None or _rank(whole) < _rank(best):
                best = whole
    return best
