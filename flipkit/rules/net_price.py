"""What a venue leaves of a price, and the price that leaves a wanted net."""

from __future__ import annotations

import bisect
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Unpack

import numpy as np
import numpy.typing as npt

from flipkit.errors import MoneyError, RuleNotInForceError
from flipkit.money import PPM, Cents, percentage
from flipkit.rules.fees import Charge, FeeSchedule, SaleOptions, SellerLevel, Steps, listing_fees, order_fee_lines
from flipkit.rules.tables import Rules

# The smallest price that leaves a wanted net after a marketplace's fees, exact to the cent.

#: No price above this is looked for. [cents]
HIGHEST_PRICE_CENTS = 10_000_000_00


class PricedOrder(SaleOptions, total=False):
    """What is known of an order whose price is asked for: amounts in cents, and what the venue charges by."""

    shipping_cents: int
    #: Label, materials and whatever else is paid out of it.
    costs_cents: int
    #: Tax that the marketplace collects on goods and shipping.
    tax_ppm: int
    listing_cents: int


def net_at_price(
    schedule: FeeSchedule,
    *,
    on: dt.date,
    goods_cents: npt.ArrayLike,
    shipping_cents: int = 0,
    costs_cents: int = 0,
    tax_ppm: int = 0,
    listing_cents: int = 0,
    **options: Unpack[SaleOptions],
) -> Cents:
    """What an order leaves at each of some prices: goods and shipping, less fees and costs."""
    goods = np.atleast_1d(np.asarray(goods_cents, dtype=np.int64))
    tax = percentage(goods + shipping_cents, tax_ppm)
    sale: dict[str, Any] = {"shipping_cents": shipping_cents, "tax_cents": tax, "listing_cents": listing_cents}
    lines = order_fee_lines(schedule, on=on, goods_cents=goods, **sale, **options)
    return goods + shipping_cents - lines["total_cents"] - costs_cents


def price_for_net(
    schedule: FeeSchedule, *, on: dt.date, net_cents: npt.ArrayLike, **order: Unpack[PricedOrder]
) -> Cents:
    """The smallest price of the goods whose net is at least the wanted one.

    The fees are followed through tiers, minimum, cap, steps and rounding. Between the prices at
    which a fee jumps the net before rounding only rises, so that the first price that can do is
    found by bisection, and the prices from there on are tried one by one.
    """
    wanted = np.atleast_1d(np.asarray(net_cents, dtype=np.int64))
    bill = _Bill(schedule, on, order)
    bill.require_rising()
    found = np.full(wanted.shape, -1, dtype=np.int64)
    for low, high in bill.stretches():
        open_ = found < 0
        if not open_.any():
            break
        found[open_] = bill.first_price(wanted[open_], low, high)
    if (found < 0).any():
        least = int(wanted[found < 0][0])
        raise MoneyError(
            "net_cents",
            need=f"a net that some price up to {HIGHEST_PRICE_CENTS / 100:,.0f} leaves",
            got=least,
            where=schedule.title,
        )
    return found


