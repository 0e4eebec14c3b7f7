"""The same item at several venues: fees line by line, net, and the price that would leave the same net."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from flipkit.errors import FlipkitError, MoneyError, RuleNotInForceError
from flipkit.money import percentage
from flipkit.rules.fees import order_fee_lines
from flipkit.rules.listings import listing_fees
from flipkit.rules.net_price import price_for_net
from flipkit.rules.schedules import FeeSchedule

if TYPE_CHECKING:
    import pandas as pd


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

    Parameters
    ----------
    schedules : mapping
        Fee schedules by the name of the venue.
    on : datetime.date
        Day of sale.
    goods_cents : int
        Price of the goods. [cents]
    shipping_cents : int
        What the buyer pays for shipping where things are posted. [cents]
    label_cents : int
        What the label costs where things are posted. [cents]
    costs_cents : int
        Further costs of the item, whatever the venue. [cents]
    tax_ppm : int
        Tax that the marketplace collects. [parts per million]
    category, international, advertised, advertising_ppm, seller_level : see below
        As in ``fees.order_fees``.
    days_listed : int, optional
        Days from listing to sale, for listing fees at the full price; without it none are counted.
    strict : bool
        Whether a venue that cannot answer is an error; else it comes last and says why.

    Returns
    -------
    list of dict
        One a venue: ``venue``, ``ships``, the lines of ``fees.order_fees``, ``shipping_cents``, ``label_cents``,
        ``costs_cents``, ``net_cents``, ``even_price_cents`` (the price of the goods there that leaves the best
        venue's net, None where none does) and ``refused`` (why a venue cannot answer, else empty).

    Raises
    ------
    RuleNotInForceError
        If ``strict`` and a venue has no block on the day.
    MoneyError
        If ``strict`` and an option is unknown to a venue, or an amount is not whole cents.
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
    """Listing fees of one thing at the full price, as if the month's free listings were used up.

    Parameters
    ----------
    schedule : FeeSchedule
        The marketplace's schedule.
    on : datetime.date
        Day of sale.
    days_listed : int or None
        Days from listing to sale; None counts no listing.

    Returns
    -------
    int
        The fees. [cents]

    Raises
    ------
    RuleNotInForceError
        If a day of listing has no block.
    """
    if days_listed is None:
        return 0
    listed = on - dt.timedelta(days=days_listed)
    return int(listing_fees(schedule, listed_on=listed, ended_on=on, free_a_month=0)[0])


def venue_frame(venues: list[dict[str, Any]]) -> pd.DataFrame:
    """Venues as a frame, one row each.

    Parameters
    ----------
    venues : list of dict
        From ``venue_nets``.

    Returns
    -------
    pandas.DataFrame
        A column for every entry.
    """
    import pandas as pd

    return pd.DataFrame(venues)
