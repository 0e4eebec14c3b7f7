"""What a shop's books know about buying, in a small plain table that answers without the books."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from typing import Any, Final, Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.comparables import TypicalPrice, comparable_rules
from flipkit.analysis.demand import Demand
from flipkit.analysis.max_bid import SHOP
from flipkit.analysis.pricing import Habit
from flipkit.analysis.sale_hazard import (
    SellingModel,
    Typical,
    first_ratios,
    highest_ratio,
    person_weeks,
    price_endings,
    seller_habit,
    selling_model,
    selling_prior,
    shared_spread,
    typical_prices,
)
from flipkit.analysis.stock import room_price
from flipkit.assumptions import SIZES, Assumptions
from flipkit.books.read import Books
from flipkit.books.schema import PICKUP
from flipkit.economics.items import MONEY_LINES
from flipkit.money import percentage
from flipkit.rules.fees import order_fee_lines
from flipkit.rules.parcels import size_class
from flipkit.rules.tables import Rules

#: How many things the shop's means weigh beside a category's own, and the assumed ones beside the shop's.
_HELD = 5.0
#: Spread of the log of prices within a category of which nobody knows it.
_SPREAD = 0.6
#: Sales that the shop's refunds weigh beside a category's own.
_HELD_SALES = 20.0
#: Prices at which fees are tabulated, from one dollar to 5,000. [cents]
FEE_PRICES = tuple(int(price) for price in np.unique(np.rint(np.geomspace(100, 500_000, 48))))
#: Parcels of a size below which a pound is not said to cost anything.
_FEWEST_PARCELS = 10
#: Things from which on a kind's own prices are told from them alone.
_FEWEST_THINGS = 10
#: Where a kind's own low and high prices stand among what its things sell for.
_PRICE_PLACES = (0.1, 0.9)
_BEFORE = ("find", "research", "clean", "photograph", "write", "store")
_AT_SALE = ("messages", "pack", "post")
_POSTING = ("pack", "post")


Floats = npt.NDArray[np.float64]


class Known(Protocol):
    """What the knowledge is drawn from; a study has all of it."""

    @property
    def books(self) -> Books:
        """The books."""

    @property
    def items(self) -> pd.DataFrame:
        """One row an item, as ``item_economics`` gives them."""

    @property
    def rules(self) -> Rules:
        """The rule tables."""

    @property
    def assumptions(self) -> Assumptions:
        """What the seller assumes."""

    @property
    def as_of(self) -> dt.date:
        """The last day that is known."""


#: What posting a sale takes, beside the venue's fees and the seller's work.
_POSTED: Final = tuple(f"{line.name}_cents" for line in MONEY_LINES if line.at_sale)
#: Columns of the items that knowledge is made of.
_READ: Final = (
    "category", "size_class", "sold_on", "zone", "venue", "days_held", "days_listed", "volume_cuft", "weight_lb",
    "overhead_cents", "listing_fee_cents", "trip_cents", "hired_cents", "shipping_charged_cents", "sold_price_cents",
    "refund_cents", "expected_loss_cents", "refunded_fee_cents", *_POSTED,
    *(f"{name}_min" for name in (*_BEFORE, *_AT_SALE, "returns")),
)  # fmt: skip


def shop_model(study: Known) -> tuple[SellingModel, Typical]:
    """The chance of a sale, and typical prices, as the books teach them."""
    held = study.assumptions
    typical = typical_prices(
        study.items,
        study.books.comparables,
        as_of=study.as_of,
        rules=comparable_rules(held),
        markup=held.number("selling.markup"),
        markup_spread=held.number("selling.markup_spread"),
    )
    weeks = person_weeks(study.items, study.books.price_changes, typical.cents, as_of=study.as_of)
    names = tuple(sorted(str(name) for name in study.items["category"].unique()))
    return selling_model(weeks, names, prior=selling_prior(held)), typical


def shop_knowledge(study: Known, learnt: tuple[SellingModel, Typical] | None = None) -> dict[str, Any]:
    """What the shop knows about buying: demand, work, fees and costs by category and size class."""
    held = study.assumptions
    model, typical = shop_model(study) if learnt is None else learnt
    # Taken apart again and again by category and size: the columns read alone, in one piece, are taken three times as
    # fast.
    prices, by_sales = known_prices(study.items, typical, enough=held.whole("report.too_few_items"))
    items = study.items.filter(list(_READ)).assign(typical=prices).copy()
    # How far like things differ from sale to sale, as the shop's own comparables have shown.
    own = study.books.comparables
    like = comparable_rules(held)
    like = dataclasses.replace(like, spread=shared_spread(own[own["item_id"] != ""], like))
    venues = _venues(items, study.rules, held)
    collected = _collected_venues(items, venues)
    taken = _taken(items)
    parcels = items[items["sold_on"].notna() & (items["zone"] != PICKUP)]
    pound = {size: _pound_cents(parcels[parcels["size_class"] == size]) for size in SIZES}
    whole = _terms(taken.groupby(level="size_class").sum(), {}, held, pound_cents=pound)
    changes = study.books.price_changes
    habit = seller_habit(study.items, changes, typical.cents, as_of=study.as_of, held=held)
    highest = highest_ratio(
        first_ratios(study.items, typical.cents, finished=True),
        enough=held.whole("pricing.enough"),
        markup=held.number("selling.markup"),
        spread=held.number("selling.markup_spread"),
        bound=held.number("pricing.high"),
    )
    room_cents, recorded = room_cost(study)
    kinds = {}
    for name in (*model.categories, SHOP):
        mine = items if name == SHOP else items[items["category"] == name]
        ratio = typical.markup.get(name, habit.ratio)
        own = dataclasses.replace(habit, ratio=ratio, spread=typical.markup_spread)
        terms = whole
        if name != SHOP:
            own_part = taken[taken.index.get_level_values("category") == name].droplevel("category")
            terms = _terms(own_part, whole, held, pound_cents=pound)
        kinds[name] = _kind(name, mine, items, model, terms, venues, collected, study, typical.like.get(name), own)
        kinds[name]["by_sales"] = name in by_sales
    classes, most = _weight_steps(study)
    return {
        "version": 1,
        "as_of": study.as_of.isoformat(),
        "currency": study.books.shop.currency,
        "too_few_items": held.whole("report.too_few_items"),
        "wishes": {
            "target_cents": held.cents("hour.target"),
            "loss_limit": held.share("buying.loss_limit"),
            "loss_from_cents": held.cents("buying.loss_from"),
            "salvage": held.share("stock.salvage"),
            "money_rate": held.share("pricing.money"),
            "storage_cents": room_cents * 12 / 52,
            "storage_recorded": recorded,
            "change_min": held.number("pricing.change"),
            "wait_worth_cents": held.cents("pricing.wait_worth"),
            "guess_error": held.number("buying.guess_error"),
        },
        "comparable_rules": dataclasses.asdict(like),
        "grid": [held.number("pricing.low"), highest, held.number("pricing.step")],
        "grid_bound": held.number("pricing.high"),
        "endings_cents": endings(held) or price_endings(study.items, changes),
        "fee_price_cents": list(FEE_PRICES),
        "collected": collected,
        "weight_classes": classes,
        "most_lb": most,
        "categories": kinds,
    }


def known_prices(items: pd.DataFrame, typical: Typical, *, enough: int) -> tuple[pd.Series, list[str]]:
    """Typical prices, by the sales alone in a category without a list price or comparable; which these are.

    Where ``enough`` things of such a category sold, each sold at a price that such things bring.
    """
    prices = pd.Series(typical.cents, index=items.index)
    sold = items["sold_price_cents"].astype(np.float64).where(lambda cents: cents > 0)
    seen, sales = (column.groupby(items["category"]).count() for column in (prices, sold))
    names = [str(name) for name in seen.index if not seen[name] and name not in typical.like and sales[name] >= enough]
    return prices.mask(items["category"].isin(names), sold), names


def _own_prices(typical_cents: pd.Series, middle: float, spread: float) -> list[int]:
    """What a kind's own things sell for at the low end, usually and at the high end, in whole units."""
    if not np.isfinite(middle):
        return [0, 0, 0]
    low, high = np.exp(middle + spread * np.array([-1.28, 1.28]))
    if len(typical_cents) >= _FEWEST_THINGS:
        low, high = np.quantile(typical_cents.to_numpy(dtype=np.float64), _PRICE_PLACES)
    usual = float(np.exp(middle))
    return [max(round(float(price) / 100), 1) * 100 for price in (min(low, usual), usual, max(high, usual))]


