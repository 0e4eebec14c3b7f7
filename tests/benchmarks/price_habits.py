"""Shops that price by habit: how buyers come, what a sale leaves, and the books of two years.

Buyers come to each thing as the kind says. A buyer who finds it too dear sometimes writes an
offer. The seller knows what books tell: a past in which things were listed by habit, and a few
comparables of each thing.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.comparables import comparable_rules
from flipkit.analysis.demand import Demand, Offers, Wanting, wanting
from flipkit.analysis.sale_hazard import (
    OFFER_PARTS,
    SellingModel,
    Typical,
    first_ratios,
    highest_ratio,
    person_weeks,
    selling_model,
    selling_prior,
    typical_prices,
)
from flipkit.assumptions import Assumptions
from flipkit.simulation.shops import Draws, Kind, PlainCharges

Floats = npt.NDArray[np.float64]

#: Share of the buyers who find a thing too dear and write an offer at their own price.
WRITES = 0.25
#: Spread of the logarithm of what like things sold for.
LIKE_SPREAD = 0.22
#: Every seller's first price by habit, over what the thing typically brings.
MARKUP = 1.15
#: Last day of the past, and its length.
TODAY = dt.date(2026, 12, 31)
PAST_DAYS = 730


@dataclass(frozen=True)
class World:
    """How buyers come to a kind of thing, and what a sale leaves."""

    kind: Kind
    offers: Offers
    wanted: Wanting
    sale_cost_cents: float
    storage_cents: float
    #: How much faster buyers turn away beyond the usual price: a bend that the fit does not assume.
    faster: float = 0.0

    def rates(self, ratio: Floats, week: npt.ArrayLike) -> Floats:
        """Sales a week of a thing of the median level, at prices over what it typically brings."""
        kind, log = self.kind, np.log(ratio)
        away = kind.price_pull * log + self.faster * np.maximum(log, 0.0)
        return np.asarray(kind.weekly_rate * np.exp(-away - kind.fading * np.asarray(week)))

    def net(self, price: Floats) -> Floats:
        """What a sale leaves at prices, before what the thing cost. [cents]"""
        charges = PlainCharges()
        kept = 1.0 - (charges.fee_ppm / 1e6) - self.kind.return_share - 0.7 * self.kind.damage_share
        return np.asarray(kept * price - charges.per_order_cents - self.sale_cost_cents)

    def demand(self, typical_ratio: Floats, *, weeks: int) -> Demand:
        """Demand of things of the median level, by the price over what the seller holds for typical."""
        rate = np.log(self.kind.weekly_rate) + self.kind.price_pull * np.log(typical_ratio)
        pull = np.full(typical_ratio.size, self.kind.price_pull)
        return Demand(rate, pull, -self.kind.fading * np.arange(weeks, dtype=np.float64), self.offers)


def world(
    kind: Kind, *, hour_cents: float, storage_cuft_month_cents: float, trip_spread: float, faster: float = 0.0
) -> World:
    """The world of a kind."""
    pull = kind.price_pull
    reach = [part**-pull for part in (1.0, *OFFER_PARTS)]
    offers = Offers(OFFER_PARTS, tuple(WRITES * (reach[at + 1] - reach[at]) for at in range(len(OFFER_PARTS))))
    sides = np.array([kind.sides_in])
    label = float(PlainCharges().labels_cents([0], ["5"], sides, np.array([kind.weight_lb]))[0])
    own = label * (1 - kind.shipping_share * (1 - PlainCharges().fee_ppm / 1e6))
    work = sum(kind.minutes.get(name, 0.0) for name in ("pack", "post")) + 0.6 * kind.minutes.get("messages", 0.0)
    volume = float(np.prod(sides)) / 1728
    return World(
        kind,
        offers,
        wanting(kind.never_share, float(np.hypot(kind.appeal_spread, 2 * trip_spread))),
        own + 100 * kind.materials_usd + work * hour_cents / 60,
        volume * storage_cuft_month_cents * 12 / 52,
        faster,
    )


def past_books(worlds: list[World], *, things: int, draws: Draws) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Two years of listings by habit: a tenth off every so many weeks, any offer of four fifths taken."""
    items, changes, like = [], [], []
    for place, each in enumerate(worlds):
        kind = each.kind
        value = 100 * kind.price_usd * np.exp(kind.price_spread * draws.normal("value", things))
        level = each.wanted.level[draws.choice("level", each.wanted.share, things)]
        asked = value * MARKUP * np.exp(kind.markup_spread * draws.normal("markup", things))
        day = np.floor(PAST_DAYS * draws.uniform("listed", things)).astype(np.int64)
        ids = [f"{place}-{at}" for at in range(things)]
        week, paid = _lived(each, value, level, asked, (PAST_DAYS - day) // 7, draws)
        start = np.datetime64(TODAY, "D") + (day - PAST_DAYS).astype("timedelta64[D]")
        sold = paid > 0
        gone = ~sold & (week >= kind.give_up_weeks)
        on = start + (7 * week + 3).astype("timedelta64[D]")
        items.append(
            pd.DataFrame(
                {
                    "item_id": ids,
                    "category": kind.name,
                    "listed_on": start.astype("datetime64[s]"),
                    "list_price_cents": np.rint(asked),
                    "sold_on": np.where(sold, on, np.datetime64("NaT", "D")).astype("datetime64[s]"),
                    "sold_price_cents": np.rint(paid),
                    "gone_on": np.where(gone, on, np.datetime64("NaT", "D")).astype("datetime64[s]"),
                }
            )
        )
        cuts = week // kind.markdown_weeks
        row = np.repeat(np.arange(things), cuts)
        step = np.arange(row.size) - np.repeat(np.cumsum(cuts) - cuts, cuts) + 1
        changes.append(
            pd.DataFrame(
                {
                    "item_id": np.array(ids, dtype=object)[row],
                    "changed_on": (start[row] + (7 * step * kind.markdown_weeks).astype("timedelta64[D]")).astype(
                        "datetime64[s]"
                    ),
                    "price_cents": np.rint(asked[row] * (1 - kind.markdown_share) ** step),
                }
            )
        )
        for _ in range(2):
            price = value * np.exp(LIKE_SPREAD * draws.normal("like", things))
            like.append(pd.DataFrame({"item_id": ids, "sold_on": items[-1]["listed_on"], "price_cents": price}))
    return tuple(pd.concat(parts, ignore_index=True) for parts in (items, changes, like))


def _lived(
    each: World, value: Floats, level: Floats, asked: Floats, most: npt.NDArray[np.int64], draws: Draws
) -> tuple[npt.NDArray[np.int64], Floats]:
    """Weeks until the sale, the end of patience or of what is known; and the price paid, 0 if unsold."""
    kind, n = each.kind, value.size
    week = np.zeros(n, dtype=np.int64)
    paid = np.zeros(n)
    shares = np.array(
        [1.0, *(often for part, often in zip(OFFER_PARTS, each.offers.per_sale, strict=True) if part >= 0.8)]
    )
    parts = np.array([1.0, *(part for part in OFFER_PARTS if part >= 0.8)])
    last = np.minimum(most, kind.give_up_weeks)
    for now in range(int(last.max(initial=0))):
        here = np.flatnonzero((paid == 0) & (now < last))
        price = asked[here] * (1 - kind.markdown_share) ** (now // kind.markdown_weeks)
        rate = level[here] * each.rates(price / value[here], now)
        hit = draws.uniform("sale", here.size) < -np.expm1(-rate * shares.sum())
        way = draws.choice("way", shares, here.size)
        paid[here] = np.where(hit, price * parts[way], 0.0)
        week[here] = np.where(hit, now, now + 1)
    return week, paid


def learned(worlds: list[World], *, things: int, assumptions: Assumptions, draws: Draws) -> tuple[SellingModel, float]:
    """What the kit learns from such a past, and the highest price over the typical one that it supports."""
    items, changes, like = past_books(worlds, things=things, draws=draws)
    model, typical = learned_from(items, changes, like, as_of=TODAY, assumptions=assumptions)
    highest = highest_ratio(
        first_ratios(items, typical.cents, finished=True),
        enough=assumptions.whole("pricing.enough"),
        markup=assumptions.number("selling.markup"),
        spread=assumptions.number("selling.markup_spread"),
        bound=assumptions.number("pricing.high"),
    )
    return model, highest


def learned_from(
    items: pd.DataFrame,
    price_changes: pd.DataFrame,
    comparables: pd.DataFrame,
    *,
    as_of: dt.date,
    assumptions: Assumptions,
) -> tuple[SellingModel, Typical]:
    """What the kit learns from books as of a day."""
    typical = typical_prices(
        items,
        comparables,
        as_of=as_of,
        rules=comparable_rules(assumptions),
        markup=assumptions.number("selling.markup"),
        markup_spread=assumptions.number("selling.markup_spread"),
    )
    weeks = person_weeks(items, price_changes, typical.cents, as_of=as_of)
    names = tuple(dict.fromkeys(str(name) for name in items["category"]))
    return selling_model(weeks, names, prior=selling_prior(assumptions)), typical
