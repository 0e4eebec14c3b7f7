"""What a simulated shop is made of: kinds of things, the shop that buys them, and its charges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt

from flipkit.books.schema import ACTIVITIES
from flipkit.money import Cents, percentage

__all__ = ["ACTIVITIES", "ZONES", "ZONE_WEIGHTS", "Charges", "Kind", "PlainCharges", "Shop"]

Floats = npt.NDArray[np.float64]

#: Zones of a label and how often a buyer lives there; "pickup" is drawn apart.
ZONES = ("2", "3", "4", "5", "6", "7", "8")
ZONE_WEIGHTS = (6.0, 12.0, 22.0, 25.0, 14.0, 11.0, 10.0)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of thing and the distributions of its items.

    Amounts are medians in dollars, since a median and a spread of logarithms say what a seller
    can picture; everything drawn from them becomes whole cents at once.

    Parameters
    ----------
    name : str
        The category.
    share : float
        How much of the buying goes to it, beside the other kinds.
    price_usd, price_spread : float
        Median of what such a thing typically brings, and the spread of its logarithm.
    cost_usd, cost_spread, cost_follows : float
        Median cost, the spread of its logarithm, and how far cost follows value: 0 not at all,
        1 in proportion.
    sides_in, sides_spread : tuple of three floats, float
        Median packed sides, and the spread of the size's logarithm. [in]
    weight_lb : float
        Median packed weight. [lb]
    weekly_rate : float
        Sales a week that an item at its typical price meets in its first week; the chance is
        1 - exp(-rate).
    price_pull, fading : float
        How strongly a price above the typical one lowers the rate, and by how much the rate's
        logarithm falls with each week listed.
    never_share : float
        Share of the items that nobody wants at any price.
    appeal_spread : float
        Spread of the logarithm of the demand from item to item.
    markup, markup_spread : float
        Median of first list price over typical price, and the spread of its logarithm.
    lag_days : float
        Mean days from buying to listing. [days]
    markdown_weeks, markdown_share : int, float
        Weeks between markdowns, and the part of the price that each takes off.
    relist_weeks, give_up_weeks : int
        Weeks between relistings, and weeks listed after which the item is given away.
    offer_share, offer_discount : float
        Share of the sales by an accepted offer, and its mean discount.
    local_share : float
        Share of the sales collected by the buyer.
    shipping_share : float
        Part of the label that the buyer is charged.
    return_share, damage_share : float
        Shares of the posted sales that come back, and that arrive damaged.
    materials_usd : float
        Median packing materials of a posted sale.
    helper_share : float
        Share of the packing done by the hired packer, once there is one.
    minutes : mapping
        Median minutes of work by activity, without ``find``. [min]
    minutes_spread : float
        Spread of the logarithm of the minutes.

    Examples
    --------
    >>> mug = Kind(name="mugs", price_usd=20, cost_usd=4, minutes={"pack": 8.0})
    >>> mug.name, mug.markup
    ('mugs', 1.15)
    """

    name: str
    share: float = 1.0
    price_usd: float
    price_spread: float = 0.45
    cost_usd: float
    cost_spread: float = 0.40
    cost_follows: float = 0.6
    sides_in: tuple[float, float, float] = (12.0, 10.0, 8.0)
    sides_spread: float = 0.12
    weight_lb: float = 4.0
    weekly_rate: float = 0.10
    price_pull: float = 2.5
    fading: float = 0.02
    never_share: float = 0.05
    appeal_spread: float = 0.35
    markup: float = 1.15
    markup_spread: float = 0.12
    lag_days: float = 9.0
    markdown_weeks: int = 7
    markdown_share: float = 0.10
    relist_weeks: int = 13
    give_up_weeks: int = 52
    offer_share: float = 0.30
    offer_discount: float = 0.10
    local_share: float = 0.05
    shipping_share: float = 0.90
    return_share: float = 0.03
    damage_share: float = 0.02
    materials_usd: float = 1.50
    helper_share: float = 0.0
    minutes: Mapping[str, float]
    minutes_spread: float = 0.30


