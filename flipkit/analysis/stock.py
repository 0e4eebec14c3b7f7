"""Turnover, age, space and markdowns of stock, and the year's sums."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.returns import Window, in_window
from flipkit.analysis.sizes import cubic_feet, in_stock
from flipkit.errors import AssumptionError

# Stock: what it ties up, how fast it turns, how old it is, and what its space earns.
#
# The terms are the retail handbooks': turnover is cost of goods sold over average inventory at cost; days on hand
# is a year of days over the yearly turnover; GMROI is gross margin over average inventory at cost; sell-through is
# units sold over units received. Cost of goods sold holds shrinkage, here what was written off. Gross margin is
# what the goods alone sold for, less refunds, less cost of goods: postage, fees and hours come after it. Average
# inventory is the mean over every day of the window. What came back from a sale is no sale.
#
# What capital and space earned is set against all stock, and what was written off counts with what it lost: over the
# sold things alone a category that mostly never sells would look the best of all.

YEAR_DAYS = 365.0
#: A month of space is a twelfth of a year.
MONTH_DAYS = YEAR_DAYS / 12


def turnover(cost_of_goods_sold: float, average_inventory: float) -> float:
    """How many times the stock was sold over: cost of goods sold over average inventory at cost.

    >>> round(turnover(4_380_000, 870_000), 2)
    5.03
    """
    return cost_of_goods_sold / average_inventory if average_inventory > 0 else math.nan


def days_on_hand(turns: float) -> float:
    """How many days of sales the stock holds: a year's days over its turns.

    >>> round(days_on_hand(4.32), 2)
    84.49
    """
    return math.inf if turns == 0 else YEAR_DAYS / turns


def margin_return(gross_margin: float, average_inventory: float) -> float:
    """Gross margin return on inventory investment (GMROI).

    >>> margin_return(300.0, 80.0)
    3.75
    """
    return gross_margin / average_inventory if average_inventory > 0 else math.nan


def sell_through(sold: float, received: float) -> float:
    """Units sold and kept by the buyer over units received.

    >>> sell_through(300, 500)
    0.6
    """
    return sold / received if received > 0 else math.nan


def stock_table(economics: pd.DataFrame, *, window: Window, as_of: dt.date, by: str = "category") -> pd.DataFrame:
    """How each group's stock turned, what its capital and its space earned in a window; the stock of ``as_of``."""
    first, last = window[0], min(window[1], as_of)
    if first > as_of:
        raise AssumptionError("window", need=f"a first day no later than {as_of}", got=str(first))
    days = (last - first).days + 1
    held = _days_held_in(economics, first, last, as_of)
    settled = in_window(economics, window=(first, last), basis="settled")
    off = settled["sold_on"].isna().to_numpy(dtype=bool)
    back = settled["returned_on"].notna().to_numpy(dtype=bool)
    sold = ~off & ~back
    bought = in_window(economics, window=(first, last), basis="bought")
    stayed = (bought["sold_on"].notna() & bought["returned_on"].isna()).to_numpy(dtype=bool)
    # What came back is stock again until it is given away; then it is written off like what never sold.
    goods = settled["cost_cents"].where(sold | off | (settled["status"] == "gone"), 0)
    stock = economics.loc[in_stock(economics)]
    groups = sorted(economics[by].astype(object).unique(), key=str)

    def total(rows: pd.DataFrame, values: npt.ArrayLike) -> npt.NDArray[np.float64]:
        sums = pd.Series(np.asarray(values, dtype=np.float64)).groupby(rows[by].astype(object).to_numpy()).sum()
        return sums.reindex(groups).fillna(0.0).to_numpy(dtype=np.float64)

    table = pd.DataFrame({by: groups})
    table["sold"] = total(settled, sold).astype(np.int64)
    table["written_off"] = total(settled, off).astype(np.int64)
    table["bought"] = total(bought, np.ones(len(bought))).astype(np.int64)
    table["bought_sold"] = total(bought, stayed).astype(np.int64)
    table["sell_through"] = [sell_through(*pair) for pair in zip(table["bought_sold"], table["bought"], strict=True)]
    table["stock_items"] = total(stock, np.ones(len(stock))).astype(np.int64)
    table["stock_cost_cents"] = total(stock, stock["cost_cents"]).astype(np.int64)
    table["stock_cubic_ft"] = total(stock, cubic_feet(stock).fillna(0.0))
    table["goods_sold_cents"] = total(settled, goods).astype(np.int64)
    sales = total(settled, settled["sold_price_cents"] - settled["refund_cents"])
    table["gross_margin_cents"] = (sales - table["goods_sold_cents"]).astype(np.int64)
    table["average_stock_cents"] = total(economics, economics["cost_cents"] * held) / days
    yearly = YEAR_DAYS / days
    goods_margin = zip(
        table["goods_sold_cents"], table["gross_margin_cents"], table["average_stock_cents"], strict=True
    )
    turns = [
        (turnover(cost, mean) * yearly, margin_return(margin, mean) * yearly) for cost, margin, mean in goods_margin
    ]
    table["turnover"] = [pair[0] for pair in turns]
    table["days_on_hand"] = [days_on_hand(value) for value in table["turnover"]]
    table["gmroi"] = [pair[1] for pair in turns]
    table["net_cents"] = total(settled, settled["net_cents"]).astype(np.int64)
    table["capital_days"] = total(economics, economics["cost_cents"] * held) / 100
    table["net_per_capital_day"] = _ratio(table["net_cents"] / 100, table["capital_days"])
    table["capital_return"] = table["net_per_capital_day"] * YEAR_DAYS
    table["cubic_ft_months"] = total(economics, cubic_feet(economics).fillna(0.0) * held) / MONTH_DAYS
    table["net_per_cubic_ft_month"] = _ratio(table["net_cents"] / 100, table["cubic_ft_months"])
    return table


