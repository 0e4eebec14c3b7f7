"""Charges of a simulated shop by dated rule tables, so that its books and its rules agree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from flipkit.errors import AssumptionError
from flipkit.money import Cents
from flipkit.rules import fees, mileage, postage
from flipkit.rules.tables import Rules
from flipkit.simulation.kinds import Floats

_DEAR = np.iinfo(np.int64).max


class RuleCharges:
    """Fees by the schedule of each venue, labels by the cheapest of some rate cards.

    Parameters
    ----------
    rules : Rules
        The tables.
    cards : sequence of str
        Names of the rate cards that the seller can buy labels by.

    Raises
    ------
    AssumptionError
        If the tables do not hold one of the cards.
    """

    def __init__(self, rules: Rules, cards: Sequence[str]) -> None:
        unknown = sorted(set(cards) - set(rules.rate_cards))
        if unknown or not cards:
            known = ", ".join(sorted(rules.rate_cards)) or "none"
            raise AssumptionError("cards", need=f"rate cards that the rules hold ({known})", got=unknown)
        self.rules = rules
        self.cards = tuple(rules.rate_cards[name] for name in cards)

    def fees_cents(
        self, day: npt.ArrayLike, venue: npt.ArrayLike, category: npt.ArrayLike, goods: Cents, shipping: Cents
    ) -> Cents:
        """Marketplace fees of sales at the day of the sale.

        Parameters
        ----------
        day : array, shape (n,)
            Days since 1970.
        venue, category : array, shape (n,)
            Names of fee schedules, and categories as these name them.
        goods, shipping : array, shape (n,)
            What the buyer paid. [cents]

        Returns
        -------
        array, shape (n,)
            The fees, int64. [cents]
        """
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        names = np.asarray(venue)
        kinds = np.asarray(category, dtype=object)
        cents = np.zeros(on.size, dtype=np.int64)
        for name in np.unique(names):
            rows = np.flatnonzero(names == name)
            lines = fees.order_fee_lines(
                self.rules.fee_schedules[str(name)],
                on=on[rows],
                goods_cents=goods[rows],
                shipping_cents=shipping[rows],
                category=kinds[rows],
            )
            cents[rows] = lines["total_cents"]
        return cents

    def labels_cents(self, day: npt.ArrayLike, zone: npt.ArrayLike, sides_in: Floats, weight_lb: Floats) -> Cents:
        """Labels of parcels, each by the cheapest card and service that takes it.

        Parameters
        ----------
        day : array, shape (n,)
            Days since 1970.
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

        Raises
        ------
        AssumptionError
            If no card takes a parcel.
        """
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        best = np.full(on.size, _DEAR, dtype=np.int64)
        for card in self.cards:
            columns = postage.label_columns(
                card,
                self.rules.rules_of(card),
                on=on,
                zone=np.asarray(zone, dtype=object),
                length_in=sides_in[:, 0],
                width_in=sides_in[:, 1],
                height_in=sides_in[:, 2],
                weight_lb=weight_lb,
            )
            taken = np.asarray(columns["refused"]) == ""
            best = np.where(taken & (columns["total_cents"] < best), columns["total_cents"], best)
        if (best == _DEAR).any():
            at = int(np.flatnonzero(best == _DEAR)[0])
            got = f"{sides_in[at].tolist()} in, {weight_lb[at]:g} lb, on {on[at]}"
            raise AssumptionError("parcel", need="one that a rate card takes", got=got)
        return best

    def mileage_cents(self, day: npt.ArrayLike, miles: Floats) -> Cents:
        """Driving at the rate of the day.

        Parameters
        ----------
        day : array, shape (n,)
            Days since 1970.
        miles : array, shape (n,)
            Miles driven. [miles]

        Returns
        -------
        array, shape (n,)
            The cost, int64. [cents]
        """
        on = np.asarray(day, dtype=np.int64).astype("datetime64[D]")
        return mileage.mileage_cents(self.rules.mileage, on=on, miles=miles)