class _Bill:
    """One kind of order at one marketplace, as a function of its price alone."""

    def __init__(self, schedule: FeeSchedule, on: dt.date, order: PricedOrder) -> None:
        self._schedule, self._on, self._order = schedule, on, order
        self._shipping, self._tax_ppm = order.get("shipping_cents", 0), order.get("tax_ppm", 0)
        block = self._block = schedule.at(on)
        level = block.seller_levels.get(str(order.get("seller_level") or ""), SellerLevel())
        commission = block.categories.get(str(order.get("category") or ""), block.commission)
        self._commission, self._off = commission, level.commission_off_ppm / PPM
        chosen, rate = block.advertising if order.get("advertised") else None, order.get("advertising_ppm")
        if chosen is not None and rate is not None:
            chosen = Charge(base=chosen.base, edges_cents=(), rates_ppm=(int(np.asarray(rate)),))
        abroad = block.international if order.get("international") else None
        self._others = [one for one in (block.payment, chosen, abroad, level.surcharge) if one is not None]
        self._charges = self._others + ([commission] if commission is not None else [])

    def _base(self, base: Sequence[str], price: Any, *, exact: bool) -> Any:
        """The amount that a charge is taken of, the tax in it rounded where it is to be exact."""
        due = price + self._shipping
        tax = percentage(due, self._tax_ppm) if exact else due * (self._tax_ppm / PPM)
        return price * ("goods" in base) + self._shipping * ("shipping" in base) + tax * ("tax" in base)

    def stretches(self) -> list[tuple[int, int]]:
        """Ranges of price, ends included, inside which no fee jumps."""
        jumps = {0}
        stepped = [(charge.base, charge.edges_cents) for charge in self._charges if charge.whole_amount]
        if self._block.per_order is not None:
            stepped.append((self._block.per_order.base, self._block.per_order.edges_cents))
        for base, edges in stepped:
            for edge in edges:
                jump = self._first_above(base, edge)
                if 0 < jump <= HIGHEST_PRICE_CENTS:
                    jumps.add(jump)
        starts = sorted(jumps)
        return list(zip(starts, [*(start - 1 for start in starts[1:]), HIGHEST_PRICE_CENTS], strict=True))

    def _first_above(self, base: Sequence[str], edge: int) -> int:
        """The smallest price whose base exceeds an edge."""
        prices = range(HIGHEST_PRICE_CENTS + 1)
        return bisect.bisect_right(prices, edge, key=lambda price: int(self._base(base, price, exact=True)))

    def _smooth_net(self, prices: npt.NDArray[np.float64], anchor: int) -> npt.NDArray[np.float64]:
        """The net without any rounding, whole-amount tiers and steps held as they are at ``anchor``."""
        charged = [self._smooth(charge, prices, anchor) for charge in self._others]
        if self._commission is not None:
            charged.append(self._smooth(self._commission, prices, anchor) * (1.0 - self._off))
        if (steps := self._block.per_order) is not None:
            charged.append(0.0 * prices + steps.amounts_cents[self._step(steps, anchor)])
        paid_out = self._order.get("costs_cents", 0) + self._order.get("listing_cents", 0)
        return np.asarray(prices + self._shipping - paid_out - sum(charged, 0.0 * prices))

    def _step(self, tiers: Charge | Steps, price: int) -> int:
        """The tier or step that a price falls in."""
        return int(np.searchsorted(tiers.edges_cents, self._base(tiers.base, price, exact=True)))

    def _smooth(self, charge: Charge, prices: npt.NDArray[np.float64], anchor: int) -> npt.NDArray[np.float64]:
        base = self._base(charge.base, prices, exact=False)
        if charge.whole_amount:
            amount = base * (charge.rates_ppm[self._step(charge, anchor)] / PPM)
        else:
            amount = base * (charge.rates_ppm[0] / PPM)
            for edge, low, high in zip(charge.edges_cents, charge.rates_ppm, charge.rates_ppm[1:], strict=False):
                amount = amount + np.maximum(base - edge, 0.0) * ((high - low) / PPM)
        return np.asarray(np.clip(amount, charge.minimum_cents, charge.cap_cents) + charge.fixed_cents)

    def require_rising(self) -> None:
        """Refuse fees that take all of a higher price, under which a bigger net has no price."""
        taken = 0.0
        for charge in self._charges:
            taxed = self._tax_ppm / PPM if "tax" in charge.base else 0.0
            if "goods" in charge.base or taxed:
                taken += max(charge.rates_ppm) / PPM * (("goods" in charge.base) + taxed)
        if taken > 0.99:
            raise MoneyError(
                "fees", need="below 99 % of the price in all", got=f"{taken:.1%}", where=self._schedule.title
            )

    def first_price(self, wanted: Cents, low: int, high: int) -> Cents:
        """The smallest price of a stretch that leaves each wanted net, -1 where none does."""
        margin = self._rounding()
        least = wanted - margin
        start = np.full(wanted.shape, low, dtype=np.int64)
        stop = np.full(wanted.shape, high + 1, dtype=np.int64)
        while (start < stop).any():
            middle = (start + stop) // 2
            can = self._smooth_net(middle.astype(np.float64), low) >= least
            stop = np.where(can & (start < stop), middle, stop)
            start = np.where(~can & (start < stop), middle + 1, start)
        found = np.full(wanted.shape, -1, dtype=np.int64)
        price = start.copy()
        open_ = price <= high
        while open_.any():
            rows = np.flatnonzero(open_)
            net = net_at_price(self._schedule, on=self._on, goods_cents=price[rows], **self._order)
            good = net >= wanted[rows]
            found[rows[good]] = price[rows[good]]
            price[rows] += 1
            open_[rows] = ~good & (price[rows] <= high)
        return found

    def _rounding(self) -> float:
        """How far the net before rounding can lie from the net in cents."""
        lines = len(self._charges) + 1 + (1 if self._off else 0)
        # Half a cent a line, and half a cent of tax at the highest rate of each charge whose base has tax in it.
        tax = sum(max(charge.rates_ppm) / PPM / 2 for charge in self._charges if "tax" in charge.base)
        return lines / 2 + tax + 0.01


# The same item at several venues: fees line by line, net, and the price that would leave the same net.


