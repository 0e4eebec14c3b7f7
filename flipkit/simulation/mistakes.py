"""Slips of the pen, as real books have them: each is told by the check and none stops it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from flipkit.simulation.draws import Draws

Tables = dict[str, pd.DataFrame]


def with_mistakes(tables: Tables, *, seed: int) -> Tables:
    """The tables with a few slips of the pen put in.

    Parameters
    ----------
    tables : dict of DataFrame
        Tables of text as ``books_tables`` makes them.
    seed : int
        Seed of the choice of rows.

    Returns
    -------
    dict of DataFrame
        New tables: a return without its refund, a refund above what was paid, prices without a
        day of listing, a label for a thing that was collected, fees on a thing not yet sold, a
        trip that does not exist, a day of buying far from its trip, a listing before the buying,
        a price change after the sale, two prices on one day, an entry of work written twice, a
        comparable and some work under a category's short name, a lot without items.
    """
    draws = Draws(seed)
    items, changes = tables["items"].copy(), tables["price_changes"].copy()
    work, comparables, lots = tables["work"].copy(), tables["comparables"].copy(), tables["lots"].copy()
    sold = items["sold_on"] != ""

    def rows(name: str, among: pd.Series, count: int) -> list[int]:
        places = np.flatnonzero(among.to_numpy())
        order = np.argsort(draws.uniform(name, places.size))
        return sorted(places[order[:count]].tolist())

    for at in rows("no refund", items["returned_on"] != "", 2):
        items.loc[at, "refund"] = ""
    for at in rows("no listing day", sold & (items["list_price"] != "") & (items["venue"] != "stall"), 9):
        items.loc[at, "listed_on"] = ""
        changes = changes[changes["item_id"] != items.loc[at, "item_id"]]
    changes = changes.reset_index(drop=True)
    for at in rows("label of a pickup", items["zone"] == "pickup", 1):
        items.loc[at, "label_paid"] = "9.85"
    for at in rows("fees too early", (items["listed_on"] != "") & ~sold & (items["gone_on"] == ""), 2):
        items.loc[at, "fees_paid"] = "0.35"
    for at in rows("refund too large", sold & (items["refund"] != "") & (items["returned_on"] == ""), 1):
        paid = float(items.loc[at, "sold_price"]) + float(items.loc[at, "shipping_charged"] or 0)
        items.loc[at, "refund"] = f"{paid + 2.0:.2f}"
    plain = (items["lot_id"] == "") & (items["trip_id"] != "")
    for at in rows("no such trip", plain, 1):
        items.loc[at, "trip_id"] = items.loc[at, "trip_id"].replace("T-", "TR-")
    for at in rows("bought on another day", plain & sold & (items["bought_on"] > "2025-03-01"), 1):
        items.loc[at, "bought_on"] = _moved(items.loc[at, "bought_on"], -12)
    for at in rows("listed before bought", sold & (items["listed_on"] != ""), 1):
        items.loc[at, "listed_on"] = _moved(items.loc[at, "bought_on"], -2)
        changes = changes[changes["item_id"] != items.loc[at, "item_id"]].reset_index(drop=True)
    changes = _price_change_slips(items, changes, draws)
    for name, right, wrong in (("work", "film cameras and lenses", "cameras"), ("work", "vintage audio", "audio")):
        for at in rows(f"short name {name} {wrong}", work["category"] == right, 2):
            work.loc[at, "category"] = wrong
    for at in rows("comparable's short name", comparables["category"] == "table lamps", 2):
        comparables.loc[at, "category"] = "lamps"
    [twice] = rows("written twice", (work["activity"] == "pack") & (work["item_id"] == ""), 1)
    work = pd.concat([work.iloc[: twice + 1], work.iloc[twice:]], ignore_index=True)
    empty = pd.DataFrame(
        [{"lot_id": f"L-{len(lots) + 1:02d}", "date": lots["date"].iloc[-1], "cost": "24.00", "share_by": "equal"}]
    )
    return {
        **tables,
        "items": items,
        "price_changes": changes,
        "work": work,
        "lots": pd.concat([lots, empty], ignore_index=True),
        "comparables": comparables,
    }


def _price_change_slips(items: pd.DataFrame, changes: pd.DataFrame, draws: Draws) -> pd.DataFrame:
    """One change dated after its sale, and one day with two prices."""
    sold = items.set_index("item_id")["sold_on"]
    last = ~changes.duplicated("item_id", keep="last") & (changes["item_id"].map(sold) != "")
    late, double = np.sort(
        np.flatnonzero(last.to_numpy())[np.argsort(draws.uniform("price slips", int(last.sum())))[:2]]
    )
    changes.loc[late, "changed_on"] = _moved(sold[changes.loc[late, "item_id"]], 3)
    second = changes.iloc[[double]].assign(price=f"{float(changes.loc[double, 'price']) - 1:.2f}")
    return pd.concat([changes.iloc[: double + 1], second, changes.iloc[double + 1 :]], ignore_index=True)


def _moved(day: str, days: int) -> str:
    return (dt.date.fromisoformat(day) + dt.timedelta(days=days)).isoformat()
