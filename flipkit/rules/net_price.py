"""What a venue leaves of a price, and the price that leaves a wanted net."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from flipkit.errors import FlipkitError, MoneyError, RuleNotInForceError
from flipkit.money import PPM, Cents, percentage
from flipkit.rules.fees import Charge, FeeBlock, FeeSchedule, SellerLevel, listing_fees, order_fee_lines
from flipkit.rules.tables import Rules

if TYPE_CHECKING:
    pass


# The smallest price that leaves a wanted net after a marketplace's fees, exact to the cent.

#: No price above this is looked for. [cents]
HIGHEST_PRICE_CENTS = 10_000_000_00


def net_at_price(
    schedule: FeeSchedule,
    *,
    on: dt.date,
    goods_cents: npt.ArrayLike,
    shipping_cents: int = 0,
    costs_cents: int = 0,
    tax_ppm: int = 0,
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    advertising_ppm: int | None = None,
    seller_level: str | None = None,
    listing_cents: int = 0,
) -> Cents:
    """What an order leaves at each of some prices: goods and shipping, less fees and costs."""
    goods = np.atleast_1d(np.asarray(goods_cents, dtype=np.int64))
    lines = order_fee_lines(
        schedule,
        on=on,
        goods_cents=goods,
        shipping_cents=shipping_cents,
        tax_cents=percentage(goods + shipping_cents, tax_ppm),
        category=category,
        international=international,
        advertised=advertised,
        advertising_ppm=advertising_ppm,
        seller_level=seller_level,
        listing_cents=listing_cents,
    )
    return goods + shipping_cents - lines["total_cents"] - costs_cents


def price_for_net(
    schedule: FeeSchedule,
    *,
    on: dt.date,
    net_cents: npt.ArrayLike,
    shipping_cents: int = 0,
    costs_cents: int = 0,
    tax_ppm: int = 0,
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    advertising_ppm: int | None = None,
    seller_level: str | None = None,
    listing_cents: int = 0,
) -> Cents:
    """The smallest price of the goods whose net is at least the wanted one.

    The fees are followed through tiers, minimum, cap, steps and rounding. Between the prices at
    which a fee jumps the net before rounding only rises, so that the first price that can do is
    found by bisection, and the prices from there on are tried one by one.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule.
    on : datetime.date
        Day of sale.
    net_cents : int or array, shape (n,)
        The wanted nets. [cents]
    shipping_cents : int
        What the buyer pays for shipping. [cents]
    costs_cents : int
        Label, materials and whatever else is paid out of it. [cents]
    tax_ppm : int
        Tax that the marketplace collects on goods and shipping. [parts per million]
    category, international, advertised, advertising_ppm, seller_level, listing_cents : see below
        As in ``fees.order_fees``.

    Returns
    -------
    array, shape (n,)
        The prices, int64. [cents]

    Raises
    ------
    RuleNotInForceError
        If the day has no block.
    MoneyError
        If no price up to ``HIGHEST_PRICE_CENTS`` leaves a wanted net, or fees take all of it.

    Examples
    --------
    >>> import tomllib
    >>> from flipkit.rules.fees import read_fee_schedule
    >>> text = '''
    ... kind = "fees"
    ... name = "processor"
    ... [[block]]
    ... from = 2020-01-01
    ... source = "demo"
    ... seen = "invented for the demo"
    ... payment = { rate = "2.9 %", fixed = "0.30" }
    ... '''
    >>> processor = read_fee_schedule(tomllib.loads(text), file="processor.toml")
    >>> price_for_net(processor, on=dt.date(2020, 1, 1), net_cents=[10_00, 100_00]).tolist()
    [1061, 10330]
    """
    wanted = np.atleast_1d(np.asarray(net_cents, dtype=np.int64))
    block = schedule.at(on)
    bill = _Bill(
        schedule,
        block,
        on=on,
        shipping=shipping_cents,
        costs=costs_cents,
        tax_ppm=tax_ppm,
        category=category,
        international=international,
        advertised=advertised,
        advertising_ppm=advertising_ppm,
        seller_level=seller_level,
        listing=listing_cents,
    )
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

    def __init__(
        self,
        schedule: FeeSchedule,
        block: FeeBlock,
        *,
        on: dt.date,
        shipping: int,
        costs: int,
        tax_ppm: int,
        category: str | None,
        international: bool,
        advertised: bool,
        advertising_ppm: int | None,
        seller_level: str | None,
        listing: int,
    ) -> None:
        self._schedule, self._block, self._on = schedule, block, on
        self._shipping, self._costs, self._tax_ppm, self._listing = shipping, costs, tax_ppm, listing
        self._options = {
            "category": category,
            "international": international,
            "advertised": advertised,
            "advertising_ppm": advertising_ppm,
            "seller_level": seller_level,
        }
        level = block.seller_levels.get(seller_level or "", SellerLevel())
        commission = block.categories.get(category or "", block.commission)
        self._commission, self._off = commission, level.commission_off_ppm / PPM
        chosen = None
        if advertised and block.advertising is not None:
            chosen = block.advertising
            if advertising_ppm is not None:
                chosen = Charge(base=chosen.base, edges_cents=(), rates_ppm=(advertising_ppm,))
        others = (block.payment, chosen, block.international if international else None, level.surcharge)
        self._others = [charge for charge in others if charge is not None]
        self._charges = self._others + ([commission] if commission is not None else [])

    def net(self, prices: Cents) -> Cents:
        return net_at_price(
            self._schedule,
            on=self._on,
            goods_cents=prices,
            shipping_cents=self._shipping,
            costs_cents=self._costs,
            tax_ppm=self._tax_ppm,
            listing_cents=self._listing,
            **self._options,  # type: ignore[arg-type]
        )

    def _base(self, base: Sequence[str], prices: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """A base without the rounding of the tax."""
        goods = prices if "goods" in base else 0.0
        shipping = self._shipping if "shipping" in base else 0.0
        tax = (prices + self._shipping) * (self._tax_ppm / PPM) if "tax" in base else 0.0
        return np.asarray(goods + shipping + tax + 0.0 * prices, dtype=np.float64)

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
        """The smallest price whose base, tax rounded, exceeds an edge."""
        low, high = 0, HIGHEST_PRICE_CENTS + 1
        while low < high:
            middle = (low + high) // 2
            tax = int(percentage(middle + self._shipping, self._tax_ppm)) if "tax" in base else 0
            goods = middle if "goods" in base else 0
            if goods + (self._shipping if "shipping" in base else 0) + tax > edge:
                high = middle
            else:
                low = middle + 1
        return low

    def _smooth_net(self, prices: npt.NDArray[np.float64], anchor: int) -> npt.NDArray[np.float64]:
        """The net without any rounding, whole-amount tiers and steps held as they are at ``anchor``."""
        charged = [self._smooth(charge, prices, anchor) for charge in self._others]
        if self._commission is not None:
            charged.append(self._smooth(self._commission, prices, anchor) * (1.0 - self._off))
        if self._block.per_order is not None:
            steps = self._block.per_order
            size = self._exact_base(steps.base, anchor)
            charged.append(0.0 * prices + steps.amounts_cents[int(np.searchsorted(steps.edges_cents, size))])
        return prices + self._shipping - self._costs - self._listing - sum(charged, 0.0 * prices)

    def _exact_base(self, base: Sequence[str], price: int) -> int:
        tax = int(percentage(price + self._shipping, self._tax_ppm)) if "tax" in base else 0
        return (price if "goods" in base else 0) + (self._shipping if "shipping" in base else 0) + tax

    def _smooth(self, charge: Charge, prices: npt.NDArray[np.float64], anchor: int) -> npt.NDArray[np.float64]:
        base = self._base(charge.base, prices)
        if charge.whole_amount:
            tier = int(np.searchsorted(charge.edges_cents, self._exact_base(charge.base, anchor)))
            amount = base * (charge.rates_ppm[tier] / PPM)
        else:
            amount = base * (charge.rates_ppm[0] / PPM)
            for edge, low, high in zip(charge.edges_cents, charge.rates_ppm, charge.rates_ppm[1:], strict=False):
                amount = amount + np.maximum(base - edge, 0.0) * ((high - low) / PPM)
        return np.clip(amount, charge.minimum_cents, charge.cap_cents) + charge.fixed_cents

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
            good = self.net(price[rows]) >= wanted[rows]
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
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    advertising_ppm: int | None = None,
    seller_level: str | None = None,
    days_listed: int | None = None,
    strict: bool = False,
) -> list[dict[str, Any]]:
    """What one item leaves at each venue, the best first.

    At a venue that posts nothing, such as a stall, the buyer pays no shipping and there is no label.
    """
    options: dict[str, Any] = {
        "category": category,
        "international": international,
        "advertised": advertised,
        "advertising_ppm": advertising_ppm,
        "seller_level": seller_level,
    }
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
            refused.append(_unable(name, schedule, problem))
            continue
        fees = {line: int(cents[0]) for line, cents in lines.items()}
        found.append(
            {
                "venue": name,
                "ships": schedule.ships,
                **fees,
                "shipping_cents": shipping,
                "label_cents": label,
                "costs_cents": costs_cents,
                "net_cents": goods_cents + shipping - fees["total_cents"] - label - costs_cents,
                "refused": "",
            }
        )
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


def _unable(name: str, schedule: FeeSchedule, problem: FlipkitError) -> dict[str, Any]:
    return {"venue": name, "ships": schedule.ships, "refused": str(problem)}


def plain_listing_cents(schedule: FeeSchedule, *, on: dt.date, days_listed: int | None) -> int:
    """Listing fees of one thing at the full price, as if the month's free listings were used up."""
    if days_listed is None:
        return 0
    listed = on - dt.timedelta(days=days_listed)
    return int(listing_fees(schedule, listed_on=listed, ended_on=on, free_a_month=0)[0])