def venue_nets(
    schedules: Mapping[str, FeeSchedule],
    *,
    on: dt.date,
    goods_cents: int,
    shipping_cents: int = 0,
    label_cents: int = 0,
    costs_cents: int = 0,
    tax_ppm: int = 0,
    days_listed: int | None = None,
    strict: bool = False,
    **options: Unpack[SaleOptions],
) -> list[dict[str, Any]]:
    """What one item leaves at each venue, the best first.

    At a venue that posts nothing, such as a stall, the buyer pays no shipping and there is no label.
    """
    found: list[dict[str, Any]] = []
    refused: list[dict[str, Any]] = []
    for name, schedule in schedules.items():
        shipping, label = (shipping_cents, label_cents) if schedule.ships else (0, 0)
        try:
            lines = order_fee_lines(
                schedule,
                on=on,
                goods_cents=goods_cents,
                shipping_cents=shipping,
                tax_cents=int(percentage(goods_cents + shipping, tax_ppm)),
                listing_cents=plain_listing_cents(schedule, on=on, days_listed=days_listed),
                **options,
            )
        except (RuleNotInForceError, MoneyError) as problem:
            if strict:
                raise
            refused.append({"venue": name, "ships": schedule.ships, "refused": str(problem)})
            continue
        fees = {line: int(cents[0]) for line, cents in lines.items()}
        net = goods_cents + shipping - fees["total_cents"] - label - costs_cents
        costs = {"shipping_cents": shipping, "label_cents": label, "costs_cents": costs_cents}
        found.append({"venue": name, "ships": schedule.ships, **fees, **costs, "net_cents": net, "refused": ""})
    found.sort(key=lambda venue: (-venue["net_cents"], venue["venue"]))
    for venue in found:
        try:
            price = price_for_net(
                schedules[venue["venue"]],
                on=on,
                net_cents=found[0]["net_cents"],
                shipping_cents=venue["shipping_cents"],
                costs_cents=venue["label_cents"] + costs_cents,
                tax_ppm=tax_ppm,
                listing_cents=venue["listing_cents"],
                **options,
            )
            venue["even_price_cents"] = int(price[0])
        except MoneyError:
            venue["even_price_cents"] = None
    return found + refused


def plain_listing_cents(schedule: FeeSchedule, *, on: dt.date, days_listed: int | None) -> int:
    """Listing fees of one thing at the full price, as if the month's free listings were used up."""
    if days_listed is None:
        return 0
    listed = on - dt.timedelta(days=days_listed)
    return int(listing_fees(schedule, listed_on=listed, ended_on=on, free_a_month=0)[0])


# Answers about one sale: fees line by line at each venue, and the price that leaves a wanted net.


def fees_answer(
    rules: Rules, *, on: dt.date, goods_cents: int, tax_ppm: int = 0, venues: Sequence[str] = (), **sale: Any
) -> dict[str, Any]:
    """What each venue takes of one sale, line by line, and what it leaves; ``sale`` as ``venue_nets`` takes it."""
    schedules = {schedule.name: schedule for schedule in schedules_asked(rules, venues, on)}
    nets = venue_nets(schedules, on=on, goods_cents=goods_cents, tax_ppm=tax_ppm, strict=bool(venues), **sale)
    found = []
    for venue in nets:
        if not venue["refused"]:
            block = schedules[venue["venue"]].at(on)
            rule = {"block": block.described, "seen": block.seen, "sources": list(block.sources)}
            found.append({"venue": venue["venue"], **rule, **{k: v for k, v in venue.items() if k != "refused"}})
    left_out = [{"venue": venue["venue"], "why": venue["refused"]} for venue in nets if venue["refused"]]
    return {"on": on.isoformat(), "goods_cents": goods_cents, "tax_ppm": tax_ppm, "venues": found, "left_out": left_out}


def price_answer(
    rules: Rules,
    *,
    on: dt.date,
    net_cents: int,
    shipping_cents: int = 0,
    label_cents: int = 0,
    costs_cents: int = 0,
    venues: Sequence[str] = (),
    days_listed: int | None = None,
    **more: Any,
) -> dict[str, Any]:
    """The smallest price at each venue that leaves a wanted net, with the fees at that price."""
    found, left_out = [], []
    for schedule in schedules_asked(rules, venues, on):
        shipping, label = (shipping_cents, label_cents) if schedule.ships else (0, 0)
        listing = plain_listing_cents(schedule, on=on, days_listed=days_listed)
        asked: dict[str, Any] = {"on": on, "shipping_cents": shipping, **more}
        try:
            price = price_for_net(
                schedule, net_cents=net_cents, costs_cents=label + costs_cents, listing_cents=listing, **asked
            )
        except MoneyError as problem:
            if venues:
                raise
            left_out.append({"venue": schedule.name, "why": str(problem)})
            continue
        spent: dict[str, Any] = {"label_cents": label, "costs_cents": costs_cents, "days_listed": days_listed}
        at_price = fees_answer(rules, goods_cents=int(price[0]), venues=[schedule.name], **spent, **asked)
        found.append({"price_cents": int(price[0]), **at_price["venues"][0]})
    found.sort(key=lambda venue: (venue["price_cents"], venue["venue"]))
    return {"on": on.isoformat(), "wanted_net_cents": net_cents, "venues": found, "left_out": left_out}


def schedules_asked(rules: Rules, venues: Sequence[str], on: dt.date) -> list[FeeSchedule]:
    """The fee schedules of the venues named, or of all in force on a day."""
    for name in venues:
        if name not in rules.fee_schedules:
            known = ", ".join(sorted(rules.fee_schedules)) or "none: put one into the rules folder of the books"
            raise MoneyError("venue", need=f"one that has a fee schedule ({known})", got=name)
    if venues:
        return [rules.fee_schedules[name] for name in venues]
    return [schedule for _, schedule in sorted(rules.fee_schedules.items()) if schedule.covers(on)]