def _weight_steps(study: Known) -> tuple[list[list[Any]], float | None]:
    """Weights above which a parcel belongs to a larger class, and the most that a carrier of the rate cards takes."""
    pounds = np.arange(1.0, 301.0)
    box = np.full(pounds.size, 8.0)
    sizes = study.rules.size_classes
    # A yardstick, not a charge: books older than the table are measured by its first block.
    on = max(study.as_of, sizes.blocks[0].starts)
    found = size_class(
        sizes, on=on, length_in=box, width_in=box, height_in=box, weight_lb=pounds, parcel_rules=sizes.rules
    )
    steps = [[float(pounds[at]), str(found[at + 1])] for at in np.flatnonzero(found[1:] != found[:-1])]
    most = []
    for card in study.rules.rate_cards.values():
        own = [block for block in study.rules.rules_of(card).blocks if block.starts <= study.as_of]
        if own and "weight" in own[-1].limits:
            most.append(own[-1].limits["weight"])
    return steps, max(most, default=None)


def room_cost(study: Known) -> tuple[float, bool]:
    """What a cubic foot costs a month, and whether the overheads tell: what the seller set counts before them."""
    held = study.assumptions
    set_by_seller = held.entries["pricing.storage"].layer != "packaged"
    words = [word.strip() for word in held.text("pricing.room_words").split(",")]
    found = None if set_by_seller else room_price(study.items, study.books.overheads, words=words, as_of=study.as_of)
    return (float(held.cents("pricing.storage")), False) if found is None else (found, True)