class Charges(Protocol):
    """What others take: fees and labels, at the day of the event."""

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales, in cents."""

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels, in cents."""

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the dated rate, in cents."""


@dataclass(frozen=True, kw_only=True)
class PlainCharges:
    """Charges in four numbers, for shops whose truth is to be computed fast.

    Parameters
    ----------
    fee_ppm : int
        Fees on goods and shipping together. [parts per million]
    per_order_cents : int
        Fee of each sale. [cents]
    label_base_cents, label_lb_cents : int
        A label's fixed part, and its part for each billable pound in zone 4. [cents]
    divisor : float
        Of the dimensional weight of parcels above a cubic foot. [cu in/lb]
    mile_cents : int
        Driving. [cents/mile]

    Examples
    --------
    >>> plain = PlainCharges()
    >>> plain.fees_cents([0], ["any"], ["mugs"], np.array([5000]), np.array([1000])).tolist()
    [940]
    """

    fee_ppm: int = 150_000
    per_order_cents: int = 40
    label_base_cents: int = 520
    label_lb_cents: int = 72
    divisor: float = 166.0
    mile_cents: int = 70

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales; a collected sale is none here.

        Parameters
        ----------
        day, venue, category : array, shape (n,)
            Not used: these charges are the same everywhere and always.
        goods, shipping : array, shape (n,)
            What the buyer paid. [cents]

        Returns
        -------
        array, shape (n,)
            The fees, int64. [cents]
        """
        return percentage(goods + shipping, self.fee_ppm) + self.per_order_cents

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels; "pickup" has none.

        Parameters
        ----------
        day : array, shape (n,)
            Not used.
        zone : array, shape (n,)
            Zones as text.
        sides_in : array, shape (n, 3)
            Packed sides. [in]
        weight_lb : array, shape (n,)
            Packed weight. [lb]

        Returns
        -------
        array, shape (n,)
            The labels, int64. [cents]
        """
        volume = np.ceil(sides_in).prod(axis=1)
        billable = np.ceil(np.maximum(weight_lb, np.where(volume > 1728, volume / self.divisor, 0.0)))
        where = np.asarray(zone)
        far = np.array([0.55 + 0.1125 * int(name) for name in ZONES])
        place = np.searchsorted(ZONES, np.where(where == "pickup", "2", where))
        cents = self.label_base_cents + np.rint(billable * self.label_lb_cents * far[place]).astype(np.int64)
        return np.where(where == "pickup", 0, cents)

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the one rate.

        Parameters
        ----------
        day : array, shape (n,)
            Not used.
        miles : array, shape (n,)
            Miles driven. [miles]

        Returns
        -------
        array, shape (n,)
            The cost, int64. [cents]
        """
        return np.rint(np.asarray(miles) * self.mile_cents).astype(np.int64)


@dataclass(frozen=True, kw_only=True)
class Shop:
    """A shop and how it buys.

    Parameters
    ----------
    kinds : tuple of Kind
        What it buys.
    first_day, last_day : datetime.date
        First and last day of buying.
    trips_per_week, items_per_trip : float
        Means.
    favour : float
        How alike the kinds of a trip's items are: small makes trips of one or two kinds, large
        makes each trip a sample of all.
    trip_spread : float
        Spread of the logarithm of the effect that the items of a trip share: in value, in
        demand and in work.
    miles, parking_share, entry_share : float
        Median miles of a trip, and the shares of trips with parking and with an entry fee.
    trip_minutes, find_minutes : float
        Minutes of a trip, and further minutes for each item bought. [min]
    listing_weekdays : tuple of int
        Days of the week, Monday 0, on which things are listed; empty means any day.
    helper_from : datetime.date, optional
        Day from which a hired packer packs.
    wage_cents, burden_ppm : int
        The packer's wage an hour and the payroll burden on it. [cents, parts per million]
    venues, venue_weights : tuples
        Where posted sales happen, and how often.
    local_venue : str
        Where collected sales happen.
    charges : Charges
        Fees, labels and driving.
    """

    kinds: tuple[Kind, ...]
    first_day: dt.date = dt.date(2025, 1, 4)
    last_day: dt.date = dt.date(2026, 11, 14)
    trips_per_week: float = 1.4
    items_per_trip: float = 11.0
    favour: float = 2.0
    trip_spread: float = 0.15
    miles: float = 22.0
    parking_share: float = 0.3
    entry_share: float = 0.15
    trip_minutes: float = 95.0
    find_minutes: float = 4.0
    listing_weekdays: tuple[int, ...] = ()
    helper_from: dt.date | None = None
    wage_cents: int = 1600
    burden_ppm: int = 90_000
    venues: tuple[str, ...] = ("posted",)
    venue_weights: tuple[float, ...] = (1.0,)
    local_venue: str = "local"
    charges: Charges = field(default_factory=PlainCharges)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the kinds, in order."""
        return tuple(kind.name for kind in self.kinds)
