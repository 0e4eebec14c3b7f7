"""What a perfect book-keeper would know of simulated items on a day: no gap, and no future."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.simulation.histories import Histories
from flipkit.simulation.shops import MINUTES, answered, stored

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

    Parameters
    ----------
    drawn : Histories
        Histories, of any number of copies.
    as_of : datetime.date
        What happens later is not known.

    Returns
    -------
    DataFrame
        copy, item_id, category, trip_id (both told apart between copies), status ("sold",
        "for sale", "not listed", "returned", "gone"), the days bought_on, listed_on, sold_on and
        gone_on, days_listed (to the sale, to the giving away, or to the day), list_price_cents,
        sold_price_cents, cost_cents, trip_cents, net_cents, the owners' minutes by activity and
        owner_min, all so far.

    Examples
    --------
    >>> from flipkit.simulation.histories import histories
    >>> from flipkit.simulation.kinds import Kind, Shop
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
    refund = items["refund_cents"].to_numpy() * np.where(items["outcome"] == "returned", returned, sold)
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