def room_price(
    economics: pd.DataFrame, overheads: pd.DataFrame, *, words: Sequence[str], as_of: dt.date
) -> float | None:
    """What a cubic foot cost a month over the last year of overheads for room; none where the books record none.

    >>> stock = pd.DataFrame({"bought_on": pd.to_datetime(["2026-01-01"]), "gone_on": pd.to_datetime([None]),
    ...     "sold_on": pd.to_datetime([None]), "status": ["for sale"], "volume_cuft": [100.0]})
    >>> paid = pd.DataFrame({"month": pd.to_datetime(["2026-05-01", "2026-06-01"]), "what": ["Garage rent", "phone"],
    ...     "amount_cents": [1000, 900]})
    >>> round(room_price(stock, paid, words=["rent"], as_of=dt.date(2026, 6, 30)), 1)
    10.0
    """
    last = pd.Period(pd.Timestamp(as_of) + pd.Timedelta(days=1), "M") - 1
    wanted = {word.casefold() for word in words}
    named = [bool(wanted & set(str(what).casefold().replace(",", " ").split())) for what in overheads["what"]]
    month = overheads["month"].dt.to_period("M")
    paid = overheads[np.array(named, dtype=bool) & (month <= last).to_numpy() & (month > last - 12).to_numpy()]
    room = 0.0
    for each in sorted(set(paid["month"].dt.to_period("M"))):
        held = _days_held_in(economics, each.start_time.date(), each.end_time.date(), as_of)
        room += float((economics["volume_cuft"].fillna(0.0) * held).sum()) / each.days_in_month
    return float(paid["amount_cents"].sum()) / room if room > 0 and len(paid) else None


