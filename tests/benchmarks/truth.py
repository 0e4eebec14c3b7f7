"""What a perfect book-keeper would know of simulated items on a day, and the truth behind a simulated shop."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.ratio_stats import ratio_standard_error
from flipkit.errors import AssumptionError
from flipkit.simulation.shops import MINUTES, Histories, Shop, answered, histories, stored

# What a perfect book-keeper would know of simulated items on a day: no gap, and no future.

_AT_SALE = (
    "sold_price_cents",
    "shipping_charged_cents",
    "fees_cents",
    "label_cents",
    "label_adjustment_cents",
    "materials_cents",
    "hired_cents",
)


def observed(drawn: Histories, *, as_of: dt.date) -> pd.DataFrame:
    """The items bought by a day, as they stood on that day.

    The short way past the books: the same columns as ``items.costs.item_economics`` where both
    have one, without its gaps, rules and assumptions, for measuring the analysis alone.

    >>> from flipkit.simulation.shops import histories
    >>> from flipkit.simulation.shops import Kind, Shop
    >>> cups = Shop(kinds=(Kind(name="cups", price_usd=20, cost_usd=4, minutes={"pack": 8.0}),))
    >>> seen = observed(histories(cups, seed=1), as_of=cups.first_day + dt.timedelta(days=60))
    >>> bool((seen.sold_on.dropna() <= "2025-03-05").all()), bool((seen.net_cents[seen.sold_on.isna()] < 0).all())
    (True, True)
    """
    day = pd.Timestamp(as_of)
    items = drawn.items[drawn.items["bought_on"] <= day].reset_index(drop=True)
    listed = (items["listed_on"] <= day).to_numpy()
    sold = (items["sold_on"] <= day).to_numpy()
    returned = (items["returned_on"] <= day).to_numpy()
    gone = (items["gone_on"] <= day).to_numpy()
    status = np.select(
        [returned, sold, gone, listed], ["returned", "sold", "gone", "for sale"], default="not listed"
    ).astype(object)
    end = items["sold_on"].where(sold, items["gone_on"].where(gone & ~returned, day))
    days_listed = (end - items["listed_on"]).dt.days.where(listed)
    money = {name: items[name].to_numpy() * sold for name in _AT_SALE}
    # A damaged parcel is refunded at once, a returned one when it is back.
    given = np.where(items["outcome"] == "returned", returned, sold)
    refund = (items["refund_cents"] - items["fees_back_cents"]).to_numpy() * given
    net = money["sold_price_cents"] + money["shipping_charged_cents"] - refund
    net = net - sum(money[name] for name in _AT_SALE[2:])
    net = net - items["cost_cents"].to_numpy() - items["trip_cents"].to_numpy()
    minutes = _minutes_so_far(items, day, listed, sold, returned)
    return pd.DataFrame(
        {
            "copy": items["copy"],
            "item_id": np.arange(len(items)),
            "category": items["category"],
            "trip_id": items["trip"],
            "status": status,
            "bought_on": items["bought_on"],
            "listed_on": items["listed_on"].where(listed),
            "sold_on": items["sold_on"].where(sold),
            "gone_on": items["gone_on"].where(gone),
            "days_listed": days_listed,
            "list_price_cents": items["list_price_cents"].where(listed),
            "sold_price_cents": money["sold_price_cents"],
            "cost_cents": items["cost_cents"],
            "trip_cents": items["trip_cents"],
            "net_cents": net,
            **minutes,
            "owner_min": sum(minutes.values()),
        }
    )


def _minutes_so_far(
    items: pd.DataFrame, day: pd.Timestamp, listed: np.ndarray, sold: np.ndarray, returned: np.ndarray
) -> dict[str, np.ndarray]:
    """Owner minutes spent by the day: each activity from the day on which it is done."""
    whole = {name: items[name].to_numpy(dtype=np.float64) for name in MINUTES}
    whole["pack_min"] = whole["pack_min"] - items["hired_min"].to_numpy()
    # Storing and answering questions go on while a thing waits: the part up to the day.
    total = items["weeks_listed"].to_numpy()
    so_far = np.minimum(((day - items["listed_on"]).dt.days // 7).clip(lower=0).to_numpy(), total)
    ever_sold = (items["outcome"] != "gone").to_numpy()
    # A refund for damage has its work at once, a return when the thing is back.
    trouble = np.where(items["outcome"] == "returned", returned, sold)
    done: dict[str, npt.ArrayLike] = {
        **dict.fromkeys(("find_min", "research_min"), 1.0),
        **dict.fromkeys(("clean_min", "photograph_min", "write_min"), listed),
        "store_min": listed * stored(so_far) / stored(total),
        "messages_min": listed * answered(so_far, ever_sold & sold) / answered(total, ever_sold),
        **dict.fromkeys(("pack_min", "post_min"), sold),
        "returns_min": trouble,
    }
    return {name: whole[name] * np.asarray(done[name], dtype=np.float64) for name in MINUTES}


# The truth behind a simulated shop: its hourly return per category with endlessly many items.
#
# The true hourly return is a ratio of two expectations under the generator. Prices are rounded to tags, fees to
# cents and patience runs out at a week, so no formula gives it; it is the same ratio of sums in a very large
# sample drawn from the same shop, and its own error is stated beside it.

#: Items drawn at a time, so that memory stays small.
_BATCH = 150_000


def true_returns(
    shop: Shop, *, seed: int, items: int, as_of: dt.date | None = None, horizon_days: int | None = None
) -> pd.DataFrame:
    """True hourly returns per category, on sold and on bought basis.

    *Bought basis*: every item bought, followed to its end. *Sold basis*: the items that sell.
    With ``as_of``, the sold basis is over the sales up to that day, as a shop of that age sees
    them: quick ones are over-represented in a young shop, and that is a property of the basis
    and no error of an estimate. With ``horizon_days`` too, the bought basis follows every item
    so many days beyond that day and no further, as a report does that looks so far ahead.

    >>> from flipkit.simulation.shops import Kind
    >>> cups = Shop(kinds=(Kind(name="cups", price_usd=20, cost_usd=4, minutes={"pack": 8.0}),))
    >>> truth = true_returns(cups, seed=5, items=20_000)
    >>> bool(truth.loc["cups", "hourly_bought"] < truth.loc["cups", "hourly_sold"])
    True
    """
    sums: list[pd.DataFrame] = []
    weeks = (shop.last_day - shop.first_day).days / 7
    copies = max(1, int(np.ceil(_BATCH / max(weeks * shop.trips_per_week * shop.items_per_trip, 1))))
    drawn = 0
    while drawn < items:
        whole = histories(shop, seed=seed * 1_000_003 + len(sums), copies=copies)
        sums.append(_trip_sums(whole, as_of, horizon_days))
        drawn += len(whole.items)
    return pd.DataFrame({name: _category(part) for name, part in pd.concat(sums).groupby("category", observed=True)}).T


def _trip_sums(whole: Histories, as_of: dt.date | None, horizon_days: int | None) -> pd.DataFrame:
    """Sums of each trip and category: the trips are what is drawn independently."""
    table = whole.items
    sold = (table["outcome"] != "gone").to_numpy()
    frame = pd.DataFrame(
        {
            "trip": table["trip"],
            "category": table["category"],
            "items": 1,
            "sold": sold,
            "net": table["net_cents"],
            "min": table["owner_min"],
            "sales": sold,
            "sold_net": table["net_cents"] * sold,
            "sold_min": table["owner_min"] * sold,
        }
    )
    if as_of is not None:
        if (table["bought_on"] > pd.Timestamp(as_of)).any():
            raise AssumptionError("as_of", need="a day on or after the shop's last day of buying", got=as_of)
        seen = observed(whole, as_of=as_of)
        known = seen["status"].isin(["sold", "returned"]).to_numpy()
        frame["sales"] = known
        frame["sold_net"] = seen["net_cents"].to_numpy() * known
        frame["sold_min"] = seen["owner_min"].to_numpy() * known
        if horizon_days is not None:
            later = observed(whole, as_of=as_of + dt.timedelta(days=horizon_days))
            frame["net"], frame["min"] = later["net_cents"].to_numpy(), later["owner_min"].to_numpy()
    return frame.groupby(["trip", "category"], observed=True, sort=False).sum().reset_index()


def _category(part: pd.DataFrame) -> dict[str, float]:
    items, sold = float(part["items"].sum()), float(part["sold"].sum())
    per_hour = 60.0 / 100.0

    def hourly(kind: str) -> tuple[float, float]:
        net, minutes = part[f"{kind}net"].to_numpy(float), part[f"{kind}min"].to_numpy(float)
        if minutes.sum() <= 0:
            return np.nan, np.nan
        error = ratio_standard_error(net, minutes, clusters_correction=True)
        return net.sum() / minutes.sum() * per_hour, error * per_hour

    on_sold, on_sold_error = hourly("sold_")
    on_bought, on_bought_error = hourly("")
    return {
        "items": items,
        "sold_share": sold / items,
        "hourly_sold": on_sold,
        "hourly_sold_error": on_sold_error,
        "hourly_bought": on_bought,
        "hourly_bought_error": on_bought_error,
        "net_sold_cents": float(part["sold_net"].sum()) / max(float(part["sales"].sum()), 1.0),
        "net_bought_cents": float(part["net"].sum()) / items,
        "bought_min": float(part["min"].sum()) / items,
    }
