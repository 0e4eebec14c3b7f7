"""Answers about one sale: fees line by line at each venue, and the price that leaves a wanted net."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from flipkit.errors import MoneyError
from flipkit.rules.net_price import price_for_net
from flipkit.rules.schedules import FeeSchedule
from flipkit.rules.tables import Rules
from flipkit.rules.venues import plain_listing_cents, venue_nets


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
    """What each venue takes of one sale, line by line, and what it leaves.

    Parameters
    ----------
    rules : Rules
        All tables.
    on : datetime.date
        Day of sale.
    goods_cents, shipping_cents : int
        What the buyer pays for the goods and, where things are posted, for shipping. [cents]
    label_cents, costs_cents : int
        What the label costs, where things are posted, and whatever else the sale costs. [cents]
    tax_ppm : int
        Tax that the marketplace collects on goods and shipping. [parts per million]
    venues : sequence of str
        Fee schedules to ask; all that have a block in force where empty.
    category, international, advertised, advertising_ppm, seller_level : see below
        As in ``fees.order_fees``; where every venue is asked, one that does not know the standing or has no
        advertising is left out and says why.
    days_listed : int, optional
        Days from listing to sale, for listing fees at the full price; without it none are counted.

    Returns
    -------
    dict
        ``venues``: for each the rule block in force and the entries of ``venues.venue_nets``, the best first; and
        ``left_out``.

    Raises
    ------
    RuleNotInForceError
        If a venue that was asked for has no block on the day.
    MoneyError
        If an amount is not whole cents, or an option is unknown to a venue that was asked for.
    """
    schedules = {schedule.name: schedule for schedule in _asked(rules, venues, on)}
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
    """The smallest price at each venue that leaves a wanted net, with the fees at that price.

    Parameters
    ----------
    rules : Rules
        All tables.
    on : datetime.date
        Day of sale.
    net_cents : int
        What is to be left after fees, label and costs. [cents]
    shipping_cents, label_cents, costs_cents, tax_ppm, venues : see below
        As in ``fees_answer``.
    category, international, advertised, advertising_ppm, seller_level, days_listed : see below
        As in ``fees_answer``.

    Returns
    -------
    dict
        ``venues``: for each ``price_cents`` and the entries of ``fees_answer``, the lowest price first; and
        ``left_out``.

    Raises
    ------
    RuleNotInForceError
        If a venue that was asked for has no block on the day.
    MoneyError
        If no price leaves the net at a venue that was asked for, or an option is unknown to it.
    """
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
    for schedule in _asked(rules, venues, on):
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


def _asked(rules: Rules, venues: Sequence[str], on: dt.date) -> list[FeeSchedule]:
    for name in venues:
        if name not in rules.fee_schedules:
            known = ", ".join(sorted(rules.fee_schedules)) or "none: put one into the rules folder of the books"
            raise MoneyError("venue", need=f"one that has a fee schedule ({known})", got=name)
    if venues:
        return [rules.fee_schedules[name] for name in venues]
    return [schedule for _, schedule in sorted(rules.fee_schedules.items()) if schedule.covers(on)]