# Answers about one sale: fees line by line at each venue, and the price that leaves a wanted net.


def fees_answer(
    rules: Rules,
    *,
    on: dt.date,
    goods_cents: int,
    shipping_cents: int = 0,
    label_cents: int = 0,
    costs_cents: int = 0,
    tax_ppm: int = 0,
    venues: Sequence[str] = (),
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    advertising_ppm: int | None = None,
    seller_level: str | None = None,
    days_listed: int | None = None,
) -> dict[str, Any]:
    """What each venue takes of one sale, line by line, and what it leaves."""
    schedules = {schedule.name: schedule for schedule in schedules_asked(rules, venues, on)}
    nets = venue_nets(
        schedules,
        on=on,
        goods_cents=goods_cents,
        shipping_cents=shipping_cents,
        label_cents=label_cents,
        costs_cents=costs_cents,
        tax_ppm=tax_ppm,
        category=category,
        international=international,
        advertised=advertised,
        advertising_ppm=advertising_ppm,
        seller_level=seller_level,
        days_listed=days_listed,
        strict=bool(venues),
    )
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
    tax_ppm: int = 0,
    venues: Sequence[str] = (),
    category: str | None = None,
    international: bool = False,
    advertised: bool = False,
    advertising_ppm: int | None = None,
    seller_level: str | None = None,
    days_listed: int | None = None,
) -> dict[str, Any]:
    """The smallest price at each venue that leaves a wanted net, with the fees at that price."""
    found, left_out = [], []
    options: dict[str, Any] = {
        "on": on,
        "tax_ppm": tax_ppm,
        "category": category,
        "international": international,
        "advertised": advertised,
        "advertising_ppm": advertising_ppm,
        "seller_level": seller_level,
    }
    for schedule in schedules_asked(rules, venues, on):
        shipping, label = (shipping_cents, label_cents) if schedule.ships else (0, 0)
        listing = plain_listing_cents(schedule, on=on, days_listed=days_listed)
        try:
            price = price_for_net(
                schedule,
                net_cents=net_cents,
                shipping_cents=shipping,
                costs_cents=label + costs_cents,
                listing_cents=listing,
                **options,
            )
        except MoneyError as problem:
            if venues:
                raise
            left_out.append({"venue": schedule.name, "why": str(problem)})
            continue
        at_price = fees_answer(
            rules,
            goods_cents=int(price[0]),
            shipping_cents=shipping,
            label_cents=label,
            costs_cents=costs_cents,
            venues=[schedule.name],
            days_listed=days_listed,
            **options,
        )
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
