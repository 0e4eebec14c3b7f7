"""How each category's hourly return moves with a few assumptions, from sums alone.

Sums of a category stand for its things: its net and its hours, and what a whole one more of each part adds to
the net: the sold prices, the labels, what the goods cost, the help, a point of fee on the price and on the shipping,
the labels at another divisor. A divisor works through a rounding up, so its labels are priced beforehand, parcel by
parcel. On bought basis a part also moves what waiting stock may bring: that is its slope, measured by one small
step of the full model. Products of the sums over the sourcing trips carry the interval along: it is stretched as
the delta-method error is. A page recomputes the same lines without the kit; this module is what it is held against.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.analysis.returns import coded_sums, hourly_verdict
from flipkit.analysis.stock_value import Horizon, Shelves, expected_values_by_trip

Floats = npt.NDArray[np.float64]

#: The divisor of the books: every label as it was bought.
AS_CHARGED: Final = 0
#: Divisors that a reader can try.
DIVISORS: Final = (139, 166, 194)
#: The parts of the net beside the net itself, in the order of their weights; then a label's at each divisor.
PARTS: Final = ("price", "postage", "cost", "help", "point", "point_of_shipping")
#: How far a part is moved to measure its slope.
_STEP: Final = 0.05
#: Digits of the sums of products, and decimals of the sums, that a page is given.
_DIGITS, _DECIMALS = 8, 6


@dataclass(frozen=True)
class Settings:
    """Where the assumptions are moved to."""

    target: float  # [dollars per hour]
    wage: float  # [dollars per hour]
    points: float = 0.0
    divisor: int = AS_CHARGED
    factor: float = 1.0


@dataclass(frozen=True)
class PageSettings(Settings):
    """What a page moves beside those: parts that the full model has no supposition for."""

    price: float = 1.0
    postage: float = 1.0
    cost: float = 1.0


@dataclass(frozen=True)
class MovingSums:
    """One category: the net, its parts and last the hours, and their products over the trips."""

    category: str
    items: int
    claimed: bool
    low: float  # [dollars per hour]
    high: float  # [dollars per hour]
    sums: Floats
    products: Floats


def weights(settings: PageSettings, *, wage: float) -> Floats:
    """How much of each part is added to the net, which comes first and whole.

    >>> weights(PageSettings(target=20, wage=20, points=2, price=1.5, divisor=139, postage=1.5), wage=10).tolist()
    [1.0, 0.5, 0.5, 0.0, 1.0, 3.0, 2.0, 1.5, 0.0, 0.0]
    """
    points = settings.points
    of_parts = [settings.price - 1, settings.postage - 1, settings.cost - 1, settings.wage / wage - 1 if wage else 0.0]
    at_divisor = [settings.postage if settings.divisor == divisor else 0.0 for divisor in DIVISORS]
    return np.array([1.0, *of_parts, points * settings.price, points, *at_divisor])


def part_changes(items: pd.DataFrame, dearer: Mapping[int, npt.NDArray[np.int64]]) -> list[dict[str, Floats]]:
    """What a whole one more of each part changes of each thing's lines: column to cents.

    >>> sold = pd.DataFrame({"sold_price_cents": [4000], "marketplace_fee_cents": [400], "label_cents": [800],
    ...     "cost_cents": [500], "hired_cents": [0], "shipping_charged_cents": [1000]})
    >>> [{name: float(value[0]) for name, value in part.items()} for part in part_changes(sold, {})][:2]
    [{'sold_price_cents': 4000.0, 'marketplace_fee_cents': 400.0}, {'label_cents': 800.0}]
    """
    column = {
        name: items[f"{name}_cents"].to_numpy(dtype=np.float64)
        for name in ("sold_price", "marketplace_fee", "label", "cost", "hired", "shipping_charged")
    }
    with_fee = column["marketplace_fee"] > 0
    return [
        {"sold_price_cents": column["sold_price"], "marketplace_fee_cents": column["marketplace_fee"]},
        {"label_cents": column["label"]},
        {"cost_cents": column["cost"]},
        {"hired_cents": column["hired"]},
        {"marketplace_fee_cents": np.where(with_fee, column["sold_price"], 0.0) / 100},
        {"marketplace_fee_cents": np.where(with_fee, column["shipping_charged"], 0.0) / 100},
        *({"label_cents": dearer.get(divisor, np.zeros(len(items))).astype(np.float64)} for divisor in DIVISORS),
    ]


def sold_sums(
    sold: pd.DataFrame, dearer: Mapping[int, npt.NDArray[np.int64]], returns: pd.DataFrame
) -> list[MovingSums]:
    """The sums of each category over what sold, as a table of returns has it.

    >>> sold = pd.DataFrame({"category": ["lamps"], "trip_id": ["t"], "net_cents": [3000], "owner_min": [60.0],
    ...     "hired_cents": [500], "marketplace_fee_cents": [400], "sold_price_cents": [4000], "cost_cents": [600],
    ...     "label_cents": [700], "shipping_charged_cents": [1000]})
    >>> known = pd.DataFrame({"category": ["lamps"], "items": [1], "claimed": [False], "low": [math.nan],
    ...     "high": [math.nan]})
    >>> sold_sums(sold, {139: np.array([250])}, known)[0].sums.tolist()
    [30.0, 36.0, -7.0, -6.0, -5.0, -0.4, -0.1, -2.5, 0.0, 0.0, 1.0]
    """
    nets = [sold["net_cents"].to_numpy(dtype=np.float64), *(_net_of(part) for part in part_changes(sold, dearer))]
    columns = [*(net / 100 for net in nets), sold["owner_min"].to_numpy(dtype=np.float64) / 60]
    found = {}
    for category, at in sold.groupby("category").indices.items():
        trip, _ = pd.factorize(sold["trip_id"].to_numpy()[at])
        found[str(category)] = np.array([coded_sums(column[at], trip) for column in columns])
    return _by_category(found, returns)


def bought_sums(
    items: pd.DataFrame,
    dearer: Mapping[int, npt.NDArray[np.int64]],
    returns: pd.DataFrame,
    horizon: Horizon,
    *,
    inside: npt.NDArray[np.bool_],
) -> list[MovingSums]:
    """The sums of each category over what was bought, with what the stock of it may still bring.

    The function needs the frame of ``item_economics``; see ``tests/analysis/test_moving.py``.
    """

    def by_trip(moved: Mapping[str, Floats]) -> tuple[list[str], Floats, Floats]:
        economics = items
        if moved:
            changed = {name: items[name].astype(float) + _STEP * values for name, values in moved.items()}
            changed["net_cents"] = items["net_cents"].astype(float) + _STEP * _net_of(moved)
            economics = items.assign(**changed)
        names, _, net, minutes = expected_values_by_trip(
            economics, horizon, inside=inside, by="category", shelves=Shelves(economics, horizon)
        )
        return [str(name) for name in names], net / 100, minutes / 60

    names, net, hours = by_trip({})
    slopes = [
        (by_trip(part)[1] - net) / _STEP if any(values.any() for values in part.values()) else np.zeros_like(net)
        for part in part_changes(items, dearer)
    ]
    stacked = np.stack([net, *slopes, hours], axis=1)
    return _by_category(dict(zip(names, stacked, strict=True)), returns)


def _net_of(changes: Mapping[str, Floats]) -> Floats:
    """What changes of lines do to the net: the sold price is a gain, everything else a cost."""
    return np.asarray(sum(value if name == "sold_price_cents" else -value for name, value in changes.items()))


def _by_category(by_trip: Mapping[str, Floats], returns: pd.DataFrame) -> list[MovingSums]:
    known = returns.set_index("category")
    found = []
    for category, parts in sorted(by_trip.items()):
        sums, row = parts.sum(axis=1).round(_DECIMALS), known.loc[category]
        if sums[-1] <= 0:
            continue
        found.append(
            MovingSums(
                category,
                int(row["items"]),
                bool(row["claimed"]),
                float(row["low"]),
                float(row["high"]),
                sums + 0.0,
                _rounded(parts @ parts.T),
            )
        )
    return found


def _rounded(products: Floats) -> Floats:
    """Each number at some digits, however large it is."""
    return np.array([[float(f"{value:.{_DIGITS}g}") for value in row] for row in products])


def moved_returns(sums: Sequence[MovingSums], settings: PageSettings, *, wage: float) -> pd.DataFrame:
    """Every category's return with the assumptions moved, best first.

    >>> parts = np.zeros(11)
    >>> parts[[0, 4, 5, 10]] = 300.0, -50.0, -8.0, 10.0  # net, help, a point, hours
    >>> sums = [MovingSums("lamps", 40, True, 26.0, 34.0, parts, np.outer(parts, parts))]
    >>> moved = moved_returns(sums, PageSettings(target=20.0, wage=20.0, points=2.0, factor=2.0), wage=10.0)
    >>> float(moved["hourly"][0])  # (300 - 50 - 2 x 8) / (10 x 2)
    11.7
    """
    moved, still = weights(settings, wage=wage), weights(PageSettings(settings.target, wage), wage=wage)
    rows = []
    for row in sums:
        net, hours = float(moved @ row.sums[:-1]), float(row.sums[-1]) * settings.factor
        hourly, before = net / hours, float(still @ row.sums[:-1]) / float(row.sums[-1])
        error, known = _error(row, moved) / settings.factor, _error(row, still)
        stretch = error / known if known > 0 else 1.0
        low, high = (hourly + (end - before) * stretch for end in (row.low, row.high))
        verdict = hourly_verdict(low, high, claimed=row.claimed, target=settings.target)
        rows.append((row.category, row.items, row.claimed, net, hours, hourly, low, high, verdict))
    table = pd.DataFrame(
        rows, columns=["category", "items", "claimed", "net", "hours", "hourly", "low", "high", "verdict"]
    ).sort_values(["hourly", "category"], ascending=[False, True], kind="stable")
    return table.reset_index(drop=True)


def _error(row: MovingSums, of_parts: Floats) -> float:
    """Delta-method error of the hourly return: root of the trips' squared residuals, over the hours."""
    hours = float(row.sums[-1])
    residual = np.append(of_parts, -float(of_parts @ row.sums[:-1]) / hours)
    return math.sqrt(max(float(residual @ row.products @ residual), 0.0)) / hours
