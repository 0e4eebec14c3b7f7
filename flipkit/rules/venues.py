"""The same item at several venues: fees line by line, net, and the price that would leave the same net."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from flipkit.errors import MoneyError, RuleNotInForceError
from flipkit.money import percentage
from flipkit.rules.fees import order_fee_lines
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
    listing_cents: int = 0,
) -> list[dict[str, Any]]:
    """What one item leaves at each venue, the best first.

    At a venue that ships nothing, such as a stall, the buyer pays no shipping and there is no label.

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
    category : str, optional
        The category.
    listing_cents : int
        What listing cost, where the venue charges for listings. [cents]

    Returns
    -------
    list of dict
        One a venue: ``venue``, ``ships``, the lines of ``fees.order_fees``, ``shipping_cents``, ``label_cents``,
        ``costs_cents``, ``net_cents``, ``even_price_cents`` (the price of the goods there that leaves the best
        venue's net, None where none does) and ``refused`` (why a venue has no fees on that day, else empty).

    Raises
    ------
    MoneyError
        If an amount is not whole cents.
    """
    found: list[dict[str, Any]] = []
    refused: list[dict[str, Any]] = []
    for name, schedule in schedules.items():
        shipping = shipping_cents if schedule.ships else 0
        label = label_cents if schedule.ships else 0
        try:
            block = schedule.at(on)
        except RuleNotInForceError as problem:
            refused.append({"venue": name, "ships": schedule.ships, "refused": str(problem)})
            continue
        listing = listing_cents if block.listing else 0
        lines = order_fee_lines(
            schedule,
            on=on,
            goods_cents=goods_cents,
            shipping_cents=shipping,
            tax_cents=int(percentage(goods_cents + shipping, tax_ppm)),
            category=category,
            listing_cents=listing,
        )
        fees = {line: int(cents[0]) for line, cents in lines.items()}
        net = goods_cents + shipping - fees["total_cents"] - label - costs_cents
        found.append(
            {
                "venue": name,
                "ships": schedule.ships,
                **fees,
                "shipping_cents": shipping,
                "label_cents": label,
                "costs_cents": costs_cents,
                "net_cents": net,
                "refused": "",
            }
        )
    found.sort(key=lambda venue: (-venue["net_cents"], venue["venue"]))
    for venue in found:
        schedule = schedules[venue["venue"]]
        try:
            price = price_for_net(
                schedule,
                on=on,
                net_cents=found[0]["net_cents"],
                shipping_cents=venue["shipping_cents"],
                costs_cents=venue["label_cents"] + costs_cents,
                tax_ppm=tax_ppm,
                category=category,
                listing_cents=venue["listing_cents"],
            )
            venue["even_price_cents"] = int(price[0])
        except MoneyError:
            venue["even_price_cents"] = None
    return found + refused


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
