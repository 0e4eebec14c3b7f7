"""What a span of months came to: sales, what was written off, and the way from there to the year's lines.

A thing's money counts on one day: that of its sale, or, if it never sold, the day that it left for good. What
came back from a sale and was then given away counts with that sale.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.returns import Window, in_window, settled_on
from flipkit.analysis.stock import goods_flow
from flipkit.assumptions import Assumptions
from flipkit.books.read import Books
from flipkit.books.schema import ACTIVITIES
from flipkit.economics.hiring import hired_costs
from flipkit.economics.items import LINES, MONEY_LINES, Economics
from flipkit.rules.mileage import mileage_cents
from flipkit.rules.tables import Rules

#: How the way from the sales to the result, and on to the lines by their own days, begins and ends.
SALES, WRITTEN_OFF, RESULT = "net of what sold", "written off", "result: sales and write-offs"
BOOK_LINES = "money in and out by its own day"


def within(days: pd.Series, window: Window) -> npt.NDArray[np.bool_]:
    """Which days lie in a window."""
    first, last = (pd.Timestamp(day) for day in window)
    return ((days >= first) & (days <= last)).to_numpy(dtype=bool)


def rows_within(frame: pd.DataFrame, day: str, window: Window) -> pd.DataFrame:
    """The rows of a table whose day lies in a window."""
    return frame if frame.empty else frame[within(frame[day], window)]


def by_month(items: pd.DataFrame, *, last: str) -> pd.DataFrame:
    """What each month came to, sales and write-offs, with the sales alone beside it.

    Columns: ``month``, ``sold``, ``written_off``, ``sales_net_cents``, ``sales_min``, ``sales_hourly``,
    ``net_cents``, ``owner_min`` and ``hourly``.
    """
    day = settled_on(items)
    settled = items[day.notna()]
    months = day.dropna().dt.to_period("M")
    sold = settled["sold_on"].notna()
    parts = pd.DataFrame(
        {
            "sold": sold.astype(np.int64),
            "written_off": (~sold).astype(np.int64),
            "sales_net_cents": settled["net_cents"].where(sold, 0),
            "sales_min": settled["owner_min"].where(sold, 0.0),
            "net_cents": settled["net_cents"],
            "owner_min": settled["owner_min"],
        }
    )
    table = parts.groupby(months).sum()
    end = pd.Period(last, "M")
    first = min(months.min(), end) if len(settled) else end
    table = table.reindex(pd.period_range(first, end, freq="M")).fillna(0)
    whole = ["sold", "written_off", "sales_net_cents", "net_cents"]
    table = table.astype({**dict.fromkeys(whole, np.int64), "sales_min": np.float64, "owner_min": np.float64})
    for hourly, net, minutes in (
        ("sales_hourly", "sales_net_cents", "sales_min"),
        ("hourly", "net_cents", "owner_min"),
    ):
        hours = table[minutes].to_numpy() / 60
        table[hourly] = np.divide(table[net].to_numpy() / 100, hours, out=np.full(len(table), np.nan), where=hours > 0)
    return table.rename_axis("month").reset_index().assign(month=lambda frame: frame["month"].dt.start_time)


def minutes_known(items: pd.DataFrame) -> dict[str, float]:
    """Shares of the owners' minutes that were logged, corrected by the shop's own logs, or standard.

    >>> rows = pd.DataFrame({"owner_min": [60.0], "logged_min": [30.0], "corrected_min": [15.0]})
    >>> minutes_known(rows)
    {'logged': 0.5, 'corrected': 0.25, 'standard': 0.25}
    """
    total = float(items["owner_min"].sum())
    logged, corrected = (float(items[f"{name}_min"].sum()) for name in ("logged", "corrected"))
    parts = {"logged": logged, "corrected": corrected, "standard": total - logged - corrected}
    return {name: (minutes / total if total > 0 else float("nan")) for name, minutes in parts.items()}


#: Lines of a sale, and the assumptions by size class that fill them where the books say nothing.
_FILLED_BY = {"label": "label.assumed", "materials": "materials.assumed", "expected_loss": "loss.chance"}


def resting_on(items: pd.DataFrame, *, target_cents: float, by_card: bool = False) -> dict[str, float]:
    """How much of the items' money rests on each assumption that fills a gap, minutes at the target. [cents]

    With ``by_card`` a rate card prices the labels that the books lack, and no assumption does.

    >>> rows = pd.DataFrame({"size_class": ["small"], "clean_min": [30.0], "clean_origin": ["assumed"]})
    >>> resting_on(rows, target_cents=1800)
    {'minutes.clean.small': 900.0}
    """
    held: dict[str, float] = {}
    for activity in ACTIVITIES:
        if f"{activity}_min" in items:
            held |= _assumed(items, f"{activity}_min", f"{activity}_origin", f"minutes.{activity}", target_cents / 60)
    for line, key in _FILLED_BY.items():
        if f"{line}_cents" in items and not (line == "label" and by_card):
            held |= _assumed(items, f"{line}_cents", f"{line}_origin", key, 1.0)
    if "marketplace_fee_cents" in items:
        gap = items["marketplace_fee_origin"] == "assumed"
        held["fees.assumed_rate"] = float(items["marketplace_fee_cents"][gap].sum())
    return {key: cents for key, cents in held.items() if cents > 0}


def _assumed(items: pd.DataFrame, column: str, origin: str, key: str, each: float) -> dict[str, float]:
    """What of a column is assumed, by the size class whose assumption it is."""
    gap = items[items[origin] == "assumed"]
    sums = gap[column].astype(np.float64).groupby(gap["size_class"].astype(str)).sum()
    return {f"{key}.{size}": each * float(amount) for size, amount in sums.items()}


def people_worked(books: Books, assumptions: Assumptions, window: Window) -> pd.DataFrame:
    """Each worker with role, share, minutes logged in the window, and what hired minutes cost."""
    work = rows_within(books.work, "date", window)
    people = books.people.set_index("worker")
    names = [*people.index, *sorted(set(work["worker"]) - set(people.index))] if len(work) else list(people.index)
    minutes = work.groupby("worker")["minutes"].sum() if len(work) else pd.Series(dtype=np.float64)
    known = people.reindex(names)
    # As in the items' economics: whom people.csv does not name is an owner, blank pay is the assumed one.
    role = known["role"].fillna("owner").replace("", "owner")
    wage = known["wage_cents"].fillna(assumptions.cents("help.wage")).astype(np.int64)
    burden = known["payroll_burden_ppm"].fillna(assumptions.ppm("help.burden")).astype(np.int64)
    paid = pd.Series(0, index=names, dtype=np.int64)
    if len(work):
        at = work["worker"]
        each = hired_costs(
            work["minutes"].to_numpy(), wage_cents=wage.loc[at].to_numpy(), burden_ppm=burden.loc[at].to_numpy()
        )
        hired = (role.loc[at] == "hired").to_numpy()
        paid = (
            pd.Series(np.where(hired, each, 0)).groupby(at.to_numpy()).sum().reindex(names).fillna(0).astype(np.int64)
        )
    table = pd.DataFrame(
        {
            "worker": names,
            "role": role.to_numpy(),
            "share": known["share_of_profit_ppm"].fillna(0).to_numpy(dtype=np.int64),
            "minutes": minutes.reindex(names).fillna(0.0).to_numpy(dtype=np.float64),
            "paid_cents": paid.to_numpy(),
        }
    )
    return table.sort_values(["role", "share", "worker"], ascending=[False, False, True], ignore_index=True)


def driven_cents(trips: pd.DataFrame, rules: Rules) -> npt.NDArray[np.int64]:
    """What the miles of each trip cost at the rate of its day."""
    if trips.empty:
        return np.zeros(0, dtype=np.int64)
    days = trips["date"].to_numpy().astype("datetime64[D]")
    return np.asarray(mileage_cents(rules.mileage, on=days, miles=trips["miles"].fillna(0).to_numpy()))


def span_money(
    economics: Economics, books: Books, rules: Rules, assumptions: Assumptions, *, window: Window
) -> dict[str, int]:
    """Each money line as a tax form sees a span: by its own day, whatever thing it was for. Costs are positive.

    Sales, fees and labels stand on the day of the sale, refunds on that of the return, goods at the cost of the
    very things that left, and trips, help, supplies and overheads on the day that they were paid.
    """
    items = economics.items
    sold = in_window(items, window=window, basis="sold")
    came_back = items.loc[within(items["returned_on"].fillna(items["sold_on"]), window)]
    how = books.items.set_index("item_id")["gone_how"].reindex(items["item_id"]).to_numpy()
    goods = goods_flow(items.assign(gone_how=how), window=window)
    trips, supplies, overheads = (
        rows_within(getattr(books, name), day, window)
        for name, day in (("trips", "date"), ("supplies", "date"), ("overheads", "month"))
    )
    by_own_day = {
        "refund": int(came_back["refund_cents"].sum()),
        "refunded_fee": int(came_back["refunded_fee_cents"].sum()),
        "listing_fee": int(economics.listings.loc[within(economics.listings["day"], window), "cents"].sum()),
        "materials": _total(supplies, "cost_cents"),
        "cost": goods["opening"] + goods["purchases"] - goods["kept"] - goods["closing"],
        "trip": int(driven_cents(trips, rules).sum()) + _total(trips, "parking_cents") + _total(trips, "entry_cents"),
        "hired": int(people_worked(books, assumptions, window)["paid_cents"].sum()),
        "overhead": _total(overheads, "amount_cents"),
        "expected_loss": 0,
    }
    return {line: by_own_day.get(line, int(sold[f"{line}_cents"].sum())) for line in LINES}


def result_bridge(items: pd.DataFrame, money: Mapping[str, int], *, window: Window) -> pd.DataFrame:
    """From the net of what sold to the result, and from there to the span's lines, a row a step.

    ``money`` is what ``span_money`` found. Rows hold ``step`` and ``amount_cents``; the steps between two sums
    add up to the second one exactly.
    """
    settled = in_window(items, window=window, basis="settled")
    sold = settled["sold_on"].notna().to_numpy(dtype=bool)
    net = settled["net_cents"].to_numpy(dtype=np.int64)
    steps = {SALES: int(net[sold].sum()), WRITTEN_OFF: int(net[~sold].sum()), RESULT: int(net.sum())}
    for line in MONEY_LINES:
        later = money[line.name] - int(settled[f"{line.name}_cents"].sum())
        steps[line.timing] = steps.get(line.timing, 0) + (later if line.gain else -later)
    steps[BOOK_LINES] = sum(money[line.name] * (1 if line.gain else -1) for line in MONEY_LINES)
    shown = [(step, cents) for step, cents in steps.items() if step and (cents or step in (SALES, RESULT, BOOK_LINES))]
    return pd.DataFrame(shown, columns=["step", "amount_cents"])


def _total(frame: pd.DataFrame, column: str) -> int:
    return int(frame[column].fillna(0).sum()) if len(frame) else 0
