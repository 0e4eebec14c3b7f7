"""What the forecasts of unsold stock need to know of each item: where it stands, its money, its minutes."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from flipkit.money import PPM

Floats = npt.NDArray[np.float64]

#: Work that comes only with a sale, and work that a thing needs before it is listed.
SALE_WORK = ("messages_min", "pack_min", "post_min", "returns_min")
LISTING_WORK = ("clean_min", "photograph_min", "write_min", "store_min")


def item_facts(economics: pd.DataFrame, *, salvage_ppm: int) -> dict[str, Any]:
    """The plain arrays that the forecasts need.

    Parameters
    ----------
    economics : DataFrame, n rows
        One row an item, as ``item_economics`` gives it.
    salvage_ppm : int
        Part of its cost that an unsold item brings when it is cleared. [parts per million]

    Returns
    -------
    dict of str to array, shape (n,)
        ``trip`` (a code), ``stock``, ``unlisted``, ``returned``, ``sold``, ``gone`` and ``shown``
        (whether it ever was on sale); ``days`` on sale; ``salvage`` and ``proceeds`` (the net before what
        is already spent) and ``base`` (the price level) [cents]; ``sale_min`` and ``listing_min`` [min].

    Examples
    --------
    The function needs the frame of ``item_economics``; see ``tests/analysis/test_prospects.py``.
    """
    status = economics["status"].to_numpy(dtype=object)
    cost = economics["cost_cents"].to_numpy(dtype=np.float64)
    spent = sum(
        economics[name].to_numpy(dtype=np.float64)
        for name in ("cost_cents", "trip_cents", "overhead_cents")
        if name in economics
    )
    sold = economics["sold_on"].notna().to_numpy()
    days, unlisted = _waits(economics, status, sold)
    sale_min, listing_min = _work(economics, status, sold)
    return {
        "trip": pd.factorize(economics["trip_id"].astype(object), sort=True)[0],
        "stock": np.isin(status, ["for sale", "not listed", "returned"]),
        "unlisted": unlisted,
        "returned": status == "returned",
        "sold": sold,
        "gone": (status == "gone") & ~sold,
        "shown": np.isfinite(days),
        "days": np.maximum(days, 0.0),
        "salvage": cost * salvage_ppm / PPM,
        "proceeds": economics["net_cents"].to_numpy(dtype=np.float64) + spent,
        "base": _price_level(economics, sold),
        "sale_min": sale_min,
        "listing_min": listing_min,
    }


def _waits(
    economics: pd.DataFrame, status: npt.NDArray[Any], sold: npt.NDArray[np.bool_]
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Days on sale, and which items are not yet on sale.

    Books may know few listing days or none. A sale without one is taken to have been listed
    after the usual time from purchase to listing; in books without any, the days since the
    purchase stand for the days on sale, and everything unsold is on sale.
    """
    days = economics["days_listed"].to_numpy(dtype=np.float64)
    unlisted = np.asarray(status == "not listed")
    if "days_held" not in economics or np.isfinite(days[sold | unlisted]).all():
        return days, unlisted
    held = economics["days_held"].to_numpy(dtype=np.float64)
    known = np.isfinite(days)
    if not known.any():
        return held, np.zeros(days.size, dtype=bool)
    lag = (economics["listed_on"] - economics["bought_on"]).dt.days.median()
    return np.where(sold & ~known, np.maximum(held - lag, 0.0), days), unlisted


def _price_level(economics: pd.DataFrame, sold: npt.NDArray[np.bool_]) -> Floats:
    """Each item's list price; the sold price, the category's or the shop's mean where it has none."""
    listed = economics["list_price_cents"].astype(np.float64)
    level = listed.where(listed > 0)
    level = level.fillna(economics["sold_price_cents"].astype(np.float64).where(sold))
    level = level.fillna(level.groupby(economics["category"].astype(object)).transform("mean"))
    return np.asarray(level.fillna(level.mean()).fillna(0.0).to_numpy(dtype=np.float64))


def _work(economics: pd.DataFrame, status: npt.NDArray[Any], sold: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Minutes that came with each item's sale, and minutes that went before its listing."""
    if all(name in economics for name in (*SALE_WORK, *LISTING_WORK)):
        at_sale, before = (economics[list(names)].to_numpy(dtype=np.float64) for names in (SALE_WORK, LISTING_WORK))
        return at_sale.sum(axis=1), before.sum(axis=1)
    # Without the activities, the stages' mean minutes tell the steps between them apart.
    minutes = economics["owner_min"].to_numpy(dtype=np.float64)
    stage = {
        name: float(minutes[mask].mean()) if mask.any() else np.nan
        for name, mask in (("sold", sold), ("for sale", status == "for sale"), ("not listed", status == "not listed"))
    }
    before = np.nan_to_num(stage["for sale"] - stage["not listed"])
    at_sale = stage["sold"] - (stage["for sale"] if np.isfinite(stage["for sale"]) else stage["not listed"])
    size = minutes.size
    return np.full(size, max(np.nan_to_num(at_sale), 0.0)), np.full(size, max(before, 0.0))
