"""What a sale costs: the marketplace's fee and the label, recorded, by rule or assumed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.assumptions import SIZES, Assumptions
from flipkit.books.schema import PICKUP
from flipkit.errors import AssumptionError
from flipkit.items.measures import MEASURES
from flipkit.money import Cents, percentage
from flipkit.rules import fees, postage
from flipkit.rules.rate_cards import RateCard
from flipkit.rules.tables import Rules

Bools = npt.NDArray[np.bool_]
Origins = npt.NDArray[np.object_]

#: Stands for a label that no service sells.
_REFUSED = np.iinfo(np.int64).max


def marketplace_fees(
    items: pd.DataFrame, sold: npt.ArrayLike, rules: Rules, assumptions: Assumptions
) -> tuple[Cents, Origins]:
    """The marketplace's fee on each sale.

    Parameters
    ----------
    items : DataFrame, n rows
        ``venue``, ``sold_on``, ``sold_price_cents``, ``shipping_charged_cents``, ``category``
        and ``fees_paid_cents``.
    sold : array of bool, shape (n,)
        Which of them are sold.
    rules : Rules
        Fee schedules by the name of the venue.
    assumptions : Assumptions
        The default venue, and the fee of a venue without a schedule.

    Returns
    -------
    array, shape (n,)
        The fee. [cents]
    array of str, shape (n,)
        ``recorded``, ``rule``, ``assumed`` or ``none``.
    """
    is_sold = np.asarray(sold, dtype=bool)
    given = items["fees_paid_cents"].notna().to_numpy() & is_sold
    cents = np.where(given, items["fees_paid_cents"].fillna(0).to_numpy(dtype=np.int64), 0)
    origin = np.where(given, "recorded", "none").astype(object)
    goods = items["sold_price_cents"].fillna(0).to_numpy(dtype=np.int64)
    shipping = items["shipping_charged_cents"].fillna(0).to_numpy(dtype=np.int64)
    venue = items["venue"].where(items["venue"] != "", assumptions.text("venue.default")).to_numpy()
    for name in sorted(set(venue[is_sold & ~given])):
        rows = np.flatnonzero(is_sold & ~given & (venue == name))
        schedule = rules.fee_schedules.get(name)
        if schedule is None:
            rate, fixed = assumptions.ppm("fees.assumed_rate"), assumptions.cents("fees.assumed_per_order")
            cents[rows] = percentage(goods[rows] + shipping[rows], rate) + fixed
            origin[rows] = "assumed"
        else:
            lines = fees.order_fees(
                schedule,
                on=items["sold_on"].to_numpy()[rows].astype("datetime64[D]"),
                goods_cents=goods[rows],
                shipping_cents=shipping[rows],
                category=items["category"].to_numpy()[rows],
            )
            cents[rows] = lines["total_cents"].to_numpy()
            origin[rows] = "rule"
    return cents, origin


def label_lines(
    items: pd.DataFrame, parcels: pd.DataFrame, sold: npt.ArrayLike, rules: Rules, assumptions: Assumptions
) -> tuple[tuple[Cents, Origins], tuple[Cents, Origins]]:
    """The label of each parcel and, apart, what protection it carries.

    Parameters
    ----------
    items : DataFrame, n rows
        ``sold_on``, ``zone`` (``pickup`` where the buyer collects), ``label_paid_cents``.
    parcels : DataFrame, n rows
        The packed parcels with ``size_class`` and ``measures_origin``.
    sold : array of bool, shape (n,)
        Which of them are sold.
    rules : Rules
        Rate cards and parcel rules.
    assumptions : Assumptions
        Which rate card, the mix of zones, and the label of a parcel without any of these.

    Returns
    -------
    tuple of (array, array)
        The label: cents and origin. A label by the rate card counts as ``rule`` where the
        parcel was measured and its zone recorded, as ``assumed`` elsewhere.
    tuple of (array, array)
        Declared value and signature: cents and origin.
    """
    is_sold = np.asarray(sold, dtype=bool)
    given = items["label_paid_cents"].notna().to_numpy() & is_sold
    cents = np.where(given, items["label_paid_cents"].fillna(0).to_numpy(dtype=np.int64), 0)
    origin = np.where(given, "recorded", "none").astype(object)
    protection = np.zeros(len(items), dtype=np.int64)
    none = np.full(len(items), "none", dtype=object)
    rows = np.flatnonzero(is_sold & ~given & (items["zone"] != PICKUP).to_numpy())
    cards = own_rate_cards(rules, assumptions)
    if cards and rows.size:
        found = _by_rate_card(items, parcels, rows, cards, rules, assumptions)
        taken = found >= 0
        cents[rows[taken]] = found[taken]
        measured = (parcels["measures_origin"] == "recorded").to_numpy() & (items["zone"] != "").to_numpy()
        origin[rows[taken]] = np.where(measured[rows[taken]], "rule", "assumed")
        rows = rows[~taken]
    table = np.array([int(assumptions.by_size("label.assumed")[size]) for size in SIZES], dtype=np.int64)
    cents[rows] = table[np.array([SIZES.index(size) for size in parcels["size_class"].to_numpy()[rows]], dtype=int)]
    origin[rows] = "assumed"
    return (cents, origin), (protection, none)


def own_rate_cards(rules: Rules, assumptions: Assumptions) -> list[RateCard]:
    """The rate cards that price a label which is not recorded.

    Parameters
    ----------
    rules : Rules
        Holds the cards.
    assumptions : Assumptions
        ``postage.rate_cards`` names them.

    Returns
    -------
    list of RateCard
        The cards; empty where none is named.

    Raises
    ------
    AssumptionError
        If a name is no card of these rules.
    """
    names = [name.strip() for name in assumptions.text("postage.rate_cards").split(",") if name.strip()]
    for name in names:
        if name not in rules.rate_cards:
            raise AssumptionError(
                "postage.rate_cards",
                need=f"names of rate cards among {', '.join(sorted(rules.rate_cards)) or 'none'}",
                got=name,
                mend="put the card into the books' rules folder",
            )
    return [rules.rate_cards[name] for name in names]


def _by_rate_card(
    items: pd.DataFrame,
    parcels: pd.DataFrame,
    rows: npt.NDArray[np.int64],
    cards: list[RateCard],
    rules: Rules,
    assumptions: Assumptions,
) -> Cents:
    """Cheapest label of each row; -1 where no service of any card takes the parcel."""
    zone = items["zone"].to_numpy()[rows]
    on = items["sold_on"].to_numpy()[rows].astype("datetime64[D]")

    def cheapest(at: npt.NDArray[np.int64], zones: object, mix: dict[str, float] | None) -> Cents:
        side = {name: parcels[name].to_numpy()[rows[at]] for name in MEASURES}
        best = np.full(at.size, _REFUSED, dtype=np.int64)
        for card in cards:
            frame = postage.labels(card, rules.rules_of(card), on=on[at], zone=zones, zone_mix=mix, **side)
            price = frame["total_cents"].to_numpy(dtype=np.int64)
            best = np.minimum(best, np.where((frame["refused"] == "").to_numpy(), price, _REFUSED))
        return best

    result = np.full(rows.size, _REFUSED, dtype=np.int64)
    known = np.flatnonzero(zone != "")
    if known.size:
        result[known] = cheapest(known, zone[known], None)
    unknown = np.flatnonzero(zone == "")
    if unknown.size:
        result[unknown] = cheapest(unknown, None, assumptions.zone_mix())
    return np.where(result == _REFUSED, -1, result)
