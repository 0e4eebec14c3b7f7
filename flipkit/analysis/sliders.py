"""How each category's hourly return moves with a few assumptions, from sums alone.

Sums of a category stand for its items: net and hours, what hired help cost, what a percentage
point of fee is worth, and the net at each divisor. A divisor works through a rounding up, so its
nets are computed beforehand, parcel by parcel, and looked up. Products of the sums over the
sourcing trips carry the interval along: it is stretched as the delta-method error is. A page
recomputes the same lines without the kit; this module is what it is held against.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.returns import coded_sums, hourly_verdict

#: The divisor of the books: every label as it was bought.
AS_CHARGED = 0
#: Sums of a trip whose products carry the interval: net, help, a point of fee, hours.
_PARTS = "nhpm"
#: Columns of products, such as ``nh`` for net times help.
PRODUCTS = tuple(one + two for k, one in enumerate(_PARTS) for two in _PARTS[k:])


@dataclass(frozen=True)
class Settings:
    """Where the assumptions are moved to."""

    target: float  # [dollars per hour]
    wage: float  # [dollars per hour]
    points: float = 0.0
    divisor: int = AS_CHARGED
    factor: float = 1.0


def moving_sums(sold: pd.DataFrame, labels: Mapping[int, npt.NDArray[np.int64]], returns: pd.DataFrame) -> pd.DataFrame:
    """What a page needs to recompute every category: a row a category and divisor.

    >>> sold = pd.DataFrame({"category": ["lamps"], "trip_id": ["t"], "net_cents": [3000], "owner_min": [60.0],
    ...     "hired_cents": [500], "marketplace_fee_cents": [400], "sold_price_cents": [4000],
    ...     "shipping_charged_cents": [1000]})
    >>> known = pd.DataFrame({"category": ["lamps"], "items": [1], "claimed": [False], "low": [math.nan],
    ...     "high": [math.nan]})
    >>> sums = moving_sums(sold, {139: np.array([250])}, known)
    >>> sums[["divisor", "net", "help", "point", "hours"]].values.tolist()
    [[0.0, 30.0, 5.0, 0.5, 1.0], [139.0, 27.5, 5.0, 0.5, 1.0]]
    """
    known = returns.set_index("category")
    fee_paid = sold["marketplace_fee_cents"].to_numpy() > 0
    price = sold["sold_price_cents"].to_numpy() + sold["shipping_charged_cents"].to_numpy()
    flat = {
        "h": sold["hired_cents"].to_numpy() / 100,
        "p": np.where(fee_paid, price, 0) / 100 / 100,
        "m": sold["owner_min"].to_numpy() / 60,
    }
    more = {AS_CHARGED: np.zeros(len(sold), dtype=np.int64), **labels}
    rows = []
    for category, at in sorted(sold.groupby("category").indices.items()):
        if flat["m"][at].sum() <= 0:
            continue
        trip, _ = pd.factorize(sold["trip_id"].to_numpy()[at])
        row = known.loc[category]
        base_error = math.nan
        for divisor, dearer in more.items():
            net = (sold["net_cents"].to_numpy() - dearer)[at] / 100
            sums = {name: coded_sums(values[at], trip) for name, values in flat.items()} | {"n": coded_sums(net, trip)}
            products = {pair: float(sums[pair[0]] @ sums[pair[1]]) for pair in PRODUCTS}
            totals = {name: round(float(values.sum()), 6) for name, values in sums.items()}
            hourly = totals["n"] / totals["m"]
            if divisor == AS_CHARGED:
                base_hourly = hourly
                base_error = _error(products, 0.0, 0.0, hourly, totals["m"])
            rows.append(
                {
                    "category": category,
                    "divisor": divisor,
                    "items": int(row["items"]),
                    "claimed": bool(row["claimed"]),
                    "net": totals["n"],
                    "help": totals["h"],
                    "point": totals["p"],
                    "hours": totals["m"],
                    "hourly": base_hourly,
                    "low": float(row["low"]),
                    "high": float(row["high"]),
                    "error": base_error,
                    **products,
                }
            )
    columns = ["category", "divisor", "items", "claimed", "net", "help", "point", "hours", "hourly", "low", "high"]
    return pd.DataFrame(rows, columns=[*columns, "error", *PRODUCTS])


def moved_returns(sums: pd.DataFrame, settings: Settings, *, wage: float) -> pd.DataFrame:
    """Every category's return with the assumptions moved, best first.

    >>> sums = pd.DataFrame({"category": ["lamps"], "divisor": [0], "items": [40], "claimed": [True],
    ...     "net": [300.0], "help": [50.0], "point": [8.0], "hours": [10.0], "hourly": [30.0], "low": [26.0],
    ...     "high": [34.0], "error": [2.0]} | {pair: [40.0 if pair in ("nn", "hh") else 0.0] for pair in PRODUCTS})
    >>> moved = moved_returns(sums, Settings(target=20.0, wage=20.0, points=2.0, factor=2.0), wage=10.0)
    >>> float(moved["hourly"][0])  # (300 - 50 - 2 x 8) / (10 x 2)
    11.7
    """
    rows = []
    help_more = settings.wage / wage - 1 if wage else 0.0
    for row in sums[sums["divisor"] == settings.divisor].to_dict("records"):
        net = row["net"] - help_more * row["help"] - settings.points * row["point"]
        hours = row["hours"] * settings.factor
        hourly = net / hours
        products = {pair: row[pair] for pair in PRODUCTS}
        error = _error(products, help_more, settings.points, net / row["hours"], hours)
        stretch = error / row["error"] if row["error"] > 0 else 1.0
        low, high = (hourly + (row[end] - row["hourly"]) * stretch for end in ("low", "high"))
        verdict = hourly_verdict(low, high, claimed=row["claimed"], target=settings.target)
        rows.append((row["category"], row["items"], net, hours, hourly, low, high, verdict))
    table = pd.DataFrame(
        rows, columns=["category", "items", "net", "hours", "hourly", "low", "high", "verdict"]
    ).sort_values(["hourly", "category"], ascending=[False, True], kind="stable")
    return table.reset_index(drop=True)


def _error(products: Mapping[str, float], help_more: float, points: float, ratio: float, hours: float) -> float:
    """Delta-method error of the hourly return: root of the trips' squared residuals, over the hours."""
    a, b, q = help_more, points, ratio
    squares = (
        products["nn"]
        + a * a * products["hh"]
        + b * b * products["pp"]
        + q * q * products["mm"]
        - 2 * a * products["nh"]
        - 2 * b * products["np"]
        - 2 * q * products["nm"]
        + 2 * a * b * products["hp"]
        + 2 * a * q * products["hm"]
        + 2 * b * q * products["pm"]
    )
    return math.sqrt(max(squares, 0.0)) / hours