def endings(assumptions: Assumptions) -> list[int]:
    """Endings that prices may have, as the assumption names them."""
    from flipkit.errors import AssumptionError

    text = assumptions.text("pricing.endings")
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not all(part.isdigit() and int(part) < 100 for part in parts):
        raise AssumptionError("pricing.endings", need="cents from 0 to 99 with commas between", got=text)
    return [int(part) for part in parts]


def _kind(
    name: str,
    mine: pd.DataFrame,
    items: pd.DataFrame,
    model: SellingModel,
    terms: dict[str, dict[str, float]],
    venues: list[str],
    collected: list[str],
    study: Known,
    like: TypicalPrice | None,
    habit: Habit,
) -> dict[str, Any]:
    """One category's part of the knowledge."""
    held = study.assumptions
    log = np.log(mine["typical"].dropna().to_numpy(dtype=np.float64))
    middle, own = _usual(log, like, otherwise=float(np.log(items["typical"]).median()))
    shares = mine["size_class"].value_counts(normalize=True)
    sold = mine[mine["sold_on"].notna()]
    shipping = float(sold.loc[sold["zone"] != PICKUP, "shipping_charged_cents"].mean()) if len(sold) else 0.0
    where = sold["venue"][sold["venue"].isin(venues)]
    posted = where[~where.isin(collected)]
    venue = str((posted if len(posted) else where).mode().iloc[0]) if len(where) else venues[0]
    never = float(1 / (1 + np.exp(-model.never(name)[0])))
    weeks = held.whole("pricing.weeks")
    demand: Demand = model.demand(name, weeks=weeks, start=study.as_of)
    pace_error, pull_with_pace = model.pace(name, weeks=weeks)
    return {
        "items": len(mine),
        "sold": len(sold),
        # Nothing sold and nothing compared: nobody knows yet what such things bring.
        "typical_cents": float(np.exp(middle)) if np.isfinite(middle) else None,
        "typical_spread": own,
        "prices_cents": _own_prices(mine["typical"].dropna(), middle, own),
        "demand": demand.as_dict(),
        # A share of never wanted things misjudged is a pace misjudged.
        "pace_error": float(np.hypot(pace_error, never * model.never(name)[1])),
        "pull_error": model.pull(name)[1],
        "pull_with_pace": pull_with_pace,
        "never_share": never,
        "appeal_spread": model.appeal_spread,
        "habit": dataclasses.asdict(habit),
        "size": str(shares.index[0]) if len(shares) else held.text("parcel.size_when_unknown"),
        "size_shares": {str(size): float(share) for size, share in shares.items()},
        "sizes": terms,
        "venue": venue,
        "fees": {
            place: _fees(place, name, 0.0 if place in collected else np.nan_to_num(shipping), study) for place in venues
        },
        "venue_pace": {place: held.share("buying.local_pace") if place in collected else 1.0 for place in venues},
    }