def ageing_table(
    economics: pd.DataFrame,
    *,
    as_of: dt.date,
    edges_days: Sequence[int] = (30, 60, 90, 180, 365),
    value_cents: pd.Series | None = None,
) -> pd.DataFrame:
    """Stock in hand by the days since it was bought."""
    edges = np.asarray(edges_days, dtype=np.int64)
    if edges.size and ((np.diff(edges) <= 0).any() or edges[0] < 0):
        raise AssumptionError("edges_days", need="rising days of at least 0", got=list(edges_days))
    mask = in_stock(economics).to_numpy(dtype=bool)
    stock = economics.loc[mask]
    age = (pd.Timestamp(as_of) - stock["bought_on"]).dt.days.to_numpy()
    band = np.searchsorted(edges, age, side="left")
    count = edges.size + 1

    def total(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
        weights = np.nan_to_num(np.asarray(values, dtype=np.float64))
        return np.bincount(band, weights=weights, minlength=count).astype(np.float64)

    table = pd.DataFrame({"from_days": np.concatenate(([0], edges + 1))})
    table["to_days"] = pd.array([*edges.tolist(), pd.NA], dtype="Int64")
    table["items"] = np.bincount(band, minlength=count)
    table["cost_cents"] = total(stock["cost_cents"]).astype(np.int64)
    whole = int(table["cost_cents"].sum())
    table["cost_share"] = table["cost_cents"] / whole if whole else 0.0
    table["cubic_ft"] = total(cubic_feet(stock))
    table["list_price_cents"] = total(stock["list_price_cents"].astype(np.float64)).astype(np.int64)
    if value_cents is not None:
        table["may_bring_cents"] = np.rint(total(value_cents.to_numpy()[mask])).astype(np.int64)
    return table


def _days_held_in(items: pd.DataFrame, first: dt.date, last: dt.date, as_of: dt.date) -> npt.NDArray[np.float64]:
    """Days of the window on which each item was in hand, the day it was bought included, the day it left not."""
    begin = np.maximum(items["bought_on"].to_numpy().astype("datetime64[D]"), np.datetime64(first))
    left = _left_on(items).fillna(pd.Timestamp(as_of) + pd.Timedelta(days=1)).to_numpy().astype("datetime64[D]")
    end = np.minimum(left, np.datetime64(last) + np.timedelta64(1, "D"))
    return np.maximum((end - begin).astype(np.float64), 0.0)


def _left_on(items: pd.DataFrame) -> pd.Series:
    """The day each item left for good: its sale unless it came back, or its going."""
    return items["gone_on"].fillna(items["sold_on"].where(items["status"] != "returned"))


def _ratio(above: pd.Series, below: pd.Series) -> pd.Series:
    return (above / below.where(below > 0)).astype(np.float64)


# The goods of a span of days: what was there, what came, what left, each item at its own cost.

#: Where an item can be at the end of a day.
NOT_YET, HELD, SOLD, GONE = "not yet bought", "held", "sold", "gone"


def stock_status(items: pd.DataFrame, *, on: dt.date) -> npt.NDArray[np.object_]:
    """Where each item was at the end of a day.

    >>> days = {"bought_on": ["2026-01-05"], "sold_on": ["2026-02-01"], "returned_on": ["2026-02-20"]}
    >>> rows = pd.DataFrame({name: pd.to_datetime(day) for name, day in days.items()}).assign(gone_on=pd.NaT)
    >>> [str(stock_status(rows, on=dt.date(2026, m, 10))[0]) for m in (1, 2, 3)]
    ['held', 'sold', 'held']
    """
    day = pd.Timestamp(on)
    bought, sold, back, gone = (
        (items[name] <= day).to_numpy(dtype=bool) for name in ("bought_on", "sold_on", "returned_on", "gone_on")
    )
    return np.select([~bought, gone, sold & ~back], [NOT_YET, GONE, SOLD], HELD).astype(object)


def goods_flow(items: pd.DataFrame, *, window: Window) -> dict[str, int]:
    """Cost of goods sold by specific identification: the cost of the very items that left."""
    first, last = window
    before = stock_status(items, on=first - dt.timedelta(days=1))
    after = stock_status(items, on=last)
    cost = items["cost_cents"].to_numpy(dtype=np.int64)
    kept = (items["gone_how"] == "kept").to_numpy(dtype=bool)

    def at_cost(which: npt.NDArray[np.bool_]) -> int:
        return int(cost[which].sum())

    def left(state: str, of: npt.NDArray[np.bool_]) -> int:
        # What came back from a sale of an earlier year is taken off again.
        return at_cost((after == state) & of) - at_cost((before == state) & of)

    every = np.ones(len(items), dtype=bool)
    return {
        "opening": at_cost(before == HELD),
        "purchases": at_cost((before == NOT_YET) & (after != NOT_YET)),
        "kept": left(GONE, kept),
        "given": left(GONE, ~kept),
        "sold": left(SOLD, every),
        "closing": at_cost(after == HELD),
    }
