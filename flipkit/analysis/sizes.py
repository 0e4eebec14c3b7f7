"""What each size class earns an hour, and the price from which bulky wins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.ratio_stats import IntervalSettings, ratio_of_sums, resampled_sums
from flipkit.analysis.returns import FEW_TRIPS, Window, bought_returns, category_returns, in_window
from flipkit.analysis.stock_value import Horizon
from flipkit.analysis.survival import days_to_sale
from flipkit.errors import AssumptionError

# Bulky against small: what each size class earns an hour, and what it takes to earn it.
#
# Bulky things often sell dear, so a plain comparison mixes size with price. The comparison within equal price
# bands takes the price out of it.

#: Size classes, small to large.
SIZE_ORDER = ("small", "medium", "bulky", "oversize")
CUBIC_INCHES = 1728.0


def by_size(
    economics: pd.DataFrame,
    *,
    window: Window,
    basis: str = "sold",
    settings: IntervalSettings,
    target: float | None = None,
    horizon: Horizon | None = None,
) -> pd.DataFrame:
    """What each size class earns, ties up and takes, small to large.

    The function needs the whole frame of ``item_economics``; see ``tests/analysis``.
    """
    asked: dict[str, Any] = {"window": window, "by": "size_class", "settings": settings, "target": target}
    if basis == "bought" and horizon is not None:
        table = bought_returns(economics, horizon=horizon, **asked)
    else:
        table = category_returns(economics, basis=basis, **asked)
    inside = in_window(economics, window=window, basis=basis)
    sizes = [size for size in SIZE_ORDER if (economics["size_class"] == size).any()]
    rows = [_size_facts(size, inside, economics, settings.confidence) for size in sizes]
    facts = pd.DataFrame(rows, columns=_FACTS)
    known = table.set_index("size_class").reindex([size for size in sizes if size in set(table["size_class"])])
    return known.reset_index().merge(facts, on="size_class", how="left")


_FACTS = [
    "size_class",
    "net_per_sale_cents",
    "label_per_sale_cents",
    "minutes_per_sale",
    "pack_min_per_sale",
    "returned_share",
    "loss_per_sale_cents",
    "cubic_ft",
    "stock_items",
    "stock_cost_cents",
    "stock_cubic_ft",
    "days_to_sale",
    "days_low",
    "days_high",
]


def cubic_feet(items: pd.DataFrame) -> pd.Series:
    """Space of each packed parcel.

    >>> cubic_feet(pd.DataFrame({"length_in": [12.0], "width_in": [12.0], "height_in": [24.0]})).tolist()
    [2.0]
    """
    return items["length_in"] * items["width_in"] * items["height_in"] / CUBIC_INCHES


def in_stock(items: pd.DataFrame) -> pd.Series:
    """Whether each item is still in the seller's hands: never sold or come back, and not gone.

    >>> in_stock(pd.DataFrame({"status": ["sold", "for sale", "returned", "gone"]})).tolist()
    [False, True, True, False]
    """
    return items["status"].isin(["for sale", "not listed", "returned"])


def within_price_bands(
    economics: pd.DataFrame,
    *,
    window: Window,
    edges_cents: Sequence[int],
    settings: IntervalSettings,
    target: float | None = None,
) -> pd.DataFrame:
    """Hourly return of each size class among sales of about the same price."""
    edges = np.asarray(edges_cents, dtype=np.int64)
    if edges.size and ((np.diff(edges) <= 0).any() or edges[0] <= 0):
        raise AssumptionError("edges_cents", need="rising amounts above 0", got=list(edges_cents))
    sold = in_window(economics, window=window, basis="sold")
    band = np.searchsorted(edges, sold["sold_price_cents"].to_numpy(dtype=np.int64), side="right")
    parts = []
    for at in range(edges.size + 1):
        part = sold.loc[band == at]
        # With no sale at all the one empty band still gives the table its columns.
        if part.empty and len(sold):
            continue
        # Each band has draws of its own, as each group within it does.
        table = category_returns(
            part.assign(size_class=part["size_class"].astype(object)),
            window=window,
            by="size_class",
            settings=replace(settings, seed=settings.seed + 1 + at),
            target=target,
        )
        table.insert(0, "band", at)
        table.insert(1, "from_cents", int(edges[at - 1]) if at else 0)
        table.insert(2, "below_cents", int(edges[at]) if at < edges.size else pd.NA)
        parts.append(table)
    joined = pd.concat(parts, ignore_index=True)
    joined["below_cents"] = joined["below_cents"].astype("Int64")
    rank = joined["size_class"].map({size: at for at, size in enumerate(SIZE_ORDER)})
    return joined.iloc[np.lexsort((rank, joined["band"]))].reset_index(drop=True)


def bought_price_bands(
    economics: pd.DataFrame,
    sells_for_cents: pd.Series,
    *,
    window: Window,
    edges_cents: Sequence[int],
    settings: IntervalSettings,
    horizon: Horizon,
    target: float | None = None,
) -> pd.DataFrame:
    """The same over what was bought, by what like things sell for: unsold ones count, and no sale picks its band."""
    edges = np.asarray(edges_cents, dtype=np.int64)
    band = np.searchsorted(edges, sells_for_cents.to_numpy(dtype=np.float64), side="right")
    cell = pd.Series(band, index=economics.index).astype(str) + " " + economics["size_class"].astype(str)
    table = bought_returns(
        economics.assign(cell=cell), window=window, horizon=horizon, by="cell", settings=settings, target=target
    )
    at = table["cell"].str.partition(" ")
    table = table.assign(band=at[0].astype(np.int64), size_class=at[2]).drop(columns="cell")
    table["from_cents"] = np.append(0, edges)[table["band"]]
    table["below_cents"] = pd.array([int(edges[k]) if k < edges.size else pd.NA for k in table["band"]], dtype="Int64")
    rank = table["size_class"].map({size: place for place, size in enumerate(SIZE_ORDER)})
    return table.iloc[np.lexsort((rank, table["band"]))].reset_index(drop=True)


def price_bands(sold_price_cents: pd.Series, *, bands: int) -> list[int]:
    """Edges of price bands that hold about equally many sales, in whole dollars.

    >>> price_bands(pd.Series([1000, 2000, 3000, 4000]), bands=2)
    [2500]
    """
    if bands < 1:
        raise AssumptionError("bands", need="at least 1", got=bands)
    prices = sold_price_cents.to_numpy(dtype=np.float64)
    if not prices.size:
        return []
    cuts = np.quantile(prices, np.arange(1, bands) / bands)
    edges = np.unique(np.round(cuts / 100).astype(np.int64) * 100)
    return [int(edge) for edge in edges if edge > 0]


def _size_facts(size: str, inside: pd.DataFrame, economics: pd.DataFrame, confidence: float) -> list[object]:
    mine = economics.loc[economics["size_class"] == size]
    sold = inside.loc[(inside["size_class"] == size) & inside["sold_on"].notna()]
    stock = mine.loc[in_stock(mine)]
    listed = mine.loc[mine["days_listed"].notna()]
    days = days_to_sale(listed["days_listed"], listed["sold_on"].notna(), confidence=confidence, trip=listed["trip_id"])
    back = sold["refund_cents"] > 0
    loss = sold["refund_cents"] + sold["label_adjustment_cents"] + sold["expected_loss_cents"]
    loss -= sold.get("refunded_fee_cents", 0)
    return [
        size,
        _mean(sold["net_cents"]),
        _mean(sold["label_cents"]),
        _mean(sold["owner_min"]),
        _mean(sold["pack_min"]),
        _mean(back),
        _mean(loss),
        _mean(cubic_feet(mine)),
        len(stock),
        int(stock["cost_cents"].sum()),
        float(cubic_feet(stock).sum()),
        *days,
    ]


def _mean(values: pd.Series) -> float:
    return float(values.mean()) if len(values) else math.nan


# The sold price above which an hour on one size class beats an hour on another.

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class BreakEven:
    """From which sold price on the larger size class wins."""

    price_cents: float
    low_cents: float
    high_cents: float
    crossing_share: float
    seen_from_cents: int
    seen_to_cents: int
    hourly_small: float
    claimed: bool
    verdict: str


def break_even_price(
    economics: pd.DataFrame,
    *,
    window: Window,
    large: Sequence[str] = ("bulky", "oversize"),
    small: Sequence[str] = ("small",),
    settings: IntervalSettings,
) -> BreakEven:
    """Sold price above which an hour on a large item earns more than an hour on small ones.

    Net and minutes of the large items are fitted as straight lines in the sold price (a dear
    lamp brings more and is packed more carefully), so that the hourly return at a price is the
    ratio of the two lines. The break-even price is where it meets the true hourly return of the
    small class. The interval comes from drawing whole trips anew, both classes together.
    """
    if set(large) & set(small):
        raise AssumptionError(
            "large", need="size classes that are not in small as well", got=sorted(set(large) & set(small))
        )
    sold = in_window(economics, window=window, basis="sold")
    is_large, is_small = sold["size_class"].isin(list(large)), sold["size_class"].isin(list(small))
    sold = sold.loc[is_large | is_small]
    flag = sold["size_class"].isin(list(large)).to_numpy(dtype=bool)
    prices = sold["sold_price_cents"].to_numpy(dtype=np.float64)
    sums = _trip_moments(sold, flag, prices)
    count_large, count_small = int(flag.sum()), int((~flag).sum())
    seen = (int(prices[flag].min()), int(prices[flag].max())) if count_large else (0, 0)
    bar = ratio_of_sums(sold["net_cents"][~flag], sold["owner_min"][~flag]) * 0.6
    estimate = float(_crossing(sums.sum(axis=0)[None, :])[0]) if count_large and count_small else math.nan
    trips = min(sold["trip_id"][flag].nunique(), sold["trip_id"][~flag].nunique())
    claimed = min(count_large, count_small) >= settings.too_few and trips >= FEW_TRIPS and not math.isnan(estimate)
    low = high = share = math.nan
    if claimed:
        drawn = _crossing(
            resampled_sums(sums, resamples=settings.resamples, seed=settings.seed, name="break-even price")
        )
        drawn = drawn[~np.isnan(drawn)]
        share = float(np.isfinite(drawn).mean())
        # Taken from the sorted draws and not between two of them, which infinity would spoil.
        tails = [(1 - settings.confidence) / 2, (1 + settings.confidence) / 2]
        low, high = (float(v) for v in np.quantile(drawn, tails, method="closest_observation"))
    words = _words(estimate, high, seen, claimed, large[0] if large else "", small[0] if small else "")
    price = estimate if math.isfinite(estimate) else math.nan
    return BreakEven(price, low, high, share, *seen, bar, claimed, words)


def _trip_moments(sold: pd.DataFrame, large: npt.NDArray[np.bool_], prices: Floats) -> Floats:
    """Per trip: of the large items the sums that two straight lines need, of the small ones net and minutes."""
    code, names = pd.factorize(sold["trip_id"].astype(object), sort=True)
    net = sold["net_cents"].to_numpy(dtype=np.float64)
    minutes = sold["owner_min"].to_numpy(dtype=np.float64)
    columns = [large, large * prices, large * prices**2, large * net, large * net * prices, large * minutes]
    columns += [large * minutes * prices, ~large * net, ~large * minutes]
    return np.column_stack([np.bincount(code, weights=column, minlength=len(names)) for column in columns])


def _crossing(sums: Floats) -> Floats:
    """Price at which the two meet: 0 where the large always win, infinity where they never do, NaN where unknown."""
    count, price, squares, net, net_price, minutes, minutes_price, small_net, small_minutes = sums.T
    with np.errstate(divide="ignore", invalid="ignore"):
        bar = small_net / small_minutes
        spread = count * squares - price**2
        # The line of net - bar x minutes in the price: it crosses zero where the returns are equal.
        gain = net - bar * minutes
        gain_price = net_price - bar * minutes_price
        slope = (count * gain_price - price * gain) / spread
        level = (gain - slope * price) / count
        crossing = -level / slope
    crossing = np.where(slope > 0, np.maximum(crossing, 0.0), np.where(level > 0, 0.0, np.inf))
    known = (count > 1) & (spread > 1e-9 * np.maximum(squares, 1.0)) & (small_minutes > 0)
    return np.where(known, crossing, np.nan)


def _words(price: float, high: float, seen: tuple[int, int], claimed: bool, large: str, small: str) -> str:
    if not claimed:
        return "too few to tell"
    if price == 0:
        return f"{large} beats {small} at every price"
    if math.isinf(price):
        return f"not found: at no price does {large} beat {small}"
    if not seen[0] <= price <= seen[1]:
        return f"{large} beats {small} above a price outside what was sold so far"
    if math.isinf(high):
        return f"{large} may beat {small} above the price shown, or never"
    return f"{large} beats {small} above the price shown"