def _usual(log: Floats, like: TypicalPrice | None, *, otherwise: float) -> tuple[float, float]:
    """Middle and spread of the log of what a category's things sell for: the shop's own, and others' sales of like.

    Each full-weight comparable counts as much as one of the shop's own things.
    """
    middle = float(np.median(log)) if log.size else otherwise
    spread = float(np.std(log)) if log.size > 2 else _SPREAD
    if like is None:
        return middle, spread
    theirs = float(np.log(like.cents))
    whole = (log.size * middle + like.effective * theirs) / (log.size + like.effective) if log.size else theirs
    # Without the shop's own things the comparables alone tell how wide the category is.
    each = ((log.size, middle, spread), (like.effective, theirs, like.spread))
    squares = sum(size * (own**2 + (at - whole) ** 2) for size, at, own in each if size)
    return whole, float(np.sqrt(squares / (log.size + like.effective)))


def _taken(items: pd.DataFrame) -> pd.DataFrame:
    """What things took, added up by category and size class: all that ``_terms`` needs to know of them."""

    def minutes(*names: str) -> pd.Series:
        return items[[f"{name}_min" for name in names]].sum(axis=1)

    listed, sold = items["days_listed"].notna(), items["sold_on"].notna()
    posted = sold & (items["zone"] != PICKUP)
    weight = _weights(items).where(posted)
    parcel = items[list(_POSTED)].sum(axis=1)
    lost = items["refund_cents"] + items["expected_loss_cents"] - _summed(items, "refunded_fee_cents")
    parts = {
        "items": 1.0,
        "listed": listed,
        "sold": sold,
        "posted": posted,
        "weighed": weight.notna(),
        "collected": sold & ~posted,
        "weight_lb": weight,
        "at_sale_cents": (parcel + items["hired_cents"] - items["shipping_charged_cents"]).where(posted),
        "label_cents": items["label_cents"].where(posted),
        "shipping_charged_cents": items["shipping_charged_cents"].where(posted),
        "before_cents": items["trip_cents"],
        "found_min": items["find_min"] + items["research_min"],
        "rest_min": minutes(*_BEFORE[2:]).where(listed),
        "sale_min": minutes(*_AT_SALE, "returns").where(posted),
        "pack_min": items["pack_min"].where(posted),
        "post_min": minutes(*_POSTING).where(posted),
        "volume_cuft": items["volume_cuft"],
        "held_days": items["days_held"].clip(lower=1),
        "held_cents": _summed(items, "overhead_cents", "listing_fee_cents"),
        "sold_cents": items["sold_price_cents"].where(sold),
        "lost_cents": lost.where(sold),
    }
    frame = pd.DataFrame(parts, index=items.index).astype(np.float64)
    return frame.groupby([items["category"], items["size_class"]]).sum()


def _terms(
    taken: pd.DataFrame, above: dict[str, dict[str, float]], held: Assumptions, *, pound_cents: Mapping[str, float]
) -> dict[str, dict[str, float]]:
    """What a thing of each size class takes, a category's own pulled towards the shop's, that towards the assumed."""
    taken = taken.reindex(list(SIZES), fill_value=0.0)
    whole = taken.sum()
    prior = (
        above[SIZES[0]]["refund_share"]
        if above
        else held.by_size("loss.chance")["medium"] / 1e6 * held.share("loss.share")
    )
    # Part of the sold prices that refunds and damage took.
    mean = whole["sold_cents"] / whole["sold"] if whole["sold_cents"] else 1.0
    refunds = (whole["lost_cents"] + _HELD_SALES * prior * mean) / (whole["sold_cents"] + _HELD_SALES * mean)
    week = whole["held_cents"] / max(whole["held_days"], 1.0) * 7
    found = {}
    for size, own in taken.iterrows():
        assumed = {name: held.number(f"minutes.{name}.{size}") for name in (*_BEFORE, *_AT_SALE, "returns")}
        upper = above.get(str(size))

        def pulled(
            key: str, of: str, otherwise: float, own: pd.Series = own, upper: dict[str, float] | None = upper
        ) -> float:
            return float((own[key] + _HELD * (upper[key] if upper else otherwise)) / (own[of] + _HELD))

        label, material = held.by_size("label.assumed")[str(size)], held.by_size("materials.assumed")[str(size)]
        charged = own["shipping_charged_cents"] / max(own["label_cents"], 1.0)
        before = upper["before_min"] if upper else sum(assumed[name] for name in _BEFORE)
        if own["listed"]:
            # Finding and research of all, the rest of what was listed.
            mine = own["found_min"] / own["items"] + own["rest_min"] / own["listed"]
            before = float((own["listed"] * mine + _HELD * before) / (own["listed"] + _HELD))
        found[str(size)] = {
            "refund_share": float(refunds),
            # Without a parcel of this size, as much of its label is charged as of the others.
            "at_sale_cents": pulled("at_sale_cents", "posted", label * (1 - min(charged, 1.0)) + material),
            "weight_lb": pulled("weight_lb", "weighed", held.by_size("parcel.weight_lb")[str(size)]),
            # What a pound more costs is the carriers' doing, so the whole shop's parcels of the size tell it.
            "pound_cents": pound_cents[str(size)],
            # What a buyer fetched has no label: sales of the size that were collected.
            "collected": pulled("collected", "sold", 0.0),
            "before_cents": pulled("before_cents", "items", 0.0),
            "week_cents": float(week),
            "before_min": before,
            "sale_min": pulled("sale_min", "posted", sum(assumed[name] for name in _AT_SALE)),
            "pack_min": pulled("pack_min", "posted", assumed["pack"]),
            "post_min": pulled("post_min", "posted", sum(assumed[name] for name in _POSTING)),
            "volume_cuft": pulled("volume_cuft", "items", _assumed_volume(str(size), held)),
        }
    return found


def _summed(rows: pd.DataFrame, *lines: str) -> pd.Series:
    """Lines added up, those left out that a simulated shop does not have."""
    return rows[[line for line in lines if line in rows]].sum(axis=1)


def _weights(posted: pd.DataFrame) -> pd.Series:
    """Packed scale weights; all missing where nobody weighs, as in simulated shops."""
    return posted["weight_lb"] if "weight_lb" in posted else pd.Series(np.nan, index=posted.index)


def _pound_cents(posted: pd.DataFrame) -> float:
    """What a pound more costs at a sale, beyond the shipping charged: the slope of the labels in the scale weight."""
    known = posted[_weights(posted).notna()]
    weight = _weights(known).to_numpy(dtype=np.float64)
    label = known["label_cents"].to_numpy(dtype=np.float64)
    if len(known) < _FEWEST_PARCELS or not np.ptp(weight):
        return 0.0
    away = weight - weight.mean()
    charged = float(known["shipping_charged_cents"].sum()) / max(float(label.sum()), 1.0)
    return float(max(away @ label / (away @ away), 0.0) * (1 - min(charged, 1.0)))


def _assumed_volume(size: str, held: Assumptions) -> float:
    sides = [held.number(f"parcel.{side}.{size}") for side in ("length_in", "width_in", "height_in")]
    return float(np.prod(sides)) / 1728


def _venues(items: pd.DataFrame, rules: Rules, held: Assumptions) -> list[str]:
    """Venues with a fee schedule or with sales, the most used first."""
    used = items.loc[items["sold_on"].notna() & (items["venue"] != ""), "venue"].value_counts()
    default = held.text("venue.default")
    names = [*(str(name) for name in used.index), *([default] if default else []), *sorted(rules.fee_schedules)]
    return list(dict.fromkeys(names)) or ["any"]


def _collected_venues(items: pd.DataFrame, venues: list[str]) -> list[str]:
    sold = items[items["sold_on"].notna()]
    return [
        name
        for name in venues
        if (sold["venue"] == name).any() and float((sold.loc[sold["venue"] == name, "zone"] == PICKUP).mean()) > 0.5
    ]


def _fees(place: str, category: str, shipping_cents: float, study: Known) -> list[int]:
    """Fees of a venue at each of ``FEE_PRICES``, today."""
    price = np.array(FEE_PRICES, dtype=np.int64)
    shipping = np.full(price.size, round(float(shipping_cents)), dtype=np.int64)
    schedule = study.rules.fee_schedules.get(place)
    # A plan of an earlier day is made again for the track record; a schedule may have begun since.
    if schedule is None or study.as_of < schedule.blocks[0].starts:
        rate, fixed = study.assumptions.ppm("fees.assumed_rate"), study.assumptions.cents("fees.assumed_per_order")
        return [int(cents) for cents in percentage(price + shipping, rate) + fixed]
    lines = order_fee_lines(
        schedule,
        on=study.as_of,
        goods_cents=price,
        shipping_cents=shipping,
        tax_cents=percentage(price + shipping, study.assumptions.ppm("fees.buyer_tax")),
        category=np.full(price.size, category),
    )
    return [int(cents) for cents in lines["total_cents"]]
